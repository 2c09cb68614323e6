//! Each kind of fault: its effect while it is active, and its end. The twin of each is the same craft without
//! the fault.

use aplomb_craft::fault::{RotorFault, Sensor, SensorFault, What};
use aplomb_craft::glam::DVec3;
use aplomb_craft::{
    AirConfig, Config, Corner, Fault, Plant, Readings, Reason, Rotors, Start, Truth, rotor, sensors,
};

const TICK_S: f64 = 0.001;

fn hover() -> Start {
    Start { airborne: true, height_m: 50.0, ..Start::default() }
}

/// From tick 100 until tick 200.
fn fault(what: What) -> Fault {
    Fault { from_s: 0.1, until_s: 0.2, what }
}

fn on_front_left(fault_: RotorFault) -> Fault {
    fault(What::Rotor(Corner::FrontLeft, fault_))
}

fn of(sensor: Sensor, kind: SensorFault) -> Fault {
    fault(What::Sensor(sensor, kind))
}

/// Readings and truth at ticks 0 to 299 under commands that differ from rotor to rotor and from tick to tick.
fn flown_on(config: &Config, faults: &[Fault]) -> Vec<(Readings, Truth)> {
    let plant = Plant::new(config, &AirConfig::default(), &hover(), 1, TICK_S).unwrap();
    let mut plant = plant.with_faults(faults).unwrap();
    let trim = plant.truth().motor_command;
    (0..300)
        .map(|tick| {
            let seen = (plant.sense(), plant.truth());
            let more = 1e-4 * f64::from(tick);
            plant.advance(Rotors::from_array([0.0, more, 2.0 * more, -more]).zip(trim).map(|(a, b)| a + b));
            seen
        })
        .collect()
}

/// No noise and no delay, so that the samples are the truth.
fn quiet() -> Config {
    let mut config = Config { sensors: sensors::Config::ideal(), ..Config::weir_gauge() };
    config.speed_controller.delay_s = 0.0;
    config.speed_controller.steps = 0;
    config
}

fn flown(faults: &[Fault]) -> Vec<(Readings, Truth)> {
    flown_on(&quiet(), faults)
}

fn command(seen: &(Readings, Truth)) -> f64 {
    seen.1.motor_command.front_left
}

#[test]
fn stuck_speed_controller_keeps_its_command() {
    let fault = fault(What::Rotor(Corner::RearLeft, RotorFault::Stuck));
    let (faulty, sound) = (flown(&[fault]), flown(&[]));
    let at = |run: &[(Readings, Truth)], tick: usize| run[tick].1.motor_command.rear_left;
    // The command of tick k is in force from tick k to k + 1 and shown at k + 1.
    assert_eq!(at(&faulty, 100), at(&sound, 100));
    assert!((101..=200).all(|tick| at(&faulty, tick) == at(&sound, 100)));
    assert!((201..300).all(|tick| at(&faulty, tick) == at(&sound, tick)));
    assert_ne!(at(&sound, 150), at(&sound, 100));
}

#[test]
fn dropped_out_motor_stops_and_recovers() {
    let (faulty, sound) = (flown(&[on_front_left(RotorFault::DroppedOut)]), flown(&[]));
    assert!((101..=200).all(|tick| command(&faulty[tick]) == 0.0));
    assert_eq!(command(&faulty[201]), command(&sound[201]));
    let speed = |run: &[(Readings, Truth)], tick: usize| run[tick].1.rotor_speed_rad_s.front_left;
    assert!(speed(&faulty, 200) < 0.2 * speed(&sound, 200), "{}", speed(&faulty, 200));
    assert!(speed(&faulty, 299) > 0.7 * speed(&sound, 299), "{}", speed(&faulty, 299));
}

#[test]
fn scaled_command_is_multiplied() {
    let (faulty, sound) = (flown(&[on_front_left(RotorFault::Scale(0.5))]), flown(&[]));
    assert_eq!(command(&faulty[150]), 0.5 * command(&sound[150]));
    assert_eq!(command(&faulty[100]), command(&sound[100]));
    assert_eq!(command(&faulty[201]), command(&sound[201]));
}

