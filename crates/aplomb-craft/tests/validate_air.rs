//! Wind, gust and turbulence against MIL-F-8785C (1980).

use aplomb_craft::air::{ROUGHNESS_M, mean_wind_ratio};
use aplomb_craft::dryden::{Across, Along, FOOT_M, Profile};
use aplomb_craft::gust::Form;
use aplomb_craft::random::{Source, Stream};
use aplomb_craft::{AirConfig, Config, Gust, Plant, Start, Turbulence, WindStep};
use std::f64::consts::PI;

/// Figures 10 and 11, paragraph 3.7.3.4: height [ft], Lw [m], Lu [m], then sw and su [m/s] for light,
/// moderate, severe.
const ROWS: [(f64, f64, f64, [[f64; 2]; 3]); 3] = [
    (20.0, 6.096, 43.766, [[0.7717, 1.4887], [1.5433, 2.9773], [2.3150, 4.4660]]),
    (100.0, 30.480, 153.976, [[0.7717, 1.3241], [1.5433, 2.6481], [2.3150, 3.9722]]),
    (1000.0, 304.800, 304.800, [[0.7717, 0.7717], [1.5433, 1.5433], [2.3150, 2.3150]]),
];

#[test]
fn validate_dryden_scales_and_intensities() {
    let named = [Turbulence::light(), Turbulence::moderate(), Turbulence::severe()];
    for (feet, vertical, horizontal, intensities) in ROWS {
        for (turbulence, [sw, su]) in named.iter().zip(intensities) {
            let profile = Profile::at(feet * FOOT_M, turbulence.u20_m_s);
            assert!((profile.vertical_scale_m - vertical).abs() < 1e-3);
            assert!((profile.horizontal_scale_m - horizontal).abs() < 1e-3, "{}", profile.horizontal_scale_m);
            assert!((profile.vertical_m_s - sw).abs() < 1e-4 && (profile.horizontal_m_s - su).abs() < 1e-4);
            // The twin: the height taken in metres instead of feet fails every row.
            let metres = Profile::at(feet * FOOT_M * FOOT_M, turbulence.u20_m_s);
            assert!((metres.horizontal_scale_m - horizontal).abs() > 1e-3);
        }
    }
    assert_eq!(Profile::at(0.0, 8.0), Profile::at(10.0 * FOOT_M, 8.0));
    // 3.7.2.1: 1750 ft from 2000 ft on, isotropic, and continuous at 1000 ft.
    for feet in [2000.0, 8000.0] {
        let profile = Profile::at(feet * FOOT_M, 8.0);
        assert!((profile.vertical_scale_m - 1750.0 * FOOT_M).abs() < 1e-9);
        assert_eq!(profile.vertical_scale_m, profile.horizontal_scale_m);
        assert_eq!(profile.vertical_m_s, profile.horizontal_m_s);
    }
    let (below, above) = (Profile::at(999.999 * FOOT_M, 8.0), Profile::at(1000.001 * FOOT_M, 8.0));
    assert!((below.horizontal_scale_m - above.horizontal_scale_m).abs() < 0.01, "{below:?} {above:?}");
    assert!((below.horizontal_m_s - above.horizontal_m_s).abs() < 1e-4);
}

/// 100 ft, moderate.
fn reference() -> Profile {
    Profile::at(100.0 * FOOT_M, Turbulence::moderate().u20_m_s)
}

const V_M_S: f64 = 5.0;

#[test]
fn validate_dryden_recursion() {
    // V = 5 m/s, dt = 2.5 ms: a = e^(-V dt/Lu), b = su sqrt(1 - a^2).
    let profile = reference();
    let mut stream = Stream::new(1, Source::TurbulenceAlong);
    let filter = Along::new(V_M_S * 0.0025 / profile.horizontal_scale_m, &mut stream);
    assert!((filter.keep - 0.999918822).abs() < 1e-9, "{}", filter.keep);
    assert!((profile.horizontal_m_s * filter.new - 0.033741558).abs() < 1e-8);
    // The twin: the first-order approximation 1 - V dt/L differs.
    assert!((1.0 - V_M_S * 0.0025 / profile.horizontal_scale_m - 0.999918822).abs() > 1e-9);
}

