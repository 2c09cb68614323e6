//! Position to velocity, with velocity and acceleration of the set-point as feed-forward.
//!
//! With the position error e = p_set - p, its length d and direction u = e/d, the velocity of approach is
//!
//! ```text
//! s(d) = k d                              up to d = a/k^2
//!      = sqrt(2 a (d - a/(2 k^2)))        beyond: never above sqrt(2 a d), so the craft stops at the set-point with deceleration a
//! v = v_set + s(d) u, at most the speed limit
//! forward = a_set + d(s u)/dt = a_set + (s/d) e' - (s/d - s') (u . e') u,   e' = v_set - v_craft,   the rest within the deceleration a
//! ```
//!
//! Both parts of s meet in value and slope. The forward acceleration is the derivative of v: near a constant
//! set-point it is the deceleration of the profile at the present velocity, k e', in every direction, so that
//! the law is linear there. A set-point that moves with v_set and a_set is followed without a lag of its own:
//! a 5 m circle at 2 m/s in `tests/tracking.rs` of the project.
//!
//! Source: the square root is v^2 = 2 a d of uniform deceleration; the join with a proportional controller is
//! elementary; set-point plus feed-forward is the two-degree-of-freedom form (K. J. Astrom, R. M. Murray,
//! Feedback Systems, 2nd edition 2021, section 8.5). Flown through the tilt limit it stays below 0.9 of
//! sqrt(2 a d) and ends within 5 cm (`tests/stopping.rs`); for any input the speed stays within both limits
//! (`tests/limits.rs`); margins in `tests/margins.rs`.

use core::marker::PhantomData;

use crate::error::{ConfigError, require_positive};
use crate::frames::Horizontal;
use crate::math::{Libm, Math};
use crate::{PositionSetpoint, VelocitySetpoint};

/// Configuration of a [`PositionController`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Crossover, and so the gain k near the set-point, in rad/s; above 0.
    pub crossover_rad_s: f32,
    /// Deceleration a in m/s2 towards a constant set-point; above 0, and below what the tilt limit gives.
    pub braking_m_s2: f32,
    /// Largest speed in m/s; above 0.
    pub speed_limit_m_s: f32,
}

/// The position controller. It has no state.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PositionController<M = Libm> {
    approach: Approach,
    speed_limit_m_s: f32,
    math: PhantomData<M>,
}

/// Output of a [`PositionController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Output {
    /// Set-point of the velocity controller.
    pub setpoint: VelocitySetpoint,
    /// The speed limit reduced the velocity.
    pub limited: bool,
}

/// Speed of approach by the distance, for a gain k in 1/s and a deceleration a in m/s2.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Approach {
    gain: f32,
    braking: f32,
    /// a/k^2: the distance in m up to which the speed is proportional to it.
    linear_to_m: f32,
}

impl Approach {
    pub(super) fn new(gain: f32, braking: f32) -> Self {
        Self { gain, braking, linear_to_m: braking / (gain * gain) }
    }

    pub(super) const fn braking(&self) -> f32 {
        self.braking
    }

    /// Share s/d of the error that is the velocity, in 1/s, and its decrease along the error, (s/d - s')/d^2
    /// in 1/(m2 s).
    fn share<M: Math>(&self, distance_m: f32) -> (f32, f32) {
        if distance_m <= self.linear_to_m {
            return (self.gain, 0.0);
        }
        let (speed, slope) = self.speed::<M>(distance_m);
        let share = speed / distance_m;
        (share, (share - slope) / (distance_m * distance_m))
    }

    /// Speed in m/s and its derivative by the distance in 1/s.
    pub(super) fn speed<M: Math>(&self, distance_m: f32) -> (f32, f32) {
        if distance_m <= self.linear_to_m {
            (self.gain * distance_m, self.gain)
        } else {
            let speed = M::sqrt(2.0 * self.braking * (distance_m - 0.5 * self.linear_to_m));
            (speed, self.braking / speed)
        }
    }
}

