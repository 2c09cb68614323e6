use super::*;
use crate::{GnssFix, ImuSample};

const G: f32 = STANDARD_GRAVITY_M_S2;

fn estimator(config: &Config) -> Estimator<Libm> {
    Estimator::new(config, 1e-3).unwrap()
}

fn still(attitude: Attitude) -> ImuSample {
    ImuSample::from_rates(Vector::ZERO, attitude.to_body(Vector::new(0.0, 0.0, -G)), 1e-3)
}

fn fix(position_m: Vector<World>, velocity_m_s: Vector<World>) -> GnssFix {
    GnssFix {
        position_m,
        velocity_m_s,
        horizontal_accuracy_m: 1.5,
        vertical_accuracy_m: 2.0,
        horizontal_velocity_accuracy_m_s: 0.1,
        vertical_velocity_accuracy_m_s: 0.2,
    }
}

#[test]
fn each_bad_field_is_named() {
    type Set = fn(&mut Config, f32);
    let fields: [(&str, Set); 7] = [
        ("imu_position_m", |c, x| c.imu_position_m = Vector::new(0.0, x, 0.0)),
        ("imu_max_age_s", |c, x| c.imu_max_age_s = x),
        ("max_sample_age_s", |c, x| c.max_sample_age_s = x),
        ("rotor_drag_per_s", |c, x| c.rotor_drag_per_s = Some(x)),
        ("tilt_time_constant_s", |c, x| c.attitude.tilt_time_constant_s = x),
        ("home_temperature_k", |c, x| c.vertical.home_temperature_k = x),
        ("interval_s", |c, x| c.horizontal.interval_s = x),
    ];
    for (field, set) in fields {
        for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -2.0] {
            let mut config = Config::CONSUMER;
            set(&mut config, x);
            assert_eq!(Estimator::<Libm>::new(&config, 1e-3).unwrap_err().field, field, "{x}");
        }
    }
}

#[test]
fn lever_arm_motion_is_removed() {
    // A craft that spins up about its down axis with the sensor 0.1 m ahead: centripetal and tangential force
    // only.
    let specific = |arm| {
        let config = Config { imu_position_m: Vector::new(arm, 0.0, 0.0), ..Config::CONSUMER };
        let mut estimator = estimator(&config);
        let mut worst = 0.0f32;
        for k in 0..3000 {
            // Stationary for a moment, so that the attitude is initialised upright.
            let (rate, change) = if k < 100 { (0.0, 0.0) } else { (2e-3 * (k - 100) as f32, 2.0) };
            let force = Vector::new(-rate * rate * 0.1, change * 0.1, -G);
            let imu = ImuSample::from_rates(Vector::new(0.0, 0.0, rate), force, 1e-3);
            let a = estimator.step(&Sensors::from_imu(imu), true).acceleration_m_s2;
            worst = if k > 200 { worst.max(a.norm_squared()) } else { worst };
        }
        worst.sqrt()
    };
    assert!(specific(0.1) < 0.1 && specific(0.0) > 2.0, "{} {}", specific(0.1), specific(0.0));
}

#[test]
fn all_slow_samples_of_one_tick_count_on_that_tick() {
    let mut estimator = estimator(&Config::CONSUMER);
    let plain = Sensors::from_imu(still(Attitude::LEVEL));
    (0..300).for_each(|_| {
        estimator.step(&plain, true);
    });
    let state = estimator.step(
        &Sensors {
            pressure_pa: [Some(Sample { value: 100_000.0, age_us: 10_000 })],
            gnss: Some(Sample { value: fix(Vector::new(7.0, -3.0, 0.0), Vector::ZERO), age_us: 100_000 }),
            magnetic_field_ut: Some(Sample { value: Vector::new(20.0, 0.0, 43.0), age_us: 5000 }),
            ..plain
        },
        true,
    );
    assert!(state.heading_valid && state.height_valid && state.position_valid);
    assert!((state.position_m - Vector::new(7.0, -3.0, 0.0)).norm_squared() < 1e-6, "{state:?}");
}

