//! Every invalid field is refused by name.

use aplomb_craft::{
    AirConfig, Arm, Config, ConfigError, Gust, Plant, Reason, Rotors, Start, Turbulence, WindStep, gust,
};

fn refused(config: &Config, air: &AirConfig, start: &Start) -> ConfigError {
    Plant::new(config, air, start, 1, 0.001).expect_err("must be refused")
}

const BAD: [f64; 4] = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1e9];

#[test]
fn craft_fields() {
    type Set = fn(&mut Config, f64);
    let fields: &[(&str, Set)] = &[
        ("mass_kg", |c, v| c.mass_kg = v),
        ("inertia_kg_m2", |c, v| c.inertia_kg_m2[1][1] = v),
        ("ground.foot_x_m", |c, v| c.ground.foot_x_m = v),
        ("ground.foot_y_m", |c, v| c.ground.foot_y_m = v),
        ("ground.foot_z_m", |c, v| c.ground.foot_z_m = v),
        ("ground.static_deflection_m", |c, v| c.ground.static_deflection_m = v),
        ("ground.damping_ratio", |c, v| c.ground.damping_ratio = v),
        ("ground.friction", |c, v| c.ground.friction = v),
        ("rotor.inertia_kg_m2", |c, v| c.rotor.inertia_kg_m2 = v),
        ("battery.capacity_ah", |c, v| c.battery.capacity_ah = v),
        ("drag.rotor_drag_per_s", |c, v| c.drag.rotor_drag_per_s[2] = v),
        ("speed_controller.delay_s", |c, v| c.speed_controller.delay_s = v),
        ("sensors.imu.low_pass_hz", |c, v| c.sensors.imu.as_mut().unwrap().low_pass_hz = v),
        ("sensors.imu.delay_s", |c, v| c.sensors.imu.as_mut().unwrap().delay_s = v),
        ("sensors.imu.bias_correlation_time_s", |c, v| {
            c.sensors.imu.as_mut().unwrap().bias_correlation_time_s = v
        }),
        ("sensors.imu.vibration_gain", |c, v| c.sensors.imu.as_mut().unwrap().vibration_gain = v),
        ("sensors.imu.gyro.noise_rad_s_rthz", |c, v| {
            c.sensors.imu.as_mut().unwrap().gyro.noise_rad_s_rthz = v
        }),
        ("sensors.imu.gyro.bias_instability_rad_s", |c, v| {
            c.sensors.imu.as_mut().unwrap().gyro.bias_instability_rad_s = v
        }),
        ("sensors.imu.gyro.rate_random_walk_rad_s_rts", |c, v| {
            c.sensors.imu.as_mut().unwrap().gyro.rate_random_walk_rad_s_rts = v;
        }),
        ("sensors.imu.gyro.turn_on_bias_rad_s", |c, v| {
            c.sensors.imu.as_mut().unwrap().gyro.turn_on_bias_rad_s = v
        }),
        ("sensors.imu.gyro.scale_factor_share", |c, v| {
            c.sensors.imu.as_mut().unwrap().gyro.scale_factor_share = v
        }),
        ("sensors.imu.gyro.misalignment_rad", |c, v| {
            c.sensors.imu.as_mut().unwrap().gyro.misalignment_rad = v
        }),
        ("sensors.imu.gyro.range_rad_s", |c, v| c.sensors.imu.as_mut().unwrap().gyro.range_rad_s = v),
        ("sensors.imu.gyro.resolution_rad_s", |c, v| {
            c.sensors.imu.as_mut().unwrap().gyro.resolution_rad_s = v
        }),
        ("sensors.imu.accel.noise_m_s2_rthz", |c, v| {
            c.sensors.imu.as_mut().unwrap().accel.noise_m_s2_rthz = v
        }),
        ("sensors.imu.accel.bias_instability_m_s2", |c, v| {
            c.sensors.imu.as_mut().unwrap().accel.bias_instability_m_s2 = v
        }),
        ("sensors.imu.accel.acceleration_random_walk_m_s2_rts", |c, v| {
            c.sensors.imu.as_mut().unwrap().accel.acceleration_random_walk_m_s2_rts = v;
        }),
        ("sensors.imu.accel.turn_on_bias_m_s2", |c, v| {
            c.sensors.imu.as_mut().unwrap().accel.turn_on_bias_m_s2 = v
        }),
        ("sensors.imu.accel.scale_factor_share", |c, v| {
            c.sensors.imu.as_mut().unwrap().accel.scale_factor_share = v
        }),
        ("sensors.imu.accel.misalignment_rad", |c, v| {
            c.sensors.imu.as_mut().unwrap().accel.misalignment_rad = v
        }),
        ("sensors.imu.accel.range_m_s2", |c, v| c.sensors.imu.as_mut().unwrap().accel.range_m_s2 = v),
        ("sensors.imu.accel.resolution_m_s2", |c, v| {
            c.sensors.imu.as_mut().unwrap().accel.resolution_m_s2 = v
        }),
        ("sensors.barometer.rate_hz", |c, v| c.sensors.barometer.as_mut().unwrap().rate_hz = v),
        ("sensors.barometer.delay_s", |c, v| c.sensors.barometer.as_mut().unwrap().delay_s = v),
        ("sensors.barometer.white_noise_m", |c, v| c.sensors.barometer.as_mut().unwrap().white_noise_m = v),
        ("sensors.barometer.correlated_noise_m", |c, v| {
            c.sensors.barometer.as_mut().unwrap().correlated_noise_m = v
        }),
        ("sensors.barometer.correlation_time_s", |c, v| {
            c.sensors.barometer.as_mut().unwrap().correlation_time_s = v
        }),
        ("sensors.barometer.drift_m_h", |c, v| c.sensors.barometer.as_mut().unwrap().drift_m_h = v),
        ("sensors.barometer.rotor_wash_m", |c, v| c.sensors.barometer.as_mut().unwrap().rotor_wash_m = v),
        ("sensors.barometer.rotor_wash_below_m", |c, v| {
            c.sensors.barometer.as_mut().unwrap().rotor_wash_below_m = v
        }),
        ("sensors.gnss.rate_hz", |c, v| c.sensors.gnss.as_mut().unwrap().rate_hz = v),
        ("sensors.gnss.delay_s", |c, v| c.sensors.gnss.as_mut().unwrap().delay_s = v),
        ("sensors.gnss.white_noise_m", |c, v| c.sensors.gnss.as_mut().unwrap().white_noise_m = v),
        ("sensors.gnss.correlated_noise_m", |c, v| c.sensors.gnss.as_mut().unwrap().correlated_noise_m = v),
        ("sensors.gnss.correlation_time_s", |c, v| c.sensors.gnss.as_mut().unwrap().correlation_time_s = v),
        ("sensors.gnss.velocity_noise_m_s", |c, v| c.sensors.gnss.as_mut().unwrap().velocity_noise_m_s = v),
        ("sensors.magnetometer.rate_hz", |c, v| c.sensors.magnetometer.as_mut().unwrap().rate_hz = v),
        ("sensors.magnetometer.delay_s", |c, v| c.sensors.magnetometer.as_mut().unwrap().delay_s = v),
        ("sensors.magnetometer.white_noise_ut", |c, v| {
            c.sensors.magnetometer.as_mut().unwrap().white_noise_ut = v
        }),
        ("sensors.magnetometer.hard_iron_ut", |c, v| {
            c.sensors.magnetometer.as_mut().unwrap().hard_iron_ut = v
        }),
        ("sensors.magnetometer.soft_iron_share", |c, v| {
            c.sensors.magnetometer.as_mut().unwrap().soft_iron_share = v
        }),
        ("sensors.barometer.offset_pa", |c, v| c.sensors.barometer.as_mut().unwrap().offset_pa = v),
        ("sensors.imu.gyro.per_force_s_m", |c, v| c.sensors.imu.as_mut().unwrap().gyro.per_force_s_m = v),
        ("sensors.gnss.dropouts_per_h", |c, v| c.sensors.gnss.as_mut().unwrap().dropouts.per_h = v),
        ("sensors.gnss.dropout_s", |c, v| c.sensors.gnss.as_mut().unwrap().dropouts.mean_s = v),
        ("sensors.gnss.jumps_per_h", |c, v| c.sensors.gnss.as_mut().unwrap().jumps.per_h = v),
        ("sensors.gnss.jump_s", |c, v| c.sensors.gnss.as_mut().unwrap().jumps.mean_s = v),
        ("sensors.gnss.jump_m", |c, v| c.sensors.gnss.as_mut().unwrap().jump_m = v),
    ];
    for (name, set) in fields {
        for bad in BAD {
            let mut config = Config::weir_gauge();
            set(&mut config, bad);
            assert_eq!(refused(&config, &AirConfig::default(), &Start::default()).field, *name, "{bad}");
        }
    }
}

