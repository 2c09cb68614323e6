//! The outer loops: demand to thrust direction and vertical specific force, on every `velocity_divider`-th
//! tick.
//!
//! ```text
//! position -> velocity (+ wind feed-forward) -+
//!                                             +-> thrust vector -> direction and vertical part of the thrust
//! height or climb -> vertical ----------------+
//! ```
//!
//! A tilt demand bypasses position and velocity controller, a rate demand all. Without a valid position
//! the craft is levelled; without a valid height a climb demand becomes an acceleration, `a_up = climb w/4`
//! within 2 m/s2, w the crossover of the climb loop.

use super::Config;
use crate::control::position::PositionController;
use crate::control::thrust_vector::ThrustVector;
use crate::control::velocity::{self, VelocityController};
use crate::control::vertical::{self, VerticalController};
use crate::control::wind::{self, WindFeedForward};
use crate::error::Part;
use crate::frames::{Heading, Horizontal, Vector, World};
use crate::math::{Libm, Math, saturate_symmetric};
use crate::{
    Achieved, ConfigError, Demand, HeadingDemand, Limited, PositionSetpoint, STANDARD_GRAVITY_M_S2, Tilt,
    VerticalDemand, estimate,
};

/// Largest vertical acceleration in m/s2 of a climb demand without a valid height: a fifth of g, which a
/// manual correction of the climb rate can follow (common practice, no source).
const OPEN_LOOP_LIMIT_M_S2: f32 = 2.0;
/// Share of the horizontal acceleration at the tilt limit from which the tilt counts as limited: 1 less a
/// margin for round-off and for the drift of the integral at the limit.
const AT_LIMIT_SHARE: f32 = 0.99;
/// The position cannot be held: error above this in m, growing faster than this in m/s, at the tilt limit,
/// for this time in s. The error is above the control error of position hold in turbulence (1.2 m are
/// required of the demo), the rate is twice the velocity noise of [`estimate::horizontal::Config::CONSUMER`],
/// and the time is that of a short gust (common practice, no source).
const LOST_DISTANCE_M: f32 = 2.0;
const LOST_SPEED_M_S: f32 = 0.2;
const LOST_TIME_S: f32 = 1.0;
/// Landing, condition that the ground carries the craft: thrust below this share of the weight (in a steady
/// descent it equals the weight), climb rate within this in m/s (below the derived landing speeds, 0.33 m/s
/// for a craft of 30 g), for this time over the time constant 1/crossover of the velocity controller (0.15 s
/// at 2.5 rad/s: an agile craft tilts faster). Common practice, no source.
const GROUND_THRUST_SHARE: f32 = 0.9;
const GROUND_CLIMB_M_S: f32 = 0.3;
const GROUND_TIME_RAD: f32 = 0.375;

/// Direction of the thrust.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum ThrustDirection {
    /// The body's down axis in the world, of length 1; the thrust acts against it.
    Down(Vector<World>),
    /// Tilt in the axes of the heading set-point.
    Tilt(Tilt),
}

impl ThrustDirection {
    /// The body's down axis in the world for a heading set-point, of length 1.
    ///
    /// ```
    /// use aplomb::{Libm, Tilt, flight::ThrustDirection, frames::Heading};
    /// let forward = ThrustDirection::Tilt(Tilt { forward: 0.6, right: 0.0 });
    /// let east = Heading::from_rad::<Libm>(core::f32::consts::FRAC_PI_2);
    /// let down = forward.down::<Libm>(east);
    /// assert!((down.y() + 0.6).abs() < 1e-6 && (down.z() - 0.8).abs() < 1e-6);
    /// ```
    #[must_use]
    pub fn down<M: Math>(&self, heading: Heading) -> Vector<World> {
        match *self {
            Self::Down(down) => down,
            Self::Tilt(tilt) => {
                let squared = tilt.forward * tilt.forward + tilt.right * tilt.right;
                let down = if squared < 1.0 { M::sqrt(1.0 - squared) } else { 0.0 };
                heading.to_world(-tilt.forward, -tilt.right).with_down(down)
            }
        }
    }
}

