//! The page: verdict, flights with checks and plots, terms, cautions, how to reproduce it.

use super::fill::{self, Fill};
use super::panels::{self, Panel};
use super::sheet::{self, Section, Sheet};
use super::xml::{anchor, escape};
use super::{FlightSection, Report, bullet, glossary, shade};
use aplomb_flight::limit::Outcome;
use aplomb_study::number;
use aplomb_study::verdict::Verdict;
use std::fmt::Write as _;

/// Counts of outcomes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    passed: usize,
    failed: usize,
    inconclusive: usize,
}

impl Counts {
    /// Of these verdicts.
    pub fn of<'a>(verdicts: impl IntoIterator<Item = &'a Verdict>) -> Self {
        let mut counts = Counts::default();
        for verdict in verdicts {
            match verdict.outcome {
                Outcome::Pass => counts.passed += 1,
                Outcome::Fail => counts.failed += 1,
                Outcome::Inconclusive => counts.inconclusive += 1,
            }
        }
        counts
    }

    fn add(&mut self, other: Self) {
        self.passed += other.passed;
        self.failed += other.failed;
        self.inconclusive += other.inconclusive;
    }

    fn total(self) -> usize {
        self.passed + self.failed + self.inconclusive
    }

    /// CSS class of the verdict.
    pub fn class(self) -> &'static str {
        match self {
            Counts { failed: 1.., .. } => "fail",
            Counts { inconclusive: 1.., .. } | Counts { passed: 0, .. } => "inconclusive",
            Counts { .. } => "pass",
        }
    }

    /// The verdict as a sentence.
    pub fn words(self) -> String {
        let total = self.total();
        match (total, self.passed == total) {
            (0, _) => "No checks, so nothing is verified".to_owned(),
            (1, true) => "The one check passed".to_owned(),
            (_, true) => format!("All {total} checks passed"),
            _ => {
                let mut parts = Vec::new();
                if self.failed > 0 {
                    parts.push(format!("{} failed", self.failed));
                }
                if self.inconclusive > 0 {
                    parts.push(format!("{} inconclusive", self.inconclusive));
                }
                format!("{} of {total} checks passed; {}", self.passed, parts.join(", "))
            }
        }
    }
}

/// A flight's section of the page, drawn. It does not hold the trace.
#[derive(Debug)]
pub struct FlightPage {
    section: Section,
    trace_file: String,
    counts: Counts,
}

impl FlightPage {
    /// Draws a flight; `index` is its position in the report.
    #[must_use]
    pub fn draw(index: usize, section: &FlightSection<'_>) -> Self {
        Self {
            section: flight(section, &section_id(index, section)),
            trace_file: csv_of(section),
            counts: Counts::of(section.verdicts),
        }
    }
}

/// Composes the whole page.
pub fn compose(report: Report) -> String {
    let mut counts = Counts::default();
    report.flights.iter().for_each(|flight| counts.add(flight.counts));
    let mut sheet = Sheet::new(&report.title, &report.subtitle, &["columns.md"]);
    sheet.verdict(counts.class(), &counts.words());
    if !report.summary.is_empty() {
        sheet.head(&format!("<p>{}</p>", escape(&report.summary)));
    }
    for FlightPage { section, trace_file, .. } in report.flights {
        sheet.data(trace_file);
        sheet.section(section);
    }
    sheet.finish(&glossary::TERMS, &report.repeat)
}

/// File of the trace of a flight.
fn csv_of(section: &FlightSection) -> String {
    format!("{}.csv", section.name)
}

fn section_id(index: usize, section: &FlightSection) -> String {
    format!("f{}-{}", index + 1, anchor(&section.name))
}

