use super::*;
use crate::ImuSample;

const G: f32 = STANDARD_GRAVITY_M_S2;

#[test]
fn each_bad_field_is_named() {
    type Set = fn(&mut Config, f32);
    let fields: [(&str, Set); 7] = [
        ("imu_max_age_s", |c, x| c.imu_max_age_s = x),
        ("imu_position_m", |c, x| c.imu_position_m = Vector::new(0.0, x, 0.0)),
        ("max_sample_age_s", |c, x| c.max_sample_age_s = x),
        ("rotor_drag_per_s", |c, x| c.rotor_drag_per_s = Some(x)),
        ("tilt_time_s", |c, x| c.attitude.tilt_time_s = x),
        ("home_temperature_k", |c, x| c.vertical.home_temperature_k = x),
        ("interval_s", |c, x| c.horizontal.interval_s = x),
    ];
    for (field, set) in fields {
        for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -2.0] {
            let mut config = Config::CONSUMER;
            set(&mut config, x);
            assert_eq!(Estimator::<Libm, 1>::new(&config, 1e-3).unwrap_err().field, field, "{x}");
        }
    }
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
            let imu = ImuSample::from_rates(Vector::new(0.0, 0.0, rate), accel_m_s2, 1e-3);
            let a = estimator.step(&Sensors::from_imu(imu), true).acceleration_m_s2;
            worst = if k > 200 { worst.max(a.norm_squared()) } else { worst };
        }
        worst.sqrt()
    };
    assert!(specific(0.1) < 0.1 && specific(0.0) > 2.0, "{} {}", specific(0.1), specific(0.0));
}

#[test]
fn field_that_comes_with_a_fix_counts_on_the_next_tick_as_one_tick_older() {
    let imu = ImuSample::from_rates(Vector::new(0.1, -0.2, 0.8), Vector::new(0.0, 0.0, -G), 1e-3);
    let plain = Sensors::from_imu(imu);
    let fix = GnssFix {
        position_m: Vector::ZERO,
        velocity_m_s: Vector::ZERO,
        horizontal_accuracy_m: 1.5,
        vertical_accuracy_m: 1.5,
        horizontal_velocity_accuracy_m_s: 0.1,
        vertical_velocity_accuracy_m_s: 0.1,
    };
    let gnss = Some(Sample { value: fix, age_us: 100_000 });
    let field = |age_ms: u32| Some(Sample { value: Vector::new(15.0, 12.0, 45.0), age_us: 1000 * age_ms });
    // Sensors of ticks 300 and 301; the attitudes after both.
    let flown = |first: Sensors, second: Sensors| {
        let mut estimator = Estimator::<Libm, 1>::new(&Config::CONSUMER, 1e-3).unwrap();
        for _ in 0..300 {
            estimator.step(&plain, true);
        }
        (estimator.step(&first, true).attitude, estimator.step(&second, true).attitude)
    };
    let differ =
        |a: Attitude, b: Attitude| a.error_to(b).into_iter().skip(1).map(f32::abs).fold(0.0, f32::max);
    let together = flown(Sensors { gnss, magnetic_field_ut: field(7), ..plain }, plain);
    let next = flown(Sensors { gnss, ..plain }, Sensors { magnetic_field_ut: field(8), ..plain });
    assert!(together.0 == next.0 && differ(together.1, next.1) < 1e-5, "{}", differ(together.1, next.1));
    // A newer sample replaces the one that waits.
    let newer = Sensors { magnetic_field_ut: field(2), ..plain };
    let replaced = flown(Sensors { gnss, magnetic_field_ut: field(7), ..plain }, newer);
    assert_eq!(replaced, flown(Sensors { gnss, ..plain }, newer));
    // Without a fix it counts at once.
    let at_once = flown(Sensors { magnetic_field_ut: field(7), ..plain }, plain);
    assert!(differ(at_once.0, together.0) > 0.1, "{}", differ(at_once.0, together.0));
}
