use super::*;
use crate::Sample;
use crate::error::Problem;
use crate::estimate::DelayBuffer;

#[test]
fn each_bad_field_is_named() {
    type Set = fn(&mut Config, f32);
    let fields: [(&str, Set); 9] = [
        ("barometer.white_noise_m", |c, x| c.barometer.white_noise_m = x),
        ("barometer.interval_s", |c, x| c.barometer.interval_s = x),
        ("gnss.white_noise_m", |c, x| c.gnss.white_noise_m = x),
        ("gnss.interval_s", |c, x| c.gnss.interval_s = x),
        ("bias_random_walk_m_s2_rts", |c, x| c.bias_random_walk_m_s2_rts = x),
        ("gate_m", |c, x| c.gate_m = x),
        ("gate_growth_m_s", |c, x| c.gate_growth_m_s = x),
        ("timeout_s", |c, x| c.timeout_s = x),
        ("home_temperature_k", |c, x| c.home_temperature_k = x),
    ];
    for (field, set) in fields {
        for (x, problem) in [
            (f32::NAN, Problem::NotFinite),
            (f32::INFINITY, Problem::NotFinite),
            (f32::NEG_INFINITY, Problem::NotFinite),
            (0.0, Problem::NotPositive),
            (-1.0, Problem::NotPositive),
        ] {
            let mut config = Config::CONSUMER;
            set(&mut config, x);
            assert_eq!(VerticalFilter::new(&config, 1e-3).unwrap_err(), ConfigError::new(field, problem));
        }
    }
    assert_eq!(VerticalFilter::new(&Config::CONSUMER, 0.0).unwrap_err().field, "period_s");
}

/// A filter at 1 kHz with its delay buffer.
struct Bench {
    filter: VerticalFilter,
    buffer: DelayBuffer,
}

impl Bench {
    fn new() -> Self {
        let filter = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
        Self { filter, buffer: DelayBuffer::new(0.5, 1e-3).unwrap() }
    }

    /// One tick; upward acceleration, and (height, age in ms) by barometer and GNSS.
    fn tick(&mut self, up_m_s2: f32, barometer: Option<(f32, u32)>, gnss: Option<(f32, u32)>) -> Output {
        let acceleration = Vector::new(0.0, 0.0, -up_m_s2);
        self.buffer.step(acceleration);
        let delayed =
            |(value, age_ms): (f32, u32)| self.buffer.delayed(Sample { value, age_us: 1000 * age_ms });
        self.filter.step(acceleration, barometer.and_then(delayed), gnss.and_then(delayed))
    }
}

/// The output after barometer samples every 20 ms, late by `age_ms`.
fn run(seconds: f32, age_ms: u32, height: impl Fn(f32) -> f32, acceleration: impl Fn(f32) -> f32) -> Output {
    let mut bench = Bench::new();
    let mut output = Output::default();
    for k in 0..(seconds * 1e3) as u32 {
        let t = k as f32 * 1e-3;
        let sample = (k % 20 == 0 && k >= age_ms).then(|| (height(t - age_ms as f32 * 1e-3), age_ms));
        output = bench.tick(acceleration(t), sample, None);
    }
    output
}

#[test]
fn step_response_is_the_butterworth_one() {
    // Height samples step from 0 to 1 m at t = 1 s. The error transform 1/s - H/s = s^2/((s + w)(s^2 + w
    // s + w^2)) has the partial fractions 1/(s + w) - w/(s^2 + w s + w^2).
    let w = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap().barometer_pole_rad_s();
    for t in [0.5f32, 1.0, 2.0, 4.0] {
        let height_m = run(1.0 + t, 0, |t| if t >= 1.0 { 1.0 } else { 0.0 }, |_| 0.0).height_m;
        let x = w * t;
        let b = 0.75f32.sqrt() * x;
        let error = (-x).exp() - (2.0 / 3.0f32.sqrt()) * (-0.5 * x).exp() * b.sin();
        assert!((height_m - (1.0 - error)).abs() < 0.03, "{t}: {height_m} {}", 1.0 - error);
    }
}

#[test]
fn constant_acceleration_bias_is_estimated_up_to_its_limit() {
    let output = run(40.0, 0, |_| 2.0, |_| -0.3);
    assert!((output.height_m - 2.0).abs() < 1e-3 && output.climb_m_s.abs() < 1e-3, "{output:?}");
    assert!((output.bias_m_s2 - 0.3).abs() < 1e-3, "{output:?}");
    assert_eq!(run(60.0, 0, |_| 0.0, |_| -2.0).bias_m_s2, MAX_BIAS_M_S2);
}

