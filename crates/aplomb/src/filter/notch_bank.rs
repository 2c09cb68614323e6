//! Notches at the speeds of the rotors.

use core::f32::consts::{PI, TAU};

use super::{FLOOR, require_below_nyquist};
use crate::error::{ConfigError, Problem, require_positive};
use crate::frames::{Body, Vector};
use crate::math::saturate;
use crate::{Corner, Rotors};

/// Configuration of a [`NotchBank`]. [`crate::flight::Config::for_airframe`] derives it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct NotchBankConfig {
    /// -3 dB bandwidth of each notch in Hz, the same at every speed; below half the sampling rate.
    pub bandwidth_hz: f32,
    /// Harmonic of the rotor speed: 1 for imbalance, the number of blades for the blade-passing tone. Greater
    /// than 0.
    pub harmonic: f32,
    /// Lowest centre frequency in Hz: the notch of a slower rotor stays there, since its delay grows as the
    /// frequency falls.
    pub lowest_hz: f32,
    /// Highest centre frequency in Hz, above `lowest_hz` and below half the sampling rate.
    pub highest_hz: f32,
}

/// One notch per rotor on each of three body axes, centred on a multiple of the rotor's speed.
///
/// With a fixed bandwidth only c = cos(2 pi f h) changes with the speed; a polynomial in the square of the
/// half angle w gives it,
/// `1 - c = 2 sin^2 w = 2 q - 2/3 q^2 + 4/45 q^3 - 2/315 q^4 + 4/14175 q^5 - 4/467775 q^6`, q = w^2. Up to a
/// quarter of the sampling rate the centre frequency errs by less than 1e-6 of itself, up to 0.45 of it by
/// less than 3e-5, up to the half by less than 1e-3. Each notch is that of
/// [`Biquad::notch`](super::Biquad::notch).
///
/// ```
/// use aplomb::{Rotors, filter::{NotchBank, NotchBankConfig}, frames::{Body, Vector}};
/// let config = NotchBankConfig { bandwidth_hz: 20.0, harmonic: 1.0, lowest_hz: 50.0, highest_hz: 400.0 };
/// let mut bank = NotchBank::new(&config, 1e-3).unwrap();
/// bank.follow(Rotors::splat(600.0));
/// // Four notches at 95 Hz delay a slow signal by 4 h tan(pi B h)/(1 - cos(w h)).
/// assert!((bank.delay_s() - 1.4408e-3).abs() < 1e-6);
/// bank.initialise(Vector::<Body>::new(0.2, 0.0, 0.0));
/// assert!((bank.step(Vector::new(0.2, 0.0, 0.0)).x() - 0.2).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NotchBank {
    gain: f32,
    a2: f32,
    /// Square of the half angle w over that of the speed in rad/s.
    square_per_square: f32,
    lowest_rad_s: f32,
    highest_rad_s: f32,
    delay_scale_s: f32,
    state: NotchBankState,
}

/// State of a [`NotchBank`], to save and restore.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct NotchBankState {
    notches: Rotors<Notch>,
    last: [f32; 3],
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Notch {
    b1: f32,
    s1: [f32; 3],
    s2: [f32; 3],
}

/// 1 - cos(2 w) of the squared angle q = w^2.
#[inline]
fn versine(q: f32) -> f32 {
    // Ends on a negative term: never above the true value, so that no notch is unstable near half the
    // sampling rate.
    let end = 2.0 / 315.0 - q * (4.0 / 14_175.0 - q * (4.0 / 467_775.0));
    q * (2.0 - q * (2.0 / 3.0 - q * (4.0 / 45.0 - q * end)))
}

impl Notch {
    /// All three axes, with b0 and a2 of the bank.
    #[inline]
    fn step(&mut self, b0: f32, a2: f32, mut signal: [f32; 3]) -> [f32; 3] {
        let b1 = self.b1;
        for ((x, s1), s2) in signal.iter_mut().zip(&mut self.s1).zip(&mut self.s2) {
            let scaled = b0 * *x;
            let y = scaled + *s1;
            *s1 = *s2 + b1 * (*x - y);
            *s2 = scaled - a2 * y;
            *x = y;
        }
        signal
    }
}

