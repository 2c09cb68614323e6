//! Height and climb from vertical acceleration and late height samples.
//!
//! A complementary filter of third order with fixed poles. With the height h and climb c upwards, the
//! vertical acceleration a upwards, its bias b, and the innovation e of a sample, that is the sample less the
//! estimate of its own time, T s after the sample before:
//!
//! ```text
//! h' = c,  c' = a + b,  b' = 0;      h += 2 w T e,  c += 2 w^2 T e,  b += w^3 T e
//! ```
//!
//! so that an error decays by the Butterworth polynomial s^3 + 2 w s^2 + 2 w^2 s + w^3. That is the steady
//! Kalman filter for white sample noise of density R = sigma^2 T and an acceleration bias with a random walk
//! of density q: w = (q/R)^(1/6) (A. Gelb, ed., Applied Optimal Estimation, MIT Press 1974, chapter 4). The
//! closed form holds to w T, 2 % at 50 Hz; test `step_response_is_the_butterworth_one`.
//!
//! The barometer corrects the filter. After more than 1 s without a barometer sample GNSS does; the mean
//! difference of its height from the estimate, averaged before that, is subtracted, so that the hand-over
//! makes no step. The vertical Doppler velocity is not used.

use super::Delayed;
use crate::error::{ConfigError, require_positive};
use crate::frames::{Vector, World};
use crate::math::saturate_symmetric;

/// Noise of a source of height samples.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct HeightNoise {
    /// White noise of a sample in m, one standard deviation, greater than 0.
    pub white_noise_m: f32,
    /// Time between samples in s, greater than 0.
    pub interval_s: f32,
}

/// Configuration of a [`VerticalFilter`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Noise of the barometer's height.
    pub barometer: HeightNoise,
    /// Noise of the GNSS height, used while there is no barometer.
    pub gnss: HeightNoise,
    /// Random walk of the vertical acceleration's bias in m/s2 per square root of a second.
    pub bias_random_walk_m_s2_rts: f32,
    /// A sample with a larger innovation than this in m is rejected.
    pub gate_m: f32,
    /// The gate widens by this many m/s since the last accepted sample.
    pub gate_growth_m_s: f32,
    /// Without an accepted sample for this long in s the height is not valid.
    pub timeout_s: f32,
    /// Air temperature at home in K.
    pub home_temperature_k: f32,
}

impl Config {
    /// Barometer 0.1 m white at 50 Hz, GNSS 0.5 m at 5 Hz, random walk of the bias 0.01 m/s2 per root second
    /// (a craft whose tilt error moves the vertical share of its thrust), gate of 20 deviations of the
    /// barometer, widening at the fastest climb that could go unseen.
    pub const CONSUMER: Self = Self {
        barometer: HeightNoise { white_noise_m: 0.1, interval_s: 0.02 },
        gnss: HeightNoise { white_noise_m: 0.5, interval_s: 0.2 },
        bias_random_walk_m_s2_rts: 0.01,
        gate_m: 2.0,
        gate_growth_m_s: 5.0,
        timeout_s: 2.0,
        home_temperature_k: 288.15,
    };
}

/// Where a height sample comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Source {
    /// The barometers.
    Barometer,
    /// GNSS.
    Gnss,
}

/// After this time in s without a barometer sample the GNSS height corrects the filter.
const HAND_OVER_S: f32 = 1.0;
/// Time constant in s of the mean difference of the GNSS height.
const GNSS_OFFSET_S: f32 = 10.0;
/// Largest acceleration bias in m/s2 (about 150 mg).
const MAX_BIAS_M_S2: f32 = 1.5;
/// While the height is not valid the climb decays with this time constant in s.
const CLIMB_DECAY_S: f32 = 2.0;
/// Largest product of pole and sample interval: beyond it the closed form of the gains is unstable.
const MAX_STEP: f32 = 0.25;
/// Times are counted up to this many s.
const MAX_ELAPSED_S: f32 = 1e4;

/// The vertical filter.
///
/// ```
/// use aplomb::{Sample, estimate::{DelayBuffer, VerticalFilter, vertical::Config}, frames::Vector};
/// let mut filter = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
/// let buffer = DelayBuffer::new(0.3, 1e-3).unwrap();
/// let barometer = buffer.delayed(Sample { value: 3.0, age_us: 0 });
/// let output = filter.step(Vector::ZERO, barometer, None);
/// assert!(output.is_valid && output.height_m == 3.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct VerticalFilter {
    period_s: f32,
    barometer_pole_rad_s: f32,
    gnss_pole_rad_s: f32,
    /// Share of an innovation that the GNSS offset takes.
    gnss_offset_gain: f32,
    max_interval_s: f32,
    gate_m: f32,
    gate_growth_m_s: f32,
    timeout_s: f32,
    state: State,
}

