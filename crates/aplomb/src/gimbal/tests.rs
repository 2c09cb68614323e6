use super::*;

const PERIOD_S: f32 = 1e-3;

fn config() -> Config {
    let travel = Joints { yaw: 2.0, roll: 0.6, pitch: 1.0 };
    Config::for_camera([6e-5, 7e-5, 6e-5], travel, 0.05, 0.006, PERIOD_S).unwrap()
}

fn angle(rad: f32) -> Angle {
    Angle::from_rad::<Libm>(rad)
}

fn joints(yaw: f32, roll: f32, pitch: f32) -> Joints<Angle> {
    Joints { yaw: angle(yaw), roll: angle(roll), pitch: angle(pitch) }
}

#[test]
fn joint_angles_of_a_rotation_reproduce_it() {
    for (yaw, roll, pitch) in [(0.0, 0.0, 0.0), (2.0, -0.5, 0.9), (-3.0, 1.2, -1.5)] {
        let rotation = joints(yaw, roll, pitch).rotation();
        let reference =
            Mat3::from_rotation_z(yaw) * Mat3::from_rotation_x(roll) * Mat3::from_rotation_y(pitch);
        assert!(rotation.abs_diff_eq(reference, 2e-6));
        let found = Joints::from_rotation::<Libm>(&rotation).unwrap();
        assert!(found.rotation().abs_diff_eq(reference, 2e-6));
    }
    assert!(Joints::from_rotation::<Libm>(&joints(0.0, 1.56, 0.0).rotation()).is_none());
}

#[test]
fn target_beyond_the_travel_is_limited_joint_by_joint() {
    let gimbal: Gimbal = Gimbal::new(&config(), PERIOD_S).unwrap();
    let readings = Readings { gyro_rad_s: Vector::ZERO, joints: Joints::default() };
    let level = Mat3::IDENTITY;
    let (target, limited) = gimbal.target(&level, &joints(0.3, 0.2, -1.3).rotation(), &readings);
    assert!(limited && target.abs_diff_eq(joints(0.3, 0.2, -1.0).rotation(), 2e-6));
    let (target, limited) = gimbal.target(&level, &joints(-2.5, 0.2, 0.4).rotation(), &readings);
    assert!(limited && target.abs_diff_eq(joints(-2.0, 0.2, 0.4).rotation(), 2e-6));
    let (target, limited) = gimbal.target(&level, &joints(1.9, -0.5, 0.9).rotation(), &readings);
    assert!(!limited && target.abs_diff_eq(joints(1.9, -0.5, 0.9).rotation(), 2e-6));
}

/// A balanced camera on the joints of a level, stationary craft, with `delay` ticks between gyro and torque,
/// for 2 s from level to a line of sight 0.2 rad down: the furthest and the last angle below the horizon in
/// rad.
fn step_down(config: &Config, delay: usize) -> (f32, f32) {
    let mut gimbal: Gimbal = Gimbal::new(config, PERIOD_S).unwrap();
    let (mut pitch, mut rate, mut furthest) = (0.0f32, 0.0f32, 0.0f32);
    let mut torques = [0.0; 32];
    let commanded = LineOfSight { heading: Heading::NORTH, elevation: angle(-0.2) };
    for tick in 0..2000 {
        let readings = Readings { gyro_rad_s: Vector::new(0.0, rate, 0.0), joints: joints(0.0, 0.0, pitch) };
        torques[(tick + delay) % 32] = gimbal.step(&readings, Attitude::LEVEL, &commanded).torque_nm.pitch;
        rate += torques[tick % 32] / config.inertia_kg_m2[1] * 1e-3;
        pitch += rate * 1e-3;
        furthest = furthest.max(-pitch);
    }
    (furthest, -pitch)
}

