//! Search for the best controller of one craft in a limited number of trials.
//!
//! COBYLA (Powell 1994, A direct search optimization method that models the objective and constraint
//! functions by linear interpolation) needs no derivatives and models every requirement on its own. It first
//! maximises the least slack up to 15 % of the limit, then the speed with that slack. When no trial passes,
//! the trials continue over the whole range of the parameters. The result is the best of all trials in the
//! order of [`Rank`](super::rank::Rank).

use std::cell::RefCell;
use std::collections::BTreeMap;

use cobyla::{Func, RhoBeg, StopTols};

use super::evaluator::{Evaluator, Scope};
use super::parameter::{FAST, GAINS, PARAMETERS, Parameter, factors};
use super::rank::{Judged, REQUIRED_SLACK, slack, speed};

/// First steps of a search in the logarithm of a factor: near and far.
pub(super) const NEAR: f64 = 0.2;
pub(super) const FAR: f64 = 0.5;
/// Last step.
const LAST_STEP: f64 = 0.02;
/// Slack of a controller that cannot be built, and lower bound of the least slack.
const WORST_SLACK: f64 = -10.0;
/// Common factors on the fast and on the slow gains that are tried before the search.
const SCALES: [(f64, f64); 5] = [(1.0, 1.0), (0.7, 1.0), (0.7, 0.7), (0.45, 0.6), (1.4, 1.0)];

/// A judged point of the search: logarithms of the factors.
#[derive(Clone, Debug)]
pub(super) struct Trial {
    pub(super) at: Vec<f64>,
    pub(super) judged: Judged,
}

/// Trials on one craft in one scope.
pub(super) struct Search<'a> {
    evaluator: &'a Evaluator<'a>,
    scope: Scope,
    most: usize,
    /// Least slack with which the slack is no longer raised.
    enough: f64,
    trials: RefCell<Vec<Trial>>,
    refused: RefCell<usize>,
}

impl<'a> Search<'a> {
    /// With at most `most` trials; the slack is raised to `enough`.
    pub(super) fn new(evaluator: &'a Evaluator<'a>, scope: Scope, most: usize, enough: f64) -> Self {
        Self { evaluator, scope, most, enough, trials: RefCell::default(), refused: RefCell::default() }
    }

    /// Judges a point, unless it has been judged or no trial is left; true when it is valid.
    pub(super) fn try_at(&self, at: &[f64]) -> bool {
        if self.trials.borrow().iter().any(|trial| trial.at == at) {
            return true;
        }
        if self.is_spent() {
            return false;
        }
        match self.evaluator.judge(&factors(at), self.scope, 1) {
            Ok(judged) => {
                self.trials.borrow_mut().push(Trial { at: at.to_vec(), judged });
                true
            }
            Err(_) => {
                *self.refused.borrow_mut() += 1;
                false
            }
        }
    }

    /// True when no trial is left.
    pub(super) fn is_spent(&self) -> bool {
        self.trials.borrow().len() + *self.refused.borrow() >= self.most
    }

    /// The trials, the best first.
    pub(super) fn ranked(&self) -> Vec<Trial> {
        let mut trials = self.trials.borrow().clone();
        trials.sort_by(|a, b| a.judged.rank.order(&b.judged.rank));
        trials
    }

    pub(super) fn best(&self) -> Option<Trial> {
        self.ranked().into_iter().next()
    }

    /// True when a trial passes everything.
    pub(super) fn passes(&self) -> bool {
        self.best().is_some_and(|best| best.judged.passes())
    }

    /// Tries the points of [`SCALES`].
    pub(super) fn scales(&self) {
        for (fast, slow) in SCALES {
            let scale = |i: usize| match i {
                i if i < FAST => fast,
                i if i < GAINS => slow,
                _ => 1.0_f64,
            };
            self.try_at(&(0..PARAMETERS.len()).map(|i| scale(i).ln()).collect::<Vec<_>>());
            if self.passes() {
                break;
            }
        }
    }

    /// Searches from the best trial until everything passes with [`REQUIRED_SLACK`] or no trial is left.
    pub(super) fn until_it_passes(&self) {
        for step in [NEAR, FAR, NEAR] {
            self.raise_slack(step);
            if self.passes() {
                return;
            }
        }
        let mut index = 0;
        while !self.is_spent() && !self.passes() {
            index += 1;
            self.try_at(&sample(index));
            if index % 12 == 0 {
                self.raise_slack(NEAR);
            }
        }
    }

    /// True when a trial has enough slack.
    fn is_enough(&self) -> bool {
        self.trials.borrow().iter().any(|trial| trial.judged.passes() && trial.judged.slack() >= self.enough)
    }

