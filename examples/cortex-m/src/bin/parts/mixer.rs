//! The mixer, over demands of which most are beyond what the rotors can give.

use aplomb::frames::Vector;
use aplomb::mix::{Arm, Config, Geometry, QuadMixer, Wrench};
use aplomb::{Rotors, Spin};
use aplomb_cortex_m::{inputs::Inputs, meter::Meter, table::measure};

/// Demands a row: the mixer takes its most steps seldom.
const DEMANDS: u32 = 50_000;
/// Largest roll and pitch torque of the smallest demands in N m; each next size is twice the one before.
const SMALLEST_NM: f32 = 0.02;
const SIZES: u32 = 8;

pub fn rows(meter: &Meter) {
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
    let mut size = 0;
    let mut demand = || {
        // From well inside to far outside.
        let torque_nm = SMALLEST_NM * (1 << size) as f32;
        size = (size + 1) % SIZES;
        let [roll, pitch, yaw, thrust] = random.array::<4>(1.0);
        Wrench {
            torque_nm: Vector::new(roll * torque_nm, pitch * torque_nm, 0.3 * yaw * torque_nm),
            thrust_n: 13.0 + 15.0 * thrust,
        }
    };
    for (name, geometry, reserved_yaw_share) in [
        ("mixer, symmetric X", symmetric, 0.0),
        ("mixer, symmetric X, yaw reserved", symmetric, 0.1),
        ("mixer, general geometry", general, 0.0),
        ("mixer, general geometry, yaw reserved", general, 0.1),
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
        measure(meter, name, DEMANDS, &mut demand, |demand| mixer.allocate(&demand, 6.5));
    }
}