#[test]
fn positions_must_be_finite() {
    type Set = fn(&mut Config, f64);
    let fields: [(&str, Set); 6] = [
        ("arms.front_left.x_m", |c, v| c.arms.front_left.x_m = v),
        ("arms.front_right.y_m", |c, v| c.arms.front_right.y_m = v),
        ("arms.rear_left.z_m", |c, v| c.arms.rear_left.z_m = v),
        ("arms.rear_right.x_m", |c, v| c.arms.rear_right.x_m = v),
        ("sensors.imu.position_m", |c, v| c.sensors.imu.as_mut().unwrap().position_m[1] = v),
        ("sensors.gnss.position_m", |c, v| c.sensors.gnss.as_mut().unwrap().position_m[2] = v),
    ];
    for (name, set) in fields {
        for bad in &BAD[..3] {
            let mut config = Config::weir_gauge();
            set(&mut config, *bad);
            assert_eq!(refused(&config, &AirConfig::default(), &Start::default()).field, name, "{bad}");
        }
    }
}

#[test]
fn air_fields() {
    let wind = WindStep { at_s: 1.0, from_deg: 0.0, speed_m_s: 1.0, ramp_s: 1.0 };
    let gust = Gust { at_s: 1.0, peak_m_s: 1.0, length_m: 1.0, from_deg: 0.0, form: gust::Form::Held };
    let full = || AirConfig {
        winds: vec![wind],
        u20_m_s: Some(1.0),
        gusts: vec![gust],
        turbulence: Some(Turbulence::light()),
        ..AirConfig::default()
    };
    type Set = fn(&mut AirConfig, f64);
    let fields: [(&str, Set); 11] = [
        ("air.elevation_m", |a, v| a.elevation_m = v),
        ("air.temperature_offset_k", |a, v| a.temperature_offset_k = v),
        ("air.gravity_m_s2", |a, v| a.gravity_m_s2 = v),
        ("air.winds.at_s", |a, v| a.winds[0].at_s = v),
        ("air.winds.speed_m_s", |a, v| a.winds[0].speed_m_s = v),
        ("air.winds.ramp_s", |a, v| a.winds[0].ramp_s = v),
        ("air.u20_m_s", |a, v| a.u20_m_s = Some(v)),
        ("air.roughness_m", |a, v| a.roughness_m = v),
        ("air.gusts.peak_m_s", |a, v| a.gusts[0].peak_m_s = v),
        ("air.gusts.length_m", |a, v| a.gusts[0].length_m = v),
        ("air.turbulence.u20_m_s", |a, v| a.turbulence = Some(Turbulence { u20_m_s: v })),
    ];
    for (name, set) in fields {
        for bad in BAD {
            let mut air = full();
            set(&mut air, bad);
            assert_eq!(refused(&Config::weir_gauge(), &air, &Start::default()).field, name, "{bad}");
        }
    }
    let mut swapped = full();
    swapped.winds.push(WindStep { at_s: 0.5, ..wind });
    let error = refused(&Config::weir_gauge(), &swapped, &Start::default());
    assert_eq!((error.field, error.reason), ("air.winds.at_s", Reason::NotAscending));
}

