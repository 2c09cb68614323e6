//! Noise of gyro and accelerometer against its parameters, by the Allan variance (IEEE Std 952-1997).

use aplomb_craft::glam::DVec3;
use aplomb_craft::sensors::imu;
use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start, sensors};

const HOUR_S: f64 = 3600.0;

/// Rate and specific force of a stationary craft with stopped rotors, one series per axis.
fn standing(imu: imu::Config, tick_s: f64, time_s: f64) -> [[Vec<f64>; 3]; 2] {
    let sensors = sensors::Config { imu: Some(imu), ..Default::default() };
    let craft = Config { sensors, ..Config::weir_gauge() };
    let mut plant = Plant::new(&craft, &AirConfig::default(), &Start::default(), 3, tick_s).unwrap();
    let mut series: [[Vec<f64>; 3]; 2] = Default::default();
    for _ in 0..(time_s / tick_s).round() as usize {
        let sample = plant.sense().imu.unwrap().value;
        let push = |axes: &mut [Vec<f64>; 3], shown: DVec3| {
            axes.iter_mut().zip(shown.to_array()).for_each(|(axis, value)| axis.push(value));
        };
        push(&mut series[0], sample.gyro_rad_s);
        push(&mut series[1], sample.accel_m_s2);
        plant.advance(Rotors::splat(0.0));
    }
    series
}

/// Allan variance over overlapping clusters of `length` samples, mean of the axes.
fn allan_variance(axes: &[Vec<f64>; 3], length: usize) -> f64 {
    let of = |samples: &Vec<f64>| {
        let mut sums = vec![0.0];
        let mean = samples.iter().sum::<f64>() / samples.len() as f64;
        samples.iter().fold(0.0, |sum, value| {
            sums.push(sum + value - mean);
            sum + value - mean
        });
        let squares = (0..=samples.len() - 2 * length)
            .map(|k| (sums[k + 2 * length] - 2.0 * sums[k + length] + sums[k]).powi(2));
        let count = (samples.len() - 2 * length + 1) as f64;
        squares.sum::<f64>() / (2.0 * count * (length * length) as f64)
    };
    axes.iter().map(of).sum::<f64>() / 3.0
}

/// N, B and K (noise density, bias instability, random walk) that fit the Allan variance best. Each
/// contributes by its square: N^2/tau; a Gauss-Markov process of deviation s = 0.664/0.6173 B and correlation
/// time T, 2 s^2 T/tau (1 - T/(2 tau) (3 - 4 e^(-tau/T) + e^(-2 tau/T))); K^2 tau/3 (IEEE Std 952-1997, annex
/// C).
fn fitted(axes: &[Vec<f64>; 3], tick_s: f64, correlation_s: f64) -> [f64; 3] {
    let (mut normal, mut right) = ([[0.0; 3]; 3], [0.0; 3]);
    for power in 0..14 {
        let length = 1 << power;
        let tau = length as f64 * tick_s;
        let variance = allan_variance(axes, length);
        let ratio = correlation_s / tau;
        let markov = 2.0
            * (0.664_f64 / 0.6173).powi(2)
            * ratio
            * (1.0 - 0.5 * ratio * (3.0 - 4.0 * (-1.0 / ratio).exp() + (-2.0 / ratio).exp()));
        let parts = [1.0 / tau, markov, tau / 3.0];
        // The variance of an estimate is its square over the number of clusters.
        let weight = HOUR_S / tau / (variance * variance);
        for i in 0..3 {
            right[i] += weight * parts[i] * variance;
            for j in 0..3 {
                normal[i][j] += weight * parts[i] * parts[j];
            }
        }
    }
    let column = |i: usize| DVec3::from_array(normal[i]);
    let matrix = aplomb_craft::glam::DMat3::from_cols(column(0), column(1), column(2));
    (matrix.inverse() * DVec3::from_array(right)).to_array().map(|square: f64| square.max(0.0).sqrt())
}