impl<M: Math> PositionController<M> {
    /// Checks the configuration.
    ///
    /// ```
    /// use aplomb::{Libm, PositionSetpoint, control::position::{Config, PositionController}, frames::Horizontal};
    /// let config = Config { crossover_rad_s: 1.0, braking_m_s2: 2.0, speed_limit_m_s: 5.0 };
    /// let position = PositionController::<Libm>::new(&config)?;
    /// // 5 m away, beyond a/k^2 = 2 m: sqrt(2 * 2 * (5 - 1)) m/s.
    /// let setpoint = PositionSetpoint::at(Horizontal::new(5.0, 0.0));
    /// let output = position.step(&setpoint, Horizontal::ZERO, Horizontal::ZERO);
    /// assert!((output.setpoint.velocity_m_s.north - 4.0).abs() < 1e-5);
    /// let error = PositionController::<Libm>::new(&Config { braking_m_s2: 0.0, ..config }).unwrap_err();
    /// assert_eq!(error.field, "braking_m_s2");
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite or not positive.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let gain = require_positive("crossover_rad_s", config.crossover_rad_s)?;
        let braking = require_positive("braking_m_s2", config.braking_m_s2)?;
        let speed_limit_m_s = require_positive("speed_limit_m_s", config.speed_limit_m_s)?;
        Ok(Self { approach: Approach::new(gain, braking), speed_limit_m_s, math: PhantomData })
    }

    /// The velocity set-point for a craft at `position_m` from home that moves with `velocity_m_s`. With a
    /// position that is not finite it is the set-point's own velocity and acceleration, which count as 0
    /// where they are not finite.
    ///
    /// ```
    /// # use aplomb::{Libm, PositionSetpoint, control::position::{Config, PositionController}, frames::Horizontal};
    /// # let config = Config { crossover_rad_s: 1.0, braking_m_s2: 2.0, speed_limit_m_s: 5.0 };
    /// # let position = PositionController::<Libm>::new(&config)?;
    /// // Near the set-point the speed is k d; a craft that moves towards it must slow down by k v.
    /// let at = |north, east| PositionSetpoint::at(Horizontal::new(north, east));
    /// let near = position.step(&at(0.0, 1.5), Horizontal::ZERO, Horizontal::new(0.0, 1.5)).setpoint;
    /// assert!((near.velocity_m_s.east - 1.5).abs() < 1e-6 && (near.acceleration_m_s2.east + 1.5).abs() < 1e-6);
    /// // Across the approach, too, the velocity set-point turns with the craft's motion.
    /// let across = position.step(&at(0.0, 1.5), Horizontal::ZERO, Horizontal::new(0.5, 0.0)).setpoint;
    /// assert!((across.acceleration_m_s2.north + 0.5).abs() < 1e-6);
    /// // A moving set-point: its velocity and acceleration are added.
    /// let moving = PositionSetpoint { velocity_m_s: Horizontal::new(2.0, 0.0), ..at(0.0, 1.5) };
    /// let velocity_m_s = position.step(&moving, Horizontal::ZERO, Horizontal::ZERO).setpoint.velocity_m_s;
    /// assert!((velocity_m_s.north - 2.0).abs() < 1e-6 && (velocity_m_s.east - 1.5).abs() < 1e-6);
    /// // Far away the speed is at its limit, and the flag is set.
    /// let far = position.step(&at(300.0, 400.0), Horizontal::ZERO, Horizontal::ZERO);
    /// assert!((far.setpoint.velocity_m_s.north - 3.0).abs() < 1e-5 && far.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(
        &self,
        setpoint: &PositionSetpoint,
        position_m: Horizontal,
        velocity_m_s: Horizontal,
    ) -> Output {
        let error = setpoint.position_m - position_m;
        let moving = setpoint.motion().finite();
        let squared = error.norm_squared();
        let (mut demanded, mut acceleration_m_s2) = (moving.velocity_m_s, moving.acceleration_m_s2);
        if squared < f32::INFINITY {
            let distance = M::sqrt(squared);
            let (share, decrease) = self.approach.share::<M>(distance);
            let opening = moving.velocity_m_s - velocity_m_s;
            demanded += error * share;
            // At the speed limit the speed does not change with the distance.
            if share * distance < self.speed_limit_m_s {
                let slope = opening * share - error * (decrease * error.dot(opening));
                acceleration_m_s2 += slope.limited::<M>(self.approach.braking());
            }
        }
        let velocity_m_s = demanded.limited::<M>(self.speed_limit_m_s);
        Output {
            setpoint: VelocitySetpoint { velocity_m_s, acceleration_m_s2 },
            limited: velocity_m_s != demanded,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gain 1/s, 2 m/s2: proportional up to 2 m, then sqrt(4 (d - 1)).
    fn controller(speed_limit_m_s: f32) -> PositionController<Libm> {
        let config = Config { crossover_rad_s: 1.0, braking_m_s2: 2.0, speed_limit_m_s };
        PositionController::new(&config).unwrap()
    }

    fn near(a: Horizontal, b: Horizontal, tolerance: f32) {
        assert!((a - b).norm_squared() < tolerance * tolerance, "{a:?} {b:?}");
    }

    #[test]
    fn speed_of_approach_is_proportional_near_and_that_of_uniform_deceleration_beyond() {
        let at = |north, east| {
            let setpoint = PositionSetpoint::at(Horizontal::new(north, east));
            controller(50.0).step(&setpoint, Horizontal::ZERO, Horizontal::ZERO).setpoint.velocity_m_s
        };
        near(at(1.2, -1.6), Horizontal::new(1.2, -1.6), 1e-5);
        // 5 m away: 4 m/s along the error.
        near(at(3.0, 4.0), Horizontal::new(2.4, 3.2), 1e-5);
        near(at(-26.0, 0.0), Horizontal::new(-10.0, 0.0), 1e-4);
    }

    /// The acceleration is the derivative of the velocity set-point along the motion of craft and set-point.
    #[test]
    fn forward_acceleration_is_the_derivative_of_the_velocity_set_point() {
        let controller = controller(50.0);
        let (velocity_m_s, motion_m_s) = (Horizontal::new(0.4, -0.3), Horizontal::new(0.1, 0.2));
        let acceleration_m_s2 = Horizontal::new(0.05, -0.02);
        for error in [Horizontal::new(0.7, 1.1), Horizontal::new(3.0, 4.0), Horizontal::new(-9.0, 2.0)] {
            let step = |time_s: f32| {
                let position_m = error + motion_m_s * time_s;
                let setpoint = PositionSetpoint { position_m, velocity_m_s: motion_m_s, acceleration_m_s2 };
                controller.step(&setpoint, velocity_m_s * time_s, velocity_m_s).setpoint
            };
            let h = 0.02;
            let slope = (step(h).velocity_m_s - step(-h).velocity_m_s) * (0.5 / h);
            near(step(0.0).acceleration_m_s2, slope + acceleration_m_s2, 2e-4);
        }
    }

    #[test]
    fn forward_acceleration_is_within_the_braking_and_none_at_the_speed_limit() {
        let setpoint = PositionSetpoint::at(Horizontal::new(0.0, 1.5));
        let fast = controller(50.0).step(&setpoint, Horizontal::ZERO, Horizontal::new(3.0, 4.0)).setpoint;
        near(fast.acceleration_m_s2, Horizontal::new(-1.2, -1.6), 1e-5);
        // Just below the limit of 1.5 m/s it acts.
        let setpoint = PositionSetpoint::at(Horizontal::new(0.0, 1.2));
        let below = controller(1.5).step(&setpoint, Horizontal::ZERO, Horizontal::new(0.0, 0.5));
        near(below.setpoint.acceleration_m_s2, Horizontal::new(0.0, -0.5), 1e-5);
        // 4 m/s of the profile are above the limit of 3 m/s.
        let setpoint = PositionSetpoint::at(Horizontal::new(3.0, 4.0));
        let limited = controller(3.0).step(&setpoint, Horizontal::ZERO, Horizontal::new(1.0, 0.0));
        near(limited.setpoint.velocity_m_s, Horizontal::new(1.8, 2.4), 1e-5);
        assert!(limited.limited && limited.setpoint.acceleration_m_s2 == Horizontal::ZERO);
    }
}
