//! Standing demands on a craft with its controller, each with its source, judged in every verification.
//!
//! [`table`] holds them all in one place. Some are judged on probes, built-in flights that put a controller to one test
//! each; the others on every flight that puts them to the test. A user's file ([`mod@file`]) adds, tightens and waives.

pub mod figures;
pub mod file;
pub mod probes;
pub mod response;
pub mod table;

use std::borrow::Cow;

use crate::input::FlightPlan;
use crate::input::check::{Check, OverSeeds, Statistic};
use crate::input::signal::Signal;
use crate::judge::{self, Evidence};
use crate::trace::Trace;
use crate::verdict::Limit;

pub use probes::Probe;

/// A standing demand.
#[derive(Clone, Debug)]
pub struct Requirement {
    /// Short name, for files and results.
    pub id: Cow<'static, str>,
    /// What is measured, in words.
    pub text: Cow<'static, str>,
    /// What the figure is held against, in `unit`.
    pub limit: Limit,
    /// Unit as printed.
    pub unit: &'static str,
    /// Where the limit comes from.
    pub source: Cow<'static, str>,
    /// Which errors are in the figure.
    pub error_model: Cow<'static, str>,
    /// The figure of pooled samples.
    pub statistic: Statistic,
    /// How the seeds of a flight become one figure.
    pub over_seeds: OverSeeds,
    /// How much of its distance from the limit may be lost against a baseline, in `unit`.
    pub tolerance: f64,
    /// What it is judged on.
    pub judged_on: JudgedOn,
}

/// What a requirement is judged on.
#[derive(Clone, Debug)]
pub enum JudgedOn {
    /// The loops of the linear model at every operating point.
    Loops(Breaks, LoopFigure),
    /// A built-in flight.
    Probe(Probe, Figure),
    /// Every flight that puts it to the test.
    Flights(Figure),
    /// A figure of a signal, on the flights with these names, or on all if none is named.
    Signal {
        /// What is measured, with its limit.
        check: Check,
        /// The flights.
        flights: Vec<String>,
    },
    /// Not here, but by this command.
    Elsewhere(&'static str),
}

/// Takes a figure from a flight; `None` when the flight does not put the requirement to the test.
pub type Figure = fn(&View<'_>) -> Option<Evidence>;

/// Takes a figure from a loop.
pub type LoopFigure = fn(&crate::margins::figures::Figures) -> f64;

/// Where the loops are broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Breaks {
    /// At each demand on the mixer.
    Demands,
    /// At each set-point of the loops below the one commanded.
    Setpoints,
}

/// One flight as a requirement sees it.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    /// What was flown.
    pub plan: &'a FlightPlan,
    /// What happened.
    pub trace: &'a Trace,
    /// The craft and controller that flew.
    pub size: &'a Size,
}

/// What requirements need to know of craft and controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Factor on every time: the square root of the rotors' diameter over 9 in (Froude scaling, as Ivler and Geyer 2024,
    /// VFS, use it for unmanned craft).
    pub time_scale: f64,
    /// Limit of the commanded tilt in deg.
    pub tilt_limit_deg: f64,
    /// True moments of inertia about roll, pitch and yaw in kg m2.
    pub inertia_kg_m2: [f64; 3],
    /// Sense of rotation by place.
    pub spin: aplomb_craft::Rotors<aplomb_craft::Spin>,
}

impl Size {
    /// Of a craft with its controller.
    #[must_use]
    pub fn of(craft: &crate::input::Craft, controller: &crate::input::Controller) -> Self {
        let inertia = craft.config.inertia_kg_m2;
        Self {
            time_scale: libm::sqrt(craft.diameter_in / 9.0),
            tilt_limit_deg: controller.tilt_limit_deg(),
            inertia_kg_m2: [inertia[0][0], inertia[1][1], inertia[2][2]],
            spin: craft.config.arms.map(|arm| arm.spin),
        }
    }
}

impl Requirement {
    /// What `view` has to say about it; `None` when it is not judged on this flight.
    #[must_use]
    pub fn evidence(&self, view: &View<'_>, probe: Option<Probe>) -> Option<Evidence> {
        match (&self.judged_on, probe) {
            (JudgedOn::Probe(own, figure), Some(flown)) if *own == flown => figure(view),
            (JudgedOn::Flights(figure), None) => figure(view),
            (JudgedOn::Signal { check, flights }, None) => {
                let named = flights.is_empty() || flights.contains(&view.plan.name);
                let to_s = check.to_s.min(view.plan.duration_s);
                let to_the_end = Check { to_s, ..check.clone() };
                named.then(|| judge::evidence(&to_the_end, view.trace, &view.size.spin))
            }
            _ => None,
        }
    }

    /// The signal that it is about, where it is about one.
    #[must_use]
    pub fn signal(&self) -> Option<Signal> {
        match &self.judged_on {
            JudgedOn::Signal { check, .. } => Some(check.signal),
            _ => None,
        }
    }

    /// The figure of all seeds of one flight.
    #[must_use]
    pub fn figure(&self, seeds: &[Evidence]) -> f64 {
        judge::pool(self.statistic, self.over_seeds, self.limit, seeds)
    }
}

#[cfg(test)]
mod tests;
