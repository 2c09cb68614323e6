//! Sensors against their parameters: lever arm, low-pass, aliasing, GNSS and barometer statistics.

use aplomb_craft::glam::DVec3;
use aplomb_craft::sensors::{barometer, gnss, imu, magnetometer};
use aplomb_craft::{AirConfig, Config, Plant, Readings, Rotors, Start, Truth, rotor, sensors};
use std::f64::consts::PI;

/// The demo craft with these sensors, and propellers without aerodynamic torque.
fn with(sensors: sensors::Config) -> Config {
    let mut config = Config { sensors, ..Config::weir_gauge() };
    config.rotor.inflow = rotor::Inflow::Constant;
    config
}

/// Readings and truth of a stationary craft with stopped rotors.
fn standing(sensors: sensors::Config, seed: u64, ticks: usize, mut each: impl FnMut(&Readings, &Truth)) {
    let mut plant =
        Plant::new(&with(sensors), &AirConfig::default(), &Start::default(), seed, 0.001).unwrap();
    for _ in 0..ticks {
        let readings = plant.sense();
        each(&readings, &plant.truth());
        plant.advance(Rotors::splat(0.0));
    }
}

#[test]
fn specific_force_is_minus_gravity_when_stationary_and_zero_in_free_fall() {
    let ideal = sensors::Config { imu: Some(imu::Config::ideal()), ..Default::default() };
    let mut last = DVec3::ZERO;
    standing(ideal, 1, 3000, |readings, _| last = readings.imu.unwrap().value.accel_m_s2);
    assert!((last - DVec3::new(0.0, 0.0, -9.80665)).length() < 1e-6, "{last}");
    let start = Start { airborne: true, rotors_stopped: true, height_m: 100.0, ..Start::default() };
    let config = Config { drag: Default::default(), ..with(ideal) };
    let mut plant = Plant::new(&config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    plant.advance(Rotors::splat(0.0));
    assert!(plant.sense().imu.unwrap().value.accel_m_s2.length() < 1e-9);
}

#[test]
fn lever_arm_adds_tangential_and_centripetal_parts() {
    // Free fall, so that only the lever arm contributes: f = alpha x r + w x (w x r).
    let mut ideal = imu::Config::ideal();
    ideal.position_m = [0.05, -0.02, 0.03];
    let sensors = sensors::Config { imu: Some(ideal), ..Default::default() };
    let config = Config { drag: Default::default(), ..with(sensors) };
    let start = Start {
        airborne: true,
        rotors_stopped: true,
        height_m: 100.0,
        body_rate_rad_s: [3.0, -2.0, 4.0],
        ..Start::default()
    };
    let mut plant = Plant::new(&config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    for _ in 0..200 {
        plant.advance(Rotors::splat(0.0));
    }
    let (truth, sample) = (plant.truth(), plant.sense().imu.unwrap().value);
    let (arm, w) = (DVec3::new(0.05, -0.02, 0.03), truth.body_rate_rad_s);
    let [jx, jy, jz] = [0.011, 0.012, 0.021];
    let alpha =
        DVec3::new((jy - jz) * w.y * w.z / jx, (jz - jx) * w.z * w.x / jy, (jx - jy) * w.x * w.y / jz);
    let expected = alpha.cross(arm) + w.cross(w.cross(arm));
    // The low-pass far above the tick rate still lags by 0.2 us.
    assert!(
        (sample.accel_m_s2 - expected).length() < 1e-4 * expected.length(),
        "{} {expected}",
        sample.accel_m_s2
    );
    assert!(expected.length() > 0.5);
}

#[test]
fn low_pass_delays_a_rate_ramp_by_its_time_constant() {
    // Under constant angular acceleration a first-order low-pass lags by 1/(2 pi fc).
    let mut slow = imu::Config::ideal();
    slow.low_pass_hz = 20.0;
    let config = with(sensors::Config { imu: Some(slow), ..Default::default() });
    let start = Start { airborne: true, rotors_stopped: true, height_m: 100.0, ..Start::default() };
    let mut plant = Plant::new(&config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    plant.push(DVec3::ZERO, DVec3::new(0.0, 0.0, 0.021));
    for _ in 0..500 {
        plant.advance(Rotors::splat(0.0));
    }
    let lag = plant.truth().body_rate_rad_s.z - plant.sense().imu.unwrap().value.gyro_rad_s.z;
    assert!((lag - 1.0 / (2.0 * PI * 20.0)).abs() < 1e-9, "{lag}");
}

/// Amplitude of the tone at `frequency_hz` in samples at 1 kHz.
fn tone(samples: &[f64], frequency_hz: f64) -> f64 {
    let (mut c, mut s) = (0.0, 0.0);
    for (n, value) in samples.iter().enumerate() {
        let phase = 2.0 * PI * frequency_hz * n as f64 * 0.001;
        let window = 1.0 - (2.0 * PI * n as f64 / samples.len() as f64).cos();
        c += window * value * phase.cos();
        s += window * value * phase.sin();
    }
    2.0 * c.hypot(s) / samples.len() as f64
}

#[test]
fn vibration_tones_alias_at_their_filtered_amplitude() {
    // Rotors at full command turn faster than 500 revolutions per second here: the imbalance tone must alias.
    let mut config = with(sensors::Config { imu: Some(imu::Config::ideal()), ..Default::default() });
    let imu = config.sensors.imu.as_mut().unwrap();
    (imu.vibration_gain, imu.low_pass_hz) = (1.0, 300.0);
    config.rotor.kv_rpm_per_v = 4000.0;
    config.rotor.inertia_kg_m2 = 1e-6;
    config.rotor.torque_nm_s2 = 1e-10;
    config.rotor.thrust_n_s2 = 1e-9;
    config.rotor.blade_pass_share = 0.0;
    config.battery.resistance_ohm = 0.0;
    config.battery.capacity_ah = 1e6;
    config.drag = Default::default();
    let start = Start { airborne: true, rotors_stopped: true, height_m: 9000.0, ..Start::default() };
    // Only one rotor runs, so that there is one tone.
    let command = Rotors { front_left: 0.75, ..Rotors::splat(0.0) };
    let spectrum = |config: &Config| {
        let mut plant = Plant::new(config, &AirConfig::default(), &start, 1, 0.001).unwrap();
        let mut samples = Vec::new();
        for tick in 0..3000 {
            plant.advance(command);
            if tick >= 1000 {
                samples.push(plant.sense().imu.unwrap().value.accel_m_s2.x);
            }
        }
        (samples, plant.truth().rotor_speed_rad_s.front_left)
    };
    let (samples, speed) = spectrum(&config);
    let frequency = speed / (2.0 * PI);
    assert!((520.0..900.0).contains(&frequency), "{frequency}");
    let ratio = frequency / 300.0;
    let expected = 1e-6 * speed * speed / 1.2 / (1.0 + ratio * ratio).sqrt();
    let found = tone(&samples, 1000.0 - frequency);
    assert!((found / expected - 1.0).abs() < 0.01, "{found} {expected}");
    // The twin: a balanced rotor gives no tone.
    config.rotor.imbalance_kg_m = 0.0;
    assert!(tone(&spectrum(&config).0, 1000.0 - frequency) < 1e-3 * expected);
}

#[test]
fn bias_of_the_samples_is_that_of_the_truth() {
    let mut config = imu::Config::consumer();
    config.gyro.noise_rad_s_rthz = 0.0;
    config.gyro.resolution_rad_s = 0.0;
    standing(sensors::Config { imu: Some(config), ..Default::default() }, 9, 2000, |readings, truth| {
        if truth.time_s > 1.5 {
            let difference = readings.imu.unwrap().value.gyro_rad_s - truth.imu_bias.gyro_rad_s;
            assert!(difference.length() < 1e-7, "{difference}");
            assert!(truth.imu_bias.gyro_rad_s.length() > 1e-4);
        }
    });
}

#[test]
fn gyro_clips_at_its_range_and_has_its_resolution() {
    let mut config = imu::Config::ideal();
    (config.gyro.range_rad_s, config.gyro.resolution_rad_s) = (2.0, 0.25);
    let craft = with(sensors::Config { imu: Some(config), ..Default::default() });
    for (rate, shown) in [(0.6, 0.5), (0.7, 0.75), (5.0, 2.0), (-5.0, -2.0)] {
        let start = Start {
            airborne: true,
            rotors_stopped: true,
            height_m: 50.0,
            body_rate_rad_s: [0.0, 0.0, rate],
            ..Start::default()
        };
        let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 1, 0.001).unwrap();
        assert_eq!(plant.sense().imu.unwrap().value.gyro_rad_s.z, shown);
    }
}

#[test]
fn gnss_error_is_white_plus_correlated_noise() {
    let config = gnss::Config::consumer();
    let (mut white, mut slow, mut velocity, mut n) = (0.0, 0.0, 0.0, 0.0);
    for seed in 0..40 {
        let mut pending = std::collections::VecDeque::new();
        standing(
            sensors::Config { gnss: Some(config), ..Default::default() },
            seed,
            20_000,
            |readings, truth| {
                let tick = (truth.time_s * 1000.0).round() as u64;
                if tick.is_multiple_of(200) {
                    pending.push_back((truth.gnss_errors, tick));
                }
                if let Some(fix) = readings.gnss {
                    let (errors, taken) = pending.pop_front().unwrap();
                    assert!((fix.age_s - 0.2).abs() < 1e-12 && tick - taken == 200);
                    let error = fix.value.position_m - errors.white_noise_m - errors.correlated_noise_m;
                    assert!(error.length() < 1e-3, "{error}");
                    white += errors.white_noise_m.length_squared() / 3.0;
                    slow += errors.correlated_noise_m.length_squared() / 3.0;
                    velocity += fix.value.velocity_m_s.length_squared() / 3.0;
                    n += 1.0;
                }
            },
        );
    }
    let deviation = |sum: f64| (sum / n).sqrt();
    assert!((deviation(white) / 0.3 - 1.0).abs() < 0.04, "{}", deviation(white));
    assert!((deviation(velocity) / 0.1 - 1.0).abs() < 0.04, "{}", deviation(velocity));
    // 120 nearly constant values: 6.5 % standard error.
    assert!((deviation(slow) / 1.5 - 1.0).abs() < 0.2, "{}", deviation(slow));
}

#[test]
fn barometer_has_rotor_wash_near_the_ground() {
    let quiet = barometer::Config { rotor_wash_m: 0.3, ..barometer::Config::ideal() };
    let shift = |config, height_m| {
        let mut craft = with(sensors::Config { barometer: Some(config), ..Default::default() });
        craft.ground_effect = None;
        let start = Start { airborne: true, height_m, ..Start::default() };
        let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 1, 0.001).unwrap();
        let pressure = plant.sense().pressure_pa.unwrap().value;
        // 12.013 Pa/m at sea level.
        (101_325.0 - pressure) / 12.013 - height_m
    };
    // 0.2 m of height leave the centre of mass 0.276 m above the ground.
    assert!((shift(quiet, 0.2) + 0.3 * (1.0 - 0.276)).abs() < 2e-3, "{}", shift(quiet, 0.2));
    assert!(shift(quiet, 3.0).abs() < 2e-3);
    assert!(shift(barometer::Config::ideal(), 0.2).abs() < 2e-3);
}

#[test]
fn magnetic_field_is_in_body_axes() {
    let start = Start { airborne: true, height_m: 5.0, heading_rad: PI / 2.0, ..Start::default() };
    let craft = with(sensors::Config::ideal());
    let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 1, 0.001).unwrap();
    // Nose east: north is to the left.
    let field = plant.sense().magnetic_field_ut.unwrap().value;
    assert!((field - DVec3::new(0.0, -20.7, 44.4)).length() < 1e-12, "{field}");
}