#[test]
fn delayed_command_acts_later() {
    let fault = fault(What::Rotor(Corner::RearLeft, RotorFault::Delay(0.02)));
    let (faulty, sound) = (flown(&[fault]), flown(&[]));
    let at = |run: &[(Readings, Truth)], tick: usize| run[tick].1.motor_command.rear_left;
    assert!((101..=200).all(|tick| at(&faulty, tick) == at(&sound, tick - 20)));
    assert!((201..300).all(|tick| at(&faulty, tick) == at(&sound, tick)));
}

#[test]
fn swapped_wiring_exchanges_the_commands() {
    let swapped = fault(What::SwappedWiring(Corner::FrontRight, Corner::RearLeft));
    let (faulty, sound) = (flown(&[swapped]), flown(&[]));
    let (got, sent) = (faulty[150].1.motor_command, sound[150].1.motor_command);
    assert_eq!((got.front_right, got.rear_left), (sent.rear_left, sent.front_right));
    assert_ne!(sent.rear_left, sent.front_right);
    assert_eq!(faulty[201].1.motor_command, sound[201].1.motor_command);
}

/// Thrust over the square of the speed.
fn lift(seen: &(Readings, Truth)) -> f64 {
    seen.1.thrust_n.front_left / seen.1.rotor_speed_rad_s.front_left.powi(2)
}

#[test]
fn loss_of_effectiveness_reduces_thrust_and_torque() {
    let mut config = quiet();
    config.rotor.inflow = rotor::Inflow::Constant;
    let faulty = flown_on(&config, &[on_front_left(RotorFault::LossOfEffectiveness(0.15))]);
    // The air density rises slightly as the craft descends.
    let turn = |seen: &(Readings, Truth)| seen.1.torque_nm.front_left / seen.1.thrust_n.front_left;
    let sound = lift(&faulty[100]);
    assert!((lift(&faulty[150]) / sound - 0.85).abs() < 1e-7, "{}", lift(&faulty[150]) / sound);
    assert!((turn(&faulty[150]) / turn(&faulty[100]) - 1.0).abs() < 1e-12);
    // The propeller with less torque turns faster on the same command; the front left corner descends.
    let last = faulty[200].1;
    assert!(last.rotor_speed_rad_s.front_left > faulty[100].1.rotor_speed_rad_s.front_left + 1.0);
    assert!(last.body_rate_rad_s.x < -0.1 && last.body_rate_rad_s.y < -0.1, "{}", last.body_rate_rad_s);
    assert!((lift(&faulty[202]) / sound - 1.0).abs() < 1e-6);
}

#[test]
fn chipped_blade_vibrates_and_has_less_thrust() {
    let mut config = quiet();
    config.rotor.imbalance_kg_m = 0.0;
    config.rotor.blade_pass_share = 0.0;
    config.rotor.inflow = rotor::Inflow::Constant;
    config.sensors.imu.as_mut().unwrap().vibration_gain = 1.0;
    let chip = RotorFault::ChippedBlade { loss_share: 0.1, imbalance_kg_m: 2e-5 };
    let (faulty, sound) = (flown_on(&config, &[on_front_left(chip)]), flown_on(&config, &[]));
    let shaking = |from: usize| {
        let square = |tick: usize| {
            let accel = |run: &[(Readings, Truth)]| run[tick].0.imu.unwrap().value.accel_m_s2;
            (accel(&faulty) - accel(&sound)).truncate().length_squared()
        };
        ((from..from + 90).map(square).sum::<f64>() / 90.0).sqrt()
    };
    // A rotating force m e w^2 has the same size on both axes of the plane at any time.
    let speed = faulty[150].1.rotor_speed_rad_s.front_left;
    let expected = 2e-5 * speed * speed / config.mass_kg;
    assert!((shaking(105) / expected - 1.0).abs() < 0.1, "{} {expected}", shaking(105));
    assert!(shaking(5) == 0.0);
    assert!((lift(&faulty[150]) / lift(&faulty[100]) - 0.9).abs() < 1e-6);
    assert!((lift(&faulty[205]) / lift(&faulty[100]) - 1.0).abs() < 1e-6);
    // After the end only the drag of the tilted craft remains.
    assert!(shaking(205) < 0.1 * expected, "{}", shaking(205));
}

