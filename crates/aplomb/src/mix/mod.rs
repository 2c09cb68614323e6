//! Control allocation: from total thrust and torque to the thrust of each rotor, with an order of priorities
//! for saturation, and from the thrust of a rotor to its motor command.
//!
//! [`QuadMixer::allocate`] gives the lexicographic optimum, stage by stage:
//!
//! 1. roll and pitch torque, scaled by one common share k from 0 to 1, so that the direction of the demanded
//!    torque is kept;
//! 2. total thrust, changed no further than stage 1 needs and always within `[T - down, T + up]`, which
//!    limits every stage;
//! 3. yaw torque within the remaining range: reduced as far as necessary, never increased or reversed.
//!
//! The upper limit of a rotor's thrust is that of a full motor command at the present battery voltage and air
//! density ([`ThrustCurve::ceiling_n`]), and [`Allocation::achieved`] is fed back to the controllers for
//! anti-windup.
//!
//! **Accuracy** against a linear-programming solver in `f64`, over 20,000 demands of a kind, most of them
//! beyond the limits, in shares of full thrust (`prop_general_allocation_is_the_lexicographic_optimum` and
//! its neighbours):
//!
//! | frames | reserved yaw share | error in 99.9 % of the demands | largest error |
//! | --- | --- | --- | --- |
//! | symmetric X | none | 2.5e-7 | 3.2e-7 |
//! | symmetric X | up to half | 2.8e-7 | 8.0e-7 |
//! | general quadrilateral | none | 4.6e-7 | 3.0e-6 |
//! | general quadrilateral | up to half | 4.0e-7 | 1.3e-6 |
//! | trapezoids, kites, slim frames, nearly symmetric ones | none | 3.9e-6 | 9.7e-6 |
//! | the same | up to half | 7.3e-7 | 7.6e-6 |
//!
//! Over ten times as many general demands the largest error is 4.6e-5: where yaw torque changes the scaled
//! thrusts of two rotors of a diagonal by nearly the same amount, their common limit is sensitive to
//! round-off. A frame that deviates from symmetry by less than 1e-6 is treated as symmetric.

mod geometry;
mod quad_mixer;
mod strip;
mod thrust_curve;

pub use geometry::{Arm, Geometry};
pub use quad_mixer::{Config, QuadMixer};
pub use thrust_curve::{REFERENCE_DENSITY_KG_M3, ThrustCurve, ThrustCurveConfig, ThrustCurveState};

use crate::frames::{Body, Vector};
use crate::{Limited, Rotors};

/// Torque and total thrust, demanded or achieved.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Wrench {
    /// Body torque in N m.
    pub torque_nm: Vector<Body>,
    /// Total thrust in N, along the body's up axis.
    pub thrust_n: f32,
}

/// The result of an allocation.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Allocation {
    /// Thrust of each rotor in N, from the smallest thrust to the ceiling.
    pub thrust_n: Rotors<f32>,
    /// Torque and total thrust of these thrusts.
    pub achieved: Wrench,
    /// Saturation: `roll_pitch`, `thrust` and `yaw` are set here.
    pub limited: Limited,
}

#[cfg(test)]
mod tests;
