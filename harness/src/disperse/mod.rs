//! Does it still hold when the craft is not quite the one on paper? Flights of many crafts drawn from declared spreads.
//!
//! Only the truth varies: the controller keeps its belief. Run i draws the same craft for every flight, from the seed and i
//! alone; so runs may be flown in any order, on any machine, and any of them again, bit for bit.

pub mod campaign;
pub mod journal;
mod page;
pub mod quantity;
pub mod results;
pub mod spread;
pub mod statistics;

pub use campaign::{Campaign, Run};
pub use page::page;
pub use quantity::Quantity;
pub use spread::{Spread, Vary};

#[cfg(test)]
mod tests;
