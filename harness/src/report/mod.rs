//! The report: one HTML file with inline SVG, without network, for screen (light and dark) and print. A small
//! inline script shows values under the pointer and zooms; without it the page is complete.
//!
//! ```no_run
//! # fn main() -> std::io::Result<()> {
//! use aplomb_harness::report::{Repeat, Report, write};
//! let report = Report {
//!     title: "Demo flights".into(),
//!     subtitle: "weir gauge, 1.23 kg".into(),
//!     summary: String::new(),
//!     flights: Vec::new(),
//!     repeat: Repeat { command: "aplomb".into(), versions: vec![("aplomb".into(), "0.1.0".into())], seeds: "1".into() },
//! };
//! write(report, &mut std::fs::File::create("report.html")?)
//! # }
//! ```

pub(crate) mod area;
pub(crate) mod axis;
pub(crate) mod bullet;
mod decimate;
pub(crate) mod fill;
pub(crate) mod forces;
pub(crate) mod glossary;
mod margins;
pub(crate) mod page;
mod panels;
pub(crate) mod quantities;
mod recordings;
mod rotor_plots;
mod shade;
pub(crate) mod sheet;
pub(crate) mod svg;
mod sweep;
pub(crate) mod ticks;
pub(crate) mod time_plot;
pub(crate) mod top_view;
mod track;
pub(crate) mod xml;

pub use margins::{MarginsReport, PointSection, write_margins};
pub use recordings::{
    ERRORS_CSV, Line, Plot, RecordingReport, RecordingSection, ScoreTable, write_recordings,
};
pub use sweep::{SweepReport, write_sweep};

use aplomb_flight::limit::Limit;
use aplomb_flight::trace::Trace;
use aplomb_study::verdict::Verdict;
use std::io;

/// Content of a report.
#[derive(Debug)]
pub struct Report {
    /// The heading of the page.
    pub title: String,
    /// The craft in one line.
    pub subtitle: String,
    /// One sentence below the verdict, may be empty. The verdict counts the checks of the flights.
    pub summary: String,
    /// The flights, in the order to read them.
    pub flights: Vec<FlightPage>,
    /// How to reproduce the figures.
    pub repeat: Repeat,
}

/// What is needed to reproduce the figures.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Repeat {
    /// The command line, ready to paste.
    pub command: String,
    /// Name and version of each program and file that determines the figures.
    pub versions: Vec<(String, String)>,
    /// The seeds in words: "1" or "1 to 100"; empty if nothing is random.
    pub seeds: String,
}

impl Repeat {
    /// With this version of the program.
    #[must_use]
    pub fn new(command: String, seeds: String) -> Self {
        Self { command, versions: vec![("aplomb".to_owned(), env!("CARGO_PKG_VERSION").to_owned())], seeds }
    }
}

/// One flight of the report.
#[derive(Clone, Debug)]
pub struct FlightSection<'a> {
    /// Stem of the flight's file.
    pub name: String,
    /// The heading.
    pub title: String,
    /// Purpose of the flight.
    pub purpose: String,
    /// Wind, turbulence and faults in sentences.
    pub air: String,
    /// Results of the checks.
    pub verdicts: &'a [Verdict],
    /// The recorded flight.
    pub trace: &'a Trace,
    /// Number of seeds over which the checks are pooled; the first one is plotted.
    pub seeds: usize,
    /// Parameters of the force plots.
    pub craft: CraftNotes,
    /// Limits drawn on the plots.
    pub bands: Vec<Band>,
}

/// Parameters of the craft for the force plots. A NaN value is not drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CraftNotes {
    /// True mass in kg.
    pub mass_kg: f64,
    /// Thrust of one rotor at full command in N.
    pub full_thrust_n: f64,
    /// Limit of the commanded tilt in deg.
    pub tilt_limit_deg: f64,
}

/// A limit drawn as a band on the plot of its quantity, over its window of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// The plot it belongs to.
    pub quantity: Quantity,
    /// The limit, in the unit of the plot.
    pub limit: Limit,
    /// The limit is on the error: the band follows the set-point, and `AtMost` holds on both sides.
    pub about_setpoint: bool,
    /// Start of the window in s.
    pub from_s: f64,
    /// End of the window in s.
    pub to_s: f64,
}

/// Quantity of a plot with a band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Roll in deg.
    Roll,
    /// Pitch in deg.
    Pitch,
    /// Heading in deg.
    Heading,
    /// Height above home in m.
    Height,
    /// Climb in m/s.
    Climb,
    /// Horizontal distance from the set-point in m; also drawn around each position set-point on the ground
    /// track.
    Distance,
    /// Tilt in deg.
    Tilt,
}

pub use page::FlightPage;

/// Writes the page.
///
/// # Errors
/// Errors of `out`. The page is composed before the first byte is written.
pub fn write(report: Report, out: &mut impl io::Write) -> io::Result<()> {
    out.write_all(page::compose(report).as_bytes())?;
    out.flush()
}

#[cfg(test)]
mod layout_tests;
#[cfg(test)]
mod tests;
