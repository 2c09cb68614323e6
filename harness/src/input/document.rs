//! One TOML file with the location of every key and value, and the list of its errors.

use std::cell::RefCell;
use std::ops::Range;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::problem::{InputError, Location, Problem};

/// A file being read. Each check adds its errors; [`Document::finish`] returns the result or all errors.
#[derive(Debug)]
pub struct Document<'s> {
    path: &'s str,
    source: &'s str,
    root: Spanned<DeTable<'s>>,
    problems: RefCell<Vec<Problem>>,
}

/// Reads the text of a file. Unreadable files and text that is not UTF-8 are errors.
pub fn text_of(path: &Path) -> Result<String, InputError> {
    let shown = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|error| InputError {
        path: shown.clone(),
        source: String::new(),
        problems: vec![Problem { location: None, reason: format!("cannot be read: {error}"), help: None }],
    })?;
    String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let source = String::from_utf8_lossy(error.as_bytes()).into_owned();
        let location = Location::of(&source, good..good + char::REPLACEMENT_CHARACTER.len_utf8());
        let reason = format!("is not UTF-8 text from byte {good} on");
        let help = Some("save the file as UTF-8".to_owned());
        InputError { path: shown, source, problems: vec![Problem { location: Some(location), reason, help }] }
    })
}

impl<'s> Document<'s> {
    /// Parses the text; fails on syntax errors.
    pub fn parse(path: &'s str, source: &'s str) -> Result<Self, InputError> {
        let (root, errors) = DeTable::parse_recoverable(source);
        if errors.is_empty() {
            return Ok(Self { path, source, root, problems: RefCell::default() });
        }
        let problems = errors.iter().map(|error| Problem {
            location: Some(Location::of(source, error.span().unwrap_or(source.len()..source.len()))),
            reason: format!("not valid TOML: {}", error.message().replace('\n', ": ")),
            help: None,
        });
        Err(InputError { path: path.to_owned(), source: source.to_owned(), problems: problems.collect() })
    }

    /// Records an error at a range of the text.
    pub(super) fn refuse(&self, span: Range<usize>, reason: impl Into<String>, help: Option<String>) {
        let location = Some(Location::of(self.source, span));
        self.problems.borrow_mut().push(Problem { location, reason: reason.into(), help });
    }

    /// Records an error at a key path such as `command[2].tilt_deg.roll`; if the path is incomplete in the
    /// file, at its last existing part.
    pub fn refuse_at(&self, key_path: &str, reason: impl Into<String>, help: Option<&str>) {
        self.refuse(self.span_of(key_path), reason, help.map(str::to_owned));
    }

    /// Returns `value`; records an error unless it is within `low..=high`.
    pub fn require_within(&self, key_path: &str, value: f64, low: f64, high: f64) -> f64 {
        if !(low..=high).contains(&value) {
            let reason = if high == f64::INFINITY {
                format!("must be at least {low}")
            } else if low == f64::NEG_INFINITY {
                format!("must be at most {high}")
            } else {
                format!("must lie between {low} and {high}")
            };
            self.refuse_at(key_path, reason, None);
        }
        value
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
        let mut problems = self.problems.into_inner();
        match result {
            Some(value) if problems.is_empty() => Ok(value),
            _ => {
                problems.sort_by_key(|problem| {
                    problem.location.as_ref().map_or(0, |location| location.span.start)
                });
                Err(InputError { path: self.path.to_owned(), source: self.source.to_owned(), problems })
            }
        }
    }

    /// The root table.
    pub(super) fn root(&self) -> &Spanned<DeTable<'s>> {
        &self.root
    }

    /// True when no error is recorded.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.problems.borrow().is_empty()
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
