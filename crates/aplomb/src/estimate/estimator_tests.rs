use super::*;
use crate::ImuSample;

const G: f32 = STANDARD_GRAVITY_M_S2;

#[test]
fn each_bad_field_is_named() {
    type Set = fn(&mut Config, f32);
    let fields: [(&str, Set); 6] = [
        ("imu_position_m", |c, x| c.imu_position_m = Vector::new(0.0, x, 0.0)),
        ("longest_delay_s", |c, x| c.longest_delay_s = x),
        ("rotor_drag_per_s", |c, x| c.rotor_drag_per_s = Some(x)),
        ("tilt_time_s", |c, x| c.attitude.tilt_time_s = x),
        ("home_k", |c, x| c.vertical.home_k = x),
        ("interval_s", |c, x| c.horizontal.interval_s = x),
    ];
    for (field, set) in fields {
        for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -2.0] {
            let mut config = Config::CONSUMER;
            set(&mut config, x);
            assert_eq!(Estimator::<Libm, 1>::new(&config, 1e-3).unwrap_err().field, field, "{x}");
        }
    }
    let none = Config { imu_stale_ticks: 0, ..Config::CONSUMER };
    assert_eq!(Estimator::<Libm, 2>::new(&none, 1e-3).unwrap_err().field, "imu_stale_ticks");
}

#[test]
fn lever_arm_motion_is_taken_out() {
    // A craft that spins up about its down axis with the sensor 0.1 m ahead: centripetal and tangential force only.
    let specific = |arm| {
        let config = Config { imu_position_m: Vector::new(arm, 0.0, 0.0), ..Config::CONSUMER };
        let mut estimator = Estimator::<Libm, 1>::new(&config, 1e-3).unwrap();
        let mut worst = 0.0f32;
        for k in 0..3000 {
            // Still for a moment, so that the attitude is seeded upright.
            let (rate, change) = if k < 100 { (0.0, 0.0) } else { (2e-3 * (k - 100) as f32, 2.0) };
            let accel_m_s2 = Vector::new(-rate * rate * 0.1, change * 0.1, -G);
            let imu = ImuSample { gyro_rad_s: Vector::new(0.0, 0.0, rate), accel_m_s2, age_ticks: 0 };
            let a = estimator.step(&Sensors::from_imu(imu), true).acceleration_m_s2;
            worst = if k > 200 { worst.max(a.norm_squared()) } else { worst };
        }
        worst.sqrt()
    };
    assert!(specific(0.1) < 0.1 && specific(0.0) > 2.0, "{} {}", specific(0.1), specific(0.0));
}
