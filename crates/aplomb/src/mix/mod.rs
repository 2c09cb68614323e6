//! From thrust and torque to rotor thrusts, with an order for saturation, and from thrust to motor command.
//!
//! When the rotors cannot give all that is asked, in this order:
//!
//! 1. roll and pitch torque, scaled together by one share k, so that the direction of the demanded tilt acceleration
//!    never turns;
//! 2. total thrust, moved no further than 1 needs and never out of `[T - down, T + up]`, which binds in every stage;
//! 3. yaw torque with what is left: given up as far as needed, never invented, never reversed.
//!
//! The result equals the lexicographic optimum of a general linear-programming solver to 1e-5 of full thrust
//! (`prop_mixed_thrusts_are_the_lexicographic_optimum`).

mod general;
mod geometry;
mod symmetric;
mod thrust_curve;

pub use geometry::{Arm, Geometry};
pub use thrust_curve::{REFERENCE_DENSITY_KG_M3, Supply, ThrustCurve, ThrustCurveConfig};

use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::frames::{Body, Vector};
use crate::math::{saturate, saturate_symmetric};
use crate::{Achieved, Limited, Rotors};
use general::General;
use geometry::Symmetric;

/// Demands beyond this (N or N m) are cut to it before anything else, so that no product overflows.
const LARGEST: f32 = 1e6;

/// What the mixer believes of the rotors.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Places and senses of the rotors.
    pub geometry: Geometry,
    /// Least thrust of one rotor in N while armed; at least 0.
    pub low_n: f32,
    /// Largest thrust of one rotor in N; above `low_n`.
    pub high_n: f32,
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
    /// Thrust of each rotor in N, within `low_n..=high_n`.
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
///     geometry, low_n: 0.0, high_n: 6.5, allowance_down_n: f32::INFINITY, allowance_up_n: 6.0, reserved_yaw_share: 0.0,
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
    config: Config,
    solver: Solver,
    /// Yaw torque kept free, N m.
    reserved_nm: f32,
}

// No heap to box the larger one in.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Copy, Debug, PartialEq)]
enum Solver {
    Symmetric { per_roll: f32, per_pitch: f32, per_yaw: f32 },
    General(General),
}

impl Mixer {
    /// Checks the configuration and folds the geometry.
    ///
    /// # Errors
    /// Names the field: arms that are not finite, that cannot make three independent torques or do not surround the
    /// centre of mass (`arms`), a thrust range in the wrong order, a negative or NaN allowance, a share outside 0 to 0.5.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let shares = config.geometry.inverse()?;
        require_not_negative("low_n", config.low_n)?;
        require_positive("high_n", config.high_n)?;
        if config.low_n >= config.high_n {
            return Err(ConfigError::new("low_n", Problem::WrongOrder));
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
        let kappa = config.geometry.torque_to_thrust_m;
        let solver = match config.geometry.as_symmetric() {
            Some(Symmetric { half_length_m, half_width_m, front_left }) => Solver::Symmetric {
                per_roll: 0.25 / half_width_m,
                per_pitch: 0.25 / half_length_m,
                per_yaw: 0.25 * front_left / kappa,
            },
            None => Solver::General(General::new(shares, config.low_n, config.high_n)),
        };
        if let Solver::General(general) = &solver
            && !general.can_hover()
        {
            return Err(ConfigError::new("arms", Problem::Inconsistent));
        }
        let reserved_nm = 2.0 * config.reserved_yaw_share * kappa * (config.high_n - config.low_n);
        Ok(Self { config: *config, solver, reserved_nm })
    }

    /// The configuration this was built from.
    #[must_use]
    pub const fn config(&self) -> &Config {
        &self.config
    }

    /// Thrusts for the demand. A NaN torque counts as 0, a NaN thrust as the least; the result always is finite and
    /// within range.
    #[must_use]
    pub fn mix(&self, demand: Wrench) -> Mixed {
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let (roll, pitch, yaw) = (
            saturate_symmetric(roll, LARGEST),
            saturate_symmetric(pitch, LARGEST),
            saturate_symmetric(yaw, LARGEST),
        );
        let thrust = saturate(demand.thrust_n, -LARGEST, LARGEST);
        match &self.solver {
            Solver::Symmetric { per_roll, per_pitch, per_yaw } => {
                self.mix_symmetric(thrust, roll * per_roll, pitch * per_pitch, yaw * per_yaw)
            }
            Solver::General(general) => {
                self.mix_general(general, general::Asked { thrust, roll, pitch, yaw })
            }
        }
    }

    #[inline]
    fn mix_symmetric(&self, thrust: f32, roll: f32, pitch: f32, yaw: f32) -> Mixed {
        let asked = symmetric::Asked { thrust: 0.25 * thrust, roll, pitch, yaw };
        let Config { low_n: low, high_n: high, .. } = self.config;
        let limits = symmetric::Limits {
            low,
            high,
            down: 0.25 * self.config.allowance_down_n,
            up: 0.25 * self.config.allowance_up_n,
            reserved: 0.25 * self.reserved_nm / self.config.geometry.torque_to_thrust_m,
        };
        let given = symmetric::solve(asked, limits);
        let (t, u) = (given.thrust, given.yaw);
        let sum = given.share * (roll + pitch);
        let difference = given.share * (roll - pitch);
        let thrust_n = Rotors {
            front_left: t + u + sum,
            front_right: t - u - difference,
            rear_left: t - u + difference,
            rear_right: t + u - sum,
        }
        .map(|f| saturate(f, low, high));
        let limited = Limited {
            roll_pitch: given.share < 1.0,
            thrust: t != asked.thrust,
            yaw: u != yaw,
            ..Limited::default()
        };
        self.result(thrust_n, given.share, limited)
    }

    #[inline]
    fn mix_general(&self, general: &General, asked: general::Asked) -> Mixed {
        let allowance = general::Allowance {
            down: self.config.allowance_down_n,
            up: self.config.allowance_up_n,
            reserved: self.reserved_nm,
        };
        let Config { low_n: low, high_n: high, .. } = self.config;
        let thrusts = |k: f32, thrust: f32, yaw: f32| {
            let (roll, pitch) = (k * asked.roll, k * asked.pitch);
            general.shares.map(|s| s.thrust * thrust + s.roll * roll + s.pitch * pitch + s.yaw * yaw)
        };
        let whole = thrusts(1.0, asked.thrust, asked.yaw);
        if whole.into_array().iter().all(|&f| f >= low && f <= high) {
            return self.result(whole, 1.0, Limited::default());
        }
        let given = general.solve(asked, allowance);
        let thrust_n = thrusts(given.share, given.thrust, given.yaw).map(|f| saturate(f, low, high));
        let limited = Limited {
            roll_pitch: given.share < 1.0,
            thrust: given.thrust != asked.thrust,
            yaw: given.yaw != asked.yaw,
            ..Limited::default()
        };
        self.result(thrust_n, given.share, limited)
    }

    #[inline]
    fn result(&self, thrust_n: Rotors<f32>, roll_pitch_share: f32, limited: Limited) -> Mixed {
        let effect = self.config.geometry.effect(thrust_n);
        let torque_nm = Vector::new(effect.roll_nm, effect.pitch_nm, effect.yaw_nm);
        Mixed { thrust_n, roll_pitch_share, given: Wrench { torque_nm, thrust_n: effect.thrust_n }, limited }
    }
}

#[cfg(test)]
mod tests;
