//! Automatic tuning: from a craft file to a controller that meets every requirement.
//!
//! The initial gains are analytic, derived from inertia, rotor time constant, delays and filters
//! ([`crate::controller_model`]). The search adjusts them until every requirement has a normalised slack of
//! 0.15, and then for fast loops. Controllers are judged as by `aplomb verify`: margins by the linear model
//! at every operating point, the probes, and two flights. The search is COBYLA, which is derivative-free
//! (Powell 1994, A direct search optimization method that models the objective and constraint functions by
//! linear interpolation).

pub mod parameter;

use std::cell::RefCell;
use std::collections::HashMap;

use cobyla::{Func, RhoBeg, StopTols};

use crate::controller_model;
use crate::craft::Craft;
use crate::requirements::{Probe, Size};
use crate::signals;
use crate::verify::{self, Item, Judgement, Subject};
use aplomb_flight::FlightPlan;
use aplomb_flight::fly::{FlyError, fly};
use aplomb_flight::limit::{Limit, Outcome};
use aplomb_flight::signal::Signal;
use parameter::{PARAMETERS, RANGE, Setting};

/// Number of seeds of each flight: in the search, and for the verdict as in `aplomb verify`.
const SEARCH_SEEDS: u32 = 1;
const VERDICT_SEEDS: u32 = 10;
/// Largest number of controllers that are judged with [`VERDICT_SEEDS`].
const FINALISTS: usize = 12;
/// Upper bound of the normalised slack.
const LARGEST_SLACK: f64 = 1.0;
/// Required normalised slack. More does not improve the score.
const REQUIRED_SLACK: f64 = 0.15;
/// Score of a factor e on one gain, in units of slack.
const SPEED_WEIGHT: f64 = 0.02;
/// First and last step of the search in the logarithm of a factor.
const STEPS: (f64, f64) = (0.2, 0.02);
/// Gain scales of the trade-off curve: factors on the four fast parameters.
const GAIN_SCALES: [f64; 9] = [0.5, 0.6, 0.7, 0.85, 1.0, 1.2, 1.4, 1.7, 2.0];
const FAST_PARAMETERS: usize = 4;
/// Height and length of the hover in which the noise of the motor commands is measured.
const HOVER: (f64, f64) = (6.0, 6.0);

/// Gives a controller with the given settings instead of the derived ones, or the reason of a refusal.
pub type Build<'a> = dyn Fn(&[Setting]) -> Result<aplomb::flight::Config, String> + 'a;

/// Factors on the parameters.
pub type Factors = [f64; PARAMETERS.len()];

/// A judged controller with the normalised slack of each requirement.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Normalised slack of each requirement, in the order of the table; 1 where it is not tested.
    pub slacks: Vec<f64>,
    /// Their short names.
    pub ids: Vec<String>,
    /// The judgement.
    pub judgement: Judgement,
}

/// A point of the trade-off between disturbance rejection and noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trade {
    /// Factor on the fast gains.
    pub gain_scale: f64,
    /// Largest tilt after the probe's pulses of torque, in deg.
    pub tilt_deg: f64,
    /// Noise of the motor commands in hover, root mean square, in % of full command.
    pub noise_percent: f64,
    /// True when every requirement passes.
    pub passes: bool,
}

/// Result of a tuning.
#[derive(Clone, Debug)]
pub struct Tuned {
    /// Its settings that differ from the derived ones.
    pub settings: Vec<Setting>,
    /// Factors on the derived values.
    pub factors: Factors,
    /// The derived controller.
    pub start: Judged,
    /// The tuned controller.
    pub found: Judged,
    /// Number of controllers tried.
    pub tried: usize,
    /// Trade-off curve, from the smallest to the largest valid gain scale.
    pub trades: Vec<Trade>,
}

/// Why a tuning fails.
#[derive(Debug)]
pub enum TuneError {
    /// No controller can be derived.
    Derive(aplomb::ConfigError),
    /// The derived controller cannot be flown.
    Fly(FlyError),
    /// A setting is refused.
    Setting(String),
}

impl std::fmt::Display for TuneError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Derive(error) => write!(f, "no controller can be derived: {error}"),
            Self::Fly(error) => error.fmt(f),
            Self::Setting(reason) => write!(f, "{reason}"),
        }
    }
}

impl Judged {
    /// Normalised slack of the limiting requirement.
    #[must_use]
    pub fn slack(&self) -> f64 {
        self.slacks.iter().copied().fold(LARGEST_SLACK, f64::min)
    }