#[test]
fn validate_allan_of_an_hour_recovers_noise_instability_and_random_walk_within_5_percent() {
    // All three at once, each dominant somewhere between 5 ms and 40 s. The correlation time of the bias
    // instability is short, so that an hour contains 7200 of it: at 100 s, a usual value, an hour would give
    // it to 15 % at best.
    let (tick_s, correlation_s) = (0.005, 0.5);
    let mut config = imu::Config::ideal();
    config.bias_correlation_time_s = correlation_s;
    config.gyro.noise_rad_s_rthz = 4.2e-4;
    config.gyro.bias_instability_rad_s = 1e-3;
    config.gyro.rate_random_walk_rad_s_rts = 5e-4;
    config.accel.noise_m_s2_rthz = 6e-3;
    config.accel.bias_instability_m_s2 = 1e-2;
    config.accel.acceleration_random_walk_m_s2_rts = 4e-3;
    let expected = [[4.2e-4, 1e-3, 5e-4], [6e-3, 1e-2, 4e-3]];
    let sound = standing(config, tick_s, HOUR_S);
    for (axes, expected) in sound.iter().zip(expected) {
        let found = fitted(axes, tick_s, correlation_s);
        let errors: [f64; 3] = std::array::from_fn(|i| found[i] / expected[i] - 1.0);
        println!("N, B, K {found:?}, set {expected:?}, errors {errors:.4?}");
        assert!(errors.iter().all(|error| error.abs() < 0.05), "{errors:?}");
    }
    // The twins: a term that is off is not found.
    config.gyro.rate_random_walk_rad_s_rts = 0.0;
    config.accel.bias_instability_m_s2 = 0.0;
    let off = standing(config, tick_s, HOUR_S);
    let (gyro, accel) = (fitted(&off[0], tick_s, correlation_s), fitted(&off[1], tick_s, correlation_s));
    assert!(gyro[2] < 0.2 * 5e-4, "{gyro:?}");
    assert!(accel[1] < 0.2 * 1e-2, "{accel:?}");
    assert!((gyro[0] / 4.2e-4 - 1.0).abs() < 0.05 && (accel[0] / 6e-3 - 1.0).abs() < 0.05);
}

#[test]
fn validate_allan_of_a_consumer_sensor_recovers_the_noise_density_through_its_low_pass() {
    let config = imu::Config::consumer();
    let [gyro, accel] = standing(config, 0.001, 600.0);
    for (axes, density) in [(&gyro, config.gyro.noise_rad_s_rthz), (&accel, config.accel.noise_m_s2_rthz)] {
        // N/sqrt(tau); standard error over ten minutes of three axes 0.7 % at 0.1 s, 2 % at 1 s.
        for (length, tolerance) in [(100, 0.03), (1000, 0.08)] {
            let expected = density / (length as f64 * 0.001).sqrt();
            let found = allan_variance(axes, length).sqrt();
            assert!((found / expected - 1.0).abs() < tolerance, "{length}: {found:e} {expected:e}");
        }
        // The twin: single samples are below N sqrt(fs), since the low-pass reduces the bandwidth.
        assert!(allan_variance(axes, 1).sqrt() < 0.9 * density / 0.001_f64.sqrt());
    }
}

#[test]
fn validate_allan_maximum_is_0_664_of_the_bias_instability() {
    let mut config = imu::Config::ideal();
    config.bias_correlation_time_s = 0.5;
    config.gyro.bias_instability_rad_s = 1e-3;
    let [gyro, _] = standing(config, 0.005, HOUR_S);
    let top = [60, 120, 189, 300, 600].map(|length| allan_variance(&gyro, length).sqrt());
    let highest = top.iter().fold(0.0, |most: f64, &value| most.max(value));
    assert!((highest / 0.664e-3 - 1.0).abs() < 0.05, "{top:?}");
    assert_eq!(highest, top[2], "the top lies at 1.89 correlation times: {top:?}");
}