impl NotchBank {
    /// All notches at the lowest frequency, state zero.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive, above half the sampling rate, or out of order.
    pub fn new(config: &NotchBankConfig, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let bandwidth = require_below_nyquist("bandwidth_hz", config.bandwidth_hz, h)?;
        let harmonic = require_positive("harmonic", config.harmonic)?;
        let lowest = require_below_nyquist("lowest_hz", config.lowest_hz, h)?;
        let highest = require_below_nyquist("highest_hz", config.highest_hz, h)?;
        if lowest >= highest {
            return Err(ConfigError::new("lowest_hz", Problem::WrongOrder("highest_hz")));
        }
        let t = libm::tanf(PI * bandwidth * h);
        let gain = 1.0 / (1.0 + t);
        let mut bank = Self {
            gain,
            a2: 2.0 * gain - 1.0,
            square_per_square: 0.25 * harmonic * harmonic * h * h,
            lowest_rad_s: TAU * lowest / harmonic,
            highest_rad_s: TAU * highest / harmonic,
            delay_scale_s: h * t,
            state: NotchBankState::default(),
        };
        bank.follow(Rotors::splat(0.0));
        Ok(bank)
    }

    /// Moves each notch to its rotor's speed in rad/s. A negative speed counts as its magnitude; one that is
    /// not finite leaves the notch unchanged.
    #[inline]
    pub fn follow(&mut self, speed_rad_s: Rotors<f32>) {
        for corner in Corner::ALL {
            let speed = *speed_rad_s.at(corner);
            if speed.is_finite() {
                let speed = saturate(speed.abs(), self.lowest_rad_s, self.highest_rad_s);
                let versine = versine(self.square_per_square * speed * speed);
                self.state.notches.at_mut(corner).b1 = 2.0 * self.gain * (versine - 1.0);
            }
        }
    }

    /// The input without the tones of the rotors. An input that is not finite, or one so large that the
    /// result is not, holds the last output and sets all notches to their steady state there.
    #[inline]
    pub fn step(&mut self, input: Vector<Body>) -> Vector<Body> {
        // Each notch has unit gain, so the offset against denormal numbers is added once, to the input.
        let mut signal = input.to_array().map(|x| x + FLOOR);
        for notch in self.state.notches.each_mut() {
            signal = notch.step(self.gain, self.a2, signal);
        }
        let output = Vector::from_glam(glam::Vec3::from_array(signal));
        if output.is_finite() {
            self.state.last = signal;
            output
        } else {
            let last = Vector::from_glam(glam::Vec3::from_array(self.state.last));
            self.initialise(last);
            last
        }
    }

    /// Sets every notch to its steady state at a constant value; not finite counts as 0.
    pub fn initialise(&mut self, value: Vector<Body>) {
        let value = if value.is_finite() { value.to_array() } else { [0.0; 3] };
        self.state.last = value;
        for notch in self.state.notches.each_mut() {
            notch.s1 = value.map(|y| (1.0 - self.gain) * y);
            notch.s2 = value.map(|y| (self.gain - self.a2) * y);
        }
    }

    /// All notches at the lowest frequency, state zero.
    pub fn reset(&mut self) {
        self.state = NotchBankState::default();
        self.follow(Rotors::splat(0.0));
    }

