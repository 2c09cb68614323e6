//! First-order low-pass.

use core::f32::consts::TAU;

use super::{FLOOR, require_below_nyquist};
use crate::error::{ConfigError, Problem, require_positive};

/// First-order low-pass with the exact zero-order-hold pole: `y += (1 - exp(-2 pi f h)) (x - y)`, so a step
/// gives `1 - exp(-2 pi f t)` at every sample (K. J. Astrom, B. Wittenmark, Computer-Controlled
/// Systems, 3rd edition 1997, section 2.3).
///
/// ```
/// use aplomb::filter::{LowPass, LowPassState};
/// let filter = LowPass::new(7.0, 1e-3).unwrap();
/// let mut state = LowPassState::at(0.0);
/// assert!((filter.step(&mut state, 1.0) - 0.043029).abs() < 1e-6);
/// assert!((filter.delay_s() - 22.24e-3).abs() < 1e-5);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LowPass {
    gain: f32,
    delay_s: f32,
}

/// Smallest period over time constant, above the resolution of `f32` (6e-8) by a factor of 17: with a slower
/// pole more than 6 % of a step are lost to round-off.
const SMALLEST_EXPONENT: f32 = 1e-6;

/// State of a [`LowPass`]: its last output.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct LowPassState {
    y: f32,
}

impl LowPassState {
    /// Steady state at a value; not finite counts as 0.
    #[must_use]
    pub const fn at(value: f32) -> Self {
        Self { y: if value.is_finite() { value } else { 0.0 } }
    }

    /// The last output.
    #[must_use]
    pub const fn output(&self) -> f32 {
        self.y
    }
}

impl LowPass {
    /// From the corner frequency in Hz (below half the sampling rate) and the period in s.
    ///
    /// # Errors
    /// Names `cutoff_hz` (also when its time constant is longer than a million periods) or `period_s`.
    pub fn new(cutoff_hz: f32, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let f = require_below_nyquist("cutoff_hz", cutoff_hz, h)?;
        let range = Problem::OutOfRange { low: SMALLEST_EXPONENT / (TAU * h), high: f32::INFINITY };
        Self::from_exponent(TAU * f * h, h).ok_or(ConfigError::new("cutoff_hz", range))
    }

    /// From the time constant in s, greater than 0 and at most a million periods, and the period in s.
    ///
    /// # Errors
    /// Names `time_constant_s` or `period_s`.
    pub fn from_time_constant(time_constant_s: f32, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let t = require_positive("time_constant_s", time_constant_s)?;
        let range = Problem::OutOfRange { low: 0.0, high: h / SMALLEST_EXPONENT };
        Self::from_exponent(h / t, h).ok_or(ConfigError::new("time_constant_s", range))
    }

    /// With the pole exp(-`exponent`).
    fn from_exponent(exponent: f32, h: f32) -> Option<Self> {
        let gain = -libm::expm1f(-exponent);
        (exponent >= SMALLEST_EXPONENT).then_some(Self { gain, delay_s: h * (1.0 - gain) / gain })
    }

    /// The next output. A sample that is not finite holds the last one. Steps smaller than half an ulp are
    /// lost, so the output ends within 6e-8/k of a constant input, relative to it, with the gain k: 6 % for
    /// the longest time constant, 6e-5 for one of a thousand periods.
    #[inline]
    pub fn step(&self, state: &mut LowPassState, x: f32) -> f32 {
        let y = (state.y + FLOOR) + self.gain * (x - state.y);
        if y.is_finite() {
            state.y = y;
        }
        state.y
    }

    /// Delay at low frequency in s, h (1 - k)/k with the gain k.
    #[must_use]
    pub const fn delay_s(&self) -> f32 {
        self.delay_s
    }

