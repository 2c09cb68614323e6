//! Place to velocity.
//!
//! The speed towards the place is k d near it and sqrt(2 a (d - a/(2 k^2))) from d = a/k^2 on, so never above
//! sqrt(2 a d): the craft stops at the place with the deceleration a. Both parts meet in value and slope. The
//! deceleration that this profile means at the present speed goes along as feed-forward.
//!
//! Source: the square root is v^2 = 2 a d of uniform deceleration; the join with a proportional controller is elementary.
//! Flown through the tilt limit it keeps to 0.9 of sqrt(2 a d) and ends within 5 cm (`tests/stopping.rs`); for any input the
//! speed stays within both limits (`tests/limits.rs`); margins in `tests/margins.rs`.

use core::marker::PhantomData;

use crate::error::{ConfigError, require_positive};
use crate::frames::{Vector, World};
use crate::math::{Libm, Math};

/// What the position loop is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Crossover, and so the gain k near the place, in rad/s; above 0.
    pub crossover_rad_s: f32,
    /// Deceleration a in m/s2 with which the craft brakes for the place; above 0, and below what the tilt limit gives.
    pub braking_m_s2: f32,
    /// Largest speed in m/s; above 0.
    pub speed_limit_m_s: f32,
}

/// The position loop, folded. It has no state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PositionController<M = Libm> {
    approach: Approach,
    math: PhantomData<M>,
}

/// What the position loop asks for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Output {
    /// Velocity in m/s; horizontal.
    pub velocity_m_s: Vector<World>,
    /// Acceleration in m/s2 that goes with it.
    pub acceleration_m_s2: Vector<World>,
    /// The speed limit cut the speed.
    pub limited: bool,
}

/// Speed towards a place by its distance, for a gain in 1/s, a deceleration in m/s2 and a speed limit in m/s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Approach {
    gain: f32,
    braking: f32,
    limit: f32,
    /// Distance in m up to which the speed is proportional to it, and from which the limit holds.
    linear_to_m: f32,
    limited_from_m: f32,
}

impl Approach {
    pub(super) fn new(gain: f32, braking: f32, limit: f32) -> Self {
        let linear_to_m = braking / (gain * gain);
        let braked_m = 0.5 * (limit * limit / braking + linear_to_m);
        // A limit below the end of the straight part cuts that.
        let limited_from_m = if limit < gain * linear_to_m { limit / gain } else { braked_m };
        Self { gain, braking, limit, linear_to_m, limited_from_m }
    }

    pub(super) const fn braking(&self) -> f32 {
        self.braking
    }

    /// Speed in m/s, its slope over the distance in 1/s, and whether the limit cut it.
    #[inline]
    pub(super) fn speed<M: Math>(&self, distance_m: f32) -> (f32, f32, bool) {
        if distance_m > self.limited_from_m {
            (self.limit, 0.0, true)
        } else if distance_m <= self.linear_to_m {
            (self.gain * distance_m, self.gain, false)
        } else {
            let speed = M::sqrt(2.0 * self.braking * (distance_m - 0.5 * self.linear_to_m));
            (speed, self.braking / speed, false)
        }
    }
}

impl<M: Math> PositionController<M> {
    /// Checks the configuration.
    ///
    /// ```
    /// use aplomb::{Libm, control::position::{Config, PositionController}, frames::Vector};
    /// let config = Config { crossover_rad_s: 1.0, braking_m_s2: 2.0, speed_limit_m_s: 5.0 };
    /// let position = PositionController::<Libm>::new(&config)?;
    /// // 5 m away, beyond a/k^2 = 2 m: sqrt(2 * 2 * (5 - 1)) m/s.
    /// let output = position.step(Vector::new(5.0, 0.0, 0.0), Vector::ZERO, Vector::ZERO);
    /// assert!((output.velocity_m_s.x() - 4.0).abs() < 1e-5);
    /// assert_eq!(PositionController::<Libm>::new(&Config { braking_m_s2: 0.0, ..config }).unwrap_err().field, "braking_m_s2");
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite or not positive.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let gain = require_positive("crossover_rad_s", config.crossover_rad_s)?;
        let braking = require_positive("braking_m_s2", config.braking_m_s2)?;
        let limit = require_positive("speed_limit_m_s", config.speed_limit_m_s)?;
        Ok(Self { approach: Approach::new(gain, braking, limit), math: PhantomData })
    }

    /// The velocity towards `target_m` from `position_m` when moving with `velocity_m_s`. Horizontal parts only; input
    /// that is not finite asks for standstill, and so does a place nearer than 1e-6 m.
    ///
    /// ```
    /// # use aplomb::{Libm, control::position::{Config, PositionController}, frames::Vector};
    /// # let config = Config { crossover_rad_s: 1.0, braking_m_s2: 2.0, speed_limit_m_s: 5.0 };
    /// # let position = PositionController::<Libm>::new(&config)?;
    /// // Near the place the speed is k d; moving at it, the craft must slow down by k v.
    /// let near = position.step(Vector::new(0.0, 1.5, 0.0), Vector::ZERO, Vector::new(0.0, 1.5, 0.0));
    /// assert!((near.velocity_m_s.y() - 1.5).abs() < 1e-6 && (near.acceleration_m_s2.y() + 1.5).abs() < 1e-6);
    /// // Far away the limit holds, and it is said.
    /// let far = position.step(Vector::new(300.0, 400.0, 0.0), Vector::ZERO, Vector::ZERO);
    /// assert!((far.velocity_m_s.x() - 3.0).abs() < 1e-5 && (far.velocity_m_s.y() - 4.0).abs() < 1e-5 && far.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(
        &self,
        target_m: Vector<World>,
        position_m: Vector<World>,
        velocity_m_s: Vector<World>,
    ) -> Output {
        let error = target_m - position_m;
        let d2 = error.x() * error.x() + error.y() * error.y();
        if !(d2 > 1e-12 && d2 < f32::INFINITY) {
            return Output::default();
        }
        let per_distance = 1.0 / M::sqrt(d2);
        let distance = d2 * per_distance;
        let (north, east) = (error.x() * per_distance, error.y() * per_distance);
        let (speed, slope, limited) = self.approach.speed::<M>(distance);
        // d(speed)/dt = d(speed)/dd dd/dt, with dd/dt = -(speed made good).
        let made_good = velocity_m_s.x() * north + velocity_m_s.y() * east;
        let change = crate::math::saturate_symmetric(-slope * made_good, self.approach.braking);
        Output {
            velocity_m_s: Vector::new(speed * north, speed * east, 0.0),
            acceleration_m_s2: Vector::new(change * north, change * east, 0.0),
            limited,
        }
    }
}
