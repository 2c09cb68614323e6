//! The built-in flights of `aplomb tune`, and the controllers that it tries.

use aplomb::flight::Config;
use aplomb_flight::FlightPlan;
use aplomb_study::controller_model;
use aplomb_study::craft::Craft;
use aplomb_study::tune::parameter::Setting;

use super::{InputError, controller, flight};
use crate::output::tuned;

/// The judged flights, which are also written: name and text.
pub const FLIGHTS: [(&str, &str); 2] = [
    ("come-and-go", include_str!("tune_flights/come-and-go.toml")),
    ("hold", include_str!("tune_flights/hold.toml")),
];

/// Reads them.
///
/// # Errors
/// None while the built-in files are valid.
pub fn flights() -> Result<Vec<FlightPlan>, InputError> {
    FLIGHTS.iter().map(|(name, text)| flight(name, name, text)).collect()
}

/// The controller that the written file will give: its text is read back.
///
/// # Errors
/// A setting that is refused.
pub fn build(craft: &Craft, settings: &[Setting]) -> Result<Config, InputError> {
    controller("the tuned controller", &tuned::text(craft, &controller_model::airframe(craft), settings))
}
