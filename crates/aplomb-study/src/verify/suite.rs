//! Runs the probes and the flights of a subject under several seeds and judges every requirement and check.

use std::collections::HashMap;

use rayon::prelude::*;

use super::Subject;
use crate::judge::{self, Evidence};
use crate::linear::Break;
use crate::linear::Model;
use crate::margins::{self, Linear, figures::Figures, point::Point};
use crate::requirements::{Breaks, JudgedOn, Probe, Requirement, View};
use aplomb_flight::FlightPlan;
use aplomb_flight::check::Pooling;
use aplomb_flight::fly::{Flown, FlyError, fly_as};
use aplomb_flight::limit::{Limit, Outcome};
use aplomb_flight::{Controller, Plant, camera};

/// One requirement or check, judged on one flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// The flight or probe.
    pub flight: String,
    /// Short name of the requirement, or description of the check.
    pub id: String,
    /// What is measured.
    pub text: String,
    /// The figure.
    pub measured: f64,
    /// Its limit.
    pub limit: Limit,
    /// Its unit.
    pub unit: &'static str,
    /// Pass, fail or inconclusive.
    pub outcome: Outcome,
    /// Source of the limit, if stated.
    pub source: Option<String>,
    /// Error sources that the figure contains.
    pub error_model: String,
    /// How the figures or samples of the seeds are combined; `None` for a figure of the linear model.
    pub pooling: Option<Pooling>,
    /// Allowed loss of margin against a baseline, in `unit`.
    pub tolerance: f64,
    /// Reason of the waiver, if waived.
    pub waived: Option<String>,
}

impl Item {
    /// Distance from the limit in `unit`, negative beyond it.
    #[must_use]
    pub fn margin(&self) -> f64 {
        margin(self.limit, self.measured)
    }

    /// True for a failed or inconclusive item that is not waived.
    #[must_use]
    pub fn counts_against(&self) -> bool {
        self.outcome != Outcome::Pass && self.waived.is_none()
    }
}

/// Distance of a figure from its limit, negative beyond it.
#[must_use]
pub fn margin(limit: Limit, measured: f64) -> f64 {
    match limit {
        Limit::AtMost(high) => high - measured,
        Limit::AtLeast(low) => measured - low,
        Limit::Between(low, high) => (measured - low).min(high - measured),
    }
}

/// A requirement that no flight tests, or whose probe does not apply to the craft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Untested {
    /// The requirement's short name.
    pub id: String,
    /// Why.
    pub why: String,
}

/// The result of a verification.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// All judged items: probes first, then flights in their order.
    pub items: Vec<Item>,
    /// Requirements without an item.
    pub untested: Vec<Untested>,
    /// Seeds of each flight.
    pub seeds: u32,
    /// Simulated time in s, warm-ups included.
    pub simulated_s: f64,
}

impl Judgement {
    /// The names of the flights in order.
    #[must_use]
    pub fn flights(&self) -> Vec<&str> {
        let mut names: Vec<&str> = self.items.iter().map(|item| item.flight.as_str()).collect();
        names.dedup();
        names
    }

    /// The items of a flight.
    pub fn of_flight<'a>(&'a self, flight: &'a str) -> impl Iterator<Item = &'a Item> {
        self.items.iter().filter(move |item| item.flight == flight)
    }
}

/// Evidence of one flight under one seed for the requirements and the checks.
struct FlightEvidence {
    requirements: Vec<Option<Evidence>>,
    checks: Vec<Evidence>,
    simulated_s: f64,
}

/// Number of flights of a verification.
#[must_use]
pub fn flights<C, P>(subject: &Subject<C, P>, seeds: u32) -> u64 {
    (probes(subject).len() + subject.plans.len()) as u64 * u64::from(seeds)
}

/// Name under which the margins at an operating point are judged.
pub(crate) fn name_of(point: &Point) -> String {
    format!("margins-{}", point.name)
}

