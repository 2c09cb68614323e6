use core::hint::black_box;

use aplomb::mix::{Arm, Config, Geometry, QuadMixer, ThrustCurve, Wrench};
use aplomb::{Libm, MotorCommand, Rotors, Spin};

use super::{any, any_vector};

pub fn all() {
    let arm = || Arm { x_m: any(), y_m: any(), spin: black_box(Spin::Clockwise) };
    let general = Geometry {
        arms: Rotors { front_left: arm(), front_right: arm(), rear_left: arm(), rear_right: arm() },
        torque_to_thrust_m: any(),
    };
    let symmetric = Geometry::symmetric_x(any(), any(), black_box(Spin::Clockwise), any());
    for geometry in [general, symmetric] {
        let config = Config {
            geometry,
            min_thrust_n: any(),
            max_thrust_n: any(),
            allowance_down_n: any(),
            allowance_up_n: any(),
            reserved_yaw_share: any(),
        };
        if let Ok(mixer) = QuadMixer::new(&config) {
            black_box(mixer.allocate(&Wrench { torque_nm: any_vector(), thrust_n: any() }, any()));
        }
    }
    if let Ok(mut curve) = ThrustCurve::<Libm>::new(&black_box(curve_config()), any()) {
        curve.set_air_density(any());
        curve.observe(any());
        black_box((curve.ceiling_n(), curve.voltage_v()));
        black_box(curve.command(any(), MotorCommand::saturating(any())));
        black_box(curve.thrust_n(MotorCommand::saturating(any())));
    }
}

fn curve_config() -> aplomb::mix::ThrustCurveConfig {
    aplomb::mix::ThrustCurveConfig {
        max_thrust_n: any(),
        back_emf_share: any(),
        reference_voltage_v: any(),
        lowest_voltage_v: any(),
        highest_voltage_v: any(),
        voltage_filter_s: any(),
    }
}
