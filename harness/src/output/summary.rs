//! Summary of a verification: plain text for the terminal, Markdown for continuous integration.

use std::fmt::Write;

use aplomb_flight::limit::Outcome;
use aplomb_study::verify::{Cause, Item, Judgement};

/// Counts of one flight, or of all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Within the limit.
    pub pass: usize,
    /// Outside the limit.
    pub fail: usize,
    /// Without a figure.
    pub inconclusive: usize,
    /// Waived with a reason.
    pub waived: usize,
}

impl Counts {
    /// Counts items.
    pub fn of<'a>(items: impl IntoIterator<Item = &'a Item>) -> Self {
        let mut counts = Self::default();
        for item in items {
            match item.outcome {
                _ if item.waived.is_some() => counts.waived += 1,
                Outcome::Pass => counts.pass += 1,
                Outcome::Fail => counts.fail += 1,
                Outcome::Inconclusive => counts.inconclusive += 1,
            }
        }
        counts
    }

    /// Description, without zero counts.
    #[must_use]
    pub fn words(self) -> String {
        let mut parts = vec![format!("{} pass", self.pass)];
        for (count, word) in
            [(self.fail, "fail"), (self.inconclusive, "inconclusive"), (self.waived, "waived")]
        {
            if count > 0 {
                parts.push(format!("{count} {word}"));
            }
        }
        parts.join(", ")
    }
}

/// Plain text: a line per flight, waived and untested requirements, then a line per cause.
#[must_use]
pub fn to_text(judgement: &Judgement, causes: &[Cause]) -> String {
    let flights = judgement.flights();
    let width = flights.iter().map(|flight| flight.chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    // Writing to a text cannot fail.
    for flight in flights {
        let counts = Counts::of(judgement.of_flight(flight));
        let _ = writeln!(text, "{flight:width$}  {}", counts.words());
    }
    for item in judgement.items.iter().filter(|item| item.waived.is_some()) {
        let reason = item.waived.as_deref().unwrap_or_default();
        let _ = writeln!(text, "waived: {}: {}: {reason}", item.flight, item.id);
    }
    for untested in &judgement.untested {
        let _ = writeln!(text, "untested: {}: {}", untested.id, untested.why);
    }
    if !causes.is_empty() {
        text.push('\n');
    }
    for cause in causes {
        let _ = writeln!(text, "{cause}");
    }
    text
}

/// Markdown: the outcome, the causes, and a table of the flights.
#[must_use]
pub fn to_markdown(judgement: &Judgement, causes: &[Cause]) -> String {
    let counts = Counts::of(&judgement.items);
    let verdict = if causes.is_empty() { "pass" } else { "fail" };
    let mut text = format!(
        "## aplomb verify: {verdict}\n\n{}, {} seeds per flight. A simulation is evidence, never clearance to fly.\n\n",
        counts.words(),
        judgement.seeds
    );
    for cause in causes {
        let _ = writeln!(text, "- {}", cause.to_string().replace('|', "\\|"));
    }
    text.push_str("\n| flight | outcome |\n| --- | --- |\n");
    for flight in judgement.flights() {
        let counts = Counts::of(judgement.of_flight(flight));
        let _ = writeln!(text, "| {flight} | {} |", counts.words());
    }
    for untested in &judgement.untested {
        let _ = writeln!(text, "\nUntested: {}: {}.", untested.id, untested.why);
    }
    text
}
