//! Horizontal velocity to acceleration: a PI controller for north and one for east, a speed limit in every
//! direction and a ramp on the set-point. The acceleration that is left by the tilt limit comes back by
//! [`VelocityController::achieved`] for anti-windup.
//!
//! ```text
//! ramp -> v_set with a slope of at most acceleration_m_s2,   |ramp| <= speed_limit_m_s
//! a = w (ramp - v) + w/Ti integral(ramp - v) + forward,   forward = w (v_set - ramp) + a_set, |forward| <= acceleration_m_s2
//! ```
//!
//! with the crossover w, since from acceleration to velocity the craft is an integrator; equations of the
//! controller in [`crate::pid`]. For any input speed limit and slope hold, and the flag is set when they act
//! (`tests/limits.rs`); margins of the derived gains in `tests/margins.rs`.

use core::marker::PhantomData;

use crate::VelocitySetpoint;
use crate::error::{ConfigError, require_positive};
use crate::frames::Horizontal;
use crate::math::{Libm, Math};
use crate::pid;

/// Configuration of a [`VelocityController`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Crossover of the loop, and so its gain, in rad/s; above 0. At most a third of the reciprocal delay of
    /// the attitude reference.
    pub crossover_rad_s: f32,
    /// Integral time in s; above 0.
    pub integral_time_s: f32,
    /// Largest speed in m/s of the set-point, in any direction; above 0.
    pub speed_limit_m_s: f32,
    /// Steepest change of the set-point in m/s2; above 0.
    pub acceleration_m_s2: f32,
    /// Largest acceleration in m/s2 demanded along one axis; above 0. The tilt limit comes after it.
    pub output_limit_m_s2: f32,
}

/// The velocity controller.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct VelocityController<M = Libm> {
    axis: pid::Pid,
    gain: f32,
    speed_limit_m_s: f32,
    acceleration_m_s2: f32,
    period_s: f32,
    state: State,
    math: PhantomData<M>,
}

/// State of a [`VelocityController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    north: pid::State,
    east: pid::State,
    /// The set-point's ramp; `None` while velocity is not controlled.
    ramp_m_s: Option<Horizontal>,
}

/// Output of a [`VelocityController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Output {
    /// Demanded acceleration in m/s2.
    pub acceleration_m_s2: Horizontal,
    /// Set-point in m/s after limit and ramp.
    pub velocity_m_s: Horizontal,
    /// The speed limit reduced the set-point.
    pub limited: bool,
}

