//! Automatic tuning: from a craft file to a controller that meets every requirement, or to the physical
//! effect that prevents it.
//!
//! The initial gains are analytic, derived from inertia, rotor time constant, delays and filters
//! ([`crate::controller_model`]). The search adjusts factors on them.
//!
//! # Order
//!
//! Controllers are judged as by `aplomb verify` and compared by [`Rank`], first difference first:
//!
//! 1. number of requirements and checks that fail or are inconclusive; the fewer, the better;
//! 2. violation: sum of `ln(1 + excess)` over them, where the excess is the distance beyond the limit over
//!    the limit. For an upper limit that is `ln(figure/limit)`. It has no upper bound;
//! 3. among controllers that pass: the least slack up to 15 % of the limit, plus 2 % of the logarithm of each
//!    gain's factor, for fast loops.
//!
//! The derived controller is judged on the same flights and seeds as the found one, and is returned where it
//! is better: a tuning never makes it worse.
//!
//! # Parameters
//!
//! | parameter | range of the factor |
//! | --- | --- |
//! | crossovers of roll and pitch rate, yaw rate, tilt, heading, climb, height, velocity with position | 0.3 to 2.5 |
//! | reference bandwidth of tilt; that of heading with its crossover | 0.3 to 2.5 |
//! | integral times of the rates, climb, velocity | 0.4 to 4 |
//! | cut-off of the gyro's low-pass | 0.5 to 2 |
//! | bandwidth of the notches | 0.5 to 2 |
//!
//! [`parameter`] gives the rule of each range.
//!
//! # Stages
//!
//! Trials are judged by the linear model at the two limiting operating points and on the probes of the inner
//! loops and of the gust under one seed. The best of them fly everything under one seed, the best of these
//! under three, then ten. When none passes, the whole range is sampled, and every physical effect is relaxed
//! on its own ([`Effect`]): the one without which fewest requirements fail is the limiting effect.

mod effect;
mod evaluator;
pub mod parameter;
mod rank;
mod search;
mod trade;

use std::borrow::Cow;

use crate::craft::Craft;
use aplomb_flight::FlightPlan;
use aplomb_flight::fly::FlyError;
pub use effect::Effect;
use evaluator::{Evaluator, Scope};
use parameter::{Factors, PARAMETERS, Setting, factors};
use rank::REQUIRED_SLACK;
pub use rank::{Judged, Rank, slack};
use search::{NEAR, Search, Trial};
pub use trade::Trade;

/// Gives the controller of a craft with the given settings instead of the derived ones, or the reason of a
/// refusal.
pub type Build<'a> = dyn Fn(&Craft, &[Setting]) -> Result<aplomb::flight::Config, String> + Sync + 'a;

/// How much is tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// Largest number of controllers of the craft itself.
    pub trials: usize,
    /// Number of seeds of each flight for the verdict.
    pub seeds: u32,
}

impl Effort {
    /// Ten seeds, as `aplomb verify` has.
    #[must_use]
    pub const fn new(trials: usize) -> Self {
        Self { trials, seeds: 10 }
    }
}

/// Number of quick trials that fly everything under one seed.
const FLOWN: usize = 6;
/// Of these, number that are judged under [`FEW_SEEDS`], and then under all seeds.
const CONTENDERS: usize = 5;
const FINALISTS: usize = 2;
/// Seeds of the contenders and of the relaxed effects.
const FEW_SEEDS: u32 = 3;
/// Number of trials from which the search with a relaxed effect starts, beside the derived gains.
const STARTS: usize = 2;

/// Result of a tuning.
#[derive(Clone, Debug)]
pub struct Tuned {
    /// Its settings that differ from the derived ones.
    pub settings: Vec<Setting>,
    /// Factors on the derived values.
    pub factors: Factors,
    /// The derived controller.
    pub start: Judged,
    /// The best controller.
    pub found: Judged,
    /// Number of controllers tried.
    pub tried: usize,
    /// Trade-off curve, from the smallest to the largest valid gain scale; empty when nothing passes.
    pub trades: Vec<Trade>,
    /// The best controller on the flights and seeds of the effects.
    pub unrelaxed: Rank,
    /// The relaxed effects, the one that helps most first; empty when the controller passes.
    pub effects: Vec<Effect>,
}