#[test]
fn seized_rotor_stops_and_its_momentum_goes_to_the_frame() {
    let mut config = quiet();
    config.drag = Default::default();
    let (faulty, sound) = (flown_on(&config, &[on_front_left(RotorFault::Seized)]), flown_on(&config, &[]));
    let speed = |tick: usize| faulty[tick].1.rotor_speed_rad_s.front_left;
    assert!(speed(100) > 300.0 && (101..=200).all(|tick| speed(tick) == 0.0));
    // A counter-clockwise rotor has negative rate about body z: the frame gets the yaw rate -J w over its
    // inertia, nose left.
    let jerk = faulty[101].1.body_rate_rad_s.z - sound[101].1.body_rate_rad_s.z;
    let expected = -config.rotor.inertia_kg_m2 * speed(100) / config.inertia_kg_m2[2][2];
    assert!((jerk / expected - 1.0).abs() < 0.02, "{jerk} {expected}");
    assert!(faulty[150].1.thrust_n.front_left.abs() < 0.05, "{}", faulty[150].1.thrust_n.front_left);
    assert!(speed(299) > 300.0, "{}", speed(299));
}

#[test]
fn reversed_rotor_has_negative_thrust_and_reversed_reaction() {
    let lasting = |what| Fault { from_s: 0.0, until_s: f64::INFINITY, what };
    let reversed = lasting(What::Rotor(Corner::FrontLeft, RotorFault::Reversed));
    for inflow in [rotor::Inflow::Constant, Config::weir_gauge().rotor.inflow] {
        let mut config = quiet();
        config.rotor.inflow = inflow;
        let run = |faults: &[Fault]| {
            let plant = Plant::new(&config, &AirConfig::default(), &Start::default(), 1, TICK_S).unwrap();
            let mut plant = plant.with_faults(faults).unwrap();
            // On the ground: a command too low to lift off.
            (0..400).for_each(|_| plant.advance(Rotors { front_left: 0.4, ..Rotors::splat(0.0) }));
            plant.truth()
        };
        let (faulty, sound) = (run(&[reversed]), run(&[]));
        let share = faulty.thrust_n.front_left / sound.thrust_n.front_left;
        assert!((-0.9..-0.2).contains(&share), "{inflow:?}: {share}");
        assert!(faulty.torque_nm.front_left > 0.0 && faulty.rotor_speed_rad_s.front_left > 200.0);
    }
    // Airborne: the reaction changes its sign, and returns at the end.
    let config = Config { drag: Default::default(), ..quiet() };
    let run = flown_on(&config, &[on_front_left(RotorFault::Reversed)]);
    assert_eq!(run[101].1.rotor_speed_rad_s.front_left, 0.0);
    assert!(run[180].1.thrust_n.front_left < -0.3, "{}", run[180].1.thrust_n.front_left);
    assert_eq!(run[201].1.rotor_speed_rad_s.front_left, 0.0);
    assert!(run[299].1.thrust_n.front_left > 0.5, "{}", run[299].1.thrust_n.front_left);
}

#[test]
fn reversal_conserves_angular_momentum() {
    // Without aerodynamic torque the total angular momentum of rotors and frame is constant.
    let mut config = quiet();
    config.drag = Default::default();
    config.rotor.inflow = rotor::Inflow::Constant;
    config.rotor.thrust_n_s2 = 1e-12;
    config.rotor.torque_nm_s2 = 1e-16;
    let start = Start { rotors_stopped: true, ..hover() };
    let mut plant = Plant::new(&config, &AirConfig::default(), &start, 1, TICK_S)
        .unwrap()
        .with_faults(&[on_front_left(RotorFault::Reversed)])
        .unwrap();
    let momentum = |plant: &Plant| {
        let truth = plant.truth();
        let turned = (0.1..0.2).contains(&(truth.time_s - 1.5 * TICK_S));
        let sense = if turned { 1.0 } else { -1.0 };
        config.inertia_kg_m2[2][2] * truth.body_rate_rad_s.z
            + config.rotor.inertia_kg_m2 * sense * truth.rotor_speed_rad_s.front_left
    };
    let mut largest: f64 = 0.0;
    for _ in 0..300 {
        plant.advance(Rotors { front_left: 0.3, ..Rotors::splat(0.0) });
        largest = largest.max(momentum(&plant).abs());
    }
    let whole = config.rotor.inertia_kg_m2 * plant.truth().rotor_speed_rad_s.front_left;
    assert!(largest < 1e-3 * whole, "{largest} {whole}");
}

