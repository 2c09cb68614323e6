use super::*;
use crate::Spin;
use crate::config::Arm;
use crate::rotor::Inflow;
use crate::sensors;
use glam::DQuat;

/// Mueller and D'Andrea 2014, ICRA pp. 45-52: 0.5 kg, rotors on the body axes at 0.17 m, the right one
/// stopped; thrusts 2.05, 1.02 and 2.05 N, which are rotor speeds of 565, 399 and 565 rad/s; body rate (0,
/// 5.69, 18.89) rad/s in axes with y left and z up. More digits and Jz as in `tests/validate_rotor_lost.rs`.
const SPIN_RAD_S: DVec3 = DVec3::new(0.0, -5.694, -18.890);
const SPEEDS_RAD_S: [f64; 4] = [565.42, 0.0, 399.81, 565.42];

/// The craft at the published body rate, with the rotors' inertia in kg m2. Order: front, right, left, rear.
fn spinning(rotor_kg_m2: f64) -> (Plant, Rotors<f64>) {
    let arm = |x_m: f64, y_m: f64, spin| Arm { x_m, y_m, z_m: 0.0, spin };
    let mut config = Config {
        mass_kg: 0.5,
        inertia_kg_m2: [[3.2e-3, 0.0, 0.0], [0.0, 3.2e-3, 0.0], [0.0, 0.0, 5.4e-3]],
        arms: Rotors {
            front_left: arm(0.17, 0.0, Spin::Clockwise),
            front_right: arm(0.0, 0.17, Spin::CounterClockwise),
            rear_left: arm(0.0, -0.17, Spin::CounterClockwise),
            rear_right: arm(-0.17, 0.0, Spin::Clockwise),
        },
        drag: crate::drag::Config { rotational_damping_nm_s: [0.0, 0.0, 2.75e-3], ..Default::default() },
        ground_effect: None,
        sensors: sensors::Config::default(),
        ..Config::weir_gauge()
    };
    config.rotor.thrust_n_s2 = 6.41e-6;
    config.rotor.torque_nm_s2 = 0.0169 * 6.41e-6;
    config.rotor.inflow = Inflow::Constant;
    config.rotor.inertia_kg_m2 = rotor_kg_m2;
    config.speed_controller =
        crate::speed_controller::Config { steps: 0, delay_s: 0.0, ..config.speed_controller };
    // Battery sag would slow the rotors.
    config.battery = crate::battery::Config { resistance_ohm: 0.0, capacity_ah: 1e6, ..config.battery };
    let air = AirConfig { elevation_m: -100.0, gravity_m_s2: 9.81, ..AirConfig::default() };
    let start = Start { airborne: true, height_m: 100.0, ..Start::default() };
    let mut plant = Plant::new(&config, &air, &start, 1, 0.001).unwrap();
    let motor = crate::motor::Motor::new(&config.rotor, 0.001);
    let volts = SPEEDS_RAD_S.map(|speed| {
        let torque = config.rotor.torque_nm_s2 * speed * speed;
        if speed > 0.0 { motor.steady(speed, torque).0 } else { 0.0 }
    });
    plant.propulsion.set_speeds(SPEEDS_RAD_S);
    plant.state.rate_rad_s = SPIN_RAD_S;
    plant.state.attitude = DQuat::from_rotation_arc(SPIN_RAD_S.normalize(), DVec3::NEG_Z);
    plant.update_derivatives(&[0.0; 4]);
    let command = Rotors::from_array(volts.map(|volts| volts / plant.battery.terminals().voltage_v));
    (plant, command)
}

/// Largest relative deviation of the body rate within half a second, one and a half revolutions.
fn wandering((plant, command): &mut (Plant, Rotors<f64>)) -> f64 {
    (0..500).fold(0.0, |worst: f64, _| {
        plant.advance(*command);
        worst.max((plant.state.rate_rad_s - SPIN_RAD_S).length() / SPIN_RAD_S.length())
    })
}

#[test]
fn validate_published_rotation_with_one_rotor_stopped() {
    let mut craft = spinning(1.5e-5);
    let found = wandering(&mut craft);
    assert!(found < 2e-3, "{found}");
    let truth = craft.0.truth();
    let axis = truth.attitude * (-truth.body_rate_rad_s.normalize());
    assert!((axis - DVec3::Z).length() < 0.01, "{axis}");
    // Published thrusts. The part of them that does not lift rotates with the craft.
    for (thrust, published) in truth.thrust_n.into_array().iter().zip([2.05, 0.0, 1.02, 2.05]) {
        assert!((thrust - published).abs() < 5.5e-3, "{:?}", truth.thrust_n);
    }
    assert!(truth.velocity_m_s.z.abs() < 0.02, "{}", truth.velocity_m_s);
    // The twin: without the rotors' angular momentum the body rate is not constant.
    let found = wandering(&mut spinning(1e-9));
    assert!(found > 0.015, "{found}");
}
