use super::*;
use crate::Sample;
use crate::estimate::DelayBuffer;

#[test]
fn each_bad_field_is_named() {
    type Set = fn(&mut Config, f32);
    let fields: [(&str, Set); 9] = [
        ("interval_s", |c, x| c.interval_s = x),
        ("position_white_noise_m", |c, x| c.position_white_noise_m = x),
        ("velocity_white_noise_m_s", |c, x| c.velocity_white_noise_m_s = x),
        ("bias_random_walk_m_s2_rts", |c, x| c.bias_random_walk_m_s2_rts = x),
        ("position_gate_m", |c, x| c.position_gate_m = x),
        ("velocity_gate_m_s", |c, x| c.velocity_gate_m_s = x),
        ("gate_growth_m_s2", |c, x| c.gate_growth_m_s2 = x),
        ("max_accuracy_m", |c, x| c.max_accuracy_m = x),
        ("timeout_s", |c, x| c.timeout_s = x),
    ];
    for (field, set) in fields {
        for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            let mut config = Config::CONSUMER;
            set(&mut config, x);
            assert_eq!(HorizontalFilter::new(&config, 1e-3).unwrap_err().field, field);
        }
    }
    assert_eq!(HorizontalFilter::new(&Config::CONSUMER, -1.0).unwrap_err().field, "period_s");
    let error = HorizontalFilter::new(&Config::CONSUMER, 0.5).unwrap_err();
    assert_eq!(error, ConfigError::new("interval_s", Problem::OutOfRange { low: 0.5, high: f32::INFINITY }));
}

/// A filter at 1 kHz with its delay buffer.
#[derive(Clone)]
struct Bench {
    filter: HorizontalFilter,
    buffer: DelayBuffer,
}

fn fix(x: f32, v: f32) -> GnssFix {
    GnssFix {
        position_m: Vector::new(x, 0.0, 0.0),
        velocity_m_s: Vector::new(v, 0.0, 0.0),
        horizontal_accuracy_m: 1.0,
        vertical_accuracy_m: 1.0,
        horizontal_velocity_accuracy_m_s: 0.2,
        vertical_velocity_accuracy_m_s: 0.2,
    }
}

impl Bench {
    /// One tick with an acceleration to the north and a fix of an age in ms.
    fn tick(&mut self, acceleration_m_s2: f32, fix: Option<(GnssFix, u32)>) -> Output {
        let acceleration = Vector::new(acceleration_m_s2, 0.0, 0.0);
        self.buffer.step(acceleration);
        let fix =
            fix.and_then(|(value, age_ms)| self.buffer.delayed(Sample { value, age_us: 1000 * age_ms }));
        self.filter.step(acceleration, fix.as_ref())
    }

    /// Ticks without a fix.
    fn coast(&mut self, ticks: u32) -> Output {
        (0..ticks).map(|_| self.tick(0.0, None)).last().unwrap_or_default()
    }
}

/// Fixes every 200 ms of the north motion (position, velocity, acceleration) as it was `age_ms` ago, but
/// stated to be `stated_ms` old.
fn run(seconds: f32, age_ms: u32, stated_ms: u32, motion: impl Fn(f32) -> [f32; 3]) -> (Bench, Output) {
    let filter = HorizontalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
    let mut bench = Bench { filter, buffer: DelayBuffer::new(0.6, 1e-3).unwrap() };
    let mut output = Output::default();
    for k in 0..(seconds * 1e3) as u32 {
        let t = k as f32 * 1e-3;
        let [x, v, _] = motion(t - age_ms as f32 * 1e-3);
        let due = k % 200 == 0 && k >= age_ms;
        output = bench.tick(motion(t)[2], due.then(|| (fix(x, v), stated_ms)));
    }
    (bench, output)
}

#[test]
fn velocity_step_response_has_the_stated_poles() {
    // The fixes' velocity steps by 0.5 m/s at t = 2 s while nothing accelerates. Error of the pair (v,
    // b): E = s/(s^2 + sqrt2 w s + w^2), in time e^(-wt/sqrt2) (cos - sin).
    let w = (0.05f32 / (0.1 * 0.2f32.sqrt())).sqrt();
    for t in [0.6f32, 1.0, 2.0, 3.0] {
        let step = |now: f32| if now >= 1.9 { 0.5 } else { 0.0 };
        let (bench, _) = run(2.0 + t - 1e-3, 0, 0, |now| [0.0, step(now), 0.0]);
        let velocity = bench.filter.state().north.velocity_m_s;
        let x = w * t * core::f32::consts::FRAC_1_SQRT_2;
        let expected = 0.5 * (1.0 - (-x).exp() * (x.cos() - x.sin()));
        assert!((velocity - expected).abs() < 0.04, "{t}: {velocity} {expected}");
    }
}

