//! Refusals by the crates, in the words of a file.

use aplomb::error::Problem;

use super::document::{self, Document};

/// Refuses at a key path with the reason of the craft crate.
pub(super) fn refuse_as(
    document: &Document<'_>,
    key_path: &str,
    error: aplomb_craft::ConfigError,
    help: Option<&str>,
) {
    let message = error.to_string();
    let reason =
        message.strip_prefix(error.field).and_then(|rest| rest.strip_prefix(": ")).unwrap_or(&message);
    document.refuse_at(key_path, reason, help);
}

/// The reason of the control crate, with a rounded range; `in_degrees` converts it from radians.
pub(super) fn reason(error: aplomb::ConfigError, in_degrees: bool) -> String {
    let Problem::OutOfRange { low, high } = error.problem else { return error.problem.to_string() };
    let bound = |bound: f32| document::bound(f64::from(if in_degrees { bound.to_degrees() } else { bound }));
    match (low, high) {
        (_, f32::INFINITY) => format!("must be at least {}", bound(low)),
        (f32::NEG_INFINITY, _) => format!("must be at most {}", bound(high)),
        _ => format!("must lie between {} and {}", bound(low), bound(high)),
    }
}
