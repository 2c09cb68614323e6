//! Report page of a comparison.

use std::fmt::Write;

use crate::report::Repeat;
use crate::report::fill::{self, Fill};
use crate::report::sheet::{Section, Sheet};
use crate::report::svg::{Align, Svg};
use crate::report::xml::{anchor, escape};
use aplomb_study::compare::{Comparison, Finding, MetricLine};
use aplomb_study::number;

/// Name of the file with the figures, beside the page.
pub const CSV: &str = "comparison.csv";

/// Composes the page; `subjects` describe A and B, `title_of` is the heading of a flight.
#[must_use]
pub fn page(
    comparison: &Comparison,
    subjects: [&str; 2],
    title_of: &dyn Fn(&str) -> String,
    how: &Repeat,
) -> String {
    let mut sheet = Sheet::new("Comparison of A and B", "", &[CSV]);
    let count = |finding: Finding| comparison.metrics.iter().filter(|line| line.finding == finding).count();
    sheet.head(&format!(
        "<p><b>A</b>: <code>{}</code><br/><b>B</b>: <code>{}</code></p>",
        escape(subjects[0]),
        escape(subjects[1])
    ));
    let class = match (count(Finding::Worse), count(Finding::Inconclusive)) {
        (1.., _) => "fail",
        (0, 1..) => "inconclusive",
        (0, 0) => "pass",
    };
    let words = format!(
        "B is better in {}, worse in {} of {} figures; {} are inconclusive",
        count(Finding::Better),
        count(Finding::Worse),
        comparison.metrics.len(),
        count(Finding::Inconclusive)
    );
    sheet.verdict(class, &words);
    sheet.head(&format!(
        "<p>Same {} seeds for both. The intervals are simultaneous for all figures with 95 % confidence.</p>{}",
        comparison.seeds,
        fill::key("Tinted in the intervals:", [(Fill::Negligible, String::new())])
    ));
    let mut flights: Vec<&str> = comparison.metrics.iter().map(|line| line.flight.as_str()).collect();
    flights.dedup();
    for flight in flights {
        sheet.section(section(comparison, flight, &title_of(flight)));
    }
    sheet.finish(&TERMS, how)
}

fn section(comparison: &Comparison, flight: &str, title: &str) -> Section {
    let id = anchor(flight);
    let mut body = "<table><caption>Figures</caption><thead><tr>\
         <th scope=\"col\">What is measured</th><th scope=\"col\">A, B</th><th scope=\"col\">Limit</th>\
         <th scope=\"col\">Improvement by B</th><th scope=\"col\">Finding</th></tr></thead><tbody>"
        .to_owned();
    let lines: Vec<&MetricLine> = comparison.metrics.iter().filter(|line| line.flight == flight).collect();
    for (index, line) in lines.iter().enumerate() {
        row(&mut body, line, &format!("{id}-{index}"));
    }
    body.push_str("</tbody></table>");
    let count = |finding: Finding| lines.iter().filter(|line| line.finding == finding).count();
    let (better, worse, open) = (count(Finding::Better), count(Finding::Worse), count(Finding::Inconclusive));
    let class = match (worse, open) {
        (1.., _) => "fail",
        (0, 1..) => "inconclusive",
        (0, 0) => "pass",
    };
    let words = format!("{better} better, {worse} worse, {open} inconclusive of {}", lines.len());
    Section::new(id, title, body).verdict(class, words).collapsible()
}

fn row(page: &mut String, line: &MetricLine, id: &str) {
    let Some(limit) = line.limit else { return };
    let figure = |value: Option<f64>| value.map_or("–".to_owned(), |value| number::measured(value, limit));
    let (class, word) = match line.finding {
        Finding::Better => ("pass", "better"),
        Finding::Worse => ("fail", "worse"),
        Finding::Same => ("pass", "the same"),
        Finding::NoRelevantDifference => ("pass", "no relevant difference"),
        Finding::Inconclusive => ("inconclusive", "inconclusive"),
    };
    let _ = write!(
        page,
        "\n<tr><th scope=\"row\">{}<span class=\"source\">{}.</span></th><td class=\"figure\">{}, {} {}</td>\
         <td class=\"limit\">{}</td><td class=\"bullet\">{}</td><td class=\"outcome {class}\">{word}</td></tr>",
        escape(&line.text),
        escape(&line.sentence),
        figure(line.a),
        figure(line.b),
        escape(&line.unit),
        escape(&number::limit(limit, &line.unit)),
        interval(line, id),
    );
}

/// The interval of the improvement; differences below the smallest relevant one are tinted.
fn interval(line: &MetricLine, id: &str) -> String {
    let (width, middle) = (180.0, 11.0);
    let mut svg = Svg::new(id, width, 22.0, "Improvement by B", &line.sentence);
    let (Some(improvement), Some(low), Some(high)) =
        (line.improvement, line.improvement_low, line.improvement_high)
    else {
        svg.text("note", (6.0, 15.0), Align::Start, "inconclusive");
        return svg.finish();
    };
    let reach =
        1.1 * low.abs().max(high.abs()).max(1.5 * line.smallest_relevant_difference).max(f64::MIN_POSITIVE);
    let at = |value: f64| 0.5 * width + 0.46 * width * value / reach;
    svg.rect(
        Fill::Negligible.class(),
        at(-line.smallest_relevant_difference),
        3.0,
        at(line.smallest_relevant_difference) - at(-line.smallest_relevant_difference),
        16.0,
    );
    svg.line("grid", (at(-reach), middle), (at(reach), middle));
    svg.line("zero", (at(0.0), 1.0), (at(0.0), 21.0));
    svg.line("truth", (at(low), middle), (at(high), middle));
    svg.circle("time", (at(improvement), middle), 4.0);
    svg.finish()
}

const TERMS: [(&str, &str); 4] = [
    (
        "inconclusive",
        "The seeds neither show a difference nor exclude a relevant one; the sentence gives the number of seeds that would show one in 80 of 100 comparisons.",
    ),
    (
        "improvement",
        "Margin of B minus margin of A in the same flight under the same seed, mean over the seeds.",
    ),
    ("no relevant difference", "The difference is smaller than a tenth of the limit (tinted)."),
    (
        "paired",
        "A and B have the same air and the same sensor noise, so that only their own difference remains.",
    ),
];
