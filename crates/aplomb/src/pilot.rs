//! Thumb sticks to set-points.
//!
//! Each stick passes a dead band and a curve. Roll and pitch set the lean of the thrust, linear in the *sine* of the
//! tilt and limited as a circle; yaw sets the heading rate; climb sets the climb, and centred it holds the height.
//!
//! With roll and pitch centred and the place known, the craft first brakes, then holds the place where it came to rest;
//! moving either stick lets go of the place. Without a known place it levels and drifts with the wind.

use core::marker::PhantomData;

use crate::error::{ConfigError, require_positive, require_within};
use crate::estimate;
use crate::frames::{Vector, World};
use crate::math::{Libm, Math, saturate_symmetric};
use crate::{Demand, HeadingDemand, Lean, Sticks, VerticalDemand};

/// How the sticks feel.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Share of the travel about the centre that counts as centred, 0 to 0.5.
    pub dead_band: f32,
    /// 0: straight; 1: the cube of the deflection, flat about the centre. Full stick is full stick in any case.
    pub centre_softness: f32,
    /// Tilt in rad at full roll or pitch stick, above 0 and at most 1.4.
    pub full_stick_tilt_rad: f32,
    /// Heading rate in rad/s at full yaw stick.
    pub full_stick_rate_rad_s: f32,
    /// Climb in m/s at full climb stick.
    pub full_stick_climb_m_s: f32,
    /// Descent in m/s at full climb stick down, as a positive number.
    pub full_stick_descent_m_s: f32,
    /// Speed in m/s below which the place is held after braking.
    pub hold_below_m_s: f32,
    /// Descent in m/s when landing, as a positive number.
    pub landing_speed_m_s: f32,
}

/// The sticks' shaping, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pilot<M = Libm> {
    config: Config,
    sin_tilt: f32,
    math: PhantomData<M>,
}

/// State: what happens to the place.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum State {
    /// The sticks lead, or the place is not known.
    #[default]
    Free,
    /// Sticks centred, slowing down.
    Braking,
    /// Holding this place, m from home.
    Holding(Vector<World>),
}

impl<M: Math> Pilot<M> {
    /// Checks and folds the configuration.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive or out of range.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        require_within("dead_band", config.dead_band, 0.0, 0.5)?;
        require_within("centre_softness", config.centre_softness, 0.0, 1.0)?;
        require_positive("full_stick_tilt_rad", config.full_stick_tilt_rad)?;
        require_within("full_stick_tilt_rad", config.full_stick_tilt_rad, 0.0, 1.4)?;
        require_positive("full_stick_rate_rad_s", config.full_stick_rate_rad_s)?;
        require_positive("full_stick_climb_m_s", config.full_stick_climb_m_s)?;
        require_positive("full_stick_descent_m_s", config.full_stick_descent_m_s)?;
        require_positive("hold_below_m_s", config.hold_below_m_s)?;
        require_positive("landing_speed_m_s", config.landing_speed_m_s)?;
        Ok(Self { config: *config, sin_tilt: M::sin(config.full_stick_tilt_rad), math: PhantomData })
    }

    /// One stick after dead band and curve, -1 to 1: with d the deflection beyond the dead band over the travel left,
    /// `(1 - softness) d + softness d^3`. NaN counts as centred.
    ///
    /// ```
    /// use aplomb::pilot::{Config, Pilot};
    /// let pilot: Pilot = Pilot::new(&Config {
    ///     dead_band: 0.1, centre_softness: 0.5, full_stick_tilt_rad: 0.5, full_stick_rate_rad_s: 1.5,
    ///     full_stick_climb_m_s: 3.0, full_stick_descent_m_s: 2.0, hold_below_m_s: 0.5, landing_speed_m_s: 0.7,
    /// })?;
    /// assert_eq!(pilot.shaped(0.09), 0.0);
    /// assert_eq!(pilot.shaped(-1.0), -1.0);
    /// assert!((pilot.shaped(0.55) - (0.5 * 0.5 + 0.5 * 0.125)).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn shaped(&self, stick: f32) -> f32 {
        let Config { dead_band, centre_softness, .. } = self.config;
        let stick = saturate_symmetric(stick, 1.0);
        let size = stick.abs();
        if size <= dead_band {
            return 0.0;
        }
        let d = (size - dead_band) / (1.0 - dead_band);
        let curved = d * (1.0 - centre_softness + centre_softness * d * d);
        if stick < 0.0 { -curved } else { curved }
    }

    /// Set-points for the sticks.
    #[must_use]
    pub fn fly(&self, state: &mut State, sticks: Sticks, motion: &estimate::State) -> Demand {
        let config = &self.config;
        let (roll, pitch) = (self.shaped(sticks.roll), self.shaped(sticks.pitch));
        let heading = HeadingDemand::Rate(self.shaped(sticks.yaw) * config.full_stick_rate_rad_s);
        let climb = self.shaped(sticks.climb);
        let full = if climb < 0.0 { config.full_stick_descent_m_s } else { config.full_stick_climb_m_s };
        let vertical = VerticalDemand::Climb(climb * full);
        if roll == 0.0 && pitch == 0.0 {
            return self.stay(state, heading, vertical, motion);
        }
        *state = State::Free;
        // Stick forward is negative pitch: nose down, lean forward. The corner of the gate reaches no further than the
        // edge.
        let lean = Vector::<World>::new(-pitch, roll, 0.0).limited::<M>(1.0) * self.sin_tilt;
        Demand::Tilt { lean: Lean { forward: lean.x(), right: lean.y() }, heading, vertical }
    }

    /// Set-points for coming down where the craft is.
    #[must_use]
    pub fn land(&self, state: &mut State, motion: &estimate::State) -> Demand {
        let vertical = VerticalDemand::Climb(-self.config.landing_speed_m_s);
        self.stay(state, HeadingDemand::Rate(0.0), vertical, motion)
    }

    fn stay(
        &self,
        state: &mut State,
        heading: HeadingDemand,
        vertical: VerticalDemand,
        motion: &estimate::State,
    ) -> Demand {
        if !motion.position_known {
            *state = State::Free;
            return Demand::Tilt { lean: Lean::UPRIGHT, heading, vertical };
        }
        let (position, velocity) = (motion.position_m, motion.velocity_m_s);
        let speed2 = velocity.x() * velocity.x() + velocity.y() * velocity.y();
        let slow = self.config.hold_below_m_s * self.config.hold_below_m_s;
        match *state {
            State::Holding(position_m) => Demand::Position { position_m, heading, vertical },
            State::Braking if speed2 < slow => {
                *state = State::Holding(position);
                Demand::Position { position_m: position, heading, vertical }
            }
            State::Free | State::Braking => {
                *state = State::Braking;
                Demand::Velocity { velocity_m_s: Vector::ZERO, heading, vertical }
            }
        }
    }
}
