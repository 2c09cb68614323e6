//! Dispersion analysis (Monte Carlo): flights of many craft drawn at random from declared dispersions.
//!
//! Only the truth varies; the controller and its model stay the same. Run i draws the same craft for every
//! flight, from the seed and i alone. So runs can be flown in any order and on any machine, and each can be
//! repeated bit for bit.

pub mod campaign;
pub mod dispersion;
pub mod quantity;
pub mod results;
pub mod statistics;

pub use campaign::{Campaign, Run, digest};
pub use dispersion::{Dispersion, Vary};
pub use quantity::Quantity;
