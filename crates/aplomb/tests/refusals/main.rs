//! Every field of every configuration, set in turn to each invalid value: the error names the field, its part
//! and the reason. Twin of each line: the unchanged configuration is accepted. The tables of PID, filters,
//! estimators, mixing and gimbal are beside their code.

mod loops;
mod table;
mod whole;

use aplomb::Spin;
use aplomb::flight::{Airframe, Config};
use aplomb::mix::Geometry;

fn airframe() -> Airframe {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5)
}

fn config() -> Config {
    Config::for_airframe(&airframe()).unwrap()
}