#[test]
fn late_samples_are_compared_with_the_estimate_of_their_time() {
    // A bobbing craft: amplitude 1 m, 2 rad/s, samples 200 ms late.
    let height = |t: f32| (2.0 * t).sin();
    let acceleration = |t: f32| -4.0 * (2.0 * t).sin();
    let error_m = |output: Output| (output.height_m - height(39.999)).abs();
    let aged = error_m(run(40.0, 200, height, acceleration));
    let twin = error_m(run(40.0, 0, |t| height(t - 0.2), acceleration));
    assert!(aged < 0.02 && twin > 0.05, "without its age it errs: {aged} {twin}");
}

#[test]
fn outlier_is_rejected_and_the_gate_widens() {
    let mut bench = Bench::new();
    for k in 0..5000 {
        bench.tick(0.0, (k % 20 == 0).then_some((1.0, 0)), None);
    }
    let accepted = |output: Output| output.accepted.is_some();
    let before = bench.filter;
    for value in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        assert!(!accepted(bench.tick(0.0, Some((value, 0)), None)));
    }
    assert!(!accepted(bench.tick(f32::NAN, Some((1.0, 5000)), None)), "older than the buffer");
    assert!(bench.tick(f32::NAN, None, None).height_m.is_finite());
    bench.filter = before;
    // 7 m away, gate 2 m + 5 m/s: accepted after 1 s, never locked out.
    let first = (1..4000u32).find(|k| accepted(bench.tick(0.0, (k % 20 == 0).then_some((8.0, 0)), None)));
    assert!(first.is_some_and(|ms| (900..1100).contains(&ms)), "{first:?}");
}

#[test]
fn sample_older_than_the_one_before_is_rejected() {
    let mut bench = Bench::new();
    (0..500).for_each(|_| {
        bench.tick(0.0, None, None);
    });
    assert!(bench.tick(0.0, Some((1.0, 50)), None).accepted.is_some());
    (0..9).for_each(|_| {
        bench.tick(0.0, None, None);
    });
    // True 50 ms before a sample that came 10 ms ago.
    let mut late = Bench { filter: bench.filter, buffer: bench.buffer };
    assert!(late.tick(0.0, Some((1.0, 61)), None).accepted.is_none());
    assert!(bench.tick(0.0, Some((1.0, 59)), None).accepted.is_some());
}

#[test]
fn height_is_valid_until_the_timeout_and_then_the_climb_decays() {
    let mut bench = Bench::new();
    for k in 0..10_000 {
        bench.tick(0.0, (k % 20 == 0).then_some((k as f32 * 1e-3, 0)), None);
    }
    let mut after = |ms| (0..ms).map(|_| bench.tick(0.0, None, None)).last().unwrap();
    let valid = after(1900);
    assert!(valid.is_valid && (valid.climb_m_s - 1.0).abs() < 0.05, "{valid:?}");
    // 81 ms until the timeout, then 2 s: 1/e is left.
    let stale = after(2081);
    assert!(!stale.is_valid && (stale.climb_m_s / valid.climb_m_s - 0.37).abs() < 0.05, "{stale:?}");
    // The next sample initialises the height.
    let back = bench.tick(0.0, Some((50.0, 0)), None);
    assert!(back.is_valid && (back.height_m - 50.0).abs() < 1e-4, "{back:?}");
}

/// GNSS reports 8 m more for 10 s, then 9 m more for `seconds_of_9_m`, then the barometer fails. Largest
/// height error after that.
fn largest_step_m(seconds_of_9_m: u32) -> f32 {
    let mut bench = Bench::new();
    let mut largest = 0.0f32;
    let outage = 10_000 + 1000 * seconds_of_9_m;
    for k in 0..outage + 30_000 {
        let gnss = if k < 10_000 { 9.0 } else { 10.0 };
        let barometer = (k % 20 == 0 && k < outage).then_some((1.0, 0));
        let output = bench.tick(0.0, barometer, (k % 200 == 0).then_some((gnss, 100)));
        assert!(output.is_valid || k < 200);
        let gnss_corrects = k % 200 == 0 && k > outage + 990;
        assert_eq!(output.accepted == Some(Source::Gnss), gnss_corrects);
        if k > outage {
            largest = largest.max((output.height_m - 1.0).abs());
        }
    }
    largest
}

#[test]
fn gnss_takes_over_without_a_step_once_its_difference_has_converged() {
    // Time constant 10 s: after 50 s 0.7 % of the metre is left, after 5 s 61 %.
    assert!(largest_step_m(50) < 0.02, "{}", largest_step_m(50));
    assert!(largest_step_m(5) > 0.3, "{}", largest_step_m(5));
}

#[test]
fn gnss_corrects_from_the_start_without_a_barometer() {
    let mut bench = Bench::new();
    let output = (0..2000).map(|k| bench.tick(0.0, None, (k % 200 == 0).then_some((7.0, 0)))).last().unwrap();
    assert!(output.is_valid && (output.height_m - 7.0).abs() < 1e-4);
    bench.filter.reset();
    assert_eq!(bench.tick(0.0, None, None), Output::default());
}
