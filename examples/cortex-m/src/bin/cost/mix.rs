//! The mixer, over demands of which most are beyond what the rotors can give.

use aplomb::frames::Vector;
use aplomb::mix::{Arm, Config, Geometry, QuadMixer, Wrench};
use aplomb::{Rotors, Spin};
use aplomb_cortex_m::{
    inputs::Inputs,
    table::{Limit, Table},
};

/// Demands a row: the mixer takes its most steps seldom.
const DEMANDS: u32 = 100_000;

pub fn rows(table: &mut Table) {
    let symmetric = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
    let general = Geometry {
        arms: Rotors {
            front_left: Arm { x_m: 0.18, ..symmetric.arms.front_left },
            front_right: Arm { y_m: 0.15, ..symmetric.arms.front_right },
            ..symmetric.arms
        },
        ..symmetric
    };
    let mut random = Inputs::new();
    let mut input = |call: u32| {
        // From well inside to far outside.
        let size = 0.02 * (1 << (call % 8)) as f32;
        let [roll, pitch, yaw, thrust] = random.array::<4>(1.0);
        Wrench {
            torque_nm: Vector::new(roll * size, pitch * size, 0.3 * yaw * size),
            thrust_n: 13.0 + 15.0 * thrust,
        }
    };
    for (name, geometry, reserved_yaw_share) in [
        ("mix, symmetric X", symmetric, 0.0),
        ("mix, symmetric X, yaw reserved", symmetric, 0.1),
        ("mix, general geometry", general, 0.0),
        ("mix, general geometry, yaw reserved", general, 0.1),
    ] {
        let config = Config {
            geometry,
            min_thrust_n: 0.3,
            max_thrust_n: 6.5,
            allowance_down_n: 4.0,
            allowance_up_n: 6.0,
            reserved_yaw_share,
        };
        let mixer = QuadMixer::new(&config).expect("valid");
        table.row_of(DEMANDS, name, Limit::None, &mut input, |demand| mixer.allocate(&demand, 6.5));
    }
}