/// State of a [`VerticalFilter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    height_m: f32,
    climb_m_s: f32,
    bias_m_s2: f32,
    /// GNSS height less the estimate, averaged while the barometer corrects; `None` before the first GNSS
    /// height.
    gnss_offset_m: Option<f32>,
    last_accepted: Option<Accepted>,
    /// Time since the last accepted barometer sample; `None` before the first one.
    since_barometer_s: Option<f32>,
}

/// The last accepted sample.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Accepted {
    elapsed_s: f32,
    /// Its age when it came.
    age_s: f32,
}

/// Output of a [`VerticalFilter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Output {
    /// Height in m above home.
    pub height_m: f32,
    /// Climb in m/s, up positive.
    pub climb_m_s: f32,
    /// Bias that is added to the upward acceleration, in m/s2.
    pub bias_m_s2: f32,
    /// A sample has been accepted within the timeout.
    pub is_valid: bool,
    /// The source whose sample was accepted on this tick.
    pub accepted: Option<Source>,
}

impl VerticalFilter {
    /// For a fixed period in s.
    ///
    /// # Errors
    /// Names the first field that is not finite or not positive.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let walk = require_positive("bias_random_walk_m_s2_rts", config.bias_random_walk_m_s2_rts)?;
        let pole = |fields: (&'static str, &'static str), noise: &HeightNoise| {
            let sigma = require_positive(fields.0, noise.white_noise_m)?;
            let interval = require_positive(fields.1, noise.interval_s)?;
            // (q/R)^(1/6) with q = walk^2 and R = sigma^2 T.
            Ok(libm::cbrtf(walk / (sigma * libm::sqrtf(interval))))
        };
        require_positive("home_temperature_k", config.home_temperature_k)?;
        let (barometer, gnss) = (&config.barometer, &config.gnss);
        let barometer_pole_rad_s = pole(("barometer.white_noise_m", "barometer.interval_s"), barometer)?;
        let gnss_pole_rad_s = pole(("gnss.white_noise_m", "gnss.interval_s"), gnss)?;
        Ok(Self {
            period_s: require_positive("period_s", period_s)?,
            barometer_pole_rad_s,
            gnss_pole_rad_s,
            gnss_offset_gain: (gnss.interval_s / GNSS_OFFSET_S).min(1.0),
            max_interval_s: 2.0 * barometer.interval_s.max(gnss.interval_s),
            gate_m: require_positive("gate_m", config.gate_m)?,
            gate_growth_m_s: require_positive("gate_growth_m_s", config.gate_growth_m_s)?,
            timeout_s: require_positive("timeout_s", config.timeout_s)?,
            state: State::default(),
        })
    }

    /// One tick: world acceleration in m/s2 (down positive, gravity removed; not finite counts as 0) and, on
    /// a tick with a new one, the height in m (up positive) by barometer and by GNSS.
    ///
    /// A sample is rejected when it is not finite, older than the one before, or outside the gate; the GNSS
    /// height corrects only during a barometer outage. After the timeout the climb decays with 2 s and the
    /// next sample is taken as it is.
    pub fn step(
        &mut self,
        acceleration_m_s2: Vector<World>,
        barometer_m: Option<Delayed<f32>>,
        gnss_m: Option<Delayed<f32>>,
    ) -> Output {
        let up = -acceleration_m_s2.z();
        self.predict(if up.is_finite() { up } else { 0.0 });
        let mut accepted = None;
        if let Some(sample) = barometer_m
            && self.correct(&sample, self.barometer_pole_rad_s, 0.0)
        {
            self.state.since_barometer_s = Some(0.0);
            accepted = Some(Source::Barometer);
        }
        if let Some(sample) = gnss_m
            && self.correct_by_gnss(&sample)
        {
            accepted = Some(Source::Gnss);
        }
        let State { height_m, climb_m_s, bias_m_s2, .. } = self.state;
        Output { height_m, climb_m_s, bias_m_s2, is_valid: self.is_valid(), accepted }
    }

    fn predict(&mut self, up_m_s2: f32) {
        let (dt, is_valid) = (self.period_s, self.is_valid());
        let state = &mut self.state;
        let change = (up_m_s2 + state.bias_m_s2) * dt;
        state.height_m += (state.climb_m_s + 0.5 * change) * dt;
        state.climb_m_s += change;
        if !is_valid {
            state.climb_m_s -= state.climb_m_s * (dt / CLIMB_DECAY_S);
        }
        let count = |elapsed_s: &mut f32| *elapsed_s = (*elapsed_s + dt).min(MAX_ELAPSED_S);
        if let Some(last) = &mut state.last_accepted {
            count(&mut last.elapsed_s);
        }
        if let Some(since_s) = &mut state.since_barometer_s {
            count(since_s);
        }
    }

    /// Sample less the estimate of its own time.
    fn innovation_m(&self, sample: &Delayed<f32>) -> f32 {
        let State { height_m, climb_m_s, bias_m_s2, .. } = self.state;
        let (d, since) = (sample.since.duration_s, &sample.since);
        let past_climb = climb_m_s + since.velocity_m_s.z() - bias_m_s2 * d;
        let past_height = height_m - d * past_climb + since.position_m.z() - 0.5 * bias_m_s2 * d * d;
        sample.value - past_height
    }

    fn correct_by_gnss(&mut self, sample: &Delayed<f32>) -> bool {
        if !sample.value.is_finite() {
            return false;
        }
        let barometer_leads = self.state.since_barometer_s.is_some_and(|since_s| since_s <= HAND_OVER_S);
        if !barometer_leads {
            let offset_m = self.state.gnss_offset_m.unwrap_or(0.0);
            return self.correct(sample, self.gnss_pole_rad_s, offset_m);
        }
        let difference_m = self.innovation_m(sample);
        let offset_m = self.state.gnss_offset_m.get_or_insert(difference_m);
        *offset_m += (difference_m - *offset_m) * self.gnss_offset_gain;
        false
    }

    /// Corrects the state by a sample of a source with this pole and offset; true when it is accepted.
    fn correct(&mut self, sample: &Delayed<f32>, pole_rad_s: f32, offset_m: f32) -> bool {
        let innovation = self.innovation_m(sample) - offset_m;
        let age_s = sample.since.duration_s;
        let last = self.state.last_accepted;
        if !innovation.is_finite() || last.is_some_and(|last| age_s >= last.age_s + last.elapsed_s) {
            return false;
        }
        let is_valid = self.is_valid();
        let state = &mut self.state;
        match last {
            Some(Accepted { elapsed_s, .. }) if is_valid => {
                if innovation.abs() >= self.gate_m + self.gate_growth_m_s * elapsed_s {
                    return false;
                }
                let w = pole_rad_s;
                let wt = (w * elapsed_s.min(self.max_interval_s)).min(MAX_STEP);
                state.height_m += 2.0 * wt * innovation;
                state.climb_m_s += 2.0 * w * wt * innovation;
                state.bias_m_s2 =
                    saturate_symmetric(state.bias_m_s2 + w * w * wt * innovation, MAX_BIAS_M_S2);
            }
            Some(_) => state.height_m += innovation,
            None => (state.height_m, state.climb_m_s) = (state.height_m + innovation, 0.0),
        }
        state.last_accepted = Some(Accepted { elapsed_s: 0.0, age_s });
        true
    }

    /// A sample has been accepted within the timeout.
    fn is_valid(&self) -> bool {
        self.state.last_accepted.is_some_and(|last| last.elapsed_s <= self.timeout_s)
    }

    /// Pole w of the correction by barometer in rad/s.
    #[must_use]
    pub const fn barometer_pole_rad_s(&self) -> f32 {
        self.barometer_pole_rad_s
    }

    /// Starts over at home.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
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
    fn run(
        seconds: f32,
        age_ms: u32,
        height: impl Fn(f32) -> f32,
        acceleration: impl Fn(f32) -> f32,
    ) -> Output {
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
        // The next sample is taken as it is.
        let back = bench.tick(0.0, Some((50.0, 0)), None);
        assert!(back.is_valid && (back.height_m - 50.0).abs() < 1e-4, "{back:?}");
    }

    /// GNSS reports 8 m more for 10 s, then 9 m more; the barometer stops at 60 s. Largest height error after
    /// that.
    fn largest_step_m(seconds_of_9_m: u32) -> f32 {
        let mut bench = Bench::new();
        let mut largest = 0.0f32;
        let silent = 10_000 + 1000 * seconds_of_9_m;
        for k in 0..silent + 30_000 {
            let gnss = if k < 10_000 { 9.0 } else { 10.0 };
            let barometer = (k % 20 == 0 && k < silent).then_some((1.0, 0));
            let output = bench.tick(0.0, barometer, (k % 200 == 0).then_some((gnss, 100)));
            assert!(output.is_valid || k < 200);
            let leads = k % 200 == 0 && k > silent + 990;
            assert_eq!(output.accepted == Some(Source::Gnss), leads);
            if k > silent {
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
    fn gnss_leads_from_the_start_without_a_barometer() {
        let mut bench = Bench::new();
        let output =
            (0..2000).map(|k| bench.tick(0.0, None, (k % 200 == 0).then_some((7.0, 0)))).last().unwrap();
        assert!(output.is_valid && (output.height_m - 7.0).abs() < 1e-4);
        bench.filter.reset();
        assert_eq!(bench.tick(0.0, None, None), Output::default());
    }
}