    /// True when every requirement passes.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.judgement.items.iter().all(|item| item.outcome == Outcome::Pass)
    }

    /// The items with the least slack, each requirement once, the limiting one first.
    #[must_use]
    pub fn limiting(&self, count: usize) -> Vec<&Item> {
        let required = self.judgement.items.iter().filter(|item| self.ids.contains(&item.id));
        let mut items: Vec<&Item> = required.collect();
        items.sort_by(|a, b| slack(a).total_cmp(&slack(b)));
        let mut chosen: Vec<&Item> = Vec::new();
        for item in items {
            if chosen.len() < count && chosen.iter().all(|other| other.id != item.id) {
                chosen.push(item);
            }
        }
        chosen
    }
}

/// Normalised slack: distance of an item from its limit over the limit, -1 to 1; -1 where inconclusive.
#[must_use]
pub fn slack(item: &Item) -> f64 {
    let share = match item.limit {
        Limit::AtMost(high) if high.is_infinite() => LARGEST_SLACK,
        Limit::AtMost(high) => (high - item.measured) / high.abs(),
        Limit::AtLeast(low) => (item.measured - low) / low.abs(),
        Limit::Between(low, high) => item.margin() / (0.5 * (high - low)),
    };
    if share.is_nan() { -LARGEST_SLACK } else { share.clamp(-LARGEST_SLACK, LARGEST_SLACK) }
}

/// Tunes a controller for `craft`, judged by the requirements and on `plans`, with at most `most` trials;
/// `tried` is called after each.
///
/// # Errors
/// A craft for which no controller can be derived, or that cannot be flown.
pub fn tune(
    craft: &Craft,
    plans: &[FlightPlan],
    build: &Build<'_>,
    most: usize,
    tried: &(dyn Fn() + Sync),
) -> Result<Tuned, TuneError> {
    let derived = controller_model::controller(craft).map_err(TuneError::Derive)?;
    let evaluator = Evaluator { craft, derived, plans, build };
    let start = evaluator.judge(&[1.0; PARAMETERS.len()], SEARCH_SEEDS)?;
    tried();
    let seen: RefCell<HashMap<Vec<u64>, Vec<f64>>> = RefCell::new(HashMap::new());
    let worst = vec![-LARGEST_SLACK; start.slacks.len()];
    let slacks = |logarithms: &[f64]| -> Vec<f64> {
        let key: Vec<u64> = logarithms.iter().map(|x| x.to_bits()).collect();
        if let Some(cached) = seen.borrow().get(&key) {
            return cached.clone();
        }
        let slacks = evaluator
            .judge(&factors(logarithms), SEARCH_SEEDS)
            .map_or_else(|_| worst.clone(), |judged| judged.slacks);
        tried();
        seen.borrow_mut().insert(key, slacks.clone());
        slacks
    };
    // The last unknown is the slack that all requirements have at least; it is maximised up to
    // REQUIRED_SLACK.
    let parameters = PARAMETERS.len();
    let least = |x: &[f64], _: &mut ()| -score(x[parameters], &x[..parameters]);
    let constraints: Vec<_> = (0..start.slacks.len())
        .map(|i| {
            let slacks = &slacks;
            move |x: &[f64], _: &mut ()| slacks(&x[..parameters])[i] - x[parameters]
        })
        .collect();
    let constraints: Vec<&dyn Func<()>> = constraints.iter().map(|one| one as &dyn Func<()>).collect();
    let mut first = vec![0.0; parameters];
    first.push(start.slack().min(REQUIRED_SLACK));
    let mut bounds = vec![(RANGE.0.ln(), RANGE.1.ln()); parameters];
    bounds.push((-LARGEST_SLACK, REQUIRED_SLACK));
    let tolerances = StopTols { xtol_abs: vec![STEPS.1; parameters + 1], ..StopTols::default() };
    // The search ends by its tolerance or by the number of trials. The result is the best of all tried.
    let _ = cobyla::minimize(
        least,
        &first,
        &bounds,
        &constraints,
        (),
        most,
        RhoBeg::All(STEPS.0),
        Some(tolerances),
    );
    let seen = seen.borrow().clone();
    let slack = |slacks: &[f64]| slacks.iter().copied().fold(REQUIRED_SLACK, f64::min);
    let scored = |(key, slacks): (&Vec<u64>, &Vec<f64>)| {
        let logarithms: Vec<f64> = key.iter().map(|&bits| f64::from_bits(bits)).collect();
        (score(slack(slacks), &logarithms), key.clone())
    };
    let mut best: Vec<(f64, Vec<u64>)> = seen.iter().map(scored).collect();
    best.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
    // The verdict takes more seeds: the best of the finalists that passes under them. Some may be invalid.
    let mut found: Option<(Factors, Judged)> = None;
    for (_, key) in best.iter().take(FINALISTS) {
        let logarithms: Vec<f64> = key.iter().map(|&bits| f64::from_bits(bits)).collect();
        let factors = factors(&logarithms);
        let Ok(judged) = evaluator.judge(&factors, VERDICT_SEEDS) else { continue };
        if found.as_ref().is_none_or(|(_, best)| judged.slack() > best.slack()) {
            found = Some((factors, judged));
        }
        if found.as_ref().is_some_and(|(_, best)| best.passes()) {
            break;
        }
    }
    let (factors, found) = match found {
        Some(found) => found,
        None => ([1.0; PARAMETERS.len()], evaluator.judge(&[1.0; PARAMETERS.len()], VERDICT_SEEDS)?),
    };
    let trades = GAIN_SCALES.iter().filter_map(|&gain_scale| evaluator.trade(&factors, gain_scale)).collect();
    Ok(Tuned { settings: evaluator.settings(&factors), factors, start, found, tried: seen.len(), trades })
}

