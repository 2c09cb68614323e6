//! From thrust and torque to rotor thrusts, with an order for saturation, and from thrust to motor command.
//!
//! When the rotors cannot give all that is asked, in this order:
//!
//! 1. roll and pitch torque, scaled together by one share k, so that the direction of the demanded tilt acceleration
//!    never turns;
//! 2. total thrust, moved no further than 1 needs and never out of `[T - down, T + up]`, which binds in every stage;
//! 3. yaw torque with what is left: given up as far as needed, never invented, never reversed.
//!
//! The result equals the lexicographic optimum of a general linear-programming solver to 1e-5 of full thrust, on a
//! symmetric X to 4e-6 (`prop_mixed_thrusts_are_the_lexicographic_optimum`, 12,000 demands of each kind). Of ten times as many
//! general demands four err by 1.1e-5 to 3.5e-5: they ask for more thrust than the rotors have level, with no allowance,
//! and for a torque that hardly moves the rotor at its limit, so that round-off of its thrust decides on the share. The
//! general share k is rounded at 6e-8, so a roll or pitch n times too large is cut to its place to n 6e-8 of it.

mod general;
mod geometry;
mod symmetric;
mod thrust_curve;
mod walk;

pub use geometry::{Arm, Geometry};
pub use thrust_curve::{REFERENCE_DENSITY_KG_M3, Supply, ThrustCurve, ThrustCurveConfig};

use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::frames::{Body, Vector};
use crate::math::{saturate, saturate_symmetric};
use crate::{Achieved, Limited, Rotors};
use general::General;
use symmetric::Symmetric;

/// Demands beyond this (N or N m) are cut to it before anything else, so that no product overflows.
const LARGEST: f32 = 1e6;

/// Least range of a rotor's thrust as a share of the largest: below it round-off is all there is.
const LEAST_RANGE: f32 = 1e-4;

/// What the mixer believes of the rotors.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Places and senses of the rotors.
    pub geometry: Geometry,
    /// Least thrust of one rotor in N while armed; at least 0.
    pub min_thrust_n: f32,
    /// Largest thrust of one rotor in N; above `min_thrust_n` by at least a ten-thousandth.
    pub max_thrust_n: f32,
    /// How far total thrust may be lowered to make room for roll and pitch, in N; may be infinite.
    pub allowance_down_n: f32,
    /// How far total thrust may be raised to make room for roll and pitch, in N; may be infinite.
    pub allowance_up_n: f32,
    /// Share, 0 to 0.5, of the largest yaw torque (2 kappa (high - low)) that roll and pitch must leave for yaw, as far
    /// as yaw is asked for. 0 is the plain order above.
    pub reserved_yaw_share: f32,
}

/// Torque and thrust asked of the rotors.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Wrench {
    /// Body torque in N m.
    pub torque_nm: Vector<Body>,
    /// Total thrust in N, along the body's up axis.
    pub thrust_n: f32,
}

/// What the mixer gives.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Mixed {
    /// Thrust of each rotor in N, within `min_thrust_n..=max_thrust_n`.
    pub thrust_n: Rotors<f32>,
    /// Share of the roll and pitch demand that was kept, 0 to 1.
    pub roll_pitch_share: f32,
    /// The torque and total thrust that these thrusts give.
    pub given: Wrench,
    /// What was cut: `roll_pitch`, `thrust` and `yaw` are set here.
    pub limited: Limited,
}

impl Mixed {
    /// As the achieved part of torque and thrust; acceleration is filled in by the velocity loop.
    ///
    /// ```
    /// use aplomb::{frames::Vector, mix::{Mixed, Wrench}};
    /// let given = Wrench { torque_nm: Vector::new(0.1, 0.0, 0.0), thrust_n: 12.0 };
    /// let achieved = Mixed { given, ..Mixed::default() }.achieved();
    /// assert_eq!((achieved.torque_nm.x(), achieved.thrust_n), (0.1, 12.0));
    /// ```
    #[must_use]
    pub fn achieved(&self) -> Achieved {
        Achieved {
            torque_nm: self.given.torque_nm,
            thrust_n: self.given.thrust_n,
            acceleration_m_s2: Vector::ZERO,
            limited: self.limited,
        }
    }
}

