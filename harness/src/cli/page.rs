//! Report of `aplomb fly`: limits on the plots and the command to repeat the run.

use crate::report::{Band, CraftNotes, FlightPage, FlightSection, Quantity, Repeat, Report};
use aplomb::flight::Config;
use aplomb_flight::FlightPlan;
use aplomb_flight::Trace;
use aplomb_flight::check::{Check, Statistic};
use aplomb_flight::limit::Limit;
use aplomb_flight::signal::Signal;
use aplomb_study::craft::Craft;
use aplomb_study::verdict::Verdict;

/// Craft, controller and flights of a run.
pub(super) struct Job {
    pub(super) craft: Craft,
    pub(super) controller: Config,
    pub(super) plans: Vec<FlightPlan>,
}

/// A flight under its seeds. Its trace is in the page and in its file.
pub(super) struct Judged {
    pub(super) name: String,
    pub(super) verdicts: Vec<Verdict>,
    pub(super) page: FlightPage,
    /// Number of seeds flown.
    pub(super) seeds: u32,
}

/// Draws the page of the flight at `index`, with its trace under the first seed.
pub(super) fn draw(job: &Job, index: usize, verdicts: &[Verdict], trace: &Trace, seeds: u32) -> FlightPage {
    let craft = CraftNotes {
        mass_kg: job.craft.config.mass_kg,
        full_thrust_n: job.craft.full_thrust_n(),
        tilt_limit_deg: f64::from(job.controller.thrust.tilt_limit_rad).to_degrees(),
    };
    let plan = &job.plans[index];
    let section = FlightSection {
        name: plan.name.clone(),
        title: plan.title.clone(),
        purpose: plan.purpose.clone(),
        air: plan.conditions_words(),
        verdicts,
        trace,
        seeds: seeds as usize,
        craft,
        bands: plan.checks.iter().filter_map(band).collect(),
    };
    FlightPage::draw(index, &section)
}

/// Composes the report of all flights.
pub(super) fn compose(job: &Job, flights: Vec<FlightPage>, repeat: Repeat) -> Report {
    Report {
        title: format!("Flights of the {}", job.craft.name),
        subtitle: job.craft.words(),
        summary: String::new(),
        flights,
        repeat,
    }
}

/// The limit of a check as a band on a plot, where it limits the plotted values.
fn band(check: &Check) -> Option<Band> {
    let (quantity, about_setpoint) = match check.signal {
        Signal::Roll => (Quantity::Roll, false),
        Signal::RollError => (Quantity::Roll, true),
        Signal::Pitch => (Quantity::Pitch, false),
        Signal::PitchError => (Quantity::Pitch, true),
        Signal::HeadingError => (Quantity::Heading, true),
        Signal::Height => (Quantity::Height, false),
        Signal::HeightError => (Quantity::Height, true),
        Signal::Climb => (Quantity::Climb, false),
        Signal::ClimbError => (Quantity::Climb, true),
        Signal::PositionError => (Quantity::Distance, false),
        Signal::Tilt => (Quantity::Tilt, false),
        _ => return None,
    };
    let Check { from_s, to_s, .. } = *check;
    let (limit, from_s) = match (check.statistic, check.limit) {
        (Statistic::Share(_) | Statistic::Peak, limit) => (limit, from_s),
        (Statistic::Largest, limit @ Limit::AtMost(_)) | (Statistic::Smallest, limit @ Limit::AtLeast(_)) => {
            (limit, from_s)
        }
        (Statistic::Settling { band }, Limit::AtMost(time_s)) => (Limit::AtMost(band), from_s + time_s),
        _ => return None,
    };
    Some(Band { quantity, limit, about_setpoint, from_s, to_s })
}