#[test]
fn a_fix_is_released_gradually() {
    let (mut bench, _) = run(4.0, 0, 0, |_| [0.0; 3]);
    let first = bench.tick(0.0, Some((fix(1.0, 0.0), 0)));
    assert!(first.accepted && first.position_m.north == 0.0, "{first:?}");
    // One time constant later 1 - 1/e of the correction is out.
    let released = bench.coast(200).position_m.north / bench.filter.state().north.position_m;
    assert!((released - 0.632).abs() < 0.002, "{released}");
}

#[test]
fn acceleration_bias_is_estimated_up_to_its_limit() {
    // A tilt error of 3 deg, 0.5 m/s2, that the fixes do not confirm.
    let (_, output) = run(60.0, 200, 200, |_| [3.0, 0.0, 0.5]);
    assert!((output.bias_m_s2.north + 0.5).abs() < 0.01, "{output:?}");
    assert!((output.position_m.north - 3.0).abs() < 0.02 && output.velocity_m_s.north.abs() < 0.01);
    let (_, beyond) = run(60.0, 0, 0, |t| [0.0, 0.0, (0.1 * t).min(4.0)]);
    assert_eq!(beyond.bias_m_s2.north, -MAX_BIAS_M_S2);
}

#[test]
fn late_fixes_are_compared_with_the_estimate_of_their_time() {
    let motion = |t: f32| [2.0 * t.sin(), 2.0 * t.cos(), -2.0 * t.sin()];
    let error = |stated_ms| (run(40.0, 200, stated_ms, motion).1.position_m.north - motion(39.999)[0]).abs();
    assert!(error(200) < 0.02, "{}", error(200));
    assert!(error(0) > 0.1, "the twin with a stated age of 0 must err: {}", error(0));
}

#[test]
fn bad_stale_and_poor_fixes_are_rejected() {
    let (bench, _) = run(5.0, 200, 200, |_| [0.0; 3]);
    let accepted = |fix, age_ms| bench.clone().tick(0.0, Some((fix, age_ms))).accepted;
    assert!(accepted(fix(0.0, 0.0), 10));
    for x in [f32::NAN, f32::INFINITY, 1e30] {
        assert!(!accepted(fix(x, 0.0), 10) && !accepted(fix(0.0, x), 10), "{x}");
    }
    assert!(!accepted(fix(0.0, 0.0), 5000), "older than the buffer");
    assert!(!accepted(fix(0.0, 0.0), 550), "older than the fix before");
    for horizontal_accuracy_m in [f32::NAN, 15.1] {
        assert!(!accepted(GnssFix { horizontal_accuracy_m, ..fix(0.0, 0.0) }, 10));
    }
    assert!(!accepted(fix(0.0, 3.0), 10) && !accepted(fix(6.0, 0.0), 10), "outside the gates");
}

#[test]
fn gates_widen_and_after_the_timeout_a_fix_initialises_the_state() {
    let (mut bench, _) = run(5.0, 0, 0, |_| [0.0; 3]);
    // 1.2 s after the last fix: 5.6 m/s and 9.3 m, instead of 2 m/s and 5 m.
    let mut later = bench.clone();
    later.coast(1000);
    assert!(later.clone().tick(0.0, Some((fix(7.0, 0.0), 0))).accepted);
    assert!(later.tick(0.0, Some((fix(0.0, 4.5), 0))).accepted);
    assert!(bench.coast(1790).is_valid && !bench.coast(20).is_valid);
    let output = bench.tick(0.0, Some((fix(20.0, 1.0), 0)));
    assert!(output.is_valid && output.position_m.north == 20.0 && output.velocity_m_s.north == 1.0);
    // Without fixes the velocity decays with 5 s: 1/e after another 5 s.
    bench.coast(2000);
    assert!((bench.coast(5000).velocity_m_s.north - 0.368).abs() < 0.01);
}
