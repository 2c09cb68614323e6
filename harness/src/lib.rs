//! Closed-loop simulation of the aplomb control crate on the simulated craft, with measurement, verdicts and
//! reports.

pub mod cli;
pub mod compare;
pub mod controller_model;
pub mod disperse;
pub mod envelope;
pub mod estimate;
pub mod explain;
pub mod export;
pub mod input;
pub mod judge;
pub mod linear;
pub mod margins;
pub mod measure;
pub mod quantiles;
pub mod report;
pub mod requirements;
pub mod signals;
pub mod sweep;
pub mod tune;
pub mod verdict;
pub mod verify;

/// The README's code runs as a doctest.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
pub struct Readme;
