//! Pilot: stick deflections to set-points.
//!
//! Each stick passes a dead band and expo. Two demands use them:
//!
//! | stick | [`Demand::Sticks`] (tilt command) | [`Demand::RateSticks`] (rate command) |
//! | --- | --- | --- |
//! | roll, pitch | tilt of the thrust, linear in the *sine* of the tilt and limited as a circle | body rate |
//! | yaw | heading rate | body rate |
//! | climb | climb rate; centred holds the height | total thrust about hover |
//!
//! In tilt command with roll and pitch centred and a valid position estimate, the craft first brakes, then
//! holds the position at which it is slower than `hold_below_m_s`; moving either stick releases the position.
//! Without a valid position it is levelled and drifts with the wind.
//!
//! In rate command neither attitude nor height is controlled. With the shaped climb stick c from -1 to 1 the
//! total thrust along the body's up axis is piecewise linear; at the centre it equals the weight:
//!
//! ```text
//! T = hover + c (max - hover)   for c >= 0,      T = hover + c (hover - min)   for c < 0
//! ```
//!
//! Rate and tilt command of attitude are the response types of handling-quality standards (ADS-33E-PRF,
//! section 3.2.2); the shaping is common practice, without a published source.

use core::marker::PhantomData;

use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::estimate;
use crate::frames::{Horizontal, Vector};
use crate::math::{Libm, Math, saturate_symmetric};
use crate::{Demand, HeadingDemand, PositionSetpoint, Sticks, Tilt, VelocitySetpoint, VerticalDemand};

/// Configuration of a [`Pilot`]: shaping and full-stick values of the sticks.
///
/// [`crate::flight::Config::for_airframe`] derives all of it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Share of the travel about the centre that counts as centred, 0 to 0.5.
    pub dead_band: f32,
    /// Expo, 0 to 1. 0: linear; 1: the cube of the deflection, flat about the centre. The output at full
    /// deflection does not depend on it.
    pub expo: f32,
    /// Tilt in rad at full roll or pitch stick, above 0 and at most 1.4.
    pub full_stick_tilt_rad: f32,
    /// Body rate in rad/s at full roll or pitch stick in rate command; above 0.
    pub full_stick_roll_pitch_rate_rad_s: f32,
    /// Heading rate, or in rate command body rate, in rad/s at full yaw stick; above 0.
    pub full_stick_yaw_rate_rad_s: f32,
    /// Climb rate in m/s at full climb stick up; above 0.
    pub full_stick_climb_m_s: f32,
    /// Descent rate in m/s at full climb stick down; above 0.
    pub full_stick_descent_m_s: f32,
    /// Speed in m/s below which the position is held after braking; above 0.
    pub hold_below_m_s: f32,
    /// Descent rate in m/s of a landing; above 0.
    pub landing_speed_m_s: f32,
}

/// Parameters of the craft that the pilot needs besides its configuration: thrusts that the climb stick
/// commands in rate command, `min < hover < max`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct PilotParameters {
    /// Total thrust in N at full climb stick down; at least 0.
    pub min_thrust_n: f32,
    /// Total thrust in N with the climb stick centred: the weight.
    pub hover_thrust_n: f32,
    /// Total thrust in N at full climb stick up.
    pub max_thrust_n: f32,
}

/// Sticks to set-points. See the [module](self) for the two commands.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pilot<M = Libm> {
    config: Config,
    craft: PilotParameters,
    sin_tilt: f32,
    state: State,
    math: PhantomData<M>,
}

/// State of a [`Pilot`]: whether a position is held.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum State {
    /// Commanded by the sticks, or without a valid position.
    #[default]
    Free,
    /// Sticks centred, decelerating.
    Braking,
    /// Holding this position, m from home.
    Holding(Horizontal),
}

