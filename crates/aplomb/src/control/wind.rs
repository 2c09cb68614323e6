//! Wind to acceleration: what standing still in it takes is asked for before the velocity loop's integral has learnt it.
//!
//! In a wind u a craft that stands still is pushed by the rotors' drag with d u, d the drag over mass. Asked for is
//!
//! ```text
//! a = -d u',    u' = p/(s + p) u       sampled: u' += p h/(1 + p h) (u - u')
//! ```
//!
//! of the estimated wind u. Only the wind is fed forward and not the whole of the air's speed: the drag of the craft's own
//! motion damps it and is wanted. The estimate comes from the specific force, which changes with the lean that the feed-forward
//! asks for, so the pole p must be slow beside the velocity loop: at most a fifth of its crossover.
//!
//! Source: the rotors' drag, linear in the airspeed along the rotor disc: P. Martin, E. Salaun, The true role of accelerometer
//! feedback in quadrotor control, ICRA 2010. Response: the doctest of [`WindFeedForward::step`]; margins with it on, by injection
//! and by the linear model, in the harness; a hold taken up in wind with its twin without: `tests/wind_forward.rs` of the project.

use crate::error::{ConfigError, require_positive};
use crate::frames::{Vector, World};

/// What the feed-forward is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Drag of the rotors over mass in 1/s; above 0. The one by which the wind is estimated.
    pub drag_per_s: f32,
    /// Pole of the low-pass in rad/s; above 0.
    pub pole_rad_s: f32,
}

/// The feed-forward, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindFeedForward {
    drag_per_s: f32,
    gain: f32,
}

/// State of the feed-forward.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    acceleration_m_s2: Vector<World>,
}

impl State {
    /// Acceleration in m/s2 against the wind, horizontal.
    #[must_use]
    pub const fn acceleration_m_s2(&self) -> Vector<World> {
        self.acceleration_m_s2
    }
}

impl WindFeedForward {
    /// Asks for nothing.
    pub const NONE: Self = Self { drag_per_s: 0.0, gain: 0.0 };

    /// Folds drag and pole for a period in s.
    ///
    /// ```
    /// use aplomb::control::wind::{Config, WindFeedForward};
    /// let refused = WindFeedForward::new(&Config { drag_per_s: 0.25, pole_rad_s: 0.0 }, 0.025).unwrap_err();
    /// assert_eq!(refused.to_string(), "pole_rad_s must be greater than 0");
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite or not positive.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let drag_per_s = require_positive("drag_per_s", config.drag_per_s)?;
        let pole = require_positive("pole_rad_s", config.pole_rad_s)?;
        let gain = pole * h / (1.0 + pole * h);
        // A pole so fast that its product is infinite follows at once.
        Ok(Self { drag_per_s, gain: if gain.is_finite() { gain } else { 1.0 } })
    }

    /// Acceleration in m/s2 against an estimated wind in m/s, towards; horizontal parts only. A wind that is no number is
    /// left out: the last answer stands.
    ///
    /// ```
    /// use aplomb::{control::wind::{Config, State, WindFeedForward}, frames::Vector};
    /// let forward = WindFeedForward::new(&Config { drag_per_s: 0.25, pole_rad_s: 0.4 }, 0.025)?;
    /// let mut state = State::default();
    /// // 8 m/s to the south: after a time constant, 2.5 s or 100 steps, 63 % of 2 m/s2 to the north.
    /// let wind_m_s = Vector::new(-8.0, 0.0, 0.0);
    /// let mut against = Vector::ZERO;
    /// for _ in 0..100 {
    ///     against = forward.step(&mut state, wind_m_s);
    /// }
    /// assert!((against.x() - 2.0 * 0.632).abs() < 0.01 && against.y() == 0.0);
    /// assert_eq!(forward.step(&mut state, Vector::new(f32::NAN, 0.0, 0.0)), against);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline]
    pub fn step(&self, state: &mut State, wind_m_s: Vector<World>) -> Vector<World> {
        let wanted = Vector::new(wind_m_s.x(), wind_m_s.y(), 0.0) * -self.drag_per_s;
        let next = state.acceleration_m_s2 + (wanted - state.acceleration_m_s2) * self.gain;
        if next.norm_squared().is_finite() {
            state.acceleration_m_s2 = next;
        }
        state.acceleration_m_s2
    }
}