    /// Gain k: the part of a step that appears in the first output, 0 to 1.
    #[must_use]
    pub const fn gain(&self) -> f32 {
        self.gain
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gain_equals_the_exact_pole() {
        // scipy 1.17: 1 - exp(-2 pi f/fs).
        for (fs, f, k) in
            [(1000.0, 7.0, 0.043_029_1), (1000.0, 23.0, 0.134_556_57), (500.0, 11.0, 0.129_101_7)]
        {
            let filter = LowPass::new(f, 1.0 / fs).unwrap();
            assert!((filter.gain() - k).abs() < 1e-6);
            // Twin: the backward-Euler pole differs by 2 % to 6 %.
            let w = TAU * f / fs;
            assert!((w / (1.0 + w) - k).abs() > 5e-4);
        }
    }

    #[test]
    fn ramp_lags_by_the_delay() {
        let filter = LowPass::new(7.0, 1e-3).unwrap();
        let mut state = LowPassState::at(0.0);
        for k in 0..1000 {
            filter.step(&mut state, k as f32 * 1e-3);
        }
        assert!((0.999 - state.output() - filter.delay_s()).abs() < 1e-5);
    }

    #[test]
    fn slowest_filters_end_as_near_as_stated() {
        for (periods, error) in [(1e3, 6e-5), (0.99e6, 0.06)] {
            let filter = LowPass::from_time_constant(periods, 1.0).unwrap();
            let mut state = LowPassState::at(0.0);
            for _ in 0..(12.0 * periods) as u32 {
                filter.step(&mut state, 1.0);
            }
            assert!((state.output() - 1.0).abs() < error, "{periods} {}", state.output());
        }
    }

    #[test]
    fn bad_arguments_are_named_and_bad_samples_are_held() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0, 500.0] {
            assert_eq!(LowPass::new(bad, 1e-3).unwrap_err().field, "cutoff_hz");
        }
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            assert_eq!(LowPass::new(7.0, bad).unwrap_err().field, "period_s");
            assert_eq!(LowPass::from_time_constant(bad, 1e-3).unwrap_err().field, "time_constant_s");
        }
        for slow in [1.01e3, 1e30, f32::MAX] {
            let refused = LowPass::from_time_constant(slow, 1e-3).unwrap_err();
            assert_eq!(refused.field, "time_constant_s");
            let Problem::OutOfRange { low: 0.0, high } = refused.problem else { panic!("{refused}") };
            assert!((high - 1e3).abs() < 0.1, "{high}");
        }
        let refused = LowPass::new(1e-4, 1e-3).unwrap_err();
        let Problem::OutOfRange { low, high: f32::INFINITY } = refused.problem else { panic!("{refused}") };
        assert!((low - 1.59e-4).abs() < 1e-6, "{low}");
        let filter = LowPass::from_time_constant(0.01, 1e-3).unwrap();
        let mut state = LowPassState::at(2.0);
        for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(filter.step(&mut state, x), 2.0);
        }
        for x in [f32::MAX, f32::MIN, f32::MAX] {
            assert!(filter.step(&mut state, x).is_finite());
        }
        for _ in 0..2000 {
            filter.step(&mut state, 0.0);
        }
        assert!(state.output().abs() < 1e-20 && !state.output().is_subnormal());
    }

    #[test]
    fn state_starts_at_its_value_and_one_that_is_not_finite_at_0() {
        assert_eq!(LowPassState::at(-3.0).output(), -3.0);
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(LowPassState::at(bad).output(), 0.0);
        }
        let filter = LowPass::new(7.0, 1e-3).unwrap();
        let mut state = LowPassState::at(2.0);
        assert_eq!(filter.step(&mut state, 2.0), 2.0);
    }

    #[test]
    fn time_constant_and_cutoff_give_the_same_filter() {
        let (by_cutoff, by_time) =
            (LowPass::new(7.0, 1e-3).unwrap(), LowPass::from_time_constant(1.0 / (TAU * 7.0), 1e-3).unwrap());
        assert!((by_cutoff.gain() - by_time.gain()).abs() < 1e-7);
        // Closed form h (1 - k)/k.
        let k = by_time.gain();
        assert!((by_time.delay_s() - 1e-3 * (1.0 - k) / k).abs() < 1e-8);
        // The longest time constant is a million periods.
        assert!(LowPass::from_time_constant(0.999e6, 1.0).is_ok());
        assert!(LowPass::from_time_constant(1.001e6, 1.0).is_err());
    }
}
