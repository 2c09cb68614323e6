//! A dispersion campaign and its runs.

use std::marker::PhantomData;

use aplomb::FlightController;
use aplomb_craft::{Plant, Rotors};

use super::quantity::Truth;
use super::{Vary, dispersion};
use crate::craft::Craft;
use crate::judge::{self, Evidence};
use crate::requirements::{JudgedOn, Probe, Requirement, Size, View, Waiver};
use crate::verify::Subject;
use aplomb_flight::FlightPlan;
use aplomb_flight::fly::{Flown, FlyError, fly_uneven};
use aplomb_flight::limit::{Limit, Outcome};
use aplomb_flight::{Controller, camera};

/// Definition of a dispersion campaign, without the number of runs.
#[derive(Clone, Debug)]
pub struct Campaign<C = FlightController, P = Plant> {
    craft: Craft,
    controller: aplomb::flight::Config,
    plans: Vec<FlightPlan>,
    probes: Vec<Option<Probe>>,
    size: Size,
    requirements: Vec<Requirement>,
    waivers: Vec<Waiver>,
    /// Dispersions.
    pub varies: Vec<Vary>,
    /// Seed of all draws.
    pub seed: u64,
    flown: PhantomData<fn() -> (C, P)>,
}

/// A figure of a flight with its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Metric {
    /// Short name.
    pub id: String,
    /// Description.
    pub text: String,
    /// Limit.
    pub limit: Limit,
    /// Unit.
    pub unit: &'static str,
}

/// Result of one run of one flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Index of the flight in the campaign.
    pub flight: usize,
    /// Number of the run.
    pub number: u64,
    /// Digest of the bits of every motor command.
    pub digest: u64,
    /// Figure of each metric; `None` where the flight does not test it.
    pub figures: Vec<Option<f64>>,
}

impl<C: Controller, P: aplomb_flight::Plant> Campaign<C, P> {
    /// A campaign of a subject with the named flights and probes, or with all flights.
    ///
    /// # Errors
    /// An unknown name.
    pub fn new(
        subject: Subject<C, P>,
        names: &[String],
        varies: Vec<Vary>,
        seed: u64,
    ) -> Result<Self, String> {
        let Subject { craft, controller, plans, size, requirements, waivers, .. } = subject;
        let probes = Probe::ALL.map(|probe| (Some(probe), probe.plan(&size)));
        let mut flown: Vec<(Option<Probe>, FlightPlan)> = probes.into_iter().collect();
        flown.extend(plans.into_iter().map(|plan| (None, plan)));
        if let Some(unknown) = names.iter().find(|name| !flown.iter().any(|(_, plan)| plan.name == **name)) {
            let there: Vec<&str> = flown.iter().map(|(_, plan)| plan.name.as_str()).collect();
            return Err(format!("no flight `{unknown}`; known are {}", there.join(", ")));
        }
        flown.retain(
            |(probe, plan)| {
                if names.is_empty() { probe.is_none() } else { names.contains(&plan.name) }
            },
        );
        let (probes, plans) = flown.into_iter().unzip();
        Ok(Self {
            craft,
            controller,
            plans,
            probes,
            size,
            requirements,
            waivers,
            varies,
            seed,
            flown: PhantomData,
        })
    }

    /// The nominal craft.
    #[must_use]
    pub fn craft(&self) -> &Craft {
        &self.craft
    }

    /// The controller.
    #[must_use]
    pub fn controller(&self) -> &aplomb::flight::Config {
        &self.controller
    }

    /// The flights.
    #[must_use]
    pub fn plans(&self) -> &[FlightPlan] {
        &self.plans
    }

    /// Metrics of a flight, in the order of [`Run::figures`].
    #[must_use]
    pub fn metrics(&self, flight: usize) -> Vec<Metric> {
        let plan = &self.plans[flight];
        let requirements = self.applicable(flight).map(|one| Metric {
            id: one.id.to_string(),
            text: one.text.to_string(),
            limit: one.limit,
            unit: one.unit,
        });
        let checks = plan.checks.iter().map(|one| Metric {
            id: one.words(),
            text: one.words(),
            limit: one.limit,
            unit: one.unit(),
        });
        requirements.chain(checks).collect()
    }

    /// The requirements that a flight can test.
    fn applicable(&self, flight: usize) -> impl Iterator<Item = &Requirement> {
        let (plan, probe) = (&self.plans[flight], self.probes[flight]);
        self.requirements.iter().filter(move |one| {
            let applies = match (&one.judged_on, probe) {
                (JudgedOn::Probe(own, _) | JudgedOn::ProbeAndFlights(own, _), Some(probe)) => *own == probe,
                (JudgedOn::Flights(_) | JudgedOn::ProbeAndFlights(..) | JudgedOn::Signal { .. }, None) => {
                    true
                }
                _ => false,
            };
            applies && !self.waivers.iter().any(|waiver| waiver.covers(&one.id, &plan.name))
        })
    }

