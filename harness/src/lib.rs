//! Flies the aplomb control crate on the simulated craft in closed loop, measures, judges and reports.

pub mod input;
pub mod report;
pub mod trace;
pub mod verdict;
