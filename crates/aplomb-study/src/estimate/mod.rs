//! The attitude filter of the control crate on recorded sensor data, and its attitude error.
//!
//! [`run`] feeds the samples of a [`Recording`] to the filter tick by tick, and [`Score`] summarises the
//! [`ErrorAngles`] relative to the reference of the recording.

mod errors;
mod recording;
mod run;

use aplomb::estimate::attitude::Config;

pub use errors::ErrorAngles;
pub use recording::{Recording, Row};
pub use run::{Aiding, Run, Score, run};

/// Settings of the attitude filter, for comparison on the same recordings.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Name on screen.
    pub name: String,
    /// Configuration of the filter.
    pub config: Config,
}

impl Settings {
    /// Recommended settings of the control crate.
    #[must_use]
    pub fn recommended() -> Self {
        Self { name: "recommended".to_owned(), config: Config::RECOMMENDED }
    }
}