#[test]
fn field_is_rotated_over_its_age() {
    // Turning right at 1.5 rad/s with a field that is 50 ms old, 75 mrad back.
    let heading_error_deg = |stated_us| {
        let mut estimator = estimator(&Config::CONSUMER);
        let heading = |k: u32| Attitude::from_angles::<Libm>(0.0, 0.0, 1.5e-3 * k as f32);
        let imu = ImuSample::from_rates(Vector::new(0.0, 0.0, 1.5), Vector::new(0.0, 0.0, -G), 1e-3);
        let ticks = 20_000;
        for k in 50..ticks {
            let field = heading(k - 50).to_body(Vector::new(20.0, 0.0, 43.0));
            let magnetic_field_ut = (k % 20 == 0).then_some(Sample { value: field, age_us: stated_us });
            estimator.step(&Sensors { magnetic_field_ut, ..Sensors::from_imu(imu) }, true);
        }
        let [w, _, _, z] = estimator.state().attitude.error_to(heading(ticks));
        (2.0 * Libm::atan2(z, w)).to_degrees().abs()
    };
    let (aged, twin) = (heading_error_deg(50_000), heading_error_deg(0));
    assert!(aged < 0.3 && twin > 3.0, "without its age: {aged} {twin}");
}

#[test]
fn wind_is_estimated_in_flight_only() {
    let config = Config { rotor_drag_per_s: Some(0.25), ..Config::CONSUMER };
    // On a slope of 5 deg the accelerometer measures 0.85 m/s2 across: a wind of 3.4 m/s, if that were drag.
    let slope = Attitude::from_angles::<Libm>(0.087, 0.0, 0.0);
    let state = |armed| {
        let mut estimator = estimator(&config);
        let states = (0..6000u32).map(|k| {
            let gnss = (k % 200 == 0).then_some(Sample { value: fix(Vector::ZERO, Vector::ZERO), age_us: 0 });
            estimator.step(&Sensors { gnss, ..Sensors::from_imu(still(slope)) }, armed)
        });
        states.last().unwrap()
    };
    let (ground, flight) = (state(false), state(true));
    assert!(ground.position_valid && !ground.wind_valid && ground.wind_m_s == Vector::ZERO, "{ground:?}");
    assert!(flight.wind_valid && flight.wind_m_s.y().abs() > 1.0, "{flight:?}");
}

#[test]
fn height_follows_barometers_and_without_them_gnss() {
    let height_m = |pressure: bool| {
        let mut estimator = Estimator::<Libm, 1, 2>::new(&Config::CONSUMER, 1e-3).unwrap();
        estimator.set_home_pressure([100_000.0, 100_300.0]);
        let sensors = Sensors::from_imu(still(Attitude::LEVEL));
        let states = (0..5000u32).map(|k| {
            let sample = |value| (pressure && k % 20 == 0).then_some(Sample { value, age_us: 0 });
            // 5.05 m by pressure, 9 m by GNSS.
            let pressure_pa = [sample(99_940.0), sample(100_240.0)];
            let value = fix(Vector::new(0.0, 0.0, -9.0), Vector::ZERO);
            let gnss = (k % 200 == 0).then_some(Sample { value, age_us: 0 });
            estimator.step(&Sensors { pressure_pa, gnss, ..sensors }, true)
        });
        -states.last().unwrap().position_m.z()
    };
    assert!((height_m(true) - 5.05).abs() < 0.1 && (height_m(false) - 9.0).abs() < 1e-3);
}

#[test]
fn without_an_inertial_sample_the_last_rate_is_kept() {
    let mut estimator = estimator(&Config::CONSUMER);
    let imu = ImuSample::from_rates(Vector::new(0.0, 0.0, 0.5), Vector::new(0.0, 0.0, -G), 1e-3);
    for _ in 0..100 {
        assert!(estimator.step(&Sensors::from_imu(imu), true).imu_usable);
    }
    let late = ImuSample { age_us: 5001, ..still(Attitude::LEVEL) };
    for missing in [late, ImuSample::MISSING] {
        let state = estimator.step(&Sensors::from_imu(missing), true);
        assert!(!state.imu_usable && (state.rate_rad_s.z() - 0.5).abs() < 1e-4, "{state:?}");
        assert_eq!(state.acceleration_m_s2, Vector::ZERO);
    }
}

