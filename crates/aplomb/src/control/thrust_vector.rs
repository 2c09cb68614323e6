//! Acceleration to thrust vector: its direction and its vertical part, within the tilt limit and the range of
//! the thrust.
//!
//! The specific force that gives the acceleration a is f = a - g. Its vertical part comes first: up = g +
//! a_up, within what the rotors can give. Then the horizontal part is limited to the cone of the tilt limit,
//! |h| <= up tan(limit), which is exact in every direction, and to the thrust that is left, |h|^2 <= max^2 -
//! up^2.
//!
//! ```text
//! up = g - a_down within min/m..max/m,   h = (a_north, a_east) scaled to |h| <= min(up tan(limit), sqrt((max/m)^2 - up^2))
//! down axis = (-h, up)/|(-h, up)|,        thrust = m up/cos(tilt)
//! ```
//!
//! Source: Newton's second law with thrust along the body's up axis and weight; at constant height m g
//! tan(limit) is left for the horizontal. Cone, order and flags for any demand: `tests/limits.rs`.

use core::marker::PhantomData;
use core::ops::RangeInclusive;

use crate::STANDARD_GRAVITY_M_S2;
use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::frames::{Horizontal, Vector, World};
use crate::math::{Libm, Math, saturate};

const NOT_BELOW_WEIGHT: &str = "is not below the weight";
const NOT_ABOVE_WEIGHT: &str = "is not above the weight";

/// Configuration of a [`ThrustVector`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Mass in kg; above 0.
    pub mass_kg: f32,
    /// Largest tilt in rad, above 0 and at most 1.4 (80 deg): its tangent multiplies the vertical part.
    pub tilt_limit_rad: f32,
    /// Least vertical thrust in N; at least 0 and below the weight, or the craft could not descend.
    pub min_thrust_n: f32,
    /// Largest thrust in N; above the weight.
    pub max_thrust_n: f32,
}

/// Converts an acceleration to a thrust vector. It has no state.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ThrustVector<M = Libm> {
    mass_kg: f32,
    /// Least and largest specific force in m/s2.
    min_m_s2: f32,
    max_m_s2: f32,
    tan_limit: f32,
    sin_limit: f32,
    math: PhantomData<M>,
}

/// Output of a [`ThrustVector`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Output {
    /// Set-point of the body's down axis: the direction against the thrust, of length 1.
    pub down: Vector<World>,
    /// Vertical part of the specific force in m/s2, up positive.
    pub up_m_s2: f32,
    /// Demanded acceleration in m/s2 after the limits.
    pub acceleration_m_s2: Vector<World>,
    /// The tilt limit, or the remaining thrust, reduced the horizontal part.
    pub tilt_limited: bool,
    /// The thrust range limited the vertical part.
    pub thrust_limited: bool,
}

