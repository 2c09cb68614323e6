//! Errors in input files with their location, rendered for a person.

use std::fmt;
use std::ops::Range;

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

/// One error in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Location; `None` when the file could not be read.
    pub location: Option<Location>,
    /// Reason, in one sentence.
    pub reason: String,
    /// Hint: the nearest valid key, or what would be accepted.
    pub help: Option<String>,
}

/// A range of the file's text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Location {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The text of the range.
    pub text: String,
    /// The range in bytes.
    pub span: Range<usize>,
}

impl Location {
    /// The location of `span` in `source`. A span past the end is truncated.
    #[must_use]
    pub fn of(source: &str, span: Range<usize>) -> Self {
        let start = floor_boundary(source, span.start);
        let end = floor_boundary(source, span.end).max(start);
        let before = &source[..start];
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        Self {
            line: before.matches('\n').count() + 1,
            column: source[line_start..start].chars().count() + 1,
            text: source[start..end].to_owned(),
            span: start..end,
        }
    }
}

fn floor_boundary(source: &str, index: usize) -> usize {
    (0..=index.min(source.len())).rev().find(|&i| source.is_char_boundary(i)).unwrap_or(0)
}

/// Largest number of errors of one file that are shown.
pub const MOST_SHOWN: usize = 20;

/// The errors in one file. `Display` prints each with its line and a caret under the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputError {
    /// Path of the file as given.
    pub path: String,
    /// The text of the file.
    pub source: String,
    /// The first [`MOST_SHOWN`] errors in order of their location.
    pub problems: Vec<Problem>,
    /// Number of further errors.
    pub omitted: usize,
}

impl InputError {
    /// An error of a file as a whole.
    #[must_use]
    pub fn of_file(path: String, reason: String, help: Option<String>) -> Self {
        let problems = vec![Problem { location: None, reason, help }];
        Self { path, source: String::new(), problems, omitted: 0 }
    }

    /// All errors as text, in colour with `coloured`.
    #[must_use]
    pub fn render(&self, coloured: bool) -> String {
        let renderer = if coloured { Renderer::styled() } else { Renderer::plain() };
        let texts: Vec<String> =
            self.problems.iter().map(|problem| renderer.render(&[self.group(problem)])).collect();
        let omitted = (self.omitted > 0).then(|| format!("{}: {} further errors", self.path, self.omitted));
        texts.into_iter().chain(omitted).collect::<Vec<_>>().join("\n\n")
    }

    fn group<'a>(&'a self, problem: &'a Problem) -> Group<'a> {
        let reason = problem.reason.as_str();
        let mut group = match &problem.location {
            Some(location) => {
                let mark = AnnotationKind::Primary.span(location.span.clone());
                let snippet = Snippet::source(self.source.as_str()).path(self.path.as_str()).annotation(mark);
                Level::ERROR.primary_title(reason).element(snippet)
            }
            None => Group::with_title(Level::ERROR.primary_title(format!("{}: {reason}", self.path))),
        };
        if let Some(help) = &problem.help {
            group = group.element(Level::HELP.message(help.as_str()));
        }
        group
    }
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(false))
    }
}

impl std::error::Error for InputError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn location_counts_lines_and_characters_from_one() {
        let source = "a = 1\nlängs = 2\n";
        let location = Location::of(source, 7..9);
        // Byte 7 is the first of the two bytes of the umlaut: second line, second character.
        assert_eq!((location.line, location.column, location.text.as_str()), (2, 2, "ä"));
        assert_eq!(Location::of(source, 8..9).column, 2);
        let beyond = Location::of(source, 900..901);
        assert_eq!((beyond.line, beyond.column, beyond.text.as_str()), (3, 1, ""));
    }

    #[test]
    fn message_shows_file_line_column_text_reason_and_help() {
        let source = "name = \"x\"\nmass = 1.2\n".to_owned();
        let location = Location::of(&source, 11..15);
        let problem = Problem {
            location: Some(location),
            reason: "unknown key `mass`".to_owned(),
            help: Some("did you mean `mass_kg`?".to_owned()),
        };
        let error = InputError { path: "craft.toml".to_owned(), source, problems: vec![problem], omitted: 0 };
        let expected = "\
error: unknown key `mass`
 --> craft.toml:2:1
  |
2 | mass = 1.2
  | ^^^^
  |
  = help: did you mean `mass_kg`?";
        assert_eq!(error.to_string(), expected);
    }
}
