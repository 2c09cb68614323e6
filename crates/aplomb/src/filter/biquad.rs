//! Second-order sections.

use core::f32::consts::{PI, SQRT_2, TAU};

use super::{FLOOR, require_below_nyquist};
use crate::error::{ConfigError, require_positive};
use crate::math::Math;

/// Second-order filter of unit gain at zero frequency whose zeros lie on the unit circle (b2 = b0),
/// transposed direct form II:
///
/// ```text
/// y = b0 x + s1,   s1 = b1 x - a1 y + s2,   s2 = b0 x - a2 y
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Biquad {
    b0: f32,
    b1: f32,
    a1: f32,
    a2: f32,
    delay_s: f32,
}

/// State of a [`Biquad`] for one signal.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct BiquadState {
    s1: f32,
    s2: f32,
    y: f32,
}

impl BiquadState {
    /// Zero.
    #[must_use]
    pub const fn new() -> Self {
        Self { s1: 0.0, s2: 0.0, y: 0.0 }
    }

    /// The last output.
    #[must_use]
    pub const fn output(&self) -> f32 {
        self.y
    }
}

impl Biquad {
    /// Butterworth low-pass, -3 dB at `cutoff_hz`, by the bilinear transform with pre-warping (R.
    /// Bristow-Johnson, Audio EQ Cookbook, W3C Note 2021, with Q = 1/sqrt 2). Its delay at low frequency is
    /// h/(sqrt 2 tan(pi f h)).
    ///
    /// # Errors
    /// Names `cutoff_hz` (must lie below half the sampling rate) or `period_s`.
    ///
    /// ```
    /// use aplomb::filter::{Biquad, BiquadState};
    /// let filter = Biquad::low_pass(75.0, 1e-3).unwrap();
    /// let mut state = BiquadState::new();
    /// assert!((filter.step(&mut state, 1.0) - 0.04125354).abs() < 1e-6);
    /// assert!((filter.step(&mut state, 1.0) - 0.1794103).abs() < 1e-6);
    /// assert!((filter.delay_s() - 2.945e-3).abs() < 1e-6);
    /// ```
    pub fn low_pass(cutoff_hz: f32, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let f = require_below_nyquist("cutoff_hz", cutoff_hz, h)?;
        let t = libm::tanf(PI * f * h);
        let scale = 1.0 / (1.0 + SQRT_2 * t + t * t);
        let b0 = t * t * scale;
        Ok(Self {
            b0,
            b1: 2.0 * b0,
            a1: 2.0 * (t * t - 1.0) * scale,
            a2: (1.0 - SQRT_2 * t + t * t) * scale,
            delay_s: h / (SQRT_2 * t),
        })
    }

    /// Notch at `centre_hz` whose -3 dB bandwidth is exactly `bandwidth_hz`: with g = 1/(1 + tan(pi B h)) and
    /// c = cos(2 pi f h), b = g (1, -2 c, 1) and a = (1, -2 g c, 2 g - 1). Its delay at low frequency is
    /// h tan(pi B h)/(1 - c).
    ///
    /// # Errors
    /// Names `centre_hz` or `bandwidth_hz` (both must lie below half the sampling rate) or `period_s`.
    ///
    /// ```
    /// use aplomb::{Libm, filter::Biquad};
    /// let notch = Biquad::notch(230.0, 57.5, 1.0 / 2000.0).unwrap();
    /// let (magnitude, phase_rad) = notch.response::<Libm>(115.0, 1.0 / 2000.0);
    /// assert!((phase_rad.to_degrees() + 9.800).abs() < 1e-3 && magnitude > 0.98);
    /// ```
    pub fn notch(centre_hz: f32, bandwidth_hz: f32, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let f = require_below_nyquist("centre_hz", centre_hz, h)?;
        let bandwidth = require_below_nyquist("bandwidth_hz", bandwidth_hz, h)?;
        let t = libm::tanf(PI * bandwidth * h);
        let g = 1.0 / (1.0 + t);
        let (sine, c) = (libm::sinf(PI * f * h), libm::cosf(TAU * f * h));
        Ok(Self {
            b0: g,
            b1: -2.0 * g * c,
            a1: -2.0 * g * c,
            a2: 2.0 * g - 1.0,
            // 1 - cos w = 2 sin^2(w/2), without the cancellation.
            delay_s: h * t / (2.0 * sine * sine),
        })
    }

    /// The next output. A sample that is not finite, or one so large that the result is not, holds the last
    /// output and sets the state to its steady state there.
    #[inline]
    pub fn step(&self, state: &mut BiquadState, x: f32) -> f32 {
        let scaled = self.b0 * x + FLOOR;
        let y = scaled + state.s1;
        if y.is_finite() {
            state.s1 = state.s2 + self.b1 * x - self.a1 * y;
            state.s2 = scaled - self.a2 * y;
            state.y = y;
        } else {
            *state = self.steady_state(state.y);
        }
        state.y
    }

