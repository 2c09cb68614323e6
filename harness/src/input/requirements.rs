//! `requirements.toml`: requirements added, tightened, or waived with a written reason.

use std::borrow::Cow;

use schemars::JsonSchema;
use serde::Deserialize;

use aplomb_study::requirements::{JudgedOn, Requirement, Waiver};
use aplomb_study::verify::Subject;

use super::check::CheckEntry;
use super::suggest::nearest;
use super::{Document, InputError};
use aplomb_flight::limit::Limit;

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

/// Minimum length of a reason in characters.
const SHORTEST_REASON: usize = 10;

/// Applies a requirements file to `subject`. `path` is the path for messages.
///
/// # Errors
/// All errors of the file: invalid TOML or keys, unknown requirements, looser limits, missing reasons,
/// waivers for unknown flights.
pub fn apply_requirements(path: &str, text: &str, subject: &mut Subject) -> Result<(), InputError> {
    let names = subject.names();
    let requirements = &mut subject.requirements;
    let document = Document::parse(path, text)?;
    let waivers = document.read::<RequirementsFile>().map(|file| {
        let flights =
            file.waive.iter().enumerate().map(|(i, entry)| (format!("waive[{i}].flight"), &entry.flight));
        for (at, flight) in flights.filter_map(|(at, flight)| Some((at, flight.as_ref()?))) {
            require_flight(&document, &at, flight, &names);
        }
        for (i, entry) in file.tighten.iter().enumerate() {
            tighten(&document, &format!("tighten[{i}]"), entry, requirements);
        }
        for (i, entry) in file.add.into_iter().enumerate() {
            add(&document, &format!("add[{i}]"), entry, requirements);
        }
        let waive = file.waive.into_iter().enumerate();
        waive.map(|(i, entry)| waiver(&document, &format!("waive[{i}]"), entry, requirements)).collect()
    });
    subject.waivers = document.finish(waivers)?;
    Ok(())
}

fn require_flight(document: &Document<'_>, at: &str, flight: &str, names: &[String]) {
    if !names.iter().any(|name| name == flight) {
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        document.refuse_at(at, format!("no flight `{flight}`"), Some(&nearest(flight, &names).help));
    }
}

fn is_known(document: &Document<'_>, path: &str, id: &str, requirements: &[Requirement]) -> bool {
    let is_known = requirements.iter().any(|requirement| requirement.id == id);
    if !is_known {
        let ids: Vec<&str> = requirements.iter().map(|requirement| requirement.id.as_ref()).collect();
        let help = nearest(id, &ids).help;
        document.refuse_at(&format!("{path}.id"), format!("no requirement `{id}`"), Some(&help));
    }
    is_known
}

fn require_reason(document: &Document<'_>, at: &str, reason: &str) {
    if reason.trim().chars().count() < SHORTEST_REASON {
        document.refuse_at(at, "the reason is too short", Some("it is part of the report"));
    }
}

fn tighten(document: &Document<'_>, path: &str, entry: &TightenEntry, requirements: &mut [Requirement]) {
    require_reason(document, &format!("{path}.because"), &entry.because);
    if !is_known(document, path, &entry.id, requirements) {
        return;
    }
    let Some(requirement) = requirements.iter_mut().find(|requirement| requirement.id == entry.id.as_str())
    else {
        return;
    };
    let looser = |key: &str, bound: f64| {
        let reason = format!("looser than the required {bound}");
        document.refuse_at(&format!("{path}.{key}"), reason, Some("waive it with a reason instead"));
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
        let help = Some("use another id, or tighten the existing requirement");
        document.refuse_at(&format!("{path}.id"), format!("requirement `{}` exists already", entry.id), help);
    }
    let Some(check) = entry.check.check(document, &format!("{path}.check"), f64::INFINITY) else {
        return;
    };
    let source = check.because.clone().unwrap_or_default();
    require_reason(document, &format!("{path}.check.because"), &source);
    let (Limit::AtMost(bound) | Limit::AtLeast(bound) | Limit::Between(_, bound)) = check.limit;
    requirements.push(Requirement {
        id: Cow::Owned(entry.id),
        text: Cow::Owned(entry.text),
        limit: check.limit,
        unit: check.unit(),
        source: Cow::Owned(source),
        error_model: Cow::Borrowed("the craft's own sensors, and the air of the flight"),
        statistic: check.statistic,
        pooling: check.pooling,
        tolerance: 0.1 * bound.abs(),
        judged_on: JudgedOn::Signal { check, flights: entry.flights },
    });
}

fn waiver(document: &Document<'_>, path: &str, entry: WaiveEntry, requirements: &[Requirement]) -> Waiver {
    is_known(document, path, &entry.id, requirements);
    require_reason(document, &format!("{path}.reason"), &entry.reason);
    Waiver { id: entry.id, flight: entry.flight, reason: entry.reason }
}
