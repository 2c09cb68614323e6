//! Requirements on a craft with its controller, each with its source, judged in every verification.
//!
//! [`table`] lists them. Some are judged on probes, which are built-in flights that test one property each;
//! the others on every flight that tests them. A user's requirements add, tighten and waive.

pub mod figures;
pub mod probes;
pub mod response;
pub mod table;

use std::borrow::Cow;

use crate::judge::{self, Evidence};
use aplomb_flight::FlightPlan;
use aplomb_flight::check::{Check, Pooling, Statistic};
use aplomb_flight::limit::Limit;
use aplomb_flight::signal::Signal;
use aplomb_flight::trace::Trace;

pub use probes::Probe;

/// A requirement.
#[derive(Clone, Debug)]
pub struct Requirement {
    /// Short name, for files and results.
    pub id: Cow<'static, str>,
    /// Description of the figure.
    pub text: Cow<'static, str>,
    /// Limit of the figure in `unit`.
    pub limit: Limit,
    /// Unit as printed.
    pub unit: &'static str,
    /// Source of the limit.
    pub source: Cow<'static, str>,
    /// Error sources that the figure contains.
    pub error_model: Cow<'static, str>,
    /// Statistic of pooled samples.
    pub statistic: Statistic,
    /// How the figures or samples of the seeds are combined.
    pub pooling: Pooling,
    /// Allowed loss of margin against a baseline, in `unit`.
    pub tolerance: f64,
    /// Data on which it is judged.
    pub judged_on: JudgedOn,
}

/// Data on which a requirement is judged.
#[derive(Clone, Debug)]
pub enum JudgedOn {
    /// The loops of the linear model at every operating point.
    Loops(Breaks, LoopFigure),
    /// A built-in flight.
    Probe(Probe, Figure),
    /// Every flight that tests it.
    Flights(Figure),
    /// A built-in flight, and every flight that tests it.
    ProbeAndFlights(Probe, Figure),
    /// A check of a signal, on the named flights, or on all flights.
    Signal {
        /// The check.
        check: Check,
        /// The flights.
        flights: Vec<String>,
    },
    /// Judged by another command.
    Elsewhere(&'static str),
}

/// Measures a flight; `None` when the flight does not test the requirement.
pub type Figure = fn(&View<'_>) -> Option<Evidence>;

/// Selects a figure of a loop.
pub type LoopFigure = fn(&crate::margins::figures::Figures) -> f64;

/// Points at which the loops are broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Breaks {
    /// Each demand on the mixer.
    Demands,
    /// All demands on the mixer at the same time.
    DemandsAtOnce,
    /// Each set-point of the loops inside the commanded one.
    Setpoints,
}

/// One flight with the data that requirements need.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    /// The flight plan.
    pub plan: &'a FlightPlan,
    /// Its trace.
    pub trace: &'a Trace,
    /// Size parameters of craft and controller.
    pub size: &'a Size,
}

/// Parameters of craft and controller that limits depend on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Factor on every time: the square root of the rotors' diameter over 9 in. This is Froude scaling, which
    /// Ivler and Geyer (2024, VFS) use for unmanned craft, with the rotor diameter as the length, as in
    /// ADS-33. With the distance between opposite hubs as the length (Ivler and others 2019, VFS; value not
    /// checked against the text) the demo's bandwidth would have to be 12 rad/s instead of 16.7 rad/s.
    pub time_scale: f64,
    /// Limit of the commanded tilt in deg.
    pub tilt_limit_deg: f64,
    /// True moments of inertia about roll, pitch and yaw in kg m2.
    pub inertia_kg_m2: [f64; 3],
    /// Sense of rotation of each rotor.
    pub spin: aplomb_craft::Rotors<aplomb_craft::Spin>,
}

impl Size {
    /// The parameters of a craft with its controller.
    #[must_use]
    pub fn of(craft: &crate::craft::Craft, controller: &aplomb::flight::Config) -> Self {
        let inertia = craft.config.inertia_kg_m2;
        Self {
            time_scale: libm::sqrt(craft.diameter_in / 9.0),
            tilt_limit_deg: f64::from(controller.thrust.tilt_limit_rad).to_degrees(),
            inertia_kg_m2: [inertia[0][0], inertia[1][1], inertia[2][2]],
            spin: craft.config.arms.map(|arm| arm.spin),
        }
    }
}

impl Requirement {
    /// Evidence of a flight; `None` when the requirement is not judged on it.
    #[must_use]
    pub fn evidence(&self, view: &View<'_>, probe: Option<Probe>) -> Option<Evidence> {
        match (&self.judged_on, probe) {
            (JudgedOn::Probe(own, figure) | JudgedOn::ProbeAndFlights(own, figure), Some(flown))
                if *own == flown =>
            {
                figure(view)
            }
            (JudgedOn::Flights(figure) | JudgedOn::ProbeAndFlights(_, figure), None) => figure(view),
            (JudgedOn::Signal { check, flights }, None) => {
                let named = flights.is_empty() || flights.contains(&view.plan.name);
                let to_s = check.to_s.min(view.plan.duration_s);
                let to_the_end = Check { to_s, ..check.clone() };
                named.then(|| judge::evidence(&to_the_end, view.trace, &view.size.spin))
            }
            _ => None,
        }
    }

    /// The probe on which it is judged.
    #[must_use]
    pub const fn probe(&self) -> Option<Probe> {
        match &self.judged_on {
            JudgedOn::Probe(probe, _) | JudgedOn::ProbeAndFlights(probe, _) => Some(*probe),
            JudgedOn::Loops(..) | JudgedOn::Flights(_) | JudgedOn::Signal { .. } | JudgedOn::Elsewhere(_) => {
                None
            }
        }
    }

    /// Its signal, if it is a check of a signal.
    #[must_use]
    pub fn signal(&self) -> Option<Signal> {
        match &self.judged_on {
            JudgedOn::Signal { check, .. } => Some(check.signal),
            _ => None,
        }
    }

    /// Figure of all seeds of one flight.
    #[must_use]
    pub fn figure(&self, seeds: &[Evidence]) -> f64 {
        judge::pool(self.statistic, self.pooling, self.limit, seeds)
    }
}

/// A waiver of a requirement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiver {
    /// Requirement.
    pub id: String,
    /// Flight or probe; all if absent.
    pub flight: Option<String>,
    /// Reason.
    pub reason: String,
}

impl Waiver {
    /// True when it applies to this requirement on this flight.
    #[must_use]
    pub fn covers(&self, id: &str, flight: &str) -> bool {
        self.id == id && self.flight.as_deref().is_none_or(|named| named == flight)
    }
}