/// One-sided density over rad/s at `omega` of a generated signal: periodograms under a Hann window over ten
/// periods.
fn density(omega: f64, step_s: f64, mut next: impl FnMut() -> f64) -> f64 {
    const SEGMENTS: usize = 2500;
    let length = (10.0 * 2.0 * PI / omega / step_s).round() as usize;
    let window = |n: usize| 0.5 - 0.5 * (2.0 * PI * n as f64 / length as f64).cos();
    let waves: Vec<[f64; 2]> = (0..length)
        .map(|n| {
            let phase = omega * n as f64 * step_s;
            [window(n) * phase.cos(), window(n) * phase.sin()]
        })
        .collect();
    let power: f64 = (0..length).map(|n| window(n) * window(n)).sum();
    let mut sum = 0.0;
    for _ in 0..SEGMENTS {
        let (mut real, mut imaginary) = (0.0, 0.0);
        for [c, s] in &waves {
            let value = next();
            real += c * value;
            imaginary += s * value;
        }
        sum += real * real + imaginary * imaginary;
    }
    sum / SEGMENTS as f64 * step_s / (PI * power)
}

/// The published densities [m2/s] at 0.1, 1 and 5 rad/s for 100 ft, moderate, V = 5 m/s.
const OMEGAS: [f64; 3] = [0.1, 1.0, 5.0];
const U: [f64; 3] = [13.114071, 0.14481646, 0.00579852];
const W: [f64; 3] = [5.1955161, 0.35699287, 0.01489797];

fn steps(omega: f64) -> f64 {
    // 250 samples a period keep aliases under 0.1 %.
    (2.0 * PI / omega / 250.0).min(0.05)
}

#[test]
fn validate_dryden_spectrum_along() {
    let profile = reference();
    for (omega, expected) in OMEGAS.into_iter().zip(U) {
        let step_s = steps(omega);
        let mut stream = Stream::new(11, Source::TurbulenceAlong);
        let mut filter = Along::new(V_M_S * step_s / profile.horizontal_scale_m, &mut stream);
        let found = density(omega, step_s, || profile.horizontal_m_s * filter.advance(&mut stream));
        // 2500 periodograms: 2 % standard error.
        assert!((found / expected - 1.0).abs() < 0.08, "{omega}: {found} {expected}");
    }
}

#[test]
fn validate_dryden_spectrum_vertical() {
    let profile = reference();
    for (omega, expected) in OMEGAS.into_iter().zip(W) {
        let step_s = steps(omega);
        let mut stream = Stream::new(12, Source::TurbulenceVertical);
        let mut filter = Across::new(V_M_S * step_s / profile.vertical_scale_m, &mut stream);
        let found = density(omega, step_s, || profile.vertical_m_s * filter.advance(&mut stream));
        assert!((found / expected - 1.0).abs() < 0.08, "{omega}: {found} {expected}");
        // The twin: the first-order filter of u lacks the peak of the vertical spectrum.
        let mut plain = Along::new(V_M_S * step_s / profile.vertical_scale_m, &mut stream);
        let found = density(omega, step_s, || profile.vertical_m_s * plain.advance(&mut stream));
        assert!((found / expected - 1.0).abs() > 0.08, "{omega}: {found} {expected}");
    }
}

#[test]
fn validate_dryden_variance_is_independent_of_the_step() {
    // Variance 1 for any fraction of a length per step: 2e6 values, fewer independent ones for short steps.
    for (share, tolerance) in [(2.0, 0.01), (0.3, 0.02), (0.01, 0.06)] {
        let mut stream = Stream::new(13, Source::TurbulenceAcross);
        let (mut along, mut across) = (Along::new(share, &mut stream), Across::new(share, &mut stream));
        let n = 2_000_000;
        let (mut u, mut w) = (0.0, 0.0);
        for _ in 0..n {
            u += along.advance(&mut stream).powi(2);
            w += across.advance(&mut stream).powi(2);
        }
        let (u, w) = (u / f64::from(n), w / f64::from(n));
        assert!((u - 1.0).abs() < tolerance && (w - 1.0).abs() < tolerance, "{share}: {u} {w}");
    }
}

