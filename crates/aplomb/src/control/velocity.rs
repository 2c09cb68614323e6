//! Horizontal velocity to acceleration: a PI controller for north and one for east, a speed limit in every direction and
//! a ramp on the set-point. What the tilt limit left of the acceleration comes back and keeps the integrals honest.
//!
//! ```text
//! ramp -> set-point, at most acceleration_m_s2,   |ramp| <= speed_limit_m_s
//! a = w (ramp - v) + w/Ti integral(ramp - v) + forward,   forward = w (set-point - ramp) + f, |forward| <= acceleration_m_s2
//! ```
//!
//! with the crossover w, since from acceleration to velocity the craft is an integrator; equations of the controller in
//! [`crate::pid`]. For any input speed limit and slope hold, and the flag says when (`tests/limits.rs`); margins of the derived
//! gains in `tests/margins.rs`.

use core::marker::PhantomData;

use crate::error::{ConfigError, require_positive};
use crate::frames::{Vector, World};
use crate::math::{Libm, Math};
use crate::pid;

/// What the velocity loop is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Crossover of the loop, and so its gain, in rad/s; above 0. A third of what the attitude reference follows.
    pub crossover_rad_s: f32,
    /// Integral time in s; above 0.
    pub integral_time_s: f32,
    /// Largest speed in m/s that is asked for, in any direction; above 0.
    pub speed_limit_m_s: f32,
    /// Steepest change of the set-point in m/s2; above 0.
    pub acceleration_m_s2: f32,
    /// Largest acceleration in m/s2 that one axis asks for; above 0. The tilt limit comes after it.
    pub output_limit_m_s2: f32,
}

/// The velocity loop, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VelocityController<M = Libm> {
    axis: pid::Pid,
    speed_limit_m_s: f32,
    acceleration_m_s2: f32,
    per_gap_s: f32,
    period_s: f32,
    math: PhantomData<M>,
}

/// State of the velocity loop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    north: pid::State,
    east: pid::State,
    ramp_m_s: Vector<World>,
    started: bool,
}

impl State {
    /// Forgets everything.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Velocity is not controlled for a while: the set-point's ramp starts from the velocity found next time, the
    /// integrals stay, since the wind does.
    pub const fn pause(&mut self) {
        self.started = false;
    }

    /// Velocity asked for after speed limit and ramp in m/s, horizontal; 0 while the loop pauses.
    #[must_use]
    pub const fn setpoint_m_s(&self) -> Vector<World> {
        if self.started { self.ramp_m_s } else { Vector::ZERO }
    }

    /// The integrals in m/s2: what standing still takes, against wind above all.
    #[must_use]
    pub const fn integral_m_s2(&self) -> Vector<World> {
        Vector::new(self.north.integral(), self.east.integral(), 0.0)
    }
}

/// What the velocity loop asks for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Output {
    /// Acceleration in m/s2; horizontal.
    pub acceleration_m_s2: Vector<World>,
    /// Set-point in m/s after limit and ramp.
    pub velocity_m_s: Vector<World>,
    /// The speed limit cut the set-point.
    pub limited: bool,
}