#[test]
fn line_of_sight_settles_and_oscillates_with_a_longer_delay_than_configured() {
    let (furthest, last) = step_down(&config(), 6);
    assert!((last - 0.2).abs() < 1e-3, "{last}");
    assert!(furthest < 0.2 * 1.25, "{furthest}");
    assert!(step_down(&config(), 24).0 > 0.3);
}

#[test]
fn constant_gyro_bias_is_estimated_from_the_joints() {
    let mut gimbal: Gimbal = Gimbal::new(&config(), PERIOD_S).unwrap();
    let readings = Readings { gyro_rad_s: Vector::new(0.004, -0.003, 0.002), joints: Joints::default() };
    let commanded = LineOfSight { heading: Heading::NORTH, elevation: Angle::ZERO };
    for _ in 0..20_000 {
        let _ = gimbal.step(&readings, Attitude::LEVEL, &commanded);
    }
    assert!((gimbal.state().gyro_bias_rad_s() - Vector::new(0.004, -0.003, 0.002)).norm_squared() < 1e-10);
}

#[test]
fn readings_that_are_not_finite_give_no_torque_and_change_nothing() {
    let mut gimbal: Gimbal = Gimbal::new(&config(), PERIOD_S).unwrap();
    let commanded = LineOfSight { heading: Heading::NORTH, elevation: angle(0.3) };
    let good = Readings { gyro_rad_s: Vector::new(0.1, 0.0, 0.0), joints: joints(0.1, 0.1, 0.1) };
    let _ = gimbal.step(&good, Attitude::LEVEL, &commanded);
    for bad in [f32::NAN, f32::INFINITY] {
        let before = gimbal.state();
        let readings = Readings { gyro_rad_s: Vector::new(0.0, bad, 0.0), ..good };
        assert_eq!(gimbal.step(&readings, Attitude::LEVEL, &commanded), Output::default());
        assert_eq!(gimbal.state(), before);
    }
}

#[test]
fn torque_stays_within_its_limit_whatever_the_error() {
    let limit = 0.001;
    let mut gimbal: Gimbal = Gimbal::new(&Config { torque_limit_nm: limit, ..config() }, PERIOD_S).unwrap();
    let commanded = LineOfSight { heading: Heading::from_rad::<Libm>(1.5), elevation: angle(0.5) };
    let readings = Readings { gyro_rad_s: Vector::new(3.0, -9.0, 6.0), joints: joints(0.5, 0.4, 0.3) };
    let output = gimbal.step(&readings, Attitude::LEVEL, &commanded);
    let Joints { yaw, roll, pitch } = output.torque_nm;
    assert!(output.torque_limited && [yaw, roll, pitch].iter().all(|torque| torque.abs() <= limit));
    assert_eq!(gimbal.state().integral_rad_s2, Vector::ZERO);
}

#[test]
fn bad_fields_are_named() {
    type Set = fn(&mut Config, f32);
    let fields: [(&str, Set); 8] = [
        ("inertia_kg_m2", |c, v| c.inertia_kg_m2[2] = v),
        ("travel_rad", |c, v| c.travel_rad.roll = v),
        ("torque_limit_nm", |c, v| c.torque_limit_nm = v),
        ("rate_crossover_rad_s", |c, v| c.rate_crossover_rad_s = v),
        ("integral_time_s", |c, v| c.integral_time_s = v),
        ("angle_crossover_rad_s", |c, v| c.angle_crossover_rad_s = v),
        ("rate_limit_rad_s", |c, v| c.rate_limit_rad_s = v),
        ("correction_time_s", |c, v| c.correction_time_s = v),
    ];
    for (name, set) in fields {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            let mut config = config();
            set(&mut config, bad);
            assert_eq!(Gimbal::<Libm>::new(&config, PERIOD_S).unwrap_err().field, name, "{bad}");
        }
    }
}

#[test]
fn period_out_of_range_is_refused() {
    for bad in [f32::NAN, 0.0, 1e-5, 0.011] {
        assert_eq!(Gimbal::<Libm>::new(&config(), bad).unwrap_err().field, "period_s");
    }
}
