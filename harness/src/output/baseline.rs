//! The file of a baseline: read, and written atomically.

use std::ops::{Range, RangeInclusive};
use std::path::Path;

use aplomb_study::verify::Baseline;

use crate::input::{InputError, Location, Problem};

/// Possible numbers of seeds.
pub const SEEDS: RangeInclusive<u32> = 1..=100_000;

/// Reads a baseline; `path` names it in messages.
///
/// # Errors
/// The error with its location.
pub fn read(path: &str, text: &str) -> Result<Baseline, InputError> {
    let refuse = |span: Range<usize>, reason: String| InputError {
        path: path.to_owned(),
        source: text.to_owned(),
        problems: vec![Problem {
            location: Some(Location::of(text, span)),
            reason: format!("not a baseline: {reason}"),
            help: Some("restore the file from version control, or delete it and accept again".to_owned()),
        }],
        omitted: 0,
    };
    let baseline: Baseline = serde_json::from_str(text).map_err(|error| {
        let start = text.split_inclusive('\n').take(error.line().saturating_sub(1)).map(str::len);
        let at = start.sum::<usize>() + error.column().saturating_sub(1);
        let message = error.to_string();
        let reason = message.rsplit_once(" at line ").map_or(message.as_str(), |(reason, _)| reason);
        refuse(at..at + 1, reason.to_owned())
    })?;
    if SEEDS.contains(&baseline.seeds) {
        return Ok(baseline);
    }
    let key = "\"seeds\"";
    let at = text.find(key).unwrap_or(0);
    let reason = format!("`seeds` must lie between {} and {}", SEEDS.start(), SEEDS.end());
    Err(refuse(at..at + key.len(), reason))
}

/// Text of the file.
#[must_use]
pub fn to_text(baseline: &Baseline) -> String {
    // Serialising texts and finite numbers cannot fail.
    serde_json::to_string_pretty(baseline).unwrap_or_default() + "\n"
}

/// Writes the file atomically: to a temporary file, then renamed.
///
/// # Errors
/// An error of the file system.
pub fn write(baseline: &Baseline, path: &Path) -> std::io::Result<()> {
    let temporary = path.with_extension(format!("unfinished-{}", std::process::id()));
    let written =
        std::fs::write(&temporary, to_text(baseline)).and_then(|()| std::fs::rename(&temporary, path));
    if written.is_err() {
        // The first error is reported.
        let _ = std::fs::remove_file(&temporary);
    }
    written
}