impl<M: Math> VelocityController<M> {
    /// Computes the coefficients for a period in s.
    ///
    /// ```
    /// use aplomb::{Libm, VelocitySetpoint, control::velocity::{Config, VelocityController}, frames::Horizontal};
    /// let config = Config {
    ///     crossover_rad_s: 2.0, integral_time_s: 2.0, speed_limit_m_s: 6.0, acceleration_m_s2: 3.0, output_limit_m_s2: 5.0,
    /// };
    /// let mut velocity = VelocityController::<Libm>::new(&config, 0.025)?;
    /// // 3 m/s north from rest: the ramp has come to 3 * 0.025 m/s, and its slope is fed forward.
    /// let output = velocity.step(&VelocitySetpoint::constant(Horizontal::new(3.0, 0.0)), Horizontal::ZERO);
    /// assert!((output.acceleration_m_s2.north - (2.0 * 0.075 + 3.0)).abs() < 1e-5);
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
        let state = State::default();
        Ok(Self { axis, gain, speed_limit_m_s, acceleration_m_s2, period_s, state, math: PhantomData })
    }

    /// The acceleration for a set-point, with the present velocity in m/s. Call
    /// [`VelocityController::achieved`] afterwards.
    ///
    /// Velocity and acceleration of a set-point that are not finite count as 0; a velocity that is not finite
    /// holds the last acceleration of its axis. On the first step, and after a pause, the ramp starts at the
    /// present velocity.
    ///
    /// ```
    /// # use aplomb::{Libm, VelocitySetpoint, control::velocity::{Config, VelocityController}, frames::Horizontal};
    /// # let config = Config {
    /// #     crossover_rad_s: 2.0, integral_time_s: 2.0, speed_limit_m_s: 6.0, acceleration_m_s2: 3.0, output_limit_m_s2: 5.0,
    /// # };
    /// let mut velocity = VelocityController::<Libm>::new(&config, 0.025)?;
    /// // 12 m/s are demanded; the limit is 6, in any direction, and the flag is set.
    /// let setpoint = VelocitySetpoint::constant(Horizontal::new(0.0, -12.0));
    /// let output = velocity.step(&setpoint, Horizontal::new(0.0, -6.0));
    /// assert!((output.velocity_m_s.east + 6.0).abs() < 1e-5 && output.acceleration_m_s2.east.abs() < 1e-4 && output.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(&mut self, setpoint: &VelocitySetpoint, velocity_m_s: Horizontal) -> Output {
        let setpoint = setpoint.finite();
        let demanded = setpoint.velocity_m_s.limited::<M>(self.speed_limit_m_s);
        let before = self.state.ramp_m_s.unwrap_or_else(|| velocity_m_s.limited::<M>(self.speed_limit_m_s));
        let change = demanded - before;
        let step = change.limited::<M>(self.acceleration_m_s2 * self.period_s);
        // While the ramp is behind the set-point, its slope is fed forward, as far as it closes the gap
        // within 1/crossover: no jump when it starts and ends.
        let gap = (change - step) * self.gain;
        let forward = (setpoint.acceleration_m_s2 + gap).limited::<M>(self.acceleration_m_s2);
        let ramp = before + step;
        let state = &mut self.state;
        state.ramp_m_s = Some(ramp);
        let north = self.axis.step(&mut state.north, ramp.north, velocity_m_s.north, forward.north);
        let east = self.axis.step(&mut state.east, ramp.east, velocity_m_s.east, forward.east);
        Output {
            acceleration_m_s2: Horizontal::new(north, east),
            velocity_m_s: ramp,
            limited: demanded != setpoint.velocity_m_s,
        }
    }

    /// Updates the integrals with the acceleration in m/s2 that was achieved: they integrate the error, and
    /// back-calculation reduces them by the part of the demand that was not achieved. Without this call they
    /// are held.
    ///
    /// ```
    /// # use aplomb::{Libm, VelocitySetpoint, control::velocity::{Config, VelocityController}, frames::Horizontal};
    /// # let config = Config {
    /// #     crossover_rad_s: 2.0, integral_time_s: 2.0, speed_limit_m_s: 6.0, acceleration_m_s2: 3.0, output_limit_m_s2: 5.0,
    /// # };
    /// let mut velocity = VelocityController::<Libm>::new(&config, 0.025)?;
    /// // Wind moves the craft at 1 m/s against a set-point of 0: the integral grows by w h/Ti e = 2 * 0.025/2 m/s2 a step.
    /// let hold = VelocitySetpoint::default();
    /// let mut output = velocity.step(&hold, Horizontal::ZERO);
    /// for _ in 0..2 {
    ///     output = velocity.step(&hold, Horizontal::new(1.0, 0.0));
    ///     velocity.achieved(output.acceleration_m_s2);
    /// }
    /// assert!((velocity.integral_m_s2().north + 0.05).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn achieved(&mut self, acceleration_m_s2: Horizontal) {
        self.axis.achieved(&mut self.state.north, acceleration_m_s2.north);
        self.axis.achieved(&mut self.state.east, acceleration_m_s2.east);
    }

    /// For times without velocity control: the ramp starts at the present velocity on the next step. The
    /// integrals, which balance the wind, are kept.
    pub const fn pause(&mut self) {
        self.state.ramp_m_s = None;
    }

    /// Sets the integrals to zero; the ramp starts at the present velocity on the next step.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The integrals in m/s2: the acceleration that balances drag and wind at a constant velocity.
    #[must_use]
    pub const fn integral_m_s2(&self) -> Horizontal {
        Horizontal::new(self.state.north.integral(), self.state.east.integral())
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
    use crate::Libm;

    const CONFIG: Config = Config {
        crossover_rad_s: 2.0,
        integral_time_s: 2.0,
        speed_limit_m_s: 6.0,
        acceleration_m_s2: 3.0,
        output_limit_m_s2: 5.0,
    };

    #[test]
    fn acceleration_of_the_set_point_is_fed_forward_and_its_twin_lags() {
        // A craft that accelerates exactly as demanded follows a velocity that grows by 1 m/s2.
        let worst_m_s = |fed: f32| {
            let mut velocity = VelocityController::<Libm>::new(&CONFIG, 0.025).unwrap();
            let mut speed = 0.0f32;
            (1..200u8).fold(0.0f32, |worst, k| {
                let demanded = 0.025 * f32::from(k);
                let setpoint = VelocitySetpoint {
                    velocity_m_s: Horizontal::new(demanded, 0.0),
                    acceleration_m_s2: Horizontal::new(fed, 0.0),
                };
                speed +=
                    0.025 * velocity.step(&setpoint, Horizontal::new(speed, 0.0)).acceleration_m_s2.north;
                worst.max((demanded - speed).abs())
            })
        };
        // Without it the lag is a/w = 0.5 m/s.
        assert!(
            worst_m_s(1.0) < 0.03 && (worst_m_s(0.0) - 0.5).abs() < 0.05,
            "{} {}",
            worst_m_s(1.0),
            worst_m_s(0.0)
        );
    }

    #[test]
    fn ramp_starts_at_the_present_velocity_after_a_pause() {
        let mut velocity = VelocityController::<Libm>::new(&CONFIG, 0.025).unwrap();
        let hold = VelocitySetpoint::default();
        let _ = velocity.step(&hold, Horizontal::ZERO);
        let moving = Horizontal::new(4.0, 0.0);
        assert!(velocity.step(&hold, moving).velocity_m_s.north < 0.1, "the twin without a pause");
        velocity.pause();
        assert!((velocity.step(&hold, moving).velocity_m_s.north - (4.0 - 0.075)).abs() < 1e-5);
    }
}