/// The probes on which a requirement of the subject is judged, and that apply to it.
fn probes<C, P>(subject: &Subject<C, P>) -> Vec<Probe> {
    let judged = |probe: &Probe| subject.requirements.iter().any(|one| one.probe() == Some(*probe));
    let applies = |probe: &Probe| probe.obstacle(&subject.craft.config, &subject.controller).is_none();
    Probe::ALL.into_iter().filter(judged).filter(applies).collect()
}

/// Judges all requirements and checks of `subject` under `seeds` seeds; `flown` is called after each flight.
/// The result does not depend on the number of threads.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn judge<C: Controller, P: Plant>(
    subject: &Subject<C, P>,
    seeds: u32,
    flown: &(dyn Fn() + Sync),
) -> Result<Judgement, FlyError> {
    let probes: Vec<_> =
        probes(subject).into_iter().map(|probe| (Some(probe), probe.plan(&subject.size))).collect();
    let plans: Vec<(Option<Probe>, &FlightPlan)> = (probes.iter().map(|(probe, plan)| (*probe, plan)))
        .chain(subject.plans.iter().map(|plan| (None, plan)))
        .collect();
    let jobs: Vec<(usize, u32)> =
        (0..plans.len()).flat_map(|plan| (0..seeds).map(move |number| (plan, number))).collect();
    let evidence = jobs.par_iter().map(|&(index, number)| {
        let (probe, plan) = plans[index];
        let seed = plan.seed.wrapping_add(u64::from(number));
        let signals = subject.requirements.iter().filter_map(Requirement::signal).chain(plan.signals());
        let craft = camera::only_if_judged(&subject.craft.config, signals);
        let flight = fly_as::<C, P>(&craft, &subject.controller, plan, seed)?;
        let evidence = collect(subject, plan, probe, &flight);
        flown();
        Ok(evidence)
    });
    let evidence: Vec<FlightEvidence> = evidence.collect::<Result<_, FlyError>>()?;
    let mut items: Vec<Item> =
        subject.points.par_iter().flat_map(|point| judge_loops(subject, point)).collect();
    for ((_, plan), evidence) in plans.iter().zip(evidence.chunks(seeds as usize)) {
        items.extend(judge_flight(subject, plan, evidence));
    }
    let untested = untested(subject, &items);
    let simulated_s = evidence.iter().map(|evidence| evidence.simulated_s).sum();
    Ok(Judgement { items, untested, seeds, simulated_s })
}

fn collect<C, P>(
    subject: &Subject<C, P>,
    plan: &FlightPlan,
    probe: Option<Probe>,
    flight: &Flown,
) -> FlightEvidence {
    let view = View { plan, trace: &flight.trace, size: &subject.size };
    let checks = plan.checks.iter();
    FlightEvidence {
        requirements: subject.requirements.iter().map(|one| one.evidence(&view, probe)).collect(),
        checks: checks.map(|one| judge::evidence(one, &flight.trace, &subject.size.spin)).collect(),
        simulated_s: flight.simulated_s,
    }
}

/// Judges the margins at an operating point by the linear model: the worst of the loops of each requirement.
fn judge_loops<C, P>(subject: &Subject<C, P>, point: &Point) -> Vec<Item> {
    let (craft, controller) = (&subject.craft.config, &subject.controller);
    let model = Model::new(craft, controller, point).ok();
    let of = |breaks: &[Break]| model.as_ref().map_or_else(Vec::new, |model| margins::loops(model, breaks));
    let all = of(&Break::of(point.mode));
    let named = |one: &Linear| (one.broken.name(), one.figures);
    let (demands, setpoints): (Vec<&Linear>, Vec<&Linear>) =
        all.iter().partition(|one| one.broken.is_demand());
    let at_once = model.as_ref().map(|model| {
        let (disk_size, disk_size_rad_s) = margins::disk_of_all(model);
        ("roll, pitch, yaw and thrust", Figures { disk_size, disk_size_rad_s, ..Figures::UNKNOWN })
    });
    let items = subject.requirements.iter().filter_map(|requirement| {
        let JudgedOn::Loops(breaks, figure) = requirement.judged_on else { return None };
        let loops: Vec<(&str, Figures)> = match breaks {
            Breaks::Demands => demands.iter().map(|one| named(one)).collect(),
            Breaks::Setpoints => setpoints.iter().map(|one| named(one)).collect(),
            Breaks::DemandsAtOnce => at_once.into_iter().collect(),
        };
        let worst = loops.iter().map(|(broken, figures)| (*broken, figure(figures)));
        let worst = worst.min_by(|a, b| {
            // NaN is the worst.
            let margin = |figure: f64| {
                if figure.is_nan() { f64::NEG_INFINITY } else { margin(requirement.limit, figure) }
            };
            margin(a.1).total_cmp(&margin(b.1))
        });
        let name = name_of(point);
        let measured = worst.map_or(f64::NAN, |(_, measured)| measured);
        let item = item(subject, requirement, &name, measured);
        let text = match worst {
            Some((broken, _)) => format!("{}: {broken}", item.text),
            None => item.text.clone(),
        };
        Some(Item { text, pooling: None, ..item })
    });
    items.collect()
}