/// Output of [`OuterLoops`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct OuterOutput {
    /// Direction of the thrust.
    pub direction: ThrustDirection,
    /// Vertical part of the specific force in m/s2, up positive.
    pub up_m_s2: f32,
    /// Heading demand.
    pub heading: HeadingDemand,
    /// Position set-point in m from home, while a position is held.
    pub position_setpoint_m: Option<Horizontal>,
    /// Height set-point in m above home, while a height is held or approached.
    pub height_setpoint_m: Option<f32>,
    /// Velocity set-point in m/s; its horizontal part is 0 while velocity is not controlled.
    pub velocity_setpoint_m_s: Vector<World>,
    /// Acceleration in m/s2 that is fed forward against the estimated wind.
    pub wind_feed_forward_m_s2: Horizontal,
    /// Acceleration demand in m/s2 after the tilt and thrust limits.
    pub acceleration_m_s2: Vector<World>,
    /// `tilt`, `speed` and `climb` are set here.
    pub limited: Limited,
    /// The position cannot be held: at the tilt limit while the distance grows.
    pub cannot_hold_position: bool,
}

impl OuterOutput {
    /// Level, at hover thrust, heading held.
    pub const HOVER: Self = Self {
        direction: ThrustDirection::Tilt(Tilt::LEVEL),
        up_m_s2: STANDARD_GRAVITY_M_S2,
        heading: HeadingDemand::Rate(0.0),
        position_setpoint_m: None,
        height_setpoint_m: None,
        velocity_setpoint_m_s: Vector::ZERO,
        wind_feed_forward_m_s2: Horizontal::ZERO,
        acceleration_m_s2: Vector::ZERO,
        limited: Limited::NONE,
        cannot_hold_position: false,
    };
}

/// Position, velocity, wind and vertical controller and the thrust vector.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OuterLoops<M = Libm> {
    position: PositionController<M>,
    velocity: VelocityController<M>,
    wind: WindFeedForward,
    vertical: VerticalController<M>,
    thrust: ThrustVector<M>,
    /// Climb demand to vertical acceleration without a valid height, 1/s.
    open_loop_per_s: f32,
    lost_after_steps: u16,
    ground_after_steps: u16,
    monitor: Monitor,
}

/// Step counters of the two conditions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Monitor {
    /// Counted up at the tilt limit with a growing distance, down otherwise.
    lost_steps: u16,
    cannot_hold_position: bool,
    /// Counted up while the ground carries the craft by [`OuterLoops::is_carried_by_ground`], down otherwise.
    ground_steps: u16,
}

/// State of [`OuterLoops`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct OuterState {
    velocity: velocity::State,
    wind: wind::State,
    vertical: vertical::State,
    monitor: Monitor,
}

