//! Notches on the measured body rate, one for each rotor, at the frequency of the vibration by its imbalance.
//!
//! The speed of a rotor is that reported by its speed controller. Where none is reported it is estimated from
//! the thrust f allocated to it: with the hover speed w_h and the hover thrust f_h of a rotor, and the
//! rotors' time constant tau,
//!
//! ```text
//! w + tau dw/dt = w_h sqrt(f/f_h)          sampled with the period h: w += h/(tau + h) (w_h sqrt(f/f_h) - w)
//! ```
//!
//! In steady state the relative error of the speed is half that of the thrust coefficient: 10 % of thrust, or
//! of air density, are 5 % of speed. In fast manoeuvres the error of the time constant adds to it. A tone d
//! Hz beside the centre of a notch of bandwidth B keeps the share `x/sqrt(1 + x^2)`, x = 2 d/B; with the
//! derived bandwidth, a fifth of the tone's frequency, an error of 5 % leaves 45 %.

use core::marker::PhantomData;

use crate::Rotors;
use crate::error::{ConfigError, require_not_negative, require_positive};
use crate::filter::{NotchBank, NotchBankConfig, NotchBankState};
use crate::frames::{Body, Vector};
use crate::math::{Libm, Math};

/// A reported speed of this many rad/s (95,000 rpm) or more is no measurement: above that of any multirotor's
/// rotors (value from memory).
const FASTEST_RAD_S: f32 = 1e4;

/// Configuration of [`RotorNotches`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct NotchConfig {
    /// -3 dB bandwidth of each notch in Hz, below half the tick rate; 0: no notches, and the other fields are
    /// ignored.
    pub bandwidth_hz: f32,
    /// Harmonic of the rotation frequency: 1 for imbalance, the number of blades for the blade-pass
    /// frequency. Greater than 0.
    pub harmonic: f32,
    /// Lowest centre frequency in Hz: the notch of a slower rotor stays there, since its delay grows as the
    /// frequency falls.
    pub lowest_hz: f32,
    /// Highest centre frequency in Hz, above `lowest_hz` and below half the tick rate.
    pub highest_hz: f32,
    /// Speed of the rotors in hover in rad/s.
    pub hover_speed_rad_s: f32,
}

impl NotchConfig {
    /// Delay of a slow signal in s with all rotors at hover speed: 4 h tan(pi B h)/(1 - cos(w h)), w the
    /// tone's angular frequency and h the period. 0 without notches.
    ///
    /// # Errors
    /// Names the field that no notch can be built with.
    pub fn hover_delay_s(&self, period_s: f32) -> Result<f32, ConfigError> {
        let delay_s = self.bank(period_s)?.map(|mut bank| {
            bank.follow(Rotors::splat(self.hover_speed_rad_s));
            bank.delay_s()
        });
        Ok(delay_s.unwrap_or(0.0))
    }

    fn bank(&self, period_s: f32) -> Result<Option<NotchBank>, ConfigError> {
        if require_not_negative("bandwidth_hz", self.bandwidth_hz)? == 0.0 {
            return Ok(None);
        }
        require_positive("hover_speed_rad_s", self.hover_speed_rad_s)?;
        let Self { bandwidth_hz, harmonic, lowest_hz, highest_hz, .. } = *self;
        NotchBank::new(&NotchBankConfig { bandwidth_hz, harmonic, lowest_hz, highest_hz }, period_s).map(Some)
    }
}

/// Notches at the speeds of the rotors, reported or estimated.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RotorNotches<M = Libm> {
    /// Hover speed over the root of the hover thrust, rad/s per root of N.
    speed_per_root: f32,
    /// Gain of the rotors' first-order lag per period.
    speed_gain: f32,
    bank: NotchBank,
    speed_rad_s: Rotors<f32>,
    math: PhantomData<M>,
}

/// State of [`RotorNotches`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct RotorNotchesState {
    bank: NotchBankState,
    speed_rad_s: Rotors<f32>,
}

impl<M: Math> RotorNotches<M> {
    /// For the hover thrust of one rotor in N, the rotors' time constant and the period in s; `None` without
    /// notches.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive, or out of range or order.
    pub fn new(
        config: &NotchConfig,
        hover_n: f32,
        rotor_time_constant_s: f32,
        period_s: f32,
    ) -> Result<Option<Self>, ConfigError> {
        Ok(config.bank(period_s)?.map(|mut bank| {
            let speed_rad_s = Rotors::splat(config.hover_speed_rad_s);
            bank.follow(speed_rad_s);
            Self {
                speed_per_root: config.hover_speed_rad_s / M::sqrt(hover_n),
                speed_gain: period_s / (rotor_time_constant_s + period_s),
                bank,
                speed_rad_s,
                math: PhantomData,
            }
        }))
    }

    /// One period: moves each notch to its rotor's speed, the `reported` one in rad/s if it is plausible,
    /// else the one estimated from the allocated thrust in N, and gives the body rate in rad/s without the
    /// tones.
    pub fn step(
        &mut self,
        rate_rad_s: Vector<Body>,
        reported_rad_s: Option<&Rotors<f32>>,
        thrust_n: &Rotors<f32>,
    ) -> Vector<Body> {
        let Self { bank, speed_rad_s, .. } = self;
        let estimated = speed_rad_s.zip(*thrust_n).map(|(speed, thrust_n)| {
            speed + self.speed_gain * (self.speed_per_root * M::sqrt(thrust_n) - speed)
        });
        *speed_rad_s =
            match reported_rad_s {
                Some(reported) => reported.zip(estimated).map(|(reported, estimated)| {
                    if reported.abs() < FASTEST_RAD_S { reported } else { estimated }
                }),
                None => estimated,
            };
        bank.follow(*speed_rad_s);
        bank.step(rate_rad_s)
    }

