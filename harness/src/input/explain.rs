//! The built-in flights of `aplomb explain`.

use aplomb_flight::FlightPlan;
use aplomb_study::explain::Flights;

use super::{InputError, unjudged_flight};

/// Reads them.
///
/// # Errors
/// None while the built-in files are valid.
pub fn flights() -> Result<Flights<FlightPlan>, InputError> {
    let plan = |name: &str, text: &str| unjudged_flight(name, name, text);
    Ok(Flights {
        hover: plan("hover", include_str!("explain_flights/hover.toml"))?,
        climb: plan("climb", include_str!("explain_flights/climb.toml"))?,
        yaw: plan("yaw", include_str!("explain_flights/yaw.toml"))?,
        tilt: plan("tilt", include_str!("explain_flights/tilt.toml"))?,
        wind: plan("wind", include_str!("explain_flights/wind.toml"))?,
        wind_limit: plan("wind-limit", include_str!("explain_flights/wind-limit.toml"))?,
    })
}
