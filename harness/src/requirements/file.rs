//! `requirements.toml`: what a user adds to the requirements, tightens, or waives with a written reason.

use std::borrow::Cow;

use schemars::JsonSchema;
use serde::Deserialize;

use super::{JudgedOn, Requirement};
use crate::input::check::CheckEntry;
use crate::input::{Document, InputError};
use crate::verdict::Limit;

/// A requirement that somebody decided not to hold somebody to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiver {
    /// Which requirement.
    pub id: String,
    /// On which flight or probe; on all, if none is named.
    pub flight: Option<String>,
    /// Why.
    pub reason: String,
}

impl Waiver {
    /// True when it is meant for this requirement on this flight.
    #[must_use]
    pub fn covers(&self, id: &str, flight: &str) -> bool {
        self.id == id && self.flight.as_deref().is_none_or(|named| named == flight)
    }
}

#[derive(Deserialize, JsonSchema)]
pub(crate) struct RequirementsFile {
    add: Vec<AddEntry>,
    tighten: Vec<TightenEntry>,
    waive: Vec<WaiveEntry>,
}

#[derive(Deserialize, JsonSchema)]
struct AddEntry {
    id: String,
    text: String,
    flights: Vec<String>,
    check: CheckEntry,
}

#[derive(Deserialize, JsonSchema)]
struct TightenEntry {
    id: String,
    at_most: Option<f64>,
    at_least: Option<f64>,
    because: String,
}

#[derive(Deserialize, JsonSchema)]
struct WaiveEntry {
    id: String,
    flight: Option<String>,
    reason: String,
}

/// A reason shorter than this explains nothing.
const SHORTEST_REASON: usize = 10;

/// Puts a user's file into `requirements` and returns what it waives; `path` names the file in messages.
///
/// # Errors
/// Everything that is wrong with the file: besides its form, a requirement that is not there, a limit that would be looser,
/// and a reason that is none.
pub fn apply(path: &str, text: &str, requirements: &mut Vec<Requirement>) -> Result<Vec<Waiver>, InputError> {
    let document = Document::parse(path, text)?;
    let waivers = document.read::<RequirementsFile>().map(|file| {
        for (i, entry) in file.tighten.iter().enumerate() {
            tighten(&document, &format!("tighten[{i}]"), entry, requirements);
        }
        for (i, entry) in file.add.into_iter().enumerate() {
            add(&document, &format!("add[{i}]"), entry, requirements);
        }
        let waive = file.waive.into_iter().enumerate();
        waive.map(|(i, entry)| waiver(&document, &format!("waive[{i}]"), entry, requirements)).collect()
    });
    document.finish(waivers)
}

fn known(document: &Document<'_>, path: &str, id: &str, requirements: &[Requirement]) -> bool {
    let known = requirements.iter().any(|requirement| requirement.id == id);
    if !known {
        let ids: Vec<&str> = requirements.iter().map(|requirement| requirement.id.as_ref()).collect();
        let nearest = ids.iter().min_by_key(|other| strsim::osa_distance(id, other)).copied();
        let help = nearest.map(|nearest| format!("did you mean `{nearest}`? All: {}", ids.join(", ")));
        document.refuse_at(&format!("{path}.id"), format!("no requirement `{id}`"), help.as_deref());
    }
    known
}

fn reasoned(document: &Document<'_>, at: &str, reason: &str) {
    if reason.trim().chars().count() < SHORTEST_REASON {
        document.refuse_at(at, "a reason must say something", Some("write it for whoever reads the report"));
    }
}

fn tighten(document: &Document<'_>, path: &str, entry: &TightenEntry, requirements: &mut [Requirement]) {
    reasoned(document, &format!("{path}.because"), &entry.because);
    if !known(document, path, &entry.id, requirements) {
        return;
    }
    let Some(requirement) = requirements.iter_mut().find(|requirement| requirement.id == entry.id.as_str())
    else {
        return;
    };
    let looser = |key: &str, bound: f64| {
        let reason = format!("looser than the {bound} of the table");
        document.refuse_at(&format!("{path}.{key}"), reason, Some("to let it go, waive it with a reason"));
    };
    let limit = match (requirement.limit, entry.at_least, entry.at_most) {
        (Limit::AtMost(bound), None, Some(high)) => {
            if high > bound {
                looser("at_most", bound);
            }
            Limit::AtMost(high)
        }
        (Limit::AtLeast(bound), Some(low), None) => {
            if low < bound {
                looser("at_least", bound);
            }
            Limit::AtLeast(low)
        }
        (limit, ..) => {
            let key = if matches!(limit, Limit::AtMost(_)) { "at_most" } else { "at_least" };
            document.refuse_at(path, format!("`{}` is tightened by `{key}` alone", entry.id), None);
            return;
        }
    };
    requirement.limit = limit;
    requirement.source = Cow::Owned(format!("{} (tightened; before: {})", entry.because, requirement.source));
}

fn add(document: &Document<'_>, path: &str, entry: AddEntry, requirements: &mut Vec<Requirement>) {
    if requirements.iter().any(|requirement| requirement.id == entry.id.as_str()) {
        let help = Some("take another, or tighten the one that is there");
        document.refuse_at(
            &format!("{path}.id"),
            format!("there is a requirement `{}` already", entry.id),
            help,
        );
    }
    let Some(check) = entry.check.check(document, &format!("{path}.check"), f64::INFINITY) else {
        return;
    };
    let source = check.because.clone().unwrap_or_default();
    reasoned(document, &format!("{path}.check.because"), &source);
    let (Limit::AtMost(bound) | Limit::AtLeast(bound) | Limit::Between(_, bound)) = check.limit;
    requirements.push(Requirement {
        id: Cow::Owned(entry.id),
        text: Cow::Owned(entry.text),
        limit: check.limit,
        unit: check.unit(),
        source: Cow::Owned(source),
        error_model: Cow::Borrowed("the craft's own sensors, and the air of the flight"),
        statistic: check.statistic,
        over_seeds: check.over_seeds,
        tolerance: 0.1 * bound.abs(),
        judged_on: JudgedOn::Signal { check, flights: entry.flights },
    });
}

fn waiver(document: &Document<'_>, path: &str, entry: WaiveEntry, requirements: &[Requirement]) -> Waiver {
    known(document, path, &entry.id, requirements);
    reasoned(document, &format!("{path}.reason"), &entry.reason);
    Waiver { id: entry.id, flight: entry.flight, reason: entry.reason }
}