#[test]
fn validate_mean_wind_over_height() {
    // 3.7.3.2 with z0 = 0.15 ft: 2 m, 20 ft, 10 m and 100 ft.
    for (height, ratio) in [(2.0, 0.77222), (20.0 * FOOT_M, 1.0), (10.0, 1.10116), (100.0 * FOOT_M, 1.32894)]
    {
        assert!((mean_wind_ratio(height, ROUGHNESS_M) - ratio).abs() < 1e-5, "{height}");
        // The twin: the rougher z0 = 2 ft of the other flight phases.
        assert_eq!((mean_wind_ratio(height, 2.0 * FOOT_M) - ratio).abs() > 1e-2, ratio != 1.0);
    }
    assert_eq!(mean_wind_ratio(0.0, ROUGHNESS_M), 0.0);
}

fn winds(air: &AirConfig, at_s: &[f64]) -> Vec<aplomb_craft::glam::DVec3> {
    let start = Start { airborne: true, height_m: 6.096, ..Start::default() };
    let mut plant = Plant::new(&Config::weir_gauge(), air, &start, 1, 0.001).unwrap();
    let hover = plant.truth().motor_command;
    at_s.iter()
        .map(|&time| {
            while plant.truth().time_s < time - 1e-9 {
                plant.advance(hover);
            }
            plant.truth().wind_m_s
        })
        .collect()
}

#[test]
fn wind_has_its_direction_and_ramp() {
    let step = |at_s, from_deg, speed_m_s, ramp_s| WindStep { at_s, from_deg, speed_m_s, ramp_s };
    let air = AirConfig {
        winds: vec![step(0.0, 0.0, 4.0, 0.0), step(0.1, 270.0, 8.0, 0.2)],
        ..AirConfig::default()
    };
    let found = winds(&air, &[0.0, 0.1, 0.2, 0.4]);
    let expected = [[-4.0, 0.0], [-4.0, 0.0], [-2.0, 4.0], [0.0, 8.0]];
    for (found, [north, east]) in found.iter().zip(expected) {
        assert!((found.x - north).abs() < 1e-9 && (found.y - east).abs() < 1e-9, "{found}");
    }
}

#[test]
fn gust_of_either_form_acts_on_the_craft() {
    let gust = |form| Gust { at_s: 0.1, peak_m_s: 6.0, length_m: 3.0, from_deg: 180.0, form };
    let speeds = |form| {
        let air = AirConfig { gusts: vec![gust(form)], ..AirConfig::default() };
        winds(&air, &[0.1, 0.35, 0.6, 0.85, 1.1, 1.3]).iter().map(|wind| wind.x).collect::<Vec<_>>()
    };
    // In still air the gust is convected at its own peak speed: 3 m pass in 0.5 s.
    let close = |found: Vec<f64>, expected: [f64; 6]| {
        assert!(found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-9), "{found:?}");
    };
    close(speeds(Form::Held), [0.0, 3.0, 6.0, 6.0, 6.0, 6.0]);
    close(speeds(Form::Isolated), [0.0, 3.0, 6.0, 3.0, 0.0, 0.0]);
}

#[test]
fn turbulence_in_the_plant_has_its_intensity() {
    // 20 ft, u20 = 8 m/s: su = 0.1 * 8 * 1.92914. Many seeds at the start, each an independent draw.
    let air = AirConfig {
        u20_m_s: Some(8.0),
        turbulence: Some(Turbulence { u20_m_s: 8.0 }),
        ..AirConfig::default()
    };
    let start = Start { airborne: true, height_m: 6.096, ..Start::default() };
    let mut square = [0.0; 3];
    let n = 4000;
    for seed in 0..n {
        let wind = Plant::new(&Config::weir_gauge(), &air, &start, seed, 0.001).unwrap().truth().wind_m_s;
        let gusty = [wind.x + 8.0, wind.y, wind.z];
        square.iter_mut().zip(gusty).for_each(|(sum, part)| *sum += part * part / n as f64);
    }
    let deviation = square.map(f64::sqrt);
    for (found, expected) in deviation.iter().zip([1.54331, 1.54331, 0.8]) {
        assert!((found / expected - 1.0).abs() < 0.045, "{deviation:?}");
    }
    let still = AirConfig { turbulence: None, ..air };
    let plant = Plant::new(&Config::weir_gauge(), &still, &start, 1, 0.001).unwrap();
    assert!((plant.truth().wind_m_s.x + 8.0).abs() < 1e-9);
}