#[test]
fn magnetometer_has_soft_iron_and_the_field_of_the_current() {
    let start = Start { airborne: true, height_m: 5.0, ..Start::default() };
    let shown = |config: magnetometer::Config, seed: u64| {
        let craft = with(sensors::Config { magnetometer: Some(config), ..Default::default() });
        let mut plant = Plant::new(&craft, &AirConfig::default(), &start, seed, 0.001).unwrap();
        (plant.sense().magnetic_field_ut.unwrap().value, plant.truth().battery.current_a)
    };
    let ideal = magnetometer::Config::ideal();
    let (bare, current_a) = shown(ideal, 1);
    assert!((bare - DVec3::new(20.7, 0.0, 44.4)).length() < 1e-9 && current_a > 5.0);
    let (carrying, _) = shown(magnetometer::Config { current_ut_a: [0.1, -0.2, 0.05], ..ideal }, 1);
    let expected = DVec3::new(0.1, -0.2, 0.05) * current_a;
    assert!((carrying - bare - expected).length() < 1e-9, "{carrying} {expected}");
    // Over the seeds each component of S e has the standard deviation 3 % of |e|.
    let soft = magnetometer::Config { soft_iron_share: 0.03, ..ideal };
    let squares: f64 = (0..400).map(|seed| (shown(soft, seed).0 - bare).length_squared()).sum();
    let (found, expected) = ((squares / 400.0).sqrt(), 0.03 * bare.length() * 3f64.sqrt());
    assert!((found / expected - 1.0).abs() < 0.1, "{found} {expected}");
}

