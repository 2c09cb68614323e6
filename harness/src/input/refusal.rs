//! Refusals by the crates, in the words of a file.

use super::document::Document;

/// Refuses at a key path with the reason of the craft crate.
pub(super) fn refuse_as(document: &Document<'_>, key_path: &str, error: aplomb_craft::ConfigError) {
    let message = error.to_string();
    let reason =
        message.strip_prefix(error.field).and_then(|rest| rest.strip_prefix(": ")).unwrap_or(&message);
    document.refuse_at(key_path, reason, None);
}

/// The reason of the control crate.
pub(super) fn reason(error: aplomb::ConfigError) -> String {
    match error.field {
        "max_thrust_n" => "the craft cannot lift 1.3 times its weight with this thrust".to_owned(),
        _ => error.problem.to_string(),
    }
}