#[test]
fn start_fields_and_tick() {
    let fields: [(&str, Start); 5] = [
        ("start.height_m", Start { height_m: f64::NAN, ..Start::default() }),
        ("start.north_m", Start { north_m: f64::INFINITY, ..Start::default() }),
        ("start.heading_rad", Start { heading_rad: f64::NAN, ..Start::default() }),
        ("start.velocity_m_s", Start { velocity_m_s: [0.0, f64::NAN, 0.0], ..Start::default() }),
        ("start.body_rate_rad_s", Start { body_rate_rad_s: [f64::NAN, 0.0, 0.0], ..Start::default() }),
    ];
    for (name, start) in fields {
        assert_eq!(refused(&Config::weir_gauge(), &AirConfig::default(), &start).field, name);
    }
    for tick in [f64::NAN, 0.0, -0.001, 1.0] {
        let error =
            Plant::new(&Config::weir_gauge(), &AirConfig::default(), &Start::default(), 1, tick).unwrap_err();
        assert_eq!(error.field, "tick_s");
    }
}

#[test]
fn inertia_must_be_physical() {
    let error = |inertia_kg_m2| {
        let config = Config { inertia_kg_m2, ..Config::weir_gauge() };
        let error = refused(&config, &AirConfig::default(), &Start::default());
        assert_eq!(error.field, "inertia_kg_m2");
        error.reason
    };
    assert_eq!(error([[0.01, 0.001, 0.0], [0.0, 0.01, 0.0], [0.0, 0.0, 0.01]]), Reason::NotSymmetric);
    assert_eq!(error([[0.01, 0.0, 0.0], [0.0, 0.01, 0.0], [0.0, 0.0, 0.03]]), Reason::NotAnInertia);
    assert_eq!(error([[0.01, 0.02, 0.0], [0.02, 0.01, 0.0], [0.0, 0.0, 0.02]]), Reason::NotAnInertia);
    assert_eq!(error([[0.01, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.01]]), Reason::NotAnInertia);
    // A flat plate is the limiting case of a body.
    let plate = [[0.01, 0.0, 0.0], [0.0, 0.01, 0.0], [0.0, 0.0, 0.02]];
    let config = Config { inertia_kg_m2: plate, ..Config::weir_gauge() };
    assert!(Plant::new(&config, &AirConfig::default(), &Start::default(), 1, 0.001).is_ok());
}

