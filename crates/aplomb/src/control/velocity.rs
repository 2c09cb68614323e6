//! Horizontal velocity to acceleration: a PI controller for north and one for east, a speed limit in every direction and
//! a ramp on the set-point. What the tilt limit left of the acceleration comes back and keeps the integrals honest.

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
    /// Crossover of the loop, and so its gain, in rad/s.
    pub crossover_rad_s: f32,
    /// Integral time in s.
    pub integral_time_s: f32,
    /// Largest speed in m/s that is asked for, in any direction.
    pub speed_limit_m_s: f32,
    /// Steepest change of the set-point in m/s2.
    pub acceleration_m_s2: f32,
    /// Largest acceleration in m/s2 that feedback may ask for.
    pub output_limit_m_s2: f32,
}

/// The velocity loop, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VelocityLoop<M = Libm> {
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

impl<M: Math> VelocityLoop<M> {
    /// Folds the gains for a period in s.
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
    /// [`VelocityLoop::achieved`] afterwards.
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
        let north = self.axis.step(&mut state.north, ramp.x(), velocity_m_s.x(), forward.x());
        let east = self.axis.step(&mut state.east, ramp.y(), velocity_m_s.y(), forward.y());
        Output { acceleration_m_s2: Vector::new(north, east, 0.0), velocity_m_s: ramp, limited }
    }

    /// Tells the integrals which acceleration in m/s2 was achieved.
    pub fn achieved(&self, state: &mut State, acceleration_m_s2: Vector<World>) {
        self.axis.achieved(&mut state.north, acceleration_m_s2.x());
        self.axis.achieved(&mut state.east, acceleration_m_s2.y());
    }
}
