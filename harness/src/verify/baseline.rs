//! The baseline: accepted figures, with which later ones are compared.

use std::collections::HashMap;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Item, Judgement};
use crate::cli::table::figure;
use crate::input::{InputError, Location, Problem};
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
    /// Reads a baseline; `path` names it in messages.
    ///
    /// # Errors
    /// The error with its location.
    pub fn from_text(path: &str, text: &str) -> Result<Self, InputError> {
        serde_json::from_str(text).map_err(|error| {
            let start = text.split_inclusive('\n').take(error.line().saturating_sub(1)).map(str::len);
            let at = start.sum::<usize>() + error.column().saturating_sub(1);
            let message = error.to_string();
            let reason = message.rsplit_once(" at line ").map_or(message.as_str(), |(reason, _)| reason);
            InputError {
                path: path.to_owned(),
                source: text.to_owned(),
                problems: vec![Problem {
                    location: Some(Location::of(text, at..at + 1)),
                    reason: format!("not a baseline: {reason}"),
                    help: Some(
                        "restore the file from version control, or delete it and accept again".to_owned(),
                    ),
                }],
            }
        })
    }

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

    /// Text of the file.
    #[must_use]
    pub fn to_text(&self) -> String {
        // Serialising texts and finite numbers cannot fail.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Writes the file atomically: to a temporary file, then renamed.
    ///
    /// # Errors
    /// An error of the file system.
    pub fn write(&self, path: &Path) -> std::io::Result<()> {
        let temporary = path.with_extension(format!("unfinished-{}", std::process::id()));
        let written =
            std::fs::write(&temporary, self.to_text()).and_then(|()| std::fs::rename(&temporary, path));
        if written.is_err() {
            // The first error is reported.
            let _ = std::fs::remove_file(&temporary);
        }
        written
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
