//! The crate's attitude filter on a recording: read it, run it, and tell how far the attitude is off.
//!
//! [`Recording`] holds the samples of a CSV file, [`run`] puts them through the filter tick by tick, and [`Score`] sums up
//! the [`ErrorAngles`] against the reference of the recording.

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
