//! The baseline: accepted figures, with which later ones are compared.

use std::collections::HashMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Item, Judgement};
use crate::number::figure;
use aplomb_flight::limit::{Limit, Outcome};

/// Accepted figures as written in the file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Baseline {
    /// Version of aplomb that measured them.
    pub aplomb: String,
    /// Number of seeds of each flight.
    pub seeds: u32,
    /// The figures.
    pub items: Vec<Accepted>,
}

/// One accepted figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Accepted {
    /// The flight or probe.
    pub flight: String,
    /// The requirement or the description of the check.
    pub id: String,
    /// The figure; absent if inconclusive.
    pub measured: Option<f64>,
    /// Distance from the limit, negative beyond it; absent if inconclusive.
    pub margin: Option<f64>,
}

/// A cause of a failed verification.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cause {
    /// The flight or probe.
    pub flight: String,
    /// The requirement or check.
    pub id: String,
    /// What is wrong.
    pub text: String,
}

impl std::fmt::Display for Cause {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}: {}", self.flight, self.id, self.text)
    }
}

impl Baseline {
    /// The figures of `judgement`, without waived items.
    #[must_use]
    pub fn of(judgement: &Judgement) -> Self {
        let finite = |value: f64| value.is_finite().then_some(value);
        let items = judgement.items.iter().filter(|item| item.waived.is_none()).map(|item| Accepted {
            flight: item.flight.clone(),
            id: item.id.clone(),
            measured: finite(item.measured),
            margin: finite(item.margin()),
        });
        Self { aplomb: env!("CARGO_PKG_VERSION").to_owned(), seeds: judgement.seeds, items: items.collect() }
    }
}

/// Share of a large margin that may be lost.
const SHARE_OF_MARGIN: f64 = 0.2;

/// The causes of failure of `judgement`: figures that fail or are inconclusive and, against a baseline,
/// margins that shrank by more than the tolerance and figures that are no longer judged.
#[must_use]
pub fn causes(judgement: &Judgement, baseline: Option<&Baseline>) -> Vec<Cause> {
    let accepted: HashMap<(&str, &str), &Accepted> = baseline
        .iter()
        .flat_map(|baseline| &baseline.items)
        .map(|accepted| ((accepted.flight.as_str(), accepted.id.as_str()), accepted))
        .collect();
    let before = |item: &Item| accepted.get(&(item.flight.as_str(), item.id.as_str())).copied();
    let mut causes: Vec<Cause> = judgement
        .items
        .iter()
        .filter(|item| item.waived.is_none())
        .filter_map(|item| {
            let text = cause(item, before(item))?;
            Some(Cause { flight: item.flight.clone(), id: item.id.clone(), text })
        })
        .collect();
    let judged = |accepted: &Accepted| {
        judgement.items.iter().any(|item| item.flight == accepted.flight && item.id == accepted.id)
    };
    let removed = baseline.iter().flat_map(|baseline| &baseline.items).filter(|accepted| !judged(accepted));
    causes.extend(removed.map(|accepted| Cause {
        flight: accepted.flight.clone(),
        id: accepted.id.clone(),
        text: "no longer judged, but in the baseline".to_owned(),
    }));
    causes
}

fn cause(item: &Item, before: Option<&Accepted>) -> Option<String> {
    let unit = item.unit;
    let once = match before {
        Some(Accepted { measured: Some(measured), margin: Some(margin), .. }) if *margin >= 0.0 => {
            format!(", passed in the baseline with {}", with_unit(*measured, unit))
        }
        _ => String::new(),
    };
    match item.outcome {
        Outcome::Inconclusive => Some(format!("inconclusive{once}")),
        Outcome::Fail => {
            Some(format!("fail{once}: {}, {}", with_unit(item.measured, unit), words(item.limit, unit)))
        }
        Outcome::Pass => {
            let margin = before?.margin?;
            let (lost, allowed) = (margin - item.margin(), item.tolerance.max(SHARE_OF_MARGIN * margin));
            (lost > allowed).then(|| {
                format!(
                    "margin down by {}, more than the {} allowed: {}, {}",
                    with_unit(lost, unit),
                    figure(allowed),
                    with_unit(item.measured, unit),
                    words(item.limit, unit)
                )
            })
        }
    }
}

fn with_unit(value: f64, unit: &str) -> String {
    format!("{} {unit}", figure(value)).trim_end().to_owned()
}

fn words(limit: Limit, unit: &str) -> String {
    match limit {
        Limit::AtMost(high) => format!("at most {}", with_unit(high, unit)),
        Limit::AtLeast(low) => format!("at least {}", with_unit(low, unit)),
        Limit::Between(low, high) => format!("{} to {}", figure(low), with_unit(high, unit)),
    }
}