#[test]
fn stuck_sensor_repeats_its_last_value() {
    let (faulty, sound) = (flown(&[of(Sensor::Gyro, SensorFault::Stuck)]), flown(&[]));
    let at = |run: &[(Readings, Truth)], tick: usize| run[tick].0.imu.unwrap().value;
    assert!((100..200).all(|tick| at(&faulty, tick).gyro_rad_s == at(&sound, 99).gyro_rad_s));
    assert!((100..200).all(|tick| at(&faulty, tick).accel_m_s2 == at(&sound, tick).accel_m_s2));
    assert!((200..300).all(|tick| at(&faulty, tick) == at(&sound, tick)));
    assert_ne!(at(&sound, 150).gyro_rad_s, at(&sound, 99).gyro_rad_s);
    // The barometer still delivers samples, at the last height.
    let faulty = flown(&[of(Sensor::Barometer, SensorFault::Stuck)]);
    let pressure = |run: &[(Readings, Truth)], tick: usize| run[tick].0.pressure_pa.map(|one| one.value);
    let last = (0..100).rev().find_map(|tick| pressure(&sound, tick));
    let shown: Vec<_> = (100..200).filter_map(|tick| pressure(&faulty, tick)).collect();
    assert_eq!(shown, vec![last.unwrap(); 5]);
}

#[test]
fn dropped_out_sensor_has_no_samples_until_the_end() {
    let present = |run: &[(Readings, Truth)], sensor: Sensor| -> Vec<bool> {
        run.iter()
            .map(|(readings, _)| match sensor {
                Sensor::Imu | Sensor::Gyro | Sensor::Accelerometer => readings.imu.is_some(),
                Sensor::Barometer => readings.pressure_pa.is_some(),
                Sensor::Gnss => readings.gnss.is_some(),
                Sensor::Magnetometer => readings.magnetic_field_ut.is_some(),
            })
            .collect()
    };
    let sound = flown(&[]);
    for sensor in [
        Sensor::Imu,
        Sensor::Gyro,
        Sensor::Accelerometer,
        Sensor::Barometer,
        Sensor::Gnss,
        Sensor::Magnetometer,
    ] {
        // The GNSS receiver delivers at tick 0, 200, ...
        let ending = Fault { from_s: 0.0, until_s: 0.2, what: What::Sensor(sensor, SensorFault::DroppedOut) };
        let (faulty, sound) = (present(&flown(&[ending]), sensor), present(&sound, sensor));
        assert!(faulty[..200].iter().all(|there| !there) && sound[..200].contains(&true), "{sensor:?}");
        assert_eq!(faulty[200..], sound[200..], "{sensor:?}");
    }
}

#[test]
fn sensor_returns_nan_or_is_offset_or_scaled() {
    let sound = flown(&[]);
    let field = |run: &[(Readings, Truth)], tick: usize| run[tick].0.magnetic_field_ut.unwrap().value;
    // Tick 140 holds a sample of the magnetometer; 200 is after the end.
    for (kind, expected) in [
        (SensorFault::Offset([1.0, -2.0, 3.0]), field(&sound, 140) + DVec3::new(1.0, -2.0, 3.0)),
        (SensorFault::Scale(1.5), field(&sound, 140) * 1.5),
    ] {
        let faulty = flown(&[of(Sensor::Magnetometer, kind)]);
        assert_eq!(field(&faulty, 140), expected);
        assert_eq!(field(&faulty, 200), field(&sound, 200));
    }
    let faulty = flown(&[of(Sensor::Accelerometer, SensorFault::NotANumber)]);
    let sample = faulty[150].0.imu.unwrap().value;
    assert!(sample.accel_m_s2.is_nan() && sample.gyro_rad_s.is_finite());
    assert!(faulty[200].0.imu.unwrap().value.accel_m_s2.is_finite());
    let faulty = flown(&[of(Sensor::Barometer, SensorFault::Offset([60.0, 0.0, 0.0]))]);
    let pressure = |run: &[(Readings, Truth)]| run[140].0.pressure_pa.unwrap().value;
    assert_eq!(pressure(&faulty), pressure(&sound) + 60.0);
}

#[test]
fn gnss_offset_leaves_the_velocity_unchanged() {
    let jump = What::Sensor(Sensor::Gnss, SensorFault::Offset([30.0, -20.0, 5.0]));
    let (faulty, sound) =
        (flown(&[Fault { from_s: 0.2, until_s: 0.201, what: jump }])[200].0, flown(&[])[200].0);
    let (faulty, sound) = (faulty.gnss.unwrap().value, sound.gnss.unwrap().value);
    assert_eq!(faulty.position_m, sound.position_m + DVec3::new(30.0, -20.0, 5.0));
    assert_eq!(faulty.velocity_m_s, sound.velocity_m_s);
}