    /// Maximises the least slack from the best trial, until it is enough.
    pub(super) fn raise_slack(&self, step: f64) {
        let Some(best) = self.best() else { return };
        let n = PARAMETERS.len();
        let groups = groups(&best.judged);
        let slacks = |at: &[f64]| {
            // The library has no stop by value: without new trials it ends at once.
            if self.is_enough() { vec![WORST_SLACK; groups.len()] } else { self.slacks(at, &groups) }
        };
        let objective = |x: &[f64], (): &mut ()| -x[n];
        let constraints: Vec<_> = (0..groups.len())
            .map(|i| {
                let slacks = &slacks;
                move |x: &[f64], (): &mut ()| slacks(&x[..n])[i] - x[n]
            })
            .collect();
        let mut first = best.at.clone();
        first.push(best.judged.slack().clamp(WORST_SLACK, REQUIRED_SLACK));
        let mut bounds = self.bounds();
        bounds.push((WORST_SLACK, REQUIRED_SLACK));
        self.minimise(&objective, &constraints, &first, &bounds, step);
    }

    /// Maximises the speed from the best trial at its slack, at most [`REQUIRED_SLACK`].
    pub(super) fn raise_speed(&self) {
        let Some(best) = self.best().filter(|best| best.judged.passes()) else { return };
        let groups = groups(&best.judged);
        let least = best.judged.slack().min(REQUIRED_SLACK);
        let slacks = |at: &[f64]| self.slacks(at, &groups);
        let objective = |x: &[f64], (): &mut ()| -speed(&factors(x));
        let constraints: Vec<_> = (0..groups.len())
            .map(|i| {
                let slacks = &slacks;
                move |x: &[f64], (): &mut ()| slacks(x)[i] - least
            })
            .collect();
        self.minimise(&objective, &constraints, &best.at, &self.bounds(), NEAR);
    }

    fn minimise(
        &self,
        objective: &dyn Func<()>,
        constraints: &[impl Func<()>],
        first: &[f64],
        bounds: &[(f64, f64)],
        step: f64,
    ) {
        let constraints: Vec<&dyn Func<()>> = constraints.iter().map(|one| one as &dyn Func<()>).collect();
        let left = self.most.saturating_sub(self.trials.borrow().len());
        let tolerances = StopTols { xtol_abs: vec![LAST_STEP; first.len()], ..StopTols::default() };
        // The result is the best of all trials, whatever ends the search.
        let _ = cobyla::minimize(
            objective,
            first,
            bounds,
            &constraints,
            (),
            left,
            RhoBeg::All(step),
            Some(tolerances),
        );
    }

    /// Ranges of the logarithms; a parameter that does not act stays at 1.
    fn bounds(&self) -> Vec<(f64, f64)> {
        let bound = |i: usize| {
            let (low, high) = PARAMETERS[i].range;
            if self.evaluator.acts(i) { (low.ln(), high.ln()) } else { (-1e-9, 1e-9) }
        };
        (0..PARAMETERS.len()).map(bound).collect()
    }

    /// Slack of each group at a point.
    fn slacks(&self, at: &[f64], groups: &[String]) -> Vec<f64> {
        let valid = self.try_at(at);
        let trials = self.trials.borrow();
        match trials.iter().find(|trial| valid && trial.at == at) {
            Some(trial) => {
                let least = least(&trial.judged);
                groups.iter().map(|group| least.get(group).copied().unwrap_or(WORST_SLACK)).collect()
            }
            None => vec![WORST_SLACK; groups.len()],
        }
    }
}

/// Least slack of each requirement over its flights, and of each check.
fn least(judged: &Judged) -> BTreeMap<String, f64> {
    let mut least = BTreeMap::new();
    for item in &judged.judgement.items {
        let entry = least.entry(item.id.clone()).or_insert(f64::INFINITY);
        *entry = entry.min(slack(item));
    }
    least
}

fn groups(judged: &Judged) -> Vec<String> {
    least(judged).into_keys().collect()
}

/// Primes, one for each parameter.
const PRIMES: [f64; PARAMETERS.len()] =
    [2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0, 31.0, 37.0, 41.0];

/// Point `index` of an even sequence over the ranges: multiples of the square roots of primes modulo 1
/// (Richtmyer 1951; value from memory).
fn sample(index: usize) -> Vec<f64> {
    let at = |(parameter, prime): (&Parameter, f64)| {
        let (low, high) = parameter.range;
        let share = (index as f64 * libm::sqrt(prime)).fract();
        low.ln() + share * (high / low).ln()
    };
    PARAMETERS.iter().zip(PRIMES).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn even_sequence_covers_the_range_of_every_parameter() {
        let points: Vec<Vec<f64>> = (1..=40).map(sample).collect();
        for (i, parameter) in PARAMETERS.iter().enumerate() {
            let (low, high) = (parameter.range.0.ln(), parameter.range.1.ln());
            for tenth in 0..10 {
                let from = low + (high - low) * f64::from(tenth) / 10.0;
                let within = |point: &&Vec<f64>| (from..from + 0.1 * (high - low)).contains(&point[i]);
                assert!(points.iter().filter(within).count() >= 1, "{}: {tenth}", parameter.name);
            }
        }
    }
}