/// Samples of every sensor at its own rate, different on every tick.
fn busy(k: u32) -> Sensors<2, 2> {
    let wobble = |n: u32| (k * n % 13) as f32 * 0.01 - 0.06;
    let force = Vector::new(wobble(3), wobble(5), -G + wobble(7));
    let imu = ImuSample::from_rates(Vector::new(wobble(2), wobble(9), wobble(4)), force, 1e-3);
    let other = ImuSample { age_us: 1000 * (k % 7), ..imu };
    let pressure = |every, value| k.is_multiple_of(every).then_some(Sample { value, age_us: 8000 });
    let value = fix(Vector::new(wobble(3), wobble(8), -1.0), Vector::new(wobble(6), wobble(1), 0.0));
    Sensors {
        imu: [imu, other],
        pressure_pa: [pressure(20, 100_000.0 + wobble(6)), pressure(27, 100_300.0 + wobble(7))],
        gnss: k.is_multiple_of(200).then_some(Sample { value, age_us: 130_000 }),
        magnetic_field_ut: k
            .is_multiple_of(11)
            .then_some(Sample { value: Vector::new(20.0, wobble(5), 43.0), age_us: 4000 }),
        ..Sensors::from_imu(imu)
    }
}

fn flown(estimator: &mut Estimator<Libm, 2, 2>, ticks: core::ops::Range<u32>) -> State {
    ticks.map(|k| estimator.step(&busy(k), k > 2000)).last().unwrap()
}

#[test]
fn save_restore_and_reset_are_bit_exact() {
    let config = Config {
        rotor_drag_per_s: Some(0.3),
        imu_position_m: Vector::new(0.02, 0.0, 0.01),
        ..Config::CONSUMER
    };
    let mut one = Estimator::new(&config, 1e-3).unwrap();
    let first = flown(&mut one, 0..5003);
    assert!(first.wind_valid && first.height_valid && first.heading_valid, "{first:?}");
    let mut other = Estimator::new(&config, 1e-3).unwrap();
    other.restore(&one.save());
    assert_eq!(flown(&mut one, 5003..8000), flown(&mut other, 5003..8000));
    assert_eq!(one.save(), other.save());
    one.reset();
    assert_eq!(one.save(), Estimator::<Libm, 2, 2>::new(&config, 1e-3).unwrap().save());
    assert_eq!(flown(&mut one, 0..5003), first);
}

#[cfg(feature = "serde")]
#[test]
fn saved_state_survives_serde_bit_for_bit() {
    extern crate std;
    let mut one = Estimator::new(&Config::CONSUMER, 1e-3).unwrap();
    flown(&mut one, 0..3001);
    let mut bytes = std::vec::Vec::new();
    ciborium::into_writer(&one.save(), &mut bytes).unwrap();
    let back: EstimatorState<2, 2> = ciborium::from_reader(bytes.as_slice()).unwrap();
    assert_eq!(back, one.save());
    // A block of another size is refused, as is an invalid attitude.
    assert!(ciborium::from_reader::<EstimatorState<3, 2>, _>(bytes.as_slice()).is_err());
    assert!(ciborium::from_reader::<EstimatorState<1, 2>, _>(bytes.as_slice()).is_err());
    bytes.clear();
    ciborium::into_writer(&[1.0f32, 0.1, 0.0, 0.0], &mut bytes).unwrap();
    assert!(ciborium::from_reader::<Attitude, _>(bytes.as_slice()).is_err());
    bytes.clear();
    ciborium::into_writer(&busy(0), &mut bytes).unwrap();
    assert_eq!(ciborium::from_reader::<Sensors<2, 2>, _>(bytes.as_slice()).unwrap(), busy(0));
}