fn item<C, P>(subject: &Subject<C, P>, requirement: &Requirement, flight: &str, measured: f64) -> Item {
    let waiver = subject.waivers.iter().find(|waiver| waiver.covers(&requirement.id, flight));
    Item {
        flight: flight.to_owned(),
        id: requirement.id.to_string(),
        text: requirement.text.to_string(),
        measured,
        limit: requirement.limit,
        unit: requirement.unit,
        outcome: requirement.limit.judge(measured),
        source: Some(requirement.source.to_string()),
        error_model: requirement.error_model.to_string(),
        pooling: Some(requirement.pooling),
        tolerance: requirement.tolerance,
        waived: waiver.map(|waiver| waiver.reason.clone()),
    }
}

fn judge_flight<C, P>(subject: &Subject<C, P>, plan: &FlightPlan, evidence: &[FlightEvidence]) -> Vec<Item> {
    let mut items = Vec::new();
    for (i, requirement) in subject.requirements.iter().enumerate() {
        let seeds: Vec<Evidence> =
            evidence.iter().filter_map(|evidence| evidence.requirements[i].clone()).collect();
        if seeds.is_empty() {
            continue;
        }
        items.push(item(subject, requirement, &plan.name, requirement.figure(&seeds)));
    }
    let mut times_seen: HashMap<String, u32> = HashMap::new();
    for (i, check) in plan.checks.iter().enumerate() {
        let seeds: Vec<Evidence> = evidence.iter().map(|evidence| evidence.checks[i].clone()).collect();
        let verdict = judge::verdict(check, &seeds);
        let seen = times_seen.entry(verdict.text.clone()).or_default();
        *seen += 1;
        let id = if *seen > 1 { format!("{} ({seen})", verdict.text) } else { verdict.text.clone() };
        items.push(Item {
            flight: plan.name.clone(),
            id,
            text: verdict.text,
            measured: verdict.measured,
            limit: verdict.limit,
            unit: verdict.unit,
            outcome: verdict.outcome,
            source: verdict.source,
            error_model: "the craft's own sensors, and the air of the flight".to_owned(),
            pooling: Some(check.pooling),
            tolerance: 0.1 * extent(verdict.limit),
            waived: None,
        });
    }
    items
}

/// Magnitude of a limit. A tenth of it is the tolerance on the margin.
#[must_use]
pub fn extent(limit: Limit) -> f64 {
    match limit {
        Limit::AtMost(bound) | Limit::AtLeast(bound) => bound.abs(),
        Limit::Between(low, high) => high - low,
    }
}

fn untested<C, P>(subject: &Subject<C, P>, items: &[Item]) -> Vec<Untested> {
    let untested = subject.requirements.iter().filter_map(|one| {
        let obstacle =
            one.probe().and_then(|probe| probe.obstacle(&subject.craft.config, &subject.controller));
        let why = match one.judged_on {
            _ if obstacle.is_some() => obstacle?,
            _ if items.iter().any(|item| item.id == one.id) => return None,
            JudgedOn::Elsewhere(command) => format!("measured by {command}"),
            _ => "no flight tests it".to_owned(),
        };
        Some(Untested { id: one.id.to_string(), why })
    });
    untested.collect()
}
