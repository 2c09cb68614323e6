//! Wind to acceleration: feed-forward of the acceleration that hovering in the estimated wind needs, which
//! the integral of the velocity controller then does not have to build up.
//!
//! A craft that hovers in a wind u is pushed by the rotors' drag with d u, d the drag over mass. The
//! feed-forward is
//!
//! ```text
//! a = -d u',    u' = p/(s + p) u       sampled: u' += p h/(1 + p h) (u - u')
//! ```
//!
//! of the estimated wind u. Only the wind is fed forward and not the whole airspeed: the drag of the craft's
//! own motion is damping. The estimate comes from the specific force, which changes with the tilt that the
//! feed-forward causes, so the pole p must be slow beside the velocity loop: at most a fifth of its
//! crossover.
//!
//! Source: the rotors' drag, linear in the airspeed along the rotor disc: P. Martin, E. Salaun, The true role
//! of accelerometer feedback in quadrotor control, ICRA 2010. Response: the doctest of
//! [`WindFeedForward::step`]; margins with it on, by injection and by the linear model, in the harness; a
//! position held in wind with its twin without: `tests/wind_forward.rs` of the project.

use crate::error::{ConfigError, require_positive};
use crate::frames::Horizontal;

/// Configuration of a [`WindFeedForward`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Drag of the rotors over mass in 1/s; above 0. The one by which the wind is estimated.
    pub drag_per_s: f32,
    /// Pole of the low-pass in rad/s; above 0.
    pub pole_rad_s: f32,
}

/// The feed-forward of the wind.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WindFeedForward {
    drag_per_s: f32,
    gain: f32,
    state: State,
}

/// State of a [`WindFeedForward`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    acceleration_m_s2: Horizontal,
}

impl WindFeedForward {
    /// No feed-forward: the output is 0.
    pub const NONE: Self =
        Self { drag_per_s: 0.0, gain: 0.0, state: State { acceleration_m_s2: Horizontal::ZERO } };

    /// Computes the coefficients for a period in s.
    ///
    /// ```
    /// use aplomb::control::wind::{Config, WindFeedForward};
    /// let error = WindFeedForward::new(&Config { drag_per_s: 0.25, pole_rad_s: 0.0 }, 0.025).unwrap_err();
    /// assert_eq!(error.to_string(), "pole_rad_s must be greater than 0");
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite or not positive.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let drag_per_s = require_positive("drag_per_s", config.drag_per_s)?;
        let pole = require_positive("pole_rad_s", config.pole_rad_s)?;
        let gain = pole * h / (1.0 + pole * h);
        // The gain for an infinite product of pole and period is 1.
        let gain = if gain.is_finite() { gain } else { 1.0 };
        Ok(Self { drag_per_s, gain, state: State::default() })
    }

    /// Acceleration in m/s2 against an estimated wind in m/s (the direction that it blows towards). A wind
    /// that is not finite leaves the output as it is.
    ///
    /// ```
    /// use aplomb::{control::wind::{Config, WindFeedForward}, frames::Horizontal};
    /// let mut wind = WindFeedForward::new(&Config { drag_per_s: 0.25, pole_rad_s: 0.4 }, 0.025)?;
    /// // 8 m/s to the south: after a time constant, 2.5 s or 100 steps, 63 % of 2 m/s2 to the north.
    /// let wind_m_s = Horizontal::new(-8.0, 0.0);
    /// for _ in 0..100 {
    ///     wind.step(wind_m_s);
    /// }
    /// let output = wind.acceleration_m_s2();
    /// assert!((output.north - 2.0 * 0.632).abs() < 0.01 && output.east == 0.0);
    /// assert_eq!(wind.step(Horizontal::new(f32::NAN, 0.0)), output);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn step(&mut self, wind_m_s: Horizontal) -> Horizontal {
        let last = self.state.acceleration_m_s2;
        let next = last + (wind_m_s * -self.drag_per_s - last) * self.gain;
        if next.norm_squared().is_finite() {
            self.state.acceleration_m_s2 = next;
        }
        self.state.acceleration_m_s2
    }

    /// The last output in m/s2.
    #[must_use]
    pub const fn acceleration_m_s2(&self) -> Horizontal {
        self.state.acceleration_m_s2
    }

    /// Sets the output to 0.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The state, to be saved.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Continues from a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CONFIG: Config = Config { drag_per_s: 0.25, pole_rad_s: 0.4 };

    #[test]
    fn output_is_the_drag_of_the_wind_behind_a_low_pass() {
        let mut wind = WindFeedForward::new(&CONFIG, 0.025).unwrap();
        let wind_m_s = Horizontal::new(-8.0, 4.0);
        // y += p h/(1 + p h) (x - y), p h = 0.01, x = 2 m/s2 to the north and 1 m/s2 to the west.
        let first = wind.step(wind_m_s);
        assert!((first - Horizontal::new(2.0, -1.0) * (0.01 / 1.01)).norm_squared() < 1e-12, "{first:?}");
        let last = (0..2000).map(|_| wind.step(wind_m_s)).last().unwrap();
        assert!((last - Horizontal::new(2.0, -1.0)).norm_squared() < 1e-6, "{last:?}");
        assert_eq!(wind.acceleration_m_s2(), last);
        for bad in [f32::NAN, f32::INFINITY, f32::MAX] {
            assert_eq!(wind.step(Horizontal::new(0.0, bad)), last, "{bad}");
        }
        wind.reset();
        assert_eq!(wind.acceleration_m_s2(), Horizontal::ZERO);
    }

    #[test]
    fn pole_far_above_the_period_passes_everything_and_none_passes_nothing() {
        let mut wind = WindFeedForward::new(&Config { pole_rad_s: 1e30, ..CONFIG }, 1e30).unwrap();
        assert_eq!(wind.step(Horizontal::new(4.0, 0.0)), Horizontal::new(-1.0, 0.0));
        assert_eq!(WindFeedForward::NONE.clone().step(Horizontal::new(4.0, 0.0)), Horizontal::ZERO);
    }
}