impl<M: Math> Pilot<M> {
    /// Checks the configuration and precomputes coefficients.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive, out of range or in the wrong order.
    pub fn new(config: &Config, craft: &PilotParameters) -> Result<Self, ConfigError> {
        require_within("dead_band", config.dead_band, 0.0, 0.5)?;
        require_within("expo", config.expo, 0.0, 1.0)?;
        require_positive("full_stick_tilt_rad", config.full_stick_tilt_rad)?;
        require_within("full_stick_tilt_rad", config.full_stick_tilt_rad, 0.0, 1.4)?;
        for (field, value) in [
            ("full_stick_roll_pitch_rate_rad_s", config.full_stick_roll_pitch_rate_rad_s),
            ("full_stick_yaw_rate_rad_s", config.full_stick_yaw_rate_rad_s),
            ("full_stick_climb_m_s", config.full_stick_climb_m_s),
            ("full_stick_descent_m_s", config.full_stick_descent_m_s),
            ("hold_below_m_s", config.hold_below_m_s),
            ("landing_speed_m_s", config.landing_speed_m_s),
            ("hover_thrust_n", craft.hover_thrust_n),
            ("max_thrust_n", craft.max_thrust_n),
        ] {
            require_positive(field, value)?;
        }
        require_not_negative("min_thrust_n", craft.min_thrust_n)?;
        if craft.min_thrust_n >= craft.hover_thrust_n {
            return Err(ConfigError::new("min_thrust_n", Problem::WrongOrder("hover_thrust_n")));
        }
        if craft.hover_thrust_n >= craft.max_thrust_n {
            return Err(ConfigError::new("max_thrust_n", Problem::WrongOrder("hover_thrust_n")));
        }
        Ok(Self {
            config: *config,
            craft: *craft,
            sin_tilt: M::sin(config.full_stick_tilt_rad),
            state: State::Free,
            math: PhantomData,
        })
    }

    /// The demand with sticks and landing replaced by set-points, for the motion estimated now. A stick that
    /// is not finite counts as centred. Any other demand is returned as it is and releases the held position.
    ///
    /// ```
    /// # use aplomb::pilot::{Config, Pilot, PilotParameters};
    /// # let config = Config {
    /// #     dead_band: 0.1, expo: 0.5, full_stick_tilt_rad: 0.5, full_stick_roll_pitch_rate_rad_s: 4.0,
    /// #     full_stick_yaw_rate_rad_s: 1.5, full_stick_climb_m_s: 3.0, full_stick_descent_m_s: 2.0,
    /// #     hold_below_m_s: 0.5, landing_speed_m_s: 0.7,
    /// # };
    /// # let craft = PilotParameters { min_thrust_n: 2.0, hover_thrust_n: 12.0, max_thrust_n: 24.0 };
    /// use aplomb::{Demand, HeadingDemand, Sticks, VerticalDemand, estimate, frames::Vector};
    /// let mut pilot: Pilot = Pilot::new(&config, &craft)?;
    /// // Pitch stick full forward, yaw full right, climb full down.
    /// let sticks = Sticks { roll: 0.0, pitch: -1.0, yaw: 1.0, climb: -1.0 };
    /// let unknown = estimate::State::default();
    /// let Demand::Tilt { tilt, heading, vertical } = pilot.step(&Demand::Sticks(sticks), &unknown) else {
    ///     unreachable!()
    /// };
    /// assert!((tilt.forward - 0.5f32.sin()).abs() < 1e-6);
    /// assert_eq!((heading, vertical), (HeadingDemand::Rate(1.5), VerticalDemand::Climb(-2.0)));
    /// // The same sticks in rate command: 4 rad/s nose down, 1.5 rad/s nose right, the smallest thrust.
    /// let rates = Demand::Rates { rate_rad_s: Vector::new(0.0, -4.0, 1.5), thrust_n: 2.0 };
    /// assert_eq!(pilot.step(&Demand::RateSticks(sticks), &unknown), rates);
    /// // Centred, with a valid position and slow enough: it brakes, then holds the position.
    /// let slow = estimate::State { position_valid: true, position_m: Vector::new(7.0, 0.0, 0.0), ..unknown };
    /// let centred = Demand::Sticks(Sticks::CENTRED);
    /// assert!(matches!(pilot.step(&centred, &slow), Demand::Velocity { .. }));
    /// assert!(matches!(pilot.step(&centred, &slow), Demand::Position { setpoint, .. } if setpoint.position_m.north == 7.0));
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn step(&mut self, demand: &Demand, estimate: &estimate::State) -> Demand {
        let demand = match *demand {
            Demand::Sticks(sticks) => return self.tilt_command(sticks, estimate),
            Demand::Land => {
                let vertical = VerticalDemand::Climb(-self.config.landing_speed_m_s);
                return self.stay(HeadingDemand::Rate(0.0), vertical, estimate);
            }
            Demand::RateSticks(sticks) => self.rate_command(sticks),
            other => other,
        };
        self.state = State::Free;
        demand
    }

    /// Releases the held position.
    pub const fn reset(&mut self) {
        self.state = State::Free;
    }

    /// The state after the last step.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }

