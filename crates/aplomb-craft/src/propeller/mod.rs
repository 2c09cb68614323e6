//! A propeller from its designation, diameter x pitch: thrust and torque over axial flow and speed.
//!
//! `CT = T/(rho n^2 D^4)`, `CP = P/(rho n^3 D^5)`, `J = V/(n D)`, n in rev/s (Deters, Ananda and Selig 2014, AIAA 2014-2151).
//!
//! - [`momentum`]: induced velocity in climb, hover, vortex ring and windmill state;
//! - `section`: lift and drag of the blade's section, with stall and Reynolds number;
//! - `blade`: the generic blade's chord and twist, and how it was chosen;
//! - `element`: the balance of both on each annulus;
//! - `measured`: rows of a measurement, which replace the theory where they reach;
//! - `map`: all of it worked out once, so that a tick pays for a lookup.

mod blade;
#[cfg(test)]
mod cross_validation;
mod element;
pub(crate) mod map;
mod measured;
pub mod momentum;
mod section;

pub use blade::{Designation, Planform};
pub use measured::{Measured, Row};

/// Thrust and power coefficient.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficients {
    /// `CT = T/(rho n^2 D^4)`.
    pub thrust: f64,
    /// `CP = P/(rho n^3 D^5)`, P the power that the shaft takes.
    pub power: f64,
}