    /// The state in which a constant input `value` gives the constant output `value`; not finite counts as 0.
    #[must_use]
    pub const fn steady_state(&self, value: f32) -> BiquadState {
        let y = if value.is_finite() { value } else { 0.0 };
        BiquadState { s1: (1.0 - self.b0) * y, s2: (self.b0 - self.a2) * y, y }
    }

    /// Delay at low frequency in s, in closed form.
    #[must_use]
    pub const fn delay_s(&self) -> f32 {
        self.delay_s
    }

    /// b0, b1, b2, a1, a2 with a0 = 1.
    #[must_use]
    pub const fn coefficients(&self) -> [f32; 5] {
        [self.b0, self.b1, self.b0, self.a1, self.a2]
    }

    /// Magnitude and phase in rad at a frequency in Hz, for the given period in s. Uses sines: not for use on
    /// every tick.
    #[must_use]
    pub fn response<M: Math>(&self, frequency_hz: f32, period_s: f32) -> (f32, f32) {
        let w = TAU * frequency_hz * period_s;
        let (c1, s1, c2, s2) = (M::cos(w), M::sin(w), M::cos(2.0 * w), M::sin(2.0 * w));
        let (nr, ni) = (self.b0 + self.b1 * c1 + self.b0 * c2, -(self.b1 * s1 + self.b0 * s2));
        let (dr, di) = (1.0 + self.a1 * c1 + self.a2 * c2, -(self.a1 * s1 + self.a2 * s2));
        let (re, im) = (nr * dr + ni * di, ni * dr - nr * di);
        (M::sqrt(re * re + im * im) / (dr * dr + di * di), M::atan2(im, re))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    #[test]
    fn low_pass_coefficients_equal_scipy() {
        // scipy.signal 1.17, butter(2, f, fs=fs): fs, f, b0, a1, a2.
        let rows = [
            (500.0, 37.0, 0.0403015025751769, -1.35733367442912, 0.518539684729828),
            (1000.0, 75.0, 0.0412535372417203, -1.34896774525279, 0.513981894219676),
            (1000.0, 37.0, 0.0115664542963925, -1.67355783848014, 0.719823655665713),
            (2000.0, 110.0, 0.023847556298911, -1.51813254071763, 0.613522765913272),
            (2000.0, 170.0, 0.0511997931422919, -1.2658467672146, 0.470645939783765),
            (4000.0, 75.0, 0.00319982896684397, -1.83373265892465, 0.846531974792023),
            (8000.0, 110.0, 0.00175757560770333, -1.87795954105009, 0.8849898434809),
        ];
        for (fs, f, b0, a1, a2) in rows {
            let got = Biquad::low_pass(f, 1.0 / fs).unwrap().coefficients();
            for (x, y) in got.into_iter().zip([b0, 2.0 * b0, b0, a1, a2]) {
                assert!((f64::from(x) - y).abs() < 1e-6, "{f} at {fs}: {x} {y}");
            }
        }
    }

    #[test]
    fn notch_coefficients_equal_scipy_in_the_bandwidth_definition() {
        // scipy.signal 1.17, iirnotch(f, Q, fs=fs): fs, f, Q, b0, b1, a2; then b0 of the cookbook's other
        // definition (alpha = sin w/(2 Q)), which must not fit.
        let rows = [
            (2000.0, 230.0, 4.0, 0.916954039592605, -1.37563475088156, 0.83390807918521, 0.923647609553089),
            (1000.0, 130.0, 2.5, 0.858493087048951, -1.17535791639829, 0.716986174097903, 0.8727574412029),
            (4000.0, 310.0, 6.0, 0.960982946089466, -1.69856739771049, 0.921965892178932, 0.962469325603248),
            (8000.0, 170.0, 4.0, 0.983582763608843, -1.9496572570525, 0.967165527217686, 0.983632195686549),
        ];
        for (fs, f, q, b0, b1, a2, other) in rows {
            let got = Biquad::notch(f, f / q, 1.0 / fs).unwrap().coefficients();
            for (x, y) in got.into_iter().zip([b0, b1, b0, b1, a2]) {
                assert!((f64::from(x) - y).abs() < 1e-6, "{f} at {fs}: {x} {y}");
            }
            assert!((f64::from(got[0]) - other).abs() > 1e-5);
        }
    }

    #[test]
    fn responses_equal_scipy() {
        // scipy.signal 1.17, freqz.
        let h = 1e-3;
        let low_pass = Biquad::low_pass(75.0, h).unwrap();
        for (f, magnitude) in
            [(18.75, 0.998185), (37.5, 0.971712), (75.0, core::f32::consts::FRAC_1_SQRT_2), (150.0, 0.216735)]
        {
            assert!((low_pass.response::<Libm>(f, h).0 - magnitude).abs() < 1e-5);
        }
        assert!((low_pass.response::<Libm>(37.5, h).1.to_degrees() + 42.647).abs() < 2e-3);
        let mut state = BiquadState::new();
        let steps: [f32; 200] = core::array::from_fn(|_| low_pass.step(&mut state, 1.0));
        for (y, expected) in
            steps.iter().zip([0.041_253_54, 0.179_410_3, 0.385_829_3, 0.593_271_8, 0.767_009_4])
        {
            assert!((y - expected).abs() < 1e-6);
        }
        assert!((steps.iter().copied().fold(0.0, f32::max) - 1.0469).abs() < 1e-4);
    }

    #[test]
    fn ramp_lags_by_the_delay() {
        for filter in [Biquad::low_pass(75.0, 1e-3).unwrap(), Biquad::notch(130.0, 52.0, 1e-3).unwrap()] {
            let mut state = BiquadState::new();
            for k in 0..500 {
                filter.step(&mut state, k as f32 * 1e-3);
            }
            assert!((0.499 - state.output() - filter.delay_s()).abs() < 1e-6, "{}", filter.delay_s());
        }
    }

    #[test]
    fn bad_arguments_are_named() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0, 500.0] {
            assert_eq!(Biquad::low_pass(bad, 1e-3).unwrap_err().field, "cutoff_hz");
            assert_eq!(Biquad::notch(bad, 10.0, 1e-3).unwrap_err().field, "centre_hz");
            assert_eq!(Biquad::notch(100.0, bad, 1e-3).unwrap_err().field, "bandwidth_hz");
        }
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            assert_eq!(Biquad::low_pass(75.0, bad).unwrap_err().field, "period_s");
            assert_eq!(Biquad::notch(75.0, 10.0, bad).unwrap_err().field, "period_s");
        }
    }

    #[test]
    fn any_sample_leaves_the_state_finite_and_it_recovers() {
        let bad = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN, 1e-40];
        for filter in [Biquad::low_pass(75.0, 1e-3).unwrap(), Biquad::notch(130.0, 52.0, 1e-3).unwrap()] {
            let mut state = filter.steady_state(1.0);
            assert_eq!(filter.step(&mut state, f32::NAN), 1.0);
            for k in 0..1000 {
                assert!(filter.step(&mut state, bad[(k * k + k / 7) % 6]).is_finite());
            }
            for _ in 0..3000 {
                filter.step(&mut state, 0.0);
            }
            for x in [state.s1, state.s2, state.y] {
                assert!(x.abs() < 1e-20 && !x.is_subnormal(), "{x}");
            }
            assert!((filter.step(&mut state, 1.0) - filter.b0).abs() < 1e-6);
        }
    }

    #[test]
    fn steady_state_gives_its_value_at_once_and_one_that_is_not_finite_0() {
        for filter in [Biquad::low_pass(75.0, 1e-3).unwrap(), Biquad::notch(130.0, 52.0, 1e-3).unwrap()] {
            let mut state = filter.steady_state(2.5);
            assert_eq!(state.output(), 2.5);
            for _ in 0..50 {
                assert!((filter.step(&mut state, 2.5) - 2.5).abs() < 1e-5);
            }
            for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
                assert_eq!(filter.steady_state(bad), BiquadState::new());
            }
        }
    }

    #[test]
    fn notch_response_has_its_zero_its_width_and_the_phase_of_scipy() {
        // By definition: 0 at the centre, 1/sqrt 2 at the edges of the bandwidth (which pre-warping makes
        // exact about tan(pi f h)), 1 at 0. scipy.signal 1.17, freqz of iirnotch: -9.800 deg at half the
        // centre frequency.
        let (h, notch) = (1.0 / 2000.0, Biquad::notch(230.0, 57.5, 1.0 / 2000.0).unwrap());
        assert!(notch.response::<Libm>(230.0, h).0 < 1e-5);
        assert!((notch.response::<Libm>(0.0, h).0 - 1.0).abs() < 1e-6);
        let (mut low, mut high) = (230.0f32, 230.0f32);
        while notch.response::<Libm>(low, h).0 < core::f32::consts::FRAC_1_SQRT_2 {
            low -= 0.01;
        }
        while notch.response::<Libm>(high, h).0 < core::f32::consts::FRAC_1_SQRT_2 {
            high += 0.01;
        }
        assert!((high - low - 57.5).abs() < 0.05, "{low} to {high}");
        let (above, below) = (notch.response::<Libm>(345.0, h).1, notch.response::<Libm>(115.0, h).1);
        assert!(below < 0.0 && above > 0.0);
    }
}
