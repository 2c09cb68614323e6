//! Control allocation: from total thrust and torque to the thrust of each rotor, with an order of priorities
//! for saturation, and from the thrust of a rotor to its motor command.
//!
//! [`QuadMixer::allocate`] gives the lexicographic optimum, stage by stage:
//!
//! 1. roll and pitch torque, scaled together by one share k, so that the direction of the demanded tilt
//!    acceleration never turns;
//! 2. total thrust, moved no further than 1 needs and never out of `[T - down, T + up]`, which limits every
//!    stage;
//! 3. yaw torque with what is left: given up as far as needed, never invented, never reversed.
//!
//! The limits are those of what a motor *command* can give: the ceiling of a rotor's thrust follows battery
//! voltage and air density ([`ThrustCurve::ceiling_n`]), and [`Allocation::achieved`] goes back to the
//! controllers for anti-windup.
//!
//! **Accuracy** against a linear-programming solver in `f64`, over 20,000 demands of a kind, most of them
//! beyond the limits, in shares of full thrust (`prop_general_allocation_is_the_lexicographic_optimum` and
//! its neighbours):
//!
//! | frames | reserved yaw | 99.9 % | all |
//! | --- | --- | --- | --- |
//! | symmetric X | none | 2.5e-7 | 3.2e-7 |
//! | symmetric X | up to half | 2.8e-7 | 8.0e-7 |
//! | general quadrilateral | none | 4.6e-7 | 3.0e-6 |
//! | general quadrilateral | up to half | 4.0e-7 | 1.3e-6 |
//! | trapezoids, kites, slim frames, nearly symmetric ones | none | 3.9e-6 | 9.7e-6 |
//! | the same | up to half | 7.3e-7 | 7.6e-6 |
//!
//! Of ten times as many general demands the worst errs by 4.6e-5: where two rotors of a diagonal are yawed
//! nearly alike, a limit that they share moves much with the round-off of their thrusts. A frame that
//! deviates from symmetry by less than 1e-6 is taken as symmetric.

mod geometry;
mod quad_mixer;
mod strip;
mod thrust_curve;

pub use geometry::{Arm, Geometry};
pub use quad_mixer::{Config, QuadMixer};
pub use thrust_curve::{REFERENCE_DENSITY_KG_M3, ThrustCurve, ThrustCurveConfig, ThrustCurveState};

use crate::frames::{Body, Vector};
use crate::{Limited, Rotors};

/// Torque and total thrust, demanded of the rotors or given by them.
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
    /// Torque and total thrust that these thrusts give.
    pub achieved: Wrench,
    /// What was cut: `roll_pitch`, `thrust` and `yaw` are set here.
    pub limited: Limited,
}

#[cfg(test)]
mod tests;