#[test]
fn delayed_sensor_keeps_its_stated_age() {
    let (faulty, sound) = (flown(&[of(Sensor::Imu, SensorFault::Delay(0.03))]), flown(&[]));
    assert!((100..200).all(|tick| faulty[tick].0.imu == sound[tick - 30].0.imu));
    assert!((200..300).all(|tick| faulty[tick].0.imu == sound[tick].0.imu));
    // Samples at tick 80, 100, 120, ...: 30 ticks later at 110, 130, ...
    let faulty = flown(&[of(Sensor::Barometer, SensorFault::Delay(0.03))]);
    let arrived: Vec<usize> = (100..200).filter(|&tick| faulty[tick].0.pressure_pa.is_some()).collect();
    assert_eq!(arrived, [110, 130, 150, 170, 190]);
    assert_eq!(faulty[110].0.pressure_pa, sound[80].0.pressure_pa);
}

#[test]
fn faults_of_one_part_apply_in_order() {
    let faults = [
        of(Sensor::Magnetometer, SensorFault::Offset([10.0, 0.0, 0.0])),
        of(Sensor::Magnetometer, SensorFault::Scale(2.0)),
    ];
    let (faulty, sound) = (flown(&faults)[140].0, flown(&[])[140].0);
    let expected = (sound.magnetic_field_ut.unwrap().value + DVec3::new(10.0, 0.0, 0.0)) * 2.0;
    assert_eq!(faulty.magnetic_field_ut.unwrap().value, expected);
}

#[test]
fn impossible_faults_are_refused_by_name() {
    let refused = |config: &Config, fault: Fault| {
        let plant = Plant::new(config, &AirConfig::default(), &hover(), 1, TICK_S).unwrap();
        plant.with_faults(&[fault]).unwrap_err()
    };
    let config = Config::weir_gauge();
    let stuck = of(Sensor::Gyro, SensorFault::Stuck);
    for bad in [f64::NAN, f64::INFINITY, -1.0] {
        let error = refused(&config, Fault { from_s: bad, until_s: f64::INFINITY, ..stuck });
        assert_eq!(error.field, "fault.from_s", "{bad}");
        let cases = [
            ("fault.scale", on_front_left(RotorFault::Scale(bad))),
            ("fault.delay_s", on_front_left(RotorFault::Delay(bad))),
            ("fault.loss_share", on_front_left(RotorFault::LossOfEffectiveness(bad))),
            (
                "fault.loss_share",
                on_front_left(RotorFault::ChippedBlade { loss_share: bad, imbalance_kg_m: 0.0 }),
            ),
            (
                "fault.imbalance_kg_m",
                on_front_left(RotorFault::ChippedBlade { loss_share: 0.0, imbalance_kg_m: bad }),
            ),
            ("fault.delay_s", of(Sensor::Imu, SensorFault::Delay(bad))),
        ];
        for (field, fault) in cases {
            assert_eq!(refused(&config, fault).field, field, "{bad}");
        }
    }
    for bad in [f64::NAN, 0.1, 0.0] {
        assert_eq!(refused(&config, Fault { until_s: bad, ..stuck }).field, "fault.until_s", "{bad}");
    }
    for bad in [f64::NAN, f64::INFINITY] {
        let offset = of(Sensor::Gyro, SensorFault::Offset([0.0, bad, 0.0]));
        assert_eq!(refused(&config, offset).field, "fault.offset");
        assert_eq!(refused(&config, of(Sensor::Gyro, SensorFault::Scale(bad))).field, "fault.scale");
    }
    assert_eq!(
        refused(&config, of(Sensor::Imu, SensorFault::Scale(2.0))).reason,
        Reason::NeedsGyroOrAccelerometer
    );
    let twice = fault(What::SwappedWiring(Corner::RearLeft, Corner::RearLeft));
    assert_eq!(refused(&config, twice).reason, Reason::SameRotor);
    let bare = Config { sensors: sensors::Config::default(), ..config };
    assert_eq!(refused(&bare, stuck).reason, Reason::NotFitted);
}