impl<M: Math> OuterLoops<M> {
    /// From the whole configuration; the period is that of `velocity_divider` ticks.
    ///
    /// # Errors
    /// Names the field and the part.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = f32::from(config.velocity_divider) / config.tick_hz;
        let thrust = ThrustVector::new(&config.thrust).map_err(|error| error.within(Part::Thrust))?;
        let steps = |time_s: f32| ((time_s / period_s + 0.5) as u16).max(1);
        Ok(Self {
            position: PositionController::new(&config.position)
                .map_err(|error| error.within(Part::Position))?,
            velocity: VelocityController::new(&config.velocity, period_s)
                .map_err(|error| error.within(Part::Velocity))?,
            wind: wind_feed_forward(config, period_s)?,
            vertical: VerticalController::new(&config.vertical, thrust.vertical_range_m_s2(), period_s)
                .map_err(|error| error.within(Part::Vertical))?,
            thrust,
            open_loop_per_s: 0.25 * config.vertical.climb_crossover_rad_s,
            lost_after_steps: steps(LOST_TIME_S),
            ground_after_steps: steps(GROUND_TIME_RAD / config.velocity.crossover_rad_s),
            monitor: Monitor::default(),
        })
    }

    /// One period. `demand` is one of rates, tilt, velocity or position; sticks and [`Demand::Land`] must
    /// have been converted to one of these by the pilot, and count as rates here. `landing`: a landing is
    /// commanded. `achieved` is the result of the last tick.
    #[must_use]
    pub fn step(
        &mut self,
        demand: &Demand,
        landing: bool,
        motion: &estimate::State,
        achieved: &Achieved,
    ) -> OuterOutput {
        // The low-pass of the wind runs on every step, so that it has settled when a position is to be held.
        let wind = if motion.wind_valid {
            self.wind.step(motion.wind_m_s.horizontal())
        } else {
            self.wind.acceleration_m_s2()
        };
        let Some((heading, vertical)) = demand.heading_and_vertical() else {
            self.velocity.pause();
            self.vertical.reset();
            self.monitor = Monitor::default();
            return OuterOutput { wind_feed_forward_m_s2: wind, ..OuterOutput::HOVER };
        };
        let mut output = OuterOutput { heading, wind_feed_forward_m_s2: wind, ..OuterOutput::HOVER };
        let up_m_s2 = self.vertical_acceleration(vertical, motion, &mut output);
        let on_ground = self.is_carried_by_ground(landing, motion, achieved);
        let horizontal_m_s2 =
            if on_ground { None } else { self.horizontal_acceleration(demand, motion, &mut output) };
        if horizontal_m_s2.is_none() {
            self.velocity.pause();
        }
        let demanded = horizontal_m_s2.map_or(Horizontal::ZERO, |feedback| feedback + wind);
        let thrust = self.thrust.step(demanded.with_down(-up_m_s2));
        output.direction = match (horizontal_m_s2, demand) {
            (Some(_), _) => {
                // With less thrust than in the model the velocity controller reaches its own limit before
                // that of the cone.
                let limit = self.thrust.horizontal_limit_m_s2() * AT_LIMIT_SHARE;
                output.limited.tilt = thrust.tilt_limited || demanded.norm_squared() >= limit * limit;
                // The feed-forward of the wind is no output of the velocity controller.
                self.velocity.achieved(thrust.acceleration_m_s2.horizontal() - wind);
                ThrustDirection::Down(thrust.down)
            }
            (None, Demand::Tilt { tilt, .. }) => {
                let kept = tilt.limited::<M>(self.thrust.sin_limit());
                output.limited.tilt = kept != *tilt;
                ThrustDirection::Tilt(kept)
            }
            (None, _) => ThrustDirection::Tilt(Tilt::LEVEL),
        };
        // Anti-windup: under thrust saturation the achieved acceleration is that of the achieved thrust.
        let achieved_up_m_s2 = if achieved.limited.thrust {
            achieved.thrust_n * motion.attitude.cos_tilt() / self.thrust.mass_kg() - STANDARD_GRAVITY_M_S2
        } else {
            -thrust.acceleration_m_s2.z()
        };
        self.vertical.achieved(achieved_up_m_s2);
        (output.up_m_s2, output.acceleration_m_s2) = (thrust.up_m_s2, thrust.acceleration_m_s2);
        if let Demand::Position { setpoint, .. } = demand {
            output.position_setpoint_m = Some(setpoint.position_m);
            output.cannot_hold_position = self.cannot_hold(setpoint, motion, output.limited.tilt);
        } else {
            (self.monitor.lost_steps, self.monitor.cannot_hold_position) = (0, false);
        }
        output
    }

    /// Vertical acceleration in m/s2, up positive.
    fn vertical_acceleration(
        &mut self,
        demand: VerticalDemand,
        motion: &estimate::State,
        output: &mut OuterOutput,
    ) -> f32 {
        if motion.height_valid {
            let (height, climb) = (-motion.position_m.z(), -motion.velocity_m_s.z());
            let vertical = self.vertical.step(demand, height, climb);
            output.height_setpoint_m = vertical.height_m;
            output.velocity_setpoint_m_s = Horizontal::ZERO.with_down(-vertical.climb_m_s);
            output.limited.climb = vertical.limited;
            vertical.up_m_s2
        } else {
            self.vertical.reset();
            match demand {
                VerticalDemand::Climb(climb) => {
                    saturate_symmetric(climb * self.open_loop_per_s, OPEN_LOOP_LIMIT_M_S2)
                }
                VerticalDemand::Height(_) => 0.0,
            }
        }
    }

    /// Acceleration in m/s2 of the velocity controller; `None` when velocity is not controlled.
    fn horizontal_acceleration(
        &mut self,
        demand: &Demand,
        motion: &estimate::State,
        output: &mut OuterOutput,
    ) -> Option<Horizontal> {
        if !motion.position_valid {
            return None;
        }
        let velocity_m_s = motion.velocity_m_s.horizontal();
        let setpoint = match demand {
            Demand::Velocity { setpoint, .. } => *setpoint,
            Demand::Position { setpoint, .. } => {
                let position = self.position.step(setpoint, motion.position_m.horizontal(), velocity_m_s);
                output.limited.speed = position.limited;
                position.setpoint
            }
            _ => return None,
        };
        let velocity = self.velocity.step(&setpoint, velocity_m_s);
        output.limited.speed |= velocity.limited;
        output.velocity_setpoint_m_s = velocity.velocity_m_s.with_down(output.velocity_setpoint_m_s.z());
        Some(velocity.acceleration_m_s2)
    }

    /// True when the ground has carried a landing craft for [`GROUND_TIME_RAD`]: a tilt could tip it over, so
    /// the horizontal loops pause. Steps without contact count down, so that a short one does not restart the
    /// count.
    fn is_carried_by_ground(&mut self, landing: bool, motion: &estimate::State, achieved: &Achieved) -> bool {
        let weight_n = self.thrust.mass_kg() * STANDARD_GRAVITY_M_S2;
        let carried = landing
            && achieved.thrust_n < GROUND_THRUST_SHARE * weight_n
            && motion.velocity_m_s.z().abs() < GROUND_CLIMB_M_S;
        self.monitor.ground_steps = if carried {
            self.monitor.ground_steps.saturating_add(1).min(self.ground_after_steps)
        } else {
            self.monitor.ground_steps.saturating_sub(1)
        };
        self.monitor.ground_steps >= self.ground_after_steps
    }

    /// True after [`LOST_TIME_S`] at the tilt limit while the distance to the set-point grew; false again
    /// after the same time without.
    fn cannot_hold(
        &mut self,
        setpoint: &PositionSetpoint,
        motion: &estimate::State,
        at_tilt_limit: bool,
    ) -> bool {
        let error = setpoint.position_m - motion.position_m.horizontal();
        let opening = error.dot(setpoint.velocity_m_s - motion.velocity_m_s.horizontal());
        let squared = error.norm_squared();
        let losing = at_tilt_limit
            && squared > LOST_DISTANCE_M * LOST_DISTANCE_M
            && opening > 0.0
            && opening * opening > LOST_SPEED_M_S * LOST_SPEED_M_S * squared;
        let Self { monitor, lost_after_steps: after, .. } = self;
        monitor.lost_steps = if losing {
            monitor.lost_steps.saturating_add(1).min(after.saturating_mul(2))
        } else {
            monitor.lost_steps.saturating_sub(1)
        };
        let enough = if monitor.cannot_hold_position { 1 } else { *after };
        monitor.cannot_hold_position = monitor.lost_steps >= enough;
        monitor.cannot_hold_position
    }

    /// Sets integrals, ramps and the low-pass of the wind to 0.
    pub fn reset(&mut self) {
        self.set_state(OuterState::default());
    }

    /// Integrals of the velocity and of the vertical controller in m/s2, world axes: the acceleration that
    /// hovering needs beyond gravity and the feed-forward of the wind.
    #[must_use]
    pub const fn integral_m_s2(&self) -> Vector<World> {
        self.velocity.integral_m_s2().with_down(-self.vertical.integral_m_s2())
    }

    /// The state, to be saved.
    #[must_use]
    pub const fn state(&self) -> OuterState {
        OuterState {
            velocity: self.velocity.state(),
            wind: self.wind.state(),
            vertical: self.vertical.state(),
            monitor: self.monitor,
        }
    }

    /// Continues from a saved state.
    pub const fn set_state(&mut self, state: OuterState) {
        self.velocity.set_state(state.velocity);
        self.wind.set_state(state.wind);
        self.vertical.set_state(state.vertical);
        self.monitor = state.monitor;
    }
}

/// The feed-forward of the wind, if it is configured and the wind is estimated.
fn wind_feed_forward(config: &Config, period_s: f32) -> Result<WindFeedForward, ConfigError> {
    match config.estimate.rotor_drag_per_s {
        Some(drag_per_s) if config.wind_share > 0.0 => {
            let pole_rad_s = config.wind_share * config.velocity.crossover_rad_s;
            WindFeedForward::new(&wind::Config { drag_per_s, pole_rad_s }, period_s)
                .map_err(|error| ConfigError { field: "wind_share", ..error })
        }
        _ => Ok(WindFeedForward::NONE),
    }
}

#[cfg(test)]
#[path = "outer_loops_tests.rs"]
mod tests;
