//! Propeller model from the designation, diameter x pitch: thrust and torque over axial flow and speed.
//!
//! `CT = T/(rho n^2 D^4)`, `CP = P/(rho n^3 D^5)`, `J = V/(n D)`, n in rev/s (Deters, Ananda and Selig 2014,
//! AIAA 2014-2151).
//!
//! - [`momentum`]: induced velocity in climb, hover, vortex ring and windmill state;
//! - `section`: lift and drag of the blade section, with stall and Reynolds number;
//! - `blade`: chord and twist of the generic blade, and its fit;
//! - `element`: blade-element momentum balance on each annulus;
//! - `measured`: measured rows, which correct the theory;
//! - `map`: the result as a precomputed table; `tables`: those in use.

mod blade;
mod coefficients;
#[cfg(test)]
mod cross_validation;
mod element;
pub(crate) mod map;
mod measured;
pub mod momentum;
mod section;
mod tables;

pub use blade::{Designation, Planform};
pub use measured::{Measured, Row};

/// Mean absolute relative error of the static CT and CP of a propeller from its designation, for a family
/// that is left out of the fit. The test of the cross-validation holds it.
pub const CROSS_VALIDATED_ERROR: [f64; 2] = [0.12, 0.14];
/// Number of propellers of the cross-validation.
pub const MEASURED_PROPELLERS: usize = 27;

/// Thrust and power coefficient.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficients {
    /// `CT = T/(rho n^2 D^4)`.
    pub thrust: f64,
    /// `CP = P/(rho n^3 D^5)`, P the shaft power.
    pub power: f64,
}