    /// Steady state at a constant rate in rad/s.
    pub fn initialise(&mut self, rate_rad_s: Vector<Body>) {
        self.bank.initialise(rate_rad_s);
    }

    /// Delay of a slow signal in s, at the present centre frequencies.
    #[must_use]
    pub fn delay_s(&self) -> f32 {
        self.bank.delay_s()
    }

    /// The state, to be saved.
    #[must_use]
    pub const fn state(&self) -> RotorNotchesState {
        RotorNotchesState { bank: self.bank.state(), speed_rad_s: self.speed_rad_s }
    }

    /// Continues from a saved state.
    pub const fn set_state(&mut self, state: RotorNotchesState) {
        self.bank.set_state(state.bank);
        self.speed_rad_s = state.speed_rad_s;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CONFIG: NotchConfig = NotchConfig {
        bandwidth_hz: 19.0,
        harmonic: 1.0,
        lowest_hz: 66.0,
        highest_hz: 150.0,
        hover_speed_rad_s: 600.0,
    };
    const HOVER_N: f32 = 3.0;

    /// Share of a tone at each rotor's true speed that is left, once settled; the rotors have the thrust
    /// `thrust_n` but are faster than estimated by `error`.
    fn left_over(thrust_n: f32, error: f32, reported: bool) -> f32 {
        let mut notches = RotorNotches::<Libm>::new(&CONFIG, HOVER_N, 0.04, 1e-3).unwrap().unwrap();
        let speed = 600.0 * (thrust_n / HOVER_N).sqrt() * (1.0 + error);
        let speeds = Rotors::splat(speed);
        let mut power = 0.0;
        for tick in 0..4000 {
            let tone = (speed * 1e-3 * tick as f32).sin();
            let reported = reported.then_some(&speeds);
            let y = notches.step(Vector::new(tone, 0.0, 0.0), reported, &Rotors::splat(thrust_n)).x();
            power += if tick >= 2000 { y * y / 2000.0 } else { 0.0 };
        }
        (2.0 * power).sqrt()
    }

    #[test]
    fn a_reported_speed_removes_the_tone_and_an_estimated_one_errs_by_what_is_stated() {
        for thrust_n in [2.0, 3.0, 5.0] {
            assert!(left_over(thrust_n, 0.05, true) < 2e-3);
            assert!(left_over(thrust_n, 0.0, false) < 2e-3);
        }
        // One notch of four: x/sqrt(1 + x^2) with x = 2 d/B, all four at one speed to the fourth power.
        let x = 2.0 * 0.05 * 600.0 / core::f32::consts::TAU / 19.0;
        let stated = (x / (1.0 + x * x).sqrt()).powi(4);
        let left = left_over(3.0, 0.05, false);
        assert!((left - stated).abs() < 0.01, "{left} {stated}");
        // The twin at the wrong speed.
        assert!(left_over(5.0, -0.225, false) > 0.8);
    }

    #[test]
    fn a_reported_speed_that_is_not_plausible_is_replaced_by_the_estimate() {
        let mut notches = RotorNotches::<Libm>::new(&CONFIG, HOVER_N, 0.04, 1e-3).unwrap().unwrap();
        for bad in [f32::NAN, f32::INFINITY, -1e9, 3e38] {
            for _ in 0..400 {
                let out = notches.step(Vector::ZERO, Some(&Rotors::splat(bad)), &Rotors::splat(HOVER_N));
                assert!(out.is_finite());
            }
            assert!((notches.state().speed_rad_s.rear_left - 600.0).abs() < 0.1);
        }
    }

    #[test]
    fn an_estimated_speed_follows_the_thrust_with_the_time_constant_of_the_rotors() {
        let mut notches = RotorNotches::<Libm>::new(&CONFIG, HOVER_N, 0.04, 1e-3).unwrap().unwrap();
        // Four times the hover thrust is twice the speed: 63.2 % of the step after one time constant.
        for _ in 0..40 {
            notches.step(Vector::ZERO, None, &Rotors::splat(4.0 * HOVER_N));
        }
        let share = (notches.state().speed_rad_s.front_left - 600.0) / 600.0;
        assert!((share - 0.632).abs() < 0.01, "{share}");
    }

    #[test]
    fn without_a_bandwidth_there_are_no_notches_and_every_bad_field_is_named() {
        let none = NotchConfig { bandwidth_hz: 0.0, hover_speed_rad_s: f32::NAN, ..CONFIG };
        assert_eq!(RotorNotches::<Libm>::new(&none, HOVER_N, 0.04, 1e-3), Ok(None));
        type Field = (&'static str, fn(&mut NotchConfig, f32));
        let fields: [Field; 5] = [
            ("bandwidth_hz", |c, x| c.bandwidth_hz = x),
            ("harmonic", |c, x| c.harmonic = x),
            ("lowest_hz", |c, x| c.lowest_hz = x),
            ("highest_hz", |c, x| c.highest_hz = x),
            ("hover_speed_rad_s", |c, x| c.hover_speed_rad_s = x),
        ];
        for (name, set) in fields {
            for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -1.0, 0.0] {
                let mut config = CONFIG;
                set(&mut config, bad);
                if config.bandwidth_hz != 0.0 {
                    let refused = RotorNotches::<Libm>::new(&config, HOVER_N, 0.04, 1e-3).unwrap_err();
                    assert_eq!(refused.field, name, "{bad}");
                    assert_eq!(config.hover_delay_s(1e-3).unwrap_err().field, name, "{bad}");
                }
            }
        }
        let swapped = NotchConfig { lowest_hz: 200.0, ..CONFIG };
        assert_eq!(swapped.hover_delay_s(1e-3).unwrap_err().field, "lowest_hz");
    }
}
