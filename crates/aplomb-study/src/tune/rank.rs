//! Order of judged controllers: failures, then violations, then slack and speed.

use std::cmp::Ordering;

use super::parameter::{Factors, PARAMETERS};
use crate::verify::{Item, Judgement};
use aplomb_flight::limit::{Limit, Outcome};

/// Upper bound of the normalised slack.
const LARGEST_SLACK: f64 = 1.0;
/// Relative excess of a figure that does not exist or is infinite.
const UNKNOWN_EXCESS: f64 = 100.0;
/// Required normalised slack. More does not improve the score.
pub const REQUIRED_SLACK: f64 = 0.15;
/// Score of a factor e on one gain, in units of slack.
const SPEED_WEIGHT: f64 = 0.02;

/// Position of a controller in the order. The smaller one is better.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rank {
    /// Number of requirements and checks that fail or are inconclusive, each flight counted.
    pub failures: usize,
    /// Sum over the failed ones of `ln(1 + excess)`: the excess is the distance beyond the limit over the
    /// limit. It has no upper bound.
    pub violation: f64,
    /// Least slack up to 0.15, plus the speed; 0 unless everything passes.
    pub score: f64,
}

impl Rank {
    /// Of a judgement of the controller with these factors.
    #[must_use]
    pub fn of(judgement: &Judgement, factors: &Factors) -> Self {
        let failed = || judgement.items.iter().filter(|item| item.outcome != Outcome::Pass);
        let failures = failed().count();
        let violation = failed().map(|item| (-slack(item)).max(0.0)).sum();
        let least = judgement.items.iter().map(slack).fold(REQUIRED_SLACK, f64::min);
        let score = if failures == 0 { least + speed(factors) } else { 0.0 };
        Self { failures, violation, score }
    }

    /// The order: fewer failures first, then the smaller violation, then the larger score.
    #[must_use]
    pub fn order(&self, other: &Self) -> Ordering {
        (self.failures.cmp(&other.failures))
            .then(self.violation.total_cmp(&other.violation))
            .then(other.score.total_cmp(&self.score))
    }
}

/// Score of the gains' factors.
#[must_use]
pub fn speed(factors: &Factors) -> f64 {
    let gains = PARAMETERS.iter().zip(factors).filter(|(parameter, _)| parameter.is_gain);
    SPEED_WEIGHT * gains.map(|(_, factor)| factor.ln()).sum::<f64>()
}

/// Normalised slack: distance from the limit over the limit, at most 1 within it. Beyond it
/// `-ln(1 + excess)`, which is minus the logarithm of figure over limit for an upper limit. A figure that
/// equals its limit, such as a share of time of 100 %, cannot have slack and counts as 1.
#[must_use]
pub fn slack(item: &Item) -> f64 {
    let share = match item.limit {
        Limit::AtMost(high) if high.is_infinite() => LARGEST_SLACK,
        Limit::AtMost(high) => (high - item.measured) / extent(high),
        Limit::AtLeast(low) => (item.measured - low) / extent(low),
        Limit::Between(low, high) => item.margin() / (0.5 * (high - low)),
    };
    if share == 0.0 {
        LARGEST_SLACK
    } else if share > 0.0 {
        share.min(LARGEST_SLACK)
    } else {
        let excess = if share.is_finite() { -share } else { UNKNOWN_EXCESS };
        -excess.ln_1p()
    }
}

/// Magnitude of a limit; 1 for a limit of zero.
fn extent(limit: f64) -> f64 {
    if limit == 0.0 { 1.0 } else { limit.abs() }
}

/// A judged controller.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The judgement.
    pub judgement: Judgement,
    /// Its position in the order.
    pub rank: Rank,
}

impl Judged {
    /// Normalised slack of the limiting item.
    #[must_use]
    pub fn slack(&self) -> f64 {
        self.judgement.items.iter().map(slack).fold(LARGEST_SLACK, f64::min)
    }

    /// True when every requirement and check passes.
    #[must_use]
    pub const fn passes(&self) -> bool {
        self.rank.failures == 0
    }

    /// The items with the least slack, each requirement once, the limiting one first.
    #[must_use]
    pub fn limiting(&self, count: usize) -> Vec<&Item> {
        let mut items: Vec<&Item> = self.judgement.items.iter().collect();
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

#[cfg(test)]
mod tests {
    use super::*;

    fn item(measured: f64, limit: Limit) -> Item {
        Item {
            flight: "flight".to_owned(),
            id: "id".to_owned(),
            text: "text".to_owned(),
            measured,
            limit,
            unit: "",
            outcome: limit.judge(measured),
            source: None,
            error_model: String::new(),
            pooling: None,
            tolerance: 0.0,
            waived: None,
        }
    }

    fn rank(figures: &[f64], factor: f64) -> Rank {
        let items = figures.iter().map(|&figure| item(figure, Limit::AtMost(2.0))).collect();
        let judgement = Judgement { items, untested: Vec::new(), seeds: 1, simulated_s: 0.0 };
        Rank::of(&judgement, &[factor; PARAMETERS.len()])
    }

    /// `-ln(figure/limit)` beyond an upper limit, for figures of any size.
    #[test]
    fn slack_beyond_an_upper_limit_is_the_log_ratio() {
        for ratio in [1.5, 10.0, 1e6] {
            let one = slack(&item(2.0 * ratio, Limit::AtMost(2.0)));
            assert!((one + ratio.ln()).abs() < 1e-12, "{one}");
        }
        assert_eq!(slack(&item(1.0, Limit::AtMost(2.0))), 0.5);
        assert_eq!(slack(&item(3.0, Limit::AtLeast(2.0))), 0.5);
        assert_eq!(slack(&item(100.0, Limit::AtLeast(100.0))), 1.0);
        assert!(slack(&item(-8.0, Limit::AtLeast(2.0))) < slack(&item(-1.0, Limit::AtLeast(2.0))));
        assert_eq!(slack(&item(f64::NAN, Limit::AtLeast(2.0))), -UNKNOWN_EXCESS.ln_1p());
        assert_eq!(slack(&item(f64::INFINITY, Limit::AtMost(2.0))), -UNKNOWN_EXCESS.ln_1p());
    }

    #[test]
    fn fewer_failures_are_better_than_smaller_ones_and_these_than_slack() {
        let order = |a: &[f64], b: &[f64]| rank(a, 1.0).order(&rank(b, 1.0));
        assert_eq!(order(&[1.0, 900.0], &[2.1, 2.1]), Ordering::Less);
        assert_eq!(order(&[0.1, 3.0], &[1.9, 4.0]), Ordering::Less);
        assert_eq!(order(&[1.9, 1.9], &[1.0, 2.01]), Ordering::Less);
        assert_eq!(order(&[1.8, 1.0], &[1.9, 0.1]), Ordering::Less);
        assert_eq!(order(&[f64::NAN], &[2.1]), Ordering::Greater);
    }

    #[test]
    fn speed_counts_only_when_everything_passes() {
        assert_eq!(rank(&[1.0], 1.2).order(&rank(&[1.0], 1.0)), Ordering::Less);
        assert_eq!(rank(&[3.0], 1.2).order(&rank(&[3.0], 1.0)), Ordering::Equal);
    }
}