    /// The drawn truth of a run, and the flight plan with its air.
    #[must_use]
    pub fn truth(&self, flight: usize, number: u64) -> (Truth, FlightPlan) {
        let mut plan = self.plans[flight].clone();
        let mut truth =
            Truth { craft: self.craft.config, air: plan.air.clone(), motor_share: Rotors::splat(1.0) };
        for (vary, draw) in self.varies.iter().zip(dispersion::draws(&self.varies, self.seed, number)) {
            vary.quantity.apply(draw, &mut truth);
        }
        // The yaw inertia of a body is at most the sum of the other two.
        let inertia = &mut truth.craft.inertia_kg_m2;
        inertia[2][2] = inertia[2][2].min(FLATTEST * (inertia[0][0] + inertia[1][1]));
        plan.air = truth.air.clone();
        (truth, plan)
    }

    /// Repeats a run with its trace.
    ///
    /// # Errors
    /// A drawn craft that is invalid.
    pub fn replay(&self, flight: usize, number: u64) -> Result<(Flown, Run), FlyError> {
        let (truth, plan) = self.truth(flight, number);
        self.flown(flight, number, &truth, &plan)
    }

    fn flown(
        &self,
        flight: usize,
        number: u64,
        truth: &Truth,
        plan: &FlightPlan,
    ) -> Result<(Flown, Run), FlyError> {
        let seed = self.seed.wrapping_add(number);
        let flown = fly_uneven::<C, P>(&truth.craft, truth.motor_share, &self.controller, plan, seed)?;
        let view = View { plan, trace: &flown.trace, size: &self.size };
        let one = |one: &Requirement| Some(one.figure(&[one.evidence(&view, self.probes[flight])?]));
        let checks = plan.checks.iter().map(|check| {
            let evidence: Evidence = judge::evidence(check, &flown.trace, &self.size.spin);
            Some(judge::pool(check.statistic, check.pooling, check.limit, &[evidence]))
        });
        let figures = self.applicable(flight).map(one).chain(checks).collect();
        let run = Run { flight, number, digest: flown.digest, figures };
        Ok((flown, run))
    }

    /// Executes a run.
    ///
    /// # Errors
    /// A drawn craft that is invalid.
    pub fn fly(&self, flight: usize, number: u64) -> Result<Run, FlyError> {
        let (mut truth, plan) = self.truth(flight, number);
        let signals = self.applicable(flight).filter_map(Requirement::signal).chain(plan.signals());
        truth.craft = camera::only_if_judged(&truth.craft, signals);
        self.flown(flight, number, &truth, &plan).map(|(_, run)| run)
    }

    /// Fingerprint of everything that determines a run, version included.
    #[must_use]
    pub fn fingerprint(&self) -> String {
        let metrics: Vec<Vec<Metric>> = (0..self.plans.len()).map(|flight| self.metrics(flight)).collect();
        let everything = format!(
            "{} {} {:?} {:?} {:?} {:?} {} {metrics:?}",
            env!("CARGO_PKG_VERSION"),
            std::any::type_name::<(C, P)>(),
            self.craft,
            self.controller,
            self.plans,
            self.varies,
            self.seed
        );
        format!("{:016x}", digest(everything.as_bytes()))
    }
}

/// Largest yaw inertia over the sum of the other two: a flat plate has 1.
const FLATTEST: f64 = 0.999;

impl Run {
    /// True when every figure passes.
    #[must_use]
    pub fn passes(&self, metrics: &[Metric]) -> bool {
        let judged = self.figures.iter().zip(metrics);
        judged
            .filter_map(|(figure, metric)| Some(metric.limit.judge((*figure)?)))
            .all(|one| one == Outcome::Pass)
    }

    /// Least normalised slack of all figures: distance from the limit over the magnitude of the limit.
    /// Negative for a failure; NaN with an inconclusive figure.
    #[must_use]
    pub fn slack(&self, metrics: &[Metric]) -> f64 {
        let slacks = self.figures.iter().zip(metrics).filter_map(|(figure, metric)| {
            let margin = crate::verify::suite::margin(metric.limit, (*figure)?);
            Some(margin / crate::verify::suite::extent(metric.limit).max(f64::MIN_POSITIVE))
        });
        slacks.reduce(|a, b| if a.is_nan() || a <= b { a } else { b }).unwrap_or(f64::NAN)
    }
}

/// FNV-1a over bytes (Fowler, Noll, Vo; parameters of the 64-bit variant as in RFC 9923).
#[must_use]
pub fn digest(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |digest, byte| {
        (digest ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    })
}
