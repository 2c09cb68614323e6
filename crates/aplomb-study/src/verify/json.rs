//! The result of a verification as JSON.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Cause, Item, Judgement};
use aplomb_flight::check::Pooling;
use aplomb_flight::limit::{Limit, Outcome};

/// The result of a verification.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Verification {
    /// Version of aplomb.
    pub aplomb: String,
    /// True when every figure passes and no margin was lost.
    pub pass: bool,
    /// Seeds that each flight was flown under.
    pub seeds: u32,
    /// Why the verification fails: one line for each cause.
    pub causes: Vec<CauseLine>,
    /// Every judged requirement and check.
    pub items: Vec<ItemLine>,
    /// Requirements that no flight tests.
    pub untested: Vec<UntestedLine>,
}

/// Why a verification fails.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CauseLine {
    /// The flight or probe.
    pub flight: String,
    /// The requirement, or the words of the check.
    pub id: String,
    /// What is wrong.
    pub text: String,
}

/// One requirement or check, judged on one flight.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ItemLine {
    /// The flight or probe.
    pub flight: String,
    /// The requirement, or the words of the check.
    pub id: String,
    /// What is measured.
    pub text: String,
    /// The figure; null when it is not finite.
    pub measured: Option<f64>,
    /// Lower limit, if there is one.
    pub at_least: Option<f64>,
    /// Upper limit, if there is one.
    pub at_most: Option<f64>,
    /// Distance from the limit, negative beyond it; null when it is not finite.
    pub margin: Option<f64>,
    /// Unit of all of these; empty for a plain number.
    pub unit: String,
    /// Pass, fail or inconclusive.
    pub outcome: OutcomeWord,
    /// Where the limit comes from.
    pub source: Option<String>,
    /// Error sources that the figure contains.
    pub error_model: String,
    /// How the figures or samples of the seeds are combined; null for a figure of the linear model.
    pub pooling: Option<Pooling>,
    /// Reason of the waiver; null where the item is not waived.
    pub waived: Option<String>,
}

/// Pass, fail or inconclusive.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OutcomeWord {
    /// Within the limit.
    Pass,
    /// Outside the limit.
    Fail,
    /// Nothing was measured.
    Inconclusive,
}

/// A requirement that no flight tests.
#[derive(Debug, Serialize, JsonSchema)]
pub struct UntestedLine {
    /// The requirement.
    pub id: String,
    /// Why.
    pub why: String,
}

impl Verification {
    /// Converts a judgement and its causes.
    #[must_use]
    pub fn of(judgement: &Judgement, causes: &[Cause]) -> Self {
        let line = |cause: &Cause| CauseLine {
            flight: cause.flight.clone(),
            id: cause.id.clone(),
            text: cause.text.clone(),
        };
        let untested = judgement.untested.iter();
        Self {
            aplomb: env!("CARGO_PKG_VERSION").to_owned(),
            pass: causes.is_empty(),
            seeds: judgement.seeds,
            causes: causes.iter().map(line).collect(),
            items: judgement.items.iter().map(ItemLine::of).collect(),
            untested: untested.map(|one| UntestedLine { id: one.id.clone(), why: one.why.clone() }).collect(),
        }
    }
}

impl ItemLine {
    fn of(item: &Item) -> Self {
        let finite = |value: f64| value.is_finite().then_some(value);
        let (at_least, at_most) = match item.limit {
            Limit::AtMost(high) => (None, Some(high)),
            Limit::AtLeast(low) => (Some(low), None),
            Limit::Between(low, high) => (Some(low), Some(high)),
        };
        Self {
            flight: item.flight.clone(),
            id: item.id.clone(),
            text: item.text.clone(),
            measured: finite(item.measured),
            at_least,
            at_most,
            margin: finite(item.margin()),
            unit: item.unit.to_owned(),
            outcome: match item.outcome {
                Outcome::Pass => OutcomeWord::Pass,
                Outcome::Fail => OutcomeWord::Fail,
                Outcome::Inconclusive => OutcomeWord::Inconclusive,
            },
            source: item.source.clone(),
            error_model: item.error_model.clone(),
            pooling: item.pooling,
            waived: item.waived.clone(),
        }
    }
}