    /// The state after the last step.
    #[must_use]
    pub const fn state(&self) -> NotchBankState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: NotchBankState) {
        self.state = state;
    }

    /// Delay of a slow signal through all four notches in s, h tan(pi B h)/(1 - cos w) each.
    #[must_use]
    pub fn delay_s(&self) -> f32 {
        let versine = |notch: &Notch| 1.0 + 0.5 * notch.b1 / self.gain;
        let delay_s = |notch: &Notch| self.delay_scale_s / versine(notch);
        self.state.notches.as_ref().into_array().map(delay_s).iter().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::filter::{Biquad, BiquadState};

    const CONFIG: NotchBankConfig =
        NotchBankConfig { bandwidth_hz: 20.0, harmonic: 2.0, lowest_hz: 40.0, highest_hz: 450.0 };

    #[test]
    fn each_bad_field_is_named() {
        type Set = fn(&mut NotchBankConfig, f32);
        let fields: [(&str, Set); 4] = [
            ("bandwidth_hz", |c, x| c.bandwidth_hz = x),
            ("harmonic", |c, x| c.harmonic = x),
            ("lowest_hz", |c, x| c.lowest_hz = x),
            ("highest_hz", |c, x| c.highest_hz = x),
        ];
        for (field, set) in fields {
            for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
                let mut config = CONFIG;
                set(&mut config, x);
                assert_eq!(NotchBank::new(&config, 1e-3).unwrap_err().field, field);
            }
        }
        let swapped = NotchBankConfig { lowest_hz: 450.0, highest_hz: 40.0, ..CONFIG };
        assert_eq!(NotchBank::new(&swapped, 1e-3).unwrap_err().problem, Problem::WrongOrder("highest_hz"));
        let high = NotchBankConfig { highest_hz: 500.0, ..CONFIG };
        assert_eq!(NotchBank::new(&high, 1e-3).unwrap_err().field, "highest_hz");
        assert_eq!(NotchBank::new(&CONFIG, 0.0).unwrap_err().field, "period_s");
    }

    #[test]
    fn four_notches_equal_four_biquads() {
        let speeds = Rotors { front_left: 300.0, front_right: 420.0, rear_left: 610.0, rear_right: 777.0 };
        let mut bank = NotchBank::new(&CONFIG, 1e-3).unwrap();
        bank.follow(speeds);
        let mut chain =
            speeds.into_array().map(|s| (Biquad::notch(s / PI, 20.0, 1e-3).unwrap(), BiquadState::new()));
        for k in 0..400 {
            let x = ((k * 37) % 101) as f32 / 50.0 - 1.0;
            let y = bank.step(Vector::new(x, -x, 0.5 * x));
            let expected = chain.iter_mut().fold(x, |x, (notch, state)| notch.step(state, x));
            assert!((y.x() - expected).abs() < 2e-5, "{k}: {} {expected}", y.x());
            assert_eq!((y.y(), y.z()), (-y.x(), 0.5 * y.x()));
        }
    }

    #[test]
    fn polynomial_centre_frequency_error_stays_within_what_is_stated() {
        let worst = |frequencies: core::ops::RangeInclusive<u16>| {
            frequencies.fold(0.0f64, |worst, f| {
                let angle = 0.5 * f32::from(f) * TAU * 1e-3;
                let got = (1.0 - f64::from(versine(angle * angle))).acos() / (core::f64::consts::TAU * 1e-3);
                worst.max((got / f64::from(f) - 1.0).abs())
            })
        };
        let (quarter, most, half) = (worst(20..=250), worst(20..=450), worst(20..=495));
        assert!(quarter < 1e-6 && most < 3e-5 && half < 1e-3 && half > 1e-4, "{quarter} {most} {half}");
    }

    #[test]
    fn notches_just_below_half_the_sampling_rate_stay_stable() {
        let config = NotchBankConfig { highest_hz: 499.9, ..CONFIG };
        let mut bank = NotchBank::new(&config, 1e-3).unwrap();
        bank.follow(Rotors::splat(1e4));
        assert!(bank.state.notches.into_array().iter().all(|notch| notch.b1 < 2.0 * bank.gain));
        for k in 0..20_000 {
            let y = bank.step(Vector::new(if k % 7 == 0 { 1.0 } else { 0.0 }, 0.0, 0.0));
            assert!(y.x().abs() < 10.0, "{k} {}", y.x());
        }
    }

    #[test]
    fn tone_at_each_rotor_speed_is_removed_while_speeds_move() {
        let run = |following: bool| {
            let mut bank = NotchBank::new(&CONFIG, 1e-3).unwrap();
            let (mut phase, mut power) = (0.0f32, 0.0f32);
            for k in 0..4000 {
                let speed = 500.0 + 0.05 * k as f32;
                phase += 2.0 * speed * 1e-3;
                bank.follow(Rotors::splat(if following { speed } else { 400.0 }));
                let y = bank.step(Vector::new(phase.sin(), 0.0, 0.0)).x();
                power += if k >= 500 { y * y / 3500.0 } else { 0.0 };
            }
            (2.0 * power).sqrt()
        };
        let (following, standing) = (run(true), run(false));
        assert!(following < 1e-3 && standing > 0.3, "{following} {standing}");
    }

    #[test]
    fn any_input_leaves_the_output_finite_and_it_recovers() {
        let mut bank = NotchBank::new(&CONFIG, 1e-3).unwrap();
        let bad = [f32::NAN, f32::INFINITY, f32::MAX, f32::MIN, f32::NEG_INFINITY, 1e-40];
        for k in 0..600 {
            bank.follow(Rotors::splat(bad[k % 6]));
            assert!(bank.step(Vector::new(bad[(k / 3) % 6], 0.0, bad[(k / 7) % 6])).is_finite());
        }
        bank.follow(Rotors::splat(400.0));
        for _ in 0..3000 {
            bank.step(Vector::new(0.25, 0.25, 0.25));
        }
        assert!((bank.step(Vector::new(0.25, 0.25, 0.25)).x() - 0.25).abs() < 1e-5);
    }

    /// Response to a tone of `frequency_hz` in the steady state: the amplitude.
    fn amplitude(bank: &mut NotchBank, frequency_hz: f32) -> f32 {
        let mut power = 0.0;
        for k in 0..4000 {
            let y = bank.step(Vector::new((TAU * frequency_hz * k as f32 * 1e-3).sin(), 0.0, 0.0)).x();
            power += if k >= 2000 { y * y / 2000.0 } else { 0.0 };
        }
        (2.0 * power).sqrt()
    }

    #[test]
    fn speeds_beyond_the_range_negative_and_not_finite_are_treated_as_stated() {
        // Harmonic 2: a speed of 500 rad/s is a tone of 159 Hz, the range is 126 to 1414 rad/s.
        let at = |speed: f32| {
            let mut bank = NotchBank::new(&CONFIG, 1e-3).unwrap();
            bank.follow(Rotors::splat(speed));
            bank
        };
        assert_eq!(at(-500.0), at(500.0));
        assert_eq!(at(10.0), at(PI * 40.0));
        assert_eq!(at(9e9), at(PI * 450.0));
        assert!(amplitude(&mut at(10.0), 40.0) < 1e-3 && amplitude(&mut at(10.0), 60.0) > 0.3);
        assert!(amplitude(&mut at(9e9), 450.0) < 1e-2 && amplitude(&mut at(9e9), 400.0) > 0.3);
        for bad in [f32::NAN, f32::INFINITY] {
            let mut bank = at(500.0);
            bank.follow(Rotors::splat(bad));
            assert_eq!(bank, at(500.0));
        }
        // One rotor alone: three notches stay.
        let mut one = at(500.0);
        one.follow(Rotors { rear_left: 900.0, ..Rotors::splat(f32::NAN) });
        let changed = one.state.notches.zip(at(500.0).state.notches).map(|(a, b)| a != b);
        assert_eq!(changed.into_array(), [false, false, true, false]);
    }

    #[test]
    fn delay_is_that_of_a_ramp() {
        let mut bank = NotchBank::new(&CONFIG, 1e-3).unwrap();
        bank.follow(Rotors { front_left: 300.0, front_right: 420.0, rear_left: 610.0, rear_right: 777.0 });
        let mut last = 0.0;
        for k in 0..2000 {
            last = bank.step(Vector::new(k as f32 * 1e-3, 0.0, 0.0)).x();
        }
        assert!((1.999 - last - bank.delay_s()).abs() < 1e-5, "{last} {}", bank.delay_s());
    }

    #[test]
    fn initialised_bank_gives_the_value_at_once_and_holds_it_over_bad_inputs() {
        let mut bank = NotchBank::new(&CONFIG, 1e-3).unwrap();
        bank.follow(Rotors::splat(500.0));
        bank.initialise(Vector::new(0.3, -0.2, 0.1));
        let before = bank;
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            let held = bank.step(Vector::new(bad, bad, bad));
            assert_eq!(held.to_array(), [0.3, -0.2, 0.1]);
            assert_eq!(bank, before);
        }
        for _ in 0..100 {
            let y = bank.step(Vector::new(0.3, -0.2, 0.1));
            assert!((y - Vector::new(0.3, -0.2, 0.1)).norm_squared() < 1e-11);
        }
        bank.initialise(Vector::new(f32::NAN, 1.0, 1.0));
        assert!(bank.step(Vector::ZERO).norm_squared() < 1e-20);
    }

    #[test]
    fn saved_state_continues_and_reset_is_new() {
        let mut bank = NotchBank::new(&CONFIG, 1e-3).unwrap();
        let new = bank;
        bank.follow(Rotors::splat(500.0));
        bank.step(Vector::new(1.0, 2.0, 3.0));
        let mut other = new;
        other.set_state(bank.state());
        assert_eq!(other.step(Vector::new(0.5, 0.0, 0.0)), bank.step(Vector::new(0.5, 0.0, 0.0)));
        bank.reset();
        assert_eq!(bank, new);
    }
}