/// The mixer: geometry folded into constants.
///
/// ```
/// use aplomb::{Spin, frames::Vector, mix::{Config, Geometry, Mixer, Wrench}};
/// let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
/// let mixer = Mixer::new(&Config {
///     geometry, min_thrust_n: 0.0, max_thrust_n: 6.5, allowance_down_n: f32::INFINITY, allowance_up_n: 6.0, reserved_yaw_share: 0.0,
/// })?;
/// // Roll right: the left pair pushes harder.
/// let mixed = mixer.mix(Wrench { torque_nm: Vector::new(0.32, 0.0, 0.0), thrust_n: 12.0 });
/// assert!((mixed.thrust_n.front_left - 3.5).abs() < 1e-5 && (mixed.thrust_n.rear_right - 2.5).abs() < 1e-5);
/// // Far more than there is: the direction stays, the share shrinks, yaw goes.
/// let mixed = mixer.mix(Wrench { torque_nm: Vector::new(5.0, 5.0, 1.0), thrust_n: 13.0 });
/// assert!(mixed.limited.roll_pitch && mixed.limited.yaw && mixed.given.torque_nm.z().abs() < 1e-5);
/// assert!((mixed.given.torque_nm.x() - mixed.given.torque_nm.y()).abs() < 1e-5);
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mixer {
    solver: Solver,
}

// No heap to box the larger one in.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Copy, Debug, PartialEq)]
enum Solver {
    Symmetric(Symmetric),
    General(General),
}

impl Config {
    /// Yaw torque that roll and pitch must leave, in N m.
    fn reserved_yaw_nm(&self) -> f32 {
        2.0 * self.reserved_yaw_share
            * self.geometry.torque_to_thrust_m
            * (self.max_thrust_n - self.min_thrust_n)
    }
}

impl Mixer {
    /// Checks the configuration and folds the geometry.
    ///
    /// # Errors
    /// Names the field: arms that are not finite, that cannot make three independent torques, do not surround the centre
    /// of mass or do not stand at the corners that their places name (`arms`), a thrust range in the wrong order, a negative
    /// or NaN allowance, a share outside 0 to 0.5.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let shares = config.geometry.inverse()?;
        require_not_negative("min_thrust_n", config.min_thrust_n)?;
        require_positive("max_thrust_n", config.max_thrust_n)?;
        if config.min_thrust_n >= (1.0 - LEAST_RANGE) * config.max_thrust_n {
            return Err(ConfigError::new("min_thrust_n", Problem::WrongOrder));
        }
        for (field, value) in
            [("allowance_down_n", config.allowance_down_n), ("allowance_up_n", config.allowance_up_n)]
        {
            if value.is_nan() {
                return Err(ConfigError::new(field, Problem::NotFinite));
            }
            if value < 0.0 {
                return Err(ConfigError::new(field, Problem::Negative));
            }
        }
        require_within("reserved_yaw_share", config.reserved_yaw_share, 0.0, 0.5)?;
        let solver = match config.geometry.as_symmetric() {
            Some(spans) => Solver::Symmetric(Symmetric::new(config, &spans)),
            None => Solver::General(
                General::new(config, shares).ok_or(ConfigError::new("arms", Problem::Inconsistent))?,
            ),
        };
        Ok(Self { solver })
    }

    /// Thrusts for the demand. A NaN torque counts as 0, a NaN thrust as the least; the result always is finite and
    /// within range.
    #[must_use]
    pub fn mix(&self, demand: Wrench) -> Mixed {
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let size = roll * roll + pitch * pitch + yaw * yaw + demand.thrust_n * demand.thrust_n;
        // NaN compares false.
        if size <= 4.0 * LARGEST * LARGEST {
            match &self.solver {
                Solver::Symmetric(symmetric) => symmetric.mix(&demand),
                Solver::General(general) => general.mix(&demand),
            }
        } else {
            self.mix_cut(&demand)
        }
    }

    #[cold]
    #[inline(never)]
    fn mix_cut(&self, demand: &Wrench) -> Mixed {
        let [roll, pitch, yaw] = demand.torque_nm.to_array().map(|x| saturate_symmetric(x, LARGEST));
        let thrust_n = saturate(demand.thrust_n, -LARGEST, LARGEST);
        self.mix(Wrench { torque_nm: Vector::new(roll, pitch, yaw), thrust_n })
    }
}

#[cfg(test)]
mod tests;