/// The maximised score: slack, and fast loops.
fn score(slack: f64, logarithms: &[f64]) -> f64 {
    let fast = PARAMETERS
        .iter()
        .zip(logarithms)
        .filter(|(parameter, _)| parameter.is_gain)
        .map(|(_, logarithm)| logarithm);
    slack + SPEED_WEIGHT * fast.sum::<f64>()
}

/// Factors from their logarithms, within the range.
fn factors(logarithms: &[f64]) -> Factors {
    std::array::from_fn(|i| logarithms[i].exp().clamp(RANGE.0, RANGE.1))
}

/// One craft with its derived controller and the flights.
struct Evaluator<'a> {
    craft: &'a Craft,
    derived: aplomb::flight::Config,
    plans: &'a [FlightPlan],
    build: &'a Build<'a>,
}

impl Evaluator<'_> {
    /// The settings with these factors; those within 0.5 % of 1 are omitted.
    fn settings(&self, factors: &Factors) -> Vec<Setting> {
        let adjusted = factors.iter().enumerate().filter(|(_, factor)| (*factor - 1.0).abs() > 0.005);
        adjusted.map(|(parameter, &factor)| Setting { parameter, factor, derived: self.derived }).collect()
    }

    fn controller(&self, factors: &Factors) -> Result<aplomb::flight::Config, TuneError> {
        (self.build)(&self.settings(factors)).map_err(TuneError::Setting)
    }

    fn judge(&self, factors: &Factors, seeds: u32) -> Result<Judged, TuneError> {
        let subject = Subject::new(self.craft.clone(), self.controller(factors)?, self.plans.to_vec());
        let judgement = verify::judge(&subject, seeds, &|| ()).map_err(TuneError::Fly)?;
        let slacks = subject.requirements.iter().map(|requirement| {
            let items = judgement.items.iter().filter(|item| item.id == requirement.id);
            items.map(slack).fold(LARGEST_SLACK, f64::min)
        });
        let ids = subject.requirements.iter().map(|requirement| requirement.id.to_string()).collect();
        Ok(Judged { slacks: slacks.collect(), ids, judgement })
    }

    /// Trade-off at a gain scale; `None` where the controller is invalid.
    fn trade(&self, factors: &Factors, gain_scale: f64) -> Option<Trade> {
        let mut scaled = *factors;
        scaled[..FAST_PARAMETERS].iter_mut().for_each(|factor| *factor *= gain_scale);
        let controller = self.controller(&scaled).ok()?;
        let passes = self.judge(&scaled, SEARCH_SEEDS).ok()?.passes();
        let size = Size::of(self.craft, &controller);
        let spin = self.craft.config.arms.map(|arm| arm.spin);
        // The camera does not act on the craft.
        let craft = aplomb_craft::Config { gimbal: None, ..self.craft.config };
        let flown = |plan: &FlightPlan| fly(&craft, &controller, plan, 1).ok();
        let pulses = flown(&Probe::TorquePulses.plan(&size))?;
        let tilts = signals::values(Signal::Tilt, &pulses.trace.rows, &spin);
        let hover = flown(&FlightPlan::hover("hover", HOVER.0, HOVER.1))?;
        let noise = signals::values(Signal::MotorCommandNoise, &hover.trace.rows, &spin);
        let mean_square = noise.iter().map(|value| value * value).sum::<f64>() / noise.len() as f64;
        Some(Trade {
            gain_scale,
            tilt_deg: tilts.into_iter().fold(0.0, f64::max),
            noise_percent: libm::sqrt(mean_square),
            passes,
        })
    }
}
