//! Report page of a comparison.

use std::fmt::Write;

use crate::report::svg::{Align, Svg};
use crate::report::xml::{anchor, escape};
use crate::report::{Repeat, sheet};
use aplomb_study::compare::{Comparison, Finding, MetricLine};
use aplomb_study::number;

/// Composes the page; `subjects` describe A and B.
#[must_use]
pub fn page(comparison: &Comparison, subjects: [&str; 2], how: &Repeat) -> String {
    let mut page = String::new();
    sheet::open(&mut page, "Comparison of A and B");
    let count = |finding: Finding| comparison.metrics.iter().filter(|line| line.finding == finding).count();
    // Writing to a text cannot fail.
    let _ = write!(
        page,
        "<header><h1>Comparison of A and B</h1><p><b>A</b>: <code>{}</code><br/><b>B</b>: <code>{}</code></p>\
         <p class=\"verdict inconclusive\">B is better in {}, worse in {} of {} figures; {} are inconclusive.</p>\
         <p>Same {} seeds for both. The intervals are simultaneous for all figures with 95 % confidence.</p>\
         <p class=\"soft\">{}</p></header>",
        escape(subjects[0]),
        escape(subjects[1]),
        count(Finding::Better),
        count(Finding::Worse),
        comparison.metrics.len(),
        count(Finding::Inconclusive),
        comparison.seeds,
        sheet::EVIDENCE
    );
    let mut flights: Vec<&str> = comparison.metrics.iter().map(|line| line.flight.as_str()).collect();
    flights.dedup();
    for flight in flights {
        let id = anchor(flight);
        let _ = write!(
            page,
            "<section id=\"{id}\"><h2>{}</h2><table><caption>Figures</caption><thead><tr>\
             <th scope=\"col\">What is measured</th><th scope=\"col\">A, B</th><th scope=\"col\">Limit</th>\
             <th scope=\"col\">Improvement by B</th><th scope=\"col\">Finding</th></tr></thead><tbody>",
            escape(flight)
        );
        for (index, line) in comparison.metrics.iter().filter(|line| line.flight == flight).enumerate() {
            row(&mut page, line, &format!("{id}-{index}"));
        }
        page.push_str("</tbody></table></section>\n");
    }
    sheet::terms(&mut page, &TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, how);
    sheet::close(&mut page);
    page
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
        escape(&line.id),
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
        "allowed",
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
        "The seeds neither show a difference nor exclude a relevant one; the sentence gives the number of seeds needed.",
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