#[test]
fn gyro_has_its_sensitivity_to_specific_force() {
    let deviation = |per_force_s_m: f64| {
        let mut imu = imu::Config::ideal();
        imu.gyro.per_force_s_m = per_force_s_m;
        let mut squares = 0.0;
        for seed in 0..300 {
            let ideal = sensors::Config { imu: Some(imu), ..Default::default() };
            standing(ideal, seed, 1, |readings, _| {
                squares += readings.imu.unwrap().value.gyro_rad_s.length_squared() / 3.0;
            });
        }
        (squares / 300.0).sqrt()
    };
    // Stationary, each axis has this sensitivity to 9.8 m/s2. 900 draws: 2.4 % standard error.
    let found = deviation(2e-4);
    assert!((found / (2e-4 * 9.80665) - 1.0).abs() < 0.1, "{found}");
    assert!(deviation(0.0) < 1e-9);
}

#[test]
fn misalignment_and_scale_factor_have_their_deviation_over_seeds() {
    let mut imu = imu::Config::ideal();
    (imu.gyro.scale_factor_share, imu.gyro.misalignment_rad) = (0.02, 0.01);
    let craft = with(sensors::Config { imu: Some(imu), ..Default::default() });
    let start = Start {
        airborne: true,
        rotors_stopped: true,
        height_m: 50.0,
        body_rate_rad_s: [1.0, 0.0, 0.0],
        ..Start::default()
    };
    let (mut along, mut across) = (0.0, 0.0);
    for seed in 0..400 {
        let mut plant = Plant::new(&craft, &AirConfig::default(), &start, seed, 0.001).unwrap();
        let shown = plant.sense().imu.unwrap().value.gyro_rad_s;
        along += (shown.x - 1.0).powi(2) / 400.0;
        across += (shown.y * shown.y + shown.z * shown.z) / 800.0;
    }
    assert!((along.sqrt() / 0.02 - 1.0).abs() < 0.15, "{}", along.sqrt());
    assert!((across.sqrt() / 0.01 - 1.0).abs() < 0.15, "{}", across.sqrt());
}

