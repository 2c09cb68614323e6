//! The attitude filter of the control crate on recorded sensor data, and its attitude error.
//!
//! [`Recording`] contains the samples of a CSV file, [`run`] feeds them to the filter tick by tick, and
//! [`Score`] summarises the [`ErrorAngles`] relative to the reference of the recording.

mod columns;
mod errors;
mod recording;
mod run;
mod settings;

pub use columns::columns_explained;
pub use errors::ErrorAngles;
pub use recording::{Recording, Row};
pub use run::{Aiding, Run, Score, run};
pub use settings::Settings;
