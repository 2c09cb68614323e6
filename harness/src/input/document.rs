//! One TOML file with the location of every key and value, and the list of its errors.

use std::cell::RefCell;
use std::fs::File;
use std::io::Read;
use std::ops::Range;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::problem::{InputError, Location, MOST_SHOWN, Problem};

/// A file being read. Each check adds its errors; [`Document::finish`] returns the result or all errors.
#[derive(Debug)]
pub struct Document<'s> {
    path: &'s str,
    source: &'s str,
    root: Spanned<DeTable<'s>>,
    refusals: RefCell<Refusals>,
}

/// Errors of a file, with a bound on their number.
#[derive(Debug, Default)]
struct Refusals {
    recorded: Vec<Refusal>,
    omitted: usize,
}

#[derive(Debug)]
struct Refusal {
    span: Range<usize>,
    reason: String,
    help: Option<String>,
}

/// Largest number of errors that are recorded; more are counted.
const MOST_RECORDED: usize = 1000;
/// Largest size of an input file in bytes.
const LARGEST_FILE: u64 = 4 << 20;

/// Reads the text of a file. Unreadable files, files larger than 4 MiB and text that is not UTF-8 are errors.
pub fn text_of(path: &Path) -> Result<String, InputError> {
    let shown = path.display().to_string();
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(LARGEST_FILE + 1).read_to_end(&mut bytes));
    if let Err(error) = read {
        return Err(InputError::of_file(shown, format!("cannot be read: {error}"), None));
    }
    if bytes.len() as u64 > LARGEST_FILE {
        let reason = format!("is larger than {} MiB, the limit of an input file", LARGEST_FILE >> 20);
        return Err(InputError::of_file(shown, reason, None));
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let source = String::from_utf8_lossy(error.as_bytes()).into_owned();
        let location = Location::of(&source, good..good + char::REPLACEMENT_CHARACTER.len_utf8());
        let reason = format!("is not UTF-8 text from byte {good} on");
        let help = Some("save the file as UTF-8".to_owned());
        let problems = vec![Problem { location: Some(location), reason, help }];
        InputError { path: shown, source, problems, omitted: 0 }
    })
}

impl<'s> Document<'s> {
    /// Parses the text; fails on syntax errors.
    pub fn parse(path: &'s str, source: &'s str) -> Result<Self, InputError> {
        let (root, errors) = DeTable::parse_recoverable(source);
        if errors.is_empty() {
            return Ok(Self { path, source, root, refusals: RefCell::default() });
        }
        let recorded = errors.iter().take(MOST_RECORDED).map(|error| Refusal {
            span: error.span().unwrap_or(source.len()..source.len()),
            reason: format!("not valid TOML: {}", error.message().replace('\n', ": ")),
            help: None,
        });
        let omitted = errors.len().saturating_sub(MOST_RECORDED);
        Err(Refusals { recorded: recorded.collect(), omitted }.error(path, source))
    }

    /// Records an error at a range of the text.
    pub(super) fn refuse(&self, span: Range<usize>, reason: impl Into<String>, help: Option<String>) {
        let mut refusals = self.refusals.borrow_mut();
        match refusals.recorded.len() {
            0..MOST_RECORDED => refusals.recorded.push(Refusal { span, reason: reason.into(), help }),
            _ => refusals.omitted += 1,
        }
    }

    /// True when further errors are only counted: their reason and help are not needed.
    pub(super) fn is_full(&self) -> bool {
        self.refusals.borrow().recorded.len() >= MOST_RECORDED
    }

    /// Records an error at a key path such as `command[2].tilt_deg.roll`; if the path is incomplete in the
    /// file, at its last existing part.
    pub fn refuse_at(&self, key_path: &str, reason: impl Into<String>, help: Option<&str>) {
        self.refuse(self.span_of(key_path), reason, help.map(str::to_owned));
    }

    /// Returns `value`; records an error unless it is within `low..=high`.
    pub fn require_within(&self, key_path: &str, value: f64, low: f64, high: f64) -> f64 {
        if !(low..=high).contains(&value) {
            let [low_text, high_text] = [low, high].map(bound);
            let reason = if high == f64::INFINITY {
                format!("must be at least {low_text}")
            } else if low == f64::NEG_INFINITY {
                format!("must be at most {high_text}")
            } else {
                format!("must lie between {low_text} and {high_text}")
            };
            self.refuse_at(key_path, reason, None);
        }
        value
    }

    /// Records an error for each value outside its range. A list is named by its key and index.
    pub fn require_ranges<const N: usize>(&self, values: [(&str, f64, f64, f64); N]) {
        for (key_path, value, low, high) in values {
            self.require_within(key_path, value, low, high);
        }
    }

    /// Records an error unless the text is one line.
    pub fn require_one_line(&self, key_path: &str, text: &str) {
        if text.contains(['\n', '\r']) {
            self.refuse_at(key_path, "must be one line", None);
        }
    }

    /// Returns `value`; records an error unless it is greater than 0.
    pub fn require_positive(&self, key_path: &str, value: f64) -> f64 {
        // This form refuses NaN, too.
        if value.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
            self.refuse_at(key_path, "must be greater than 0", None);
        }
        value
    }

    /// The result, or all recorded errors.
    pub fn finish<T>(self, result: Option<T>) -> Result<T, InputError> {
        match result {
            Some(value) if self.is_clean() => Ok(value),
            _ => Err(self.refusals.into_inner().error(self.path, self.source)),
        }
    }

    /// The root table.
    pub(super) fn root(&self) -> &Spanned<DeTable<'s>> {
        &self.root
    }

    /// True when no error is recorded.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.refusals.borrow().recorded.is_empty()
    }

    fn span_of(&self, key_path: &str) -> Range<usize> {
        let mut table = Some(self.root.get_ref());
        let mut span = 0..0;
        for part in key_path.split('.') {
            let (key, index) = match part.strip_suffix(']').and_then(|part| part.split_once('[')) {
                Some((key, index)) => (key, index.parse::<usize>().ok()),
                None => (part, None),
            };
            let Some((name, value)) = table.and_then(|table| table.get_key_value(key)) else {
                return span;
            };
            let value = match index {
                Some(index) => value.get_ref().as_array().and_then(|list| list.get(index)).unwrap_or(value),
                None => value,
            };
            table = value.get_ref().as_table();
            span = match value.get_ref() {
                DeValue::Table(_) if index.is_none() => name.span(),
                _ => value.span(),
            };
        }
        span
    }
}

/// A bound of a range with at most four significant digits, with an exponent where it is small or large.
pub(super) fn bound(value: f64) -> String {
    // The exponent form rounds to significant digits.
    let rounded = format!("{value:.3e}").parse().unwrap_or(value);
    match rounded.abs() {
        0.0 => "0".to_owned(),
        size if (1e-4..1e6).contains(&size) => format!("{rounded}"),
        _ => format!("{rounded:e}"),
    }
}

impl Refusals {
    /// The first of them, with their locations.
    fn error(mut self, path: &str, source: &str) -> InputError {
        self.recorded.sort_by_key(|refusal| refusal.span.start);
        let omitted = self.omitted + self.recorded.len().saturating_sub(MOST_SHOWN);
        let problems = self.recorded.into_iter().take(MOST_SHOWN).map(|Refusal { span, reason, help }| {
            Problem { location: Some(Location::of(source, span)), reason, help }
        });
        InputError { path: path.to_owned(), source: source.to_owned(), problems: problems.collect(), omitted }
    }
}