fn flight(section: &FlightSection, id: &str) -> Section {
    let counts = Counts::of(section.verdicts);
    let mut body = String::new();
    let _ = write!(
        body,
        "<p class=\"lead\">{}</p><p class=\"details\"><b>Air:</b> {} <b>File:</b> <code>{}</code>. <b>Seeds:</b> {}.</p>{}",
        escape(&section.purpose),
        escape(&section.air),
        escape(&section.name),
        match section.seeds {
            0 | 1 => "one".to_owned(),
            seeds => format!("figures pooled over {seeds}, the first one is plotted"),
        },
        sheet::data_links("Trace", &[csv_of(section)])
    );
    checks(&mut body, section.verdicts, id);
    if section.trace.rows.len() < 2 {
        body.push_str("<p>No samples were recorded: there is nothing to plot.</p>");
    } else {
        body += &fill::key("Shaded or tinted in the plots:", fills(section));
        body.push_str("<div class=\"plots\">");
        for Panel { title, caption, svg } in panels::of_flight(section, id) {
            let _ =
                write!(body, "\n<figure><h3>{title}</h3>{svg}<figcaption>{caption}</figcaption></figure>");
        }
        body.push_str("</div>");
    }
    Section::new(id, &section.title, body).verdict(counts.class(), counts.words()).collapsible()
}

/// CSS class and word of an outcome.
pub(crate) fn outcome(outcome: Outcome) -> (&'static str, &'static str) {
    match outcome {
        Outcome::Pass => ("pass", "pass"),
        Outcome::Fail => ("fail", "fail"),
        Outcome::Inconclusive => ("inconclusive", "inconclusive"),
    }
}

/// The table of the checks.
pub fn checks(page: &mut String, verdicts: &[Verdict], id: &str) {
    if verdicts.is_empty() {
        return;
    }
    page.push_str(
        "<table><caption>Checks</caption><thead><tr><th scope=\"col\">Figure</th>\
         <th scope=\"col\">Measured</th><th scope=\"col\">Limit</th><th scope=\"col\">Allowed range and measured value</th>\
         <th scope=\"col\">Outcome</th></tr></thead><tbody>",
    );
    for (index, verdict) in verdicts.iter().enumerate() {
        let (class, word) = outcome(verdict.outcome);
        let source = verdict.source.as_ref().map_or(String::new(), |source| {
            format!("<span class=\"source\">Limit from: {}</span>", escape(source))
        });
        let _ = write!(
            page,
            "\n<tr><th scope=\"row\">{}{source}</th><td class=\"figure\">{} {}</td><td class=\"limit\">{}</td>\
             <td class=\"bullet\">{}</td><td class=\"outcome {class}\">{word}</td></tr>",
            escape(&verdict.text),
            number::measured(verdict.measured, verdict.limit),
            escape(verdict.unit),
            escape(&number::limit(verdict.limit, verdict.unit)),
            bullet::draw(verdict, &format!("{id}-e{index}")),
        );
    }
    page.push_str("</tbody></table>\n");
}

/// Fills in the plots of this flight, with the share of the time.
fn fills(section: &FlightSection) -> Vec<(Fill, String)> {
    let share = |fill| shade::share(section.trace, |flags| shade::is_on(fill, flags));
    let shaded = shade::FILLS.into_iter().filter(|&fill| share(fill) > 0.0);
    let shaded =
        shaded.map(|fill| (fill, format!(", {} % of the time", number::significant(100.0 * share(fill), 2))));
    let allowed = (!section.bands.is_empty()).then(|| (Fill::Allowed, " by a check".to_owned()));
    shaded.chain(allowed).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdict_never_counts_inconclusive_as_pass() {
        let words = |passed, failed, inconclusive| Counts { passed, failed, inconclusive }.words();
        assert_eq!(words(12, 0, 0), "All 12 checks passed");
        assert_eq!(words(11, 1, 0), "11 of 12 checks passed; 1 failed");
        assert_eq!(words(9, 2, 1), "9 of 12 checks passed; 2 failed, 1 inconclusive");
        assert_eq!(words(0, 0, 0), "No checks, so nothing is verified");
        assert_eq!(Counts { passed: 3, failed: 0, inconclusive: 1 }.class(), "inconclusive");
        assert_eq!(Counts::default().class(), "inconclusive");
    }
}
