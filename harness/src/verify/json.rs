//! The result of a verification for machines.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Cause, Item, Judgement};
use crate::input::check::OverSeeds;
use crate::verdict::{Limit, Outcome};

/// The result of a verification.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Verification {
    /// Version of aplomb.
    pub aplomb: String,
    /// Everything held and no margin was lost.
    pub held: bool,
    /// Seeds that each flight was flown under.
    pub seeds: u32,
    /// Why it did not hold: one line for each cause.
    pub causes: Vec<CauseLine>,
    /// Everything that was judged.
    pub items: Vec<ItemLine>,
    /// Requirements that nothing was judged on.
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

/// One requirement or check on one flight.
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
    /// Whether it held.
    pub outcome: OutcomeWord,
    /// Where the limit comes from.
    pub source: Option<String>,
    /// Which errors are in the figure.
    pub error_model: String,
    /// How the seeds became one figure.
    pub pooling: Pooling,
    /// Why nobody is held to it, if so.
    pub waived: Option<String>,
}

/// Whether it held.
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

/// How the seeds became one figure.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Pooling {
    /// Samples of all seeds together.
    Pooled,
    /// Median of the seeds' figures.
    Median,
    /// Worst of the seeds' figures.
    Worst,
}

/// A requirement that nothing was judged on.
#[derive(Debug, Serialize, JsonSchema)]
pub struct UntestedLine {
    /// The requirement.
    pub id: String,
    /// Why.
    pub why: String,
}

impl Verification {
    /// The result in this form.
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
            held: causes.is_empty(),
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
            pooling: match item.over_seeds {
                OverSeeds::Pooled => Pooling::Pooled,
                OverSeeds::Median => Pooling::Median,
                OverSeeds::Worst => Pooling::Worst,
            },
            waived: item.waived.clone(),
        }
    }
}
