//! Attitude, vertical and horizontal estimation, and the [`Estimator`] that wires them.
//!
//! Each part stands alone: [`attitude`], [`vertical`], [`horizontal`]; [`History`] matches late samples.

pub mod attitude;
mod barometer;
mod course;
mod estimator;
mod field;
mod history;
pub mod horizontal;
mod rest;
pub mod vertical;
mod vote;

pub use attitude::AttitudeFilter;
pub use estimator::{Config, Estimator, State, WIND_SMOOTHING_S};
pub use history::{History, Span};
pub use horizontal::HorizontalFilter;
pub use vertical::VerticalFilter;
pub use vote::ImuVote;