impl<M: Math> ThrustVector<M> {
    /// Checks and precomputes the limits.
    ///
    /// ```
    /// use aplomb::{Libm, control::thrust_vector::{Config, ThrustVector}};
    /// let thrust = ThrustVector::<Libm>::new(&Config { mass_kg: 1.2, tilt_limit_rad: 0.5, min_thrust_n: 2.4, max_thrust_n: 23.0 })?;
    /// assert!((thrust.horizontal_limit_m_s2() - 9.80665 * 0.5f32.tan()).abs() < 1e-5);
    /// let (low, high) = thrust.vertical_range_m_s2().into_inner();
    /// assert!((low - (2.4 / 1.2 - 9.80665)).abs() < 1e-5 && (high - (23.0 / 1.2 - 9.80665)).abs() < 1e-5);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field; `min_thrust_n` also when it is not below `max_thrust_n` and the weight,
    /// `max_thrust_n` also when it does not exceed the weight.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let mass = require_positive("mass_kg", config.mass_kg)?;
        require_positive("tilt_limit_rad", config.tilt_limit_rad)?;
        let limit = require_within("tilt_limit_rad", config.tilt_limit_rad, 0.0, 1.4)?;
        require_not_negative("min_thrust_n", config.min_thrust_n)?;
        require_positive("max_thrust_n", config.max_thrust_n)?;
        if config.min_thrust_n >= config.max_thrust_n {
            return Err(ConfigError::new("min_thrust_n", Problem::WrongOrder("max_thrust_n")));
        }
        if config.min_thrust_n >= mass * STANDARD_GRAVITY_M_S2 {
            return Err(ConfigError::new("min_thrust_n", Problem::Inconsistent(NOT_BELOW_WEIGHT)));
        }
        if config.max_thrust_n <= mass * STANDARD_GRAVITY_M_S2 {
            return Err(ConfigError::new("max_thrust_n", Problem::Inconsistent(NOT_ABOVE_WEIGHT)));
        }
        // Not by the functions of `M`: an approximate limit would be off for good.
        let (sin, cos) = (libm::sinf(limit), libm::cosf(limit));
        Ok(Self {
            mass_kg: mass,
            // At least 5 % of the weight, so that the direction of the thrust is defined.
            min_m_s2: (config.min_thrust_n / mass).max(0.05 * STANDARD_GRAVITY_M_S2),
            max_m_s2: config.max_thrust_n / mass,
            tan_limit: sin / cos,
            sin_limit: sin,
            math: PhantomData,
        })
    }

    /// Mass in kg.
    #[must_use]
    pub const fn mass_kg(&self) -> f32 {
        self.mass_kg
    }

    /// Lowest and highest vertical acceleration in m/s2 (up positive) at zero tilt.
    #[must_use]
    pub fn vertical_range_m_s2(&self) -> RangeInclusive<f32> {
        self.min_m_s2 - STANDARD_GRAVITY_M_S2..=self.max_m_s2 - STANDARD_GRAVITY_M_S2
    }

    /// Largest horizontal acceleration in m/s2 at constant height.
    #[must_use]
    pub fn horizontal_limit_m_s2(&self) -> f32 {
        STANDARD_GRAVITY_M_S2 * self.tan_limit
    }

    /// Sine of the tilt limit: the length of the largest [`crate::Tilt`].
    #[must_use]
    pub const fn sin_limit(&self) -> f32 {
        self.sin_limit
    }

    /// The thrust vector for an acceleration in m/s2 in the world. NaN in the horizontal part gives none, NaN
    /// in the vertical part the least.
    ///
    /// ```
    /// # use aplomb::{Libm, control::thrust_vector::{Config, ThrustVector}, frames::Vector};
    /// # let thrust = ThrustVector::<Libm>::new(&Config { mass_kg: 1.2, tilt_limit_rad: 0.5, min_thrust_n: 2.4, max_thrust_n: 23.0 })?;
    /// // 20 m/s2 north are too much at 0.5 rad: g tan(0.5) is left, the height is kept, and the flag is set.
    /// let output = thrust.step(Vector::new(20.0, 0.0, 0.0));
    /// let left = output.acceleration_m_s2;
    /// assert!((left.x() - 5.3574).abs() < 1e-3 && left.z() == 0.0 && output.tilt_limited);
    /// // To accelerate north the down axis points to the south of the vertical, and it is a unit vector.
    /// assert!((output.down.x() + 0.5f32.sin()).abs() < 1e-5 && (output.down.norm_squared() - 1.0).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(&self, acceleration_m_s2: Vector<World>) -> Output {
        let demanded_up = STANDARD_GRAVITY_M_S2 - acceleration_m_s2.z();
        let up = saturate(demanded_up, self.min_m_s2, self.max_m_s2);
        let cone = up * self.tan_limit;
        let reach_squared = saturate(cone * cone, 0.0, self.max_m_s2 * self.max_m_s2 - up * up);
        let demanded = acceleration_m_s2.horizontal();
        let size_squared = demanded.norm_squared();
        let (horizontal, tilt_limited) = if size_squared <= reach_squared {
            (demanded, false)
        } else if size_squared < f32::INFINITY {
            (demanded * M::sqrt(reach_squared / size_squared), true)
        } else {
            (Horizontal::ZERO, true)
        };
        let force = (-horizontal).with_down(up);
        Output {
            down: force * (1.0 / force.norm::<M>()),
            up_m_s2: up,
            acceleration_m_s2: horizontal.with_down(STANDARD_GRAVITY_M_S2 - up),
            tilt_limited,
            thrust_limited: up != demanded_up,
        }
    }

    /// The total thrust in N whose vertical part is m `up_m_s2` at the present tilt: m up/cos(tilt) up to 60
    /// deg, 4 m up cos(tilt) beyond, and 0 from 90 deg on, so that an upset craft rights itself before it
    /// accelerates. NaN gives no thrust.
    ///
    /// ```
    /// # use aplomb::{Libm, control::thrust_vector::{Config, ThrustVector}};
    /// # let thrust = ThrustVector::<Libm>::new(&Config { mass_kg: 1.2, tilt_limit_rad: 0.5, min_thrust_n: 2.4, max_thrust_n: 23.0 })?;
    /// assert!((thrust.total_n(9.80665, 1.0) - 11.768).abs() < 1e-3);
    /// assert!((thrust.total_n(9.80665, 0.8) - 14.710).abs() < 1e-3);
    /// assert_eq!(thrust.total_n(9.80665, -0.3), 0.0);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn total_n(&self, up_m_s2: f32, cos_tilt: f32) -> f32 {
        let gain = if cos_tilt > 0.5 {
            1.0 / cos_tilt
        } else if cos_tilt > 0.0 {
            4.0 * cos_tilt
        } else {
            0.0
        };
        saturate(self.mass_kg * up_m_s2 * gain, 0.0, self.mass_kg * self.max_m_s2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    const G: f32 = STANDARD_GRAVITY_M_S2;
    /// Thrust to weight 2, and at least 2 m/s2 of thrust.
    const CONFIG: Config =
        Config { mass_kg: 1.2, tilt_limit_rad: 0.5, min_thrust_n: 2.4, max_thrust_n: 2.4 * G };

    fn step(north: f32, east: f32, down: f32) -> Output {
        ThrustVector::<Libm>::new(&CONFIG).unwrap().step(Vector::new(north, east, down))
    }

    #[test]
    fn vertical_part_comes_first_and_the_rest_of_the_thrust_limits_the_horizontal_part() {
        // 1.9 g of 2 g go upwards: sqrt(2^2 - 1.9^2) g are left, less than the 1.04 g of the tilt limit.
        let output = step(-3.0 * G, 4.0 * G, -0.9 * G);
        let left = (4f32 - 1.9 * 1.9).sqrt() * G;
        let expected = Vector::<World>::new(-0.6 * left, 0.8 * left, -0.9 * G);
        assert!((output.acceleration_m_s2 - expected).norm_squared() < 1e-6, "{output:?}");
        assert!(output.tilt_limited && !output.thrust_limited && (output.up_m_s2 - 1.9 * G).abs() < 1e-5);
        // The down axis is opposite to the thrust: its tangent is the horizontal over the vertical part.
        let down = output.down;
        assert!((down.x() / down.z() - 0.6 * left / (1.9 * G)).abs() < 1e-5, "{down:?}");
        assert!((down.y() / down.z() + 0.8 * left / (1.9 * G)).abs() < 1e-5, "{down:?}");
        // With all of it upwards none is left.
        let output = step(1.0, 0.0, -5.0 * G);
        assert!(output.acceleration_m_s2.horizontal().norm_squared() < 1e-6 && output.tilt_limited);
        assert!(output.thrust_limited && (output.acceleration_m_s2.z() + G).abs() < 1e-5, "{output:?}");
    }

    #[test]
    fn least_thrust_keeps_the_tilt_limit_in_a_fall() {
        // 2 m/s2 are left: 2 tan(0.5) = 1.0926 m/s2 of horizontal acceleration.
        for (demanded, left, limited) in [(1.05, 1.05, false), (1.15, 1.0926, true)] {
            let output = step(0.0, demanded, 5.0 * G);
            assert!((output.acceleration_m_s2.y() - left).abs() < 1e-4, "{output:?}");
            assert!(output.tilt_limited == limited && output.thrust_limited && output.up_m_s2 == 2.0);
        }
        // 5 % of the weight where the least thrust is 0.
        let none = ThrustVector::<Libm>::new(&Config { min_thrust_n: 0.0, ..CONFIG }).unwrap();
        assert!((none.vertical_range_m_s2().start() + 0.95 * G).abs() < 1e-5);
        assert!((none.vertical_range_m_s2().end() - G).abs() < 1e-5);
    }

    #[test]
    fn demands_that_are_not_finite_give_no_horizontal_part_and_the_least_vertical_one() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            let output = step(bad, 1.0, 0.0);
            assert_eq!(output.acceleration_m_s2, Vector::ZERO, "{bad}");
            assert!(output.tilt_limited && !output.thrust_limited);
        }
        assert_eq!(step(0.0, 0.0, f32::NAN).up_m_s2, 2.0);
    }

    #[test]
    fn total_thrust_rises_to_twice_the_vertical_part_at_60_deg_and_falls_beyond() {
        let thrust = ThrustVector::<Libm>::new(&CONFIG).unwrap();
        for (cos_tilt, gain) in
            [(1.0, 1.0), (0.8, 1.25), (0.501, 1.996), (0.499, 1.996), (0.25, 1.0), (0.1, 0.4)]
        {
            let total_n = thrust.total_n(5.0, cos_tilt);
            assert!((total_n - 1.2 * 5.0 * gain).abs() < 1e-3, "{cos_tilt}: {total_n}");
        }
        for cos_tilt in [0.0, -0.1, -1.0, f32::NAN] {
            assert_eq!(thrust.total_n(5.0, cos_tilt), 0.0, "{cos_tilt}");
        }
        assert!((thrust.total_n(1.5 * G, 0.6) - CONFIG.max_thrust_n).abs() < 1e-4);
        assert_eq!(thrust.total_n(f32::NAN, 1.0), 0.0);
    }

    #[test]
    fn thrust_range_surrounds_the_weight() {
        let weight_n = CONFIG.mass_kg * G;
        for (config, field, problem) in [
            (Config { min_thrust_n: 30.0, ..CONFIG }, "min_thrust_n", Problem::WrongOrder("max_thrust_n")),
            (
                Config { min_thrust_n: CONFIG.max_thrust_n, ..CONFIG },
                "min_thrust_n",
                Problem::WrongOrder("max_thrust_n"),
            ),
            (
                Config { min_thrust_n: weight_n, ..CONFIG },
                "min_thrust_n",
                Problem::Inconsistent(NOT_BELOW_WEIGHT),
            ),
            (
                Config { max_thrust_n: weight_n, ..CONFIG },
                "max_thrust_n",
                Problem::Inconsistent(NOT_ABOVE_WEIGHT),
            ),
            (
                Config { max_thrust_n: 0.9 * weight_n, ..CONFIG },
                "max_thrust_n",
                Problem::Inconsistent(NOT_ABOVE_WEIGHT),
            ),
            (Config { min_thrust_n: -1.0, ..CONFIG }, "min_thrust_n", Problem::Negative),
            (
                Config { tilt_limit_rad: 1.5, ..CONFIG },
                "tilt_limit_rad",
                Problem::OutOfRange { low: 0.0, high: 1.4 },
            ),
            (Config { tilt_limit_rad: 0.0, ..CONFIG }, "tilt_limit_rad", Problem::NotPositive),
            (Config { mass_kg: 0.0, ..CONFIG }, "mass_kg", Problem::NotPositive),
        ] {
            let error = ThrustVector::<Libm>::new(&config).unwrap_err();
            assert_eq!((error.field, error.problem), (field, problem));
        }
    }
}
