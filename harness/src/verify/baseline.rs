//! What was accepted: figures to compare later ones with.

use std::collections::HashMap;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Item, Judgement};
use crate::cli::table::figure;
use crate::input::{InputError, Place, Problem};
use crate::verdict::{Limit, Outcome};

/// Accepted figures, as they stand in the file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Baseline {
    /// Version of aplomb that they were measured with.
    pub aplomb: String,
    /// Seeds that each flight was flown under.
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
    /// The requirement, or the words of the check.
    pub id: String,
    /// The figure; absent if it could not be told.
    pub measured: Option<f64>,
    /// Distance from the limit, negative beyond it; absent if it could not be told.
    pub margin: Option<f64>,
}

/// Why a verification fails, in one line.
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
    /// What is wrong with it, and where.
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
                    place: Some(Place::of(text, at..at + 1)),
                    reason: format!("not a baseline: {reason}"),
                    help: Some("take the file from version control, or delete it and accept anew".to_owned()),
                }],
            }
        })
    }

    /// What `judgement` measured, to be accepted. Waived items are left out: nobody is held to them.
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

    /// The file's text.
    #[must_use]
    pub fn to_text(&self) -> String {
        // Plain data of texts and finite numbers always has a form.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Writes the file beside its place first, so that it is there whole, or as it was.
    ///
    /// # Errors
    /// What the disk says.
    pub fn write(&self, path: &Path) -> std::io::Result<()> {
        let passing = path.with_extension(format!("unfinished-{}", std::process::id()));
        let written = std::fs::write(&passing, self.to_text()).and_then(|()| std::fs::rename(&passing, path));
        if written.is_err() {
            // The first error is the one to tell.
            let _ = std::fs::remove_file(&passing);
        }
        written
    }
}

/// Of a margin that is large beside its limit this share may be lost, as a figure far from its limit says little.
const SHARE_OF_MARGIN: f64 = 0.2;

/// Everything that counts against `judgement`: what is missed or cannot be told, and, against a baseline, what lost more of
/// its margin than its tolerance and what is no longer judged.
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
    let gone = baseline.iter().flat_map(|baseline| &baseline.items).filter(|accepted| !judged(accepted));
    causes.extend(gone.map(|accepted| Cause {
        flight: accepted.flight.clone(),
        id: accepted.id.clone(),
        text: "no longer judged, though the baseline holds a figure".to_owned(),
    }));
    causes
}

fn cause(item: &Item, before: Option<&Accepted>) -> Option<String> {
    let unit = item.unit;
    let once = match before {
        Some(Accepted { measured: Some(measured), margin: Some(margin), .. }) if *margin >= 0.0 => {
            format!(", newly: the baseline has {}", with_unit(*measured, unit))
        }
        _ => String::new(),
    };
    match item.outcome {
        Outcome::Inconclusive => Some(format!("cannot be told{once}")),
        Outcome::Fail => {
            Some(format!("missed{once}: {}, {}", with_unit(item.measured, unit), words(item.limit, unit)))
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