impl Tuned {
    /// The limiting effect: the effect whose relaxation helps most, if it helps.
    #[must_use]
    pub fn limiting_effect(&self) -> Option<&Effect> {
        self.effects.first().filter(|effect| effect.rank.order(&self.unrelaxed).is_lt())
    }
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

/// Tunes a controller for `craft`, judged by the requirements and on `plans`; `tried` is called after each
/// judged controller. The result does not depend on the number of threads.
///
/// # Errors
/// A craft for which no controller can be derived, or that cannot be flown.
pub fn tune(
    craft: &Craft,
    plans: &[FlightPlan],
    build: &Build<'_>,
    effort: Effort,
    tried: &(dyn Fn() + Sync),
) -> Result<Tuned, TuneError> {
    let mut evaluator = Evaluator::new(Cow::Borrowed(craft), plans, build, tried)?;
    let derived = [1.0; PARAMETERS.len()];
    let start = evaluator.judge(&derived, Scope::Full, effort.seeds)?;
    evaluator.restrict_to_limiting_points(&start.judgement);
    let start_at = derived.map(f64::ln).to_vec();
    // Three quarters of the trials are quick ones.
    let quick = Search::new(&evaluator, Scope::Quick, (3 * effort.trials / 4).max(1), REQUIRED_SLACK);
    quick.scales();
    quick.until_it_passes();
    quick.raise_slack(NEAR);
    quick.raise_speed();
    let quick_passes = quick.passes();
    let quick = quick.ranked();
    let left = effort.trials.saturating_sub(quick.len()).max(2);
    let full = Search::new(&evaluator, Scope::Full, left, REQUIRED_SLACK);
    full.try_at(&start_at);
    for trial in quick.iter().take(FLOWN) {
        full.try_at(&trial.at);
        if full.passes() {
            break;
        }
    }
    if quick_passes && !full.passes() {
        full.raise_slack(NEAR);
    }
    let full = full.ranked();
    let few_seeds = FEW_SEEDS.min(effort.seeds);
    let mut contenders: Vec<(&Trial, Judged)> = Vec::new();
    for trial in full.iter().filter(|trial| trial.at != start_at).take(CONTENDERS) {
        // Those after the first that pass are slower.
        if contenders.iter().filter(|(_, judged)| judged.passes()).count() < FINALISTS {
            contenders.push((trial, evaluator.judge(&factors(&trial.at), Scope::Full, few_seeds)?));
        }
    }
    contenders.sort_by(|a, b| a.1.rank.order(&b.1.rank));
    let mut found = (derived, start.clone());
    for (trial, _) in contenders.iter().take(FINALISTS) {
        let factors = factors(&trial.at);
        let judged = evaluator.judge(&factors, Scope::Full, effort.seeds)?;
        if judged.rank.order(&found.1.rank).is_lt() {
            found = (factors, judged);
        }
        if found.1.passes() {
            break;
        }
    }
    let (factors, found) = found;
    let (mut trades, mut effects, mut unrelaxed) = (Vec::new(), Vec::new(), found.rank);
    if found.passes() {
        trades = trade::curve(&evaluator, &factors);
    } else {
        unrelaxed = evaluator.judge(&factors, Scope::Full, few_seeds)?.rank;
        let mut starts = vec![start_at];
        starts.extend(contenders.iter().take(STARTS).map(|(trial, _)| trial.at.clone()));
        let scope = if quick_passes { Scope::Full } else { Scope::Quick };
        effects = effect::effects(&evaluator, &starts, scope, Effort { seeds: few_seeds, ..effort });
    }
    Ok(Tuned {
        settings: evaluator.settings(&factors),
        factors,
        start,
        found,
        tried: quick.len() + full.len(),
        trades,
        unrelaxed,
        effects,
    })
}