impl<M: Math> VelocityController<M> {
    /// Folds the gains for a period in s.
    ///
    /// ```
    /// use aplomb::{Libm, control::velocity::{Config, State, VelocityController}, frames::Vector};
    /// let config = Config {
    ///     crossover_rad_s: 2.0, integral_time_s: 2.0, speed_limit_m_s: 6.0, acceleration_m_s2: 3.0, output_limit_m_s2: 5.0,
    /// };
    /// let velocity = VelocityController::<Libm>::new(&config, 0.025)?;
    /// // 3 m/s north from rest: the ramp has come to 3 * 0.025 m/s, and the rest of the way asks for the ramp's slope.
    /// let mut state = State::new();
    /// let output = velocity.step(&mut state, Vector::new(3.0, 0.0, 0.0), Vector::ZERO, Vector::ZERO);
    /// assert!((output.acceleration_m_s2.x() - (2.0 * 0.075 + 3.0)).abs() < 1e-5);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite or not positive.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        let gain = require_positive("crossover_rad_s", config.crossover_rad_s)?;
        require_positive("integral_time_s", config.integral_time_s)?;
        let speed_limit_m_s = require_positive("speed_limit_m_s", config.speed_limit_m_s)?;
        let acceleration_m_s2 = require_positive("acceleration_m_s2", config.acceleration_m_s2)?;
        let limit = require_positive("output_limit_m_s2", config.output_limit_m_s2)?;
        let axis = pid::Pid::new(
            &pid::Config {
                integral_time_s: Some(config.integral_time_s),
                integral_limit: limit,
                ..pid::Config::proportional(gain, limit)
            },
            period_s,
        )
        .map_err(|error| ConfigError { field: "crossover_rad_s", ..error })?;
        Ok(Self { axis, speed_limit_m_s, acceleration_m_s2, per_gap_s: gain, period_s, math: PhantomData })
    }

    /// The acceleration for a velocity set-point and its feed-forward. Horizontal parts only. Call
    /// [`VelocityController::achieved`] afterwards.
    ///
    /// A set-point or feed-forward that is no number counts as 0; a velocity that is none holds the last acceleration of its
    /// axis. On the first step, and after a pause, the ramp starts from the velocity found.
    ///
    /// ```
    /// # use aplomb::{Libm, control::velocity::{Config, State, VelocityController}, frames::Vector};
    /// # let config = Config {
    /// #     crossover_rad_s: 2.0, integral_time_s: 2.0, speed_limit_m_s: 6.0, acceleration_m_s2: 3.0, output_limit_m_s2: 5.0,
    /// # };
    /// # let velocity = VelocityController::<Libm>::new(&config, 0.025)?;
    /// // 12 m/s are asked for; the limit is 6, in any direction, and it is said.
    /// let mut state = State::new();
    /// let moving = Vector::new(0.0, -6.0, 0.0);
    /// let output = velocity.step(&mut state, Vector::new(0.0, -12.0, 0.0), Vector::ZERO, moving);
    /// assert!((output.velocity_m_s.y() + 6.0).abs() < 1e-5 && output.acceleration_m_s2.y().abs() < 1e-4 && output.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(
        &self,
        state: &mut State,
        setpoint_m_s: Vector<World>,
        forward_m_s2: Vector<World>,
        velocity_m_s: Vector<World>,
    ) -> Output {
        let flat = |v: Vector<World>| Vector::<World>::new(v.x(), v.y(), 0.0);
        let wanted = flat(setpoint_m_s);
        let target = wanted.limited::<M>(self.speed_limit_m_s);
        let limited = target != wanted;
        if !state.started {
            state.ramp_m_s = flat(velocity_m_s).limited::<M>(self.speed_limit_m_s);
            state.started = true;
        }
        let change = target - state.ramp_m_s;
        let step = change.limited::<M>(self.acceleration_m_s2 * self.period_s);
        // What the ramp holds back is accelerated for, as fast as closes the gap within 1/crossover: no kick when it sets in.
        let held_back = (change - step) * self.per_gap_s;
        let forward = (flat(forward_m_s2) + held_back).limited::<M>(self.acceleration_m_s2);
        state.ramp_m_s += step;
        let ramp = state.ramp_m_s;
        let north = self.axis.step_seldom(&mut state.north, ramp.x(), velocity_m_s.x(), forward.x());
        let east = self.axis.step_seldom(&mut state.east, ramp.y(), velocity_m_s.y(), forward.y());
        Output { acceleration_m_s2: Vector::new(north, east, 0.0), velocity_m_s: ramp, limited }
    }

    /// Tells the integrals which acceleration in m/s2 was achieved: they grow by what the axis is short of its set-point,
    /// and are led back by what the craft was short of the demand. Without this call they stand still.
    ///
    /// ```
    /// # use aplomb::{Libm, control::velocity::{Config, State, VelocityController}, frames::Vector};
    /// # let config = Config {
    /// #     crossover_rad_s: 2.0, integral_time_s: 2.0, speed_limit_m_s: 6.0, acceleration_m_s2: 3.0, output_limit_m_s2: 5.0,
    /// # };
    /// # let velocity = VelocityController::<Libm>::new(&config, 0.025)?;
    /// // Wind pushes at 1 m/s against a set-point of rest: the integral grows by w h/Ti e = 2 * 0.025/2 m/s2 a step.
    /// let mut state = State::new();
    /// let mut output = velocity.step(&mut state, Vector::ZERO, Vector::ZERO, Vector::ZERO);
    /// for _ in 0..2 {
    ///     output = velocity.step(&mut state, Vector::ZERO, Vector::ZERO, Vector::new(1.0, 0.0, 0.0));
    ///     velocity.achieved(&mut state, output.acceleration_m_s2);
    /// }
    /// assert!((state.integral_m_s2().x() + 0.05).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn achieved(&self, state: &mut State, acceleration_m_s2: Vector<World>) {
        self.axis.achieved_seldom(&mut state.north, acceleration_m_s2.x());
        self.axis.achieved_seldom(&mut state.east, acceleration_m_s2.y());
    }
}
