//! The page: verdict, flights with checks and plots, terms, cautions, how to reproduce it.

use super::panels::{self, Panel};
use super::xml::{anchor, escape};
use aplomb_study::number;

use super::{FlightSection, Report, bullet, glossary, shade, sheet};
use aplomb_flight::limit::Outcome;
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

/// Composes the whole page.
pub fn compose(report: &Report) -> String {
    let mut page = String::new();
    sheet::open(&mut page, &report.title);
    header(&mut page, report);
    for (index, section) in report.flights.iter().enumerate() {
        flight(&mut page, section, &section_id(index, section));
    }
    sheet::terms(&mut page, &glossary::TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, &report.repeat);
    sheet::close(&mut page);
    page
}

fn section_id(index: usize, section: &FlightSection) -> String {
    format!("f{}-{}", index + 1, anchor(&section.name))
}

fn header(page: &mut String, report: &Report) {
    let counts = Counts::of(report.flights.iter().flat_map(|flight| flight.verdicts));
    let _ = write!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1><p class=\"verdict {}\">{}.</p>",
        escape(&report.subtitle),
        escape(&report.title),
        counts.class(),
        counts.words()
    );
    if !report.summary.is_empty() {
        let _ = write!(page, "<p>{}</p>", escape(&report.summary));
    }
    let _ = write!(page, "<p class=\"soft\">{}</p>", sheet::EVIDENCE);
    if report.flights.len() > 1 {
        page.push_str("<nav aria-label=\"Flights\"><ol class=\"overview\">");
        for (index, section) in report.flights.iter().enumerate() {
            let counts = Counts::of(section.verdicts);
            let _ = write!(
                page,
                "<li><a href=\"#{}\">{}</a> <span class=\"{}\">{} of {} passed</span></li>",
                section_id(index, section),
                escape(&section.title),
                counts.class(),
                counts.passed,
                counts.total()
            );
        }
        page.push_str("</ol></nav>");
    }
    page.push_str("</header>\n");
}

fn flight(page: &mut String, section: &FlightSection, id: &str) {
    let counts = Counts::of(section.verdicts);
    let _ = write!(
        page,
        "<section id=\"{id}\"><h2>{}</h2><p class=\"lead\">{}</p><p class=\"details\"><b>Air:</b> {} <b>File:</b> \
         <code>{}</code>. <b>Seeds:</b> {}.</p>",
        escape(&section.title),
        escape(&section.purpose),
        escape(&section.air),
        escape(&section.name),
        match section.seeds {
            0 | 1 => "one".to_owned(),
            seeds => format!("figures pooled over {seeds}, the first one is plotted"),
        }
    );
    let _ = write!(page, "<p class=\"verdict small {}\">{}.</p>", counts.class(), counts.words());
    checks(page, section.verdicts, id);
    if section.trace.rows.len() < 2 {
        page.push_str("<p>No samples were recorded: there is nothing to plot.</p></section>\n");
        return;
    }
    shading_key(page, section);
    page.push_str("<div class=\"plots\">");
    for Panel { title, caption, svg } in panels::of_flight(section, id) {
        let _ = write!(page, "\n<figure><h3>{title}</h3>{svg}<figcaption>{caption}</figcaption></figure>");
    }
    page.push_str("</div></section>\n");
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

/// Key of the shading in this flight, with the share of the time.
fn shading_key(page: &mut String, section: &FlightSection) {
    let shares = shade::Kind::ALL.map(|kind| (kind, shade::share(section.trace, |flags| kind.is_on(flags))));
    if shares.iter().all(|&(_, share)| share == 0.0) {
        return;
    }
    page.push_str("<p class=\"key\">Shaded in the plots over time:");
    for (kind, share) in shares.into_iter().filter(|&(_, share)| share > 0.0) {
        let _ = write!(
            page,
            " <span><svg viewBox=\"0 0 26 14\" width=\"26\" height=\"14\" aria-hidden=\"true\">\
             <rect class=\"{0}\" width=\"26\" height=\"14\"/></svg> {1}, {2} % of the time</span>",
            kind.class(),
            kind.label(),
            number::significant(100.0 * share, 2)
        );
    }
    page.push_str("</p>");
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