    /// One stick after dead band and expo, -1 to 1: with d the deflection beyond the dead band over the
    /// remaining travel, `(1 - expo) d + expo d^3`. NaN counts as centred.
    ///
    /// ```
    /// # use aplomb::pilot::{Config, Pilot, PilotParameters};
    /// # let config = Config {
    /// #     dead_band: 0.1, expo: 0.5, full_stick_tilt_rad: 0.5, full_stick_roll_pitch_rate_rad_s: 4.0,
    /// #     full_stick_yaw_rate_rad_s: 1.5, full_stick_climb_m_s: 3.0, full_stick_descent_m_s: 2.0,
    /// #     hold_below_m_s: 0.5, landing_speed_m_s: 0.7,
    /// # };
    /// # let craft = PilotParameters { min_thrust_n: 2.0, hover_thrust_n: 12.0, max_thrust_n: 24.0 };
    /// let pilot: Pilot = Pilot::new(&config, &craft)?;
    /// assert_eq!(pilot.shaped(0.09), 0.0);
    /// assert_eq!(pilot.shaped(-1.0), -1.0);
    /// assert!((pilot.shaped(0.55) - (0.5 * 0.5 + 0.5 * 0.125)).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn shaped(&self, stick: f32) -> f32 {
        let Config { dead_band, expo, .. } = self.config;
        let stick = saturate_symmetric(stick, 1.0);
        let size = stick.abs();
        if size <= dead_band {
            return 0.0;
        }
        let d = (size - dead_band) / (1.0 - dead_band);
        let curved = d * (1.0 - expo + expo * d * d);
        if stick < 0.0 { -curved } else { curved }
    }

    /// Body rates and total thrust for sticks in rate command; needs neither estimate nor state.
    #[must_use]
    pub fn rate_command(&self, sticks: Sticks) -> Demand {
        let Config { full_stick_roll_pitch_rate_rad_s, full_stick_yaw_rate_rad_s, .. } = self.config;
        let PilotParameters { min_thrust_n, hover_thrust_n, max_thrust_n } = self.craft;
        let climb = self.shaped(sticks.climb);
        let range_n = if climb < 0.0 { hover_thrust_n - min_thrust_n } else { max_thrust_n - hover_thrust_n };
        Demand::Rates {
            rate_rad_s: Vector::new(
                self.shaped(sticks.roll) * full_stick_roll_pitch_rate_rad_s,
                self.shaped(sticks.pitch) * full_stick_roll_pitch_rate_rad_s,
                self.shaped(sticks.yaw) * full_stick_yaw_rate_rad_s,
            ),
            thrust_n: hover_thrust_n + climb * range_n,
        }
    }

    fn tilt_command(&mut self, sticks: Sticks, estimate: &estimate::State) -> Demand {
        let (roll, pitch) = (self.shaped(sticks.roll), self.shaped(sticks.pitch));
        let heading = HeadingDemand::Rate(self.shaped(sticks.yaw) * self.config.full_stick_yaw_rate_rad_s);
        let climb = self.shaped(sticks.climb);
        let full_m_s =
            if climb < 0.0 { self.config.full_stick_descent_m_s } else { self.config.full_stick_climb_m_s };
        let vertical = VerticalDemand::Climb(climb * full_m_s);
        if roll == 0.0 && pitch == 0.0 {
            return self.stay(heading, vertical, estimate);
        }
        self.state = State::Free;
        // Stick forward is negative pitch: nose down, thrust forward. The circle keeps the corner of the
        // sticks' square travel within the tilt at its edge.
        let Tilt { forward, right } = Tilt { forward: -pitch, right: roll }.limited::<M>(1.0);
        let tilt = Tilt { forward: forward * self.sin_tilt, right: right * self.sin_tilt };
        Demand::Tilt { tilt, heading, vertical }
    }

    /// Brakes, then holds the position; levels without a valid position.
    fn stay(
        &mut self,
        heading: HeadingDemand,
        vertical: VerticalDemand,
        estimate: &estimate::State,
    ) -> Demand {
        if !estimate.position_valid {
            self.state = State::Free;
            return Demand::Tilt { tilt: Tilt::LEVEL, heading, vertical };
        }
        let speed_squared = estimate.velocity_m_s.horizontal().norm_squared();
        let hold_below_m_s = self.config.hold_below_m_s;
        self.state = match self.state {
            State::Free => State::Braking,
            State::Braking if speed_squared < hold_below_m_s * hold_below_m_s => {
                State::Holding(estimate.position_m.horizontal())
            }
            other => other,
        };
        match self.state {
            State::Holding(position_m) => {
                Demand::Position { setpoint: PositionSetpoint::at(position_m), heading, vertical }
            }
            State::Free | State::Braking => {
                Demand::Velocity { setpoint: VelocitySetpoint::default(), heading, vertical }
            }
        }
    }
}

#[cfg(test)]
mod tests;