#[test]
fn barometer_has_drift_and_ground_pressure() {
    let shown = |config: barometer::Config, ticks: usize| {
        let mut last = 0.0;
        standing(
            sensors::Config { barometer: Some(config), ..Default::default() },
            1,
            ticks,
            |readings, _| {
                last = readings.pressure_pa.map_or(last, |reading| reading.value);
            },
        );
        last
    };
    let ideal = barometer::Config::ideal();
    let low = barometer::Config { offset_pa: -1500.0, ..ideal };
    assert!((shown(low, 1) - shown(ideal, 1) + 1500.0).abs() < 1e-9);
    // 36 m/h over 60 s are 0.6 m, of either sign.
    let drift = (shown(barometer::Config { drift_m_h: 36.0, ..ideal }, 60_000) - shown(ideal, 60_000)).abs();
    assert!((drift / (0.6 * 12.013) - 1.0).abs() < 1e-2, "{drift}");
}

#[test]
fn gnss_outages_and_jumps_have_their_rates() {
    // Mean active and inactive times of 6 s and 30 s: no samples for a sixth of the time, in events of 6 s
    // and half a sample.
    let chance = gnss::Events { per_h: 120.0, mean_s: 6.0 };
    let run = |config: gnss::Config| {
        let (mut samples, mut gaps, mut off, mut jumps, mut squares) = (0u32, 0u32, 0u32, 0u32, 0.0);
        let (mut last_s, mut last) = (0.0, DVec3::ZERO);
        for seed in 0..5 {
            let only = sensors::Config { gnss: Some(config), ..Default::default() };
            let mut plant =
                Plant::new(&with(only), &AirConfig::default(), &Start::default(), seed, 0.005).unwrap();
            for _ in 0..720_000 {
                plant.advance(Rotors::splat(0.0));
                let Some(fix) = plant.sense().gnss else { continue };
                let time_s = plant.truth().time_s;
                gaps += u32::from(time_s - last_s > 0.25);
                last_s = time_s;
                let jump = fix.value.position_m;
                samples += 1;
                off += u32::from(jump.length() > 0.1);
                if jump.length() > 0.1 && (jump - last).length() > 0.1 {
                    jumps += 1;
                    squares += jump.length_squared() / 3.0;
                }
                last = jump;
            }
        }
        (f64::from(samples), f64::from(gaps), f64::from(off), f64::from(jumps), squares)
    };
    let (all, gaps, off, _, _) = run(gnss::Config::ideal());
    assert!((all - 90_000.0).abs() < 10.0 && gaps == 0.0 && off == 0.0);
    // Five hours contain 500 events: 4.5 % standard error of their number, 6 % of their total duration.
    let (heard, gaps, ..) = run(gnss::Config { dropouts: chance, ..gnss::Config::ideal() });
    let outage = 1.0 - heard / all;
    assert!((outage / (6.1 / 36.1) - 1.0).abs() < 0.2, "{outage}");
    assert!((gaps / (5.0 * 3600.0 / 36.1) - 1.0).abs() < 0.15, "{gaps}");
    let (_, _, off, jumps, squares) =
        run(gnss::Config { jumps: chance, jump_m: 8.0, ..gnss::Config::ideal() });
    assert!((off / all / (6.1 / 36.1) - 1.0).abs() < 0.2, "{off}");
    assert!((jumps / (5.0 * 3600.0 / 36.1) - 1.0).abs() < 0.15, "{jumps}");
    assert!(((squares / jumps).sqrt() / 8.0 - 1.0).abs() < 0.1, "{}", (squares / jumps).sqrt());
}