#[test]
fn impossible_hover_is_refused() {
    let air = AirConfig::default();
    let hover = Start { airborne: true, height_m: 5.0, ..Start::default() };
    let heavy = Config { mass_kg: 4.0, ..Config::weir_gauge() };
    assert_eq!(refused(&heavy, &air, &hover).reason, Reason::CannotHover);
    let all_ahead = Config {
        arms: Rotors::from_array(
            Config::weir_gauge().arms.into_array().map(|arm| Arm { x_m: arm.x_m + 1.0, ..arm }),
        ),
        ..Config::weir_gauge()
    };
    assert_eq!(refused(&all_ahead, &air, &hover).reason, Reason::NoTrim);
    // On the ground both are accepted.
    assert!(Plant::new(&heavy, &air, &Start::default(), 1, 0.001).is_ok());
}

#[test]
fn offset_arms_hover_without_rotation() {
    // A centre of mass 2 cm off: the trimmed thrusts differ and keep the craft level.
    let arms = Rotors::from_array(
        Config::weir_gauge().arms.into_array().map(|arm| Arm { x_m: arm.x_m + 0.02, ..arm }),
    );
    let config = Config { arms, ..Config::weir_gauge() };
    let hover = Start { airborne: true, height_m: 5.0, ..Start::default() };
    let mut plant = Plant::new(&config, &AirConfig::default(), &hover, 1, 0.001).unwrap();
    let truth = plant.truth();
    assert!(
        truth.body_acceleration_rad_s2.length() < 1e-9 && truth.acceleration_m_s2.length() < 1e-9,
        "{truth:?}"
    );
    assert!(truth.thrust_n.front_left < 0.9 * truth.thrust_n.rear_left);
    // Equal commands instead rotate it.
    let command = Rotors::splat(truth.motor_command.sum() / 4.0);
    for _ in 0..200 {
        plant.advance(command);
    }
    assert!(plant.truth().tilt_rad() > 0.05);
}
