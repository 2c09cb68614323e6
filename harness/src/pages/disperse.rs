//! Report page of a dispersion.

use std::fmt::Write;

use crate::report::Repeat;
use crate::report::fill::Fill;
use crate::report::sheet::{Section, Sheet};
use crate::report::svg::Svg;
use crate::report::xml::{anchor, escape};
use aplomb_study::disperse::results::{FlightResult, MetricResult, RankLine, Results};
use aplomb_study::disperse::{Campaign, Quantity};
use aplomb_study::number;

/// Number of failed runs in the list.
const LISTED: usize = 20;
/// Number of entries shown of the ranking.
const RANKED: usize = 8;
/// Significance level of the ranking.
const SIGNIFICANT: f64 = 0.05;

/// Composes the page; `at_least` is the required probability.
#[must_use]
pub fn page(campaign: &Campaign, results: &Results, at_least: f64, how: &Repeat) -> String {
    let title = format!("Dispersion of the {}", campaign.craft().name);
    let mut sheet = Sheet::new(&title, &campaign.craft().words(), &[]);
    for flight in &results.flights {
        let class = class(flight, at_least);
        let words = escape(&flight.words(results.runs));
        sheet.head(&format!("<p class=\"verdict small {class}\">{words}.</p>"));
    }
    sheet.head(&format!(
        "<p>Required: at least {} % of all such craft. Pass: the whole interval is above it. Fail: the whole interval is below it. \
         Every run is another craft in other air; the controller and its model are the same.</p>",
        100.0 * at_least
    ));
    for flight in &results.flights {
        sheet.data(format!("{}.csv", flight.flight));
        let plan = campaign.plans().iter().find(|plan| plan.name == flight.flight);
        let title = plan.map_or(flight.flight.as_str(), |plan| plan.title.as_str());
        sheet.section(section(title, results, flight, at_least));
    }
    sheet.section(Section::new("dispersions", "Dispersions", varies(campaign)));
    sheet.finish(&TERMS, how)
}

/// Style class of the verdict on a flight.
fn class(flight: &FlightResult, at_least: f64) -> &'static str {
    if flight.probability_low >= at_least {
        "pass"
    } else if flight.probability_high < at_least {
        "fail"
    } else {
        "inconclusive"
    }
}

fn section(title: &str, results: &Results, flight: &FlightResult, at_least: f64) -> Section {
    let id = anchor(&flight.flight);
    let mut body = format!(
        "<figure class=\"interval\">{}<figcaption>Share of the runs that pass, with its 95 % interval (Clopper and Pearson \
         1934); tinted: required.</figcaption></figure>",
        interval(flight, at_least, &format!("{id}-p"))
    );
    failed(&mut body, results, flight);
    body.push_str(
        "<table><caption>Figures over all runs</caption><thead><tr><th scope=\"col\">What is measured</th>\
         <th scope=\"col\">5 %, median, 95 %</th><th scope=\"col\">Worst</th><th scope=\"col\">Limit</th>\
         <th scope=\"col\">Failed runs</th></tr></thead><tbody>",
    );
    for metric in &flight.metrics {
        metric_row(&mut body, metric);
    }
    body.push_str("</tbody></table>");
    ranking(&mut body, flight);
    let percent = number::fixed(100.0 * flight.probability, 1);
    Section::new(id, title, body)
        .verdict(class(flight, at_least), format!("{percent} % of the runs pass"))
        .collapsible()
}

fn interval(flight: &FlightResult, at_least: f64, id: &str) -> String {
    let (width, low) = (320.0, (flight.probability_low.min(at_least) - 0.05).max(0.0));
    let at = |share: f64| 8.0 + (width - 16.0) * (share - low) / (1.0 - low);
    let percent = |share: f64| format!("{} %", number::fixed(100.0 * share, 1));
    let description = format!("{} to {}", percent(flight.probability_low), percent(flight.probability_high));
    let mut svg = Svg::new(id, width, 44.0, "Probability", &description);
    use crate::report::svg::Align;
    svg.rect(Fill::Allowed.class(), at(at_least), 4.0, at(1.0) - at(at_least), 20.0);
    svg.line("grid", (at(low), 14.0), (at(1.0), 14.0));
    svg.line("truth", (at(flight.probability_low), 14.0), (at(flight.probability_high), 14.0));
    for end in [flight.probability_low, flight.probability_high] {
        svg.line("truth", (at(end), 9.0), (at(end), 19.0));
    }
    svg.circle(&format!("{} solid", class(flight, at_least)), (at(flight.probability), 14.0), 4.0);
    svg.text("note", (at(low), 40.0), Align::Start, &percent(low));
    svg.text("note", (at(1.0), 40.0), Align::End, "100 %");
    svg.finish()
}

fn failed(page: &mut String, results: &Results, flight: &FlightResult) {
    if flight.failed.is_empty() {
        page.push_str("<p>No run fails.</p>");
        return;
    }
    let listed: Vec<String> = flight.failed.iter().take(LISTED).map(u64::to_string).collect();
    let more = flight.failed.len().saturating_sub(LISTED);
    let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
    let _ = write!(
        page,
        "<p>Runs that fail: {}{rest}. To repeat one bit for bit: <code>aplomb disperse ... --seed {} --flight {} --replay \
         {}</code></p>",
        listed.join(", "),
        results.seed,
        escape(&flight.flight),
        flight.failed[0]
    );
}

fn metric_row(page: &mut String, line: &MetricResult) {
    let Some(metric) = &line.metric else { return };
    let figure =
        |value: Option<f64>| value.map_or("–".to_owned(), |value| number::measured(value, metric.limit));
    let name =
        if metric.id == metric.text { String::new() } else { format!("<b>{}</b>: ", escape(&metric.id)) };
    let (class, failed) =
        if line.fail == 0 { ("pass", "none".to_owned()) } else { ("fail", line.fail.to_string()) };
    let _ = write!(
        page,
        "\n<tr><th scope=\"row\">{name}{}</th><td class=\"figure\">{}, {}, {} {unit}</td><td class=\"figure\">{} {unit}</td>\
         <td class=\"limit\">{}</td><td class=\"outcome {class}\">{failed}</td></tr>",
        escape(&metric.text),
        figure(line.quantile_5),
        figure(line.median),
        figure(line.quantile_95),
        figure(line.worst),
        escape(&number::limit(metric.limit, metric.unit)),
        unit = escape(metric.unit),
    );
}

fn ranking(page: &mut String, flight: &FlightResult) {
    let significant: Vec<&RankLine> =
        flight.ranking.iter().filter(|line| line.p_value < SIGNIFICANT).take(RANKED).collect();
    page.push_str("<h3>Dispersions associated with failure</h3>");
    if significant.is_empty() {
        page.push_str("<p>None is significant.</p>");
        return;
    }
    page.push_str("<ul>");
    for line in significant {
        let meaning = Quantity::ALL.iter().find(|quantity| quantity.key() == line.what);
        let meaning = meaning.map_or("", |quantity| quantity.meaning().trim().trim_end_matches('.'));
        let _ = write!(
            page,
            "<li><b>{}</b> ({}): {}; p {}</li>",
            escape(meaning),
            escape(&line.what),
            escape(&line.words()),
            if line.p_value < 0.001 {
                "below 0.001".to_owned()
            } else {
                number::significant(line.p_value, 2)
            }
        );
    }
    page.push_str(
        "</ul><p class=\"soft\">Rank statistics: difference of the draws of failed runs (Mann and Whitney 1947), and correlation of the \
         draw with the least slack (Spearman); p corrected for all tests (Holm 1979).</p>",
    );
}

fn varies(campaign: &Campaign) -> String {
    let mut html = "<ul>".to_owned();
    for vary in &campaign.varies {
        let _ = write!(
            html,
            "<li><b>{}</b> {} {}.</li>",
            vary.quantity.key(),
            escape(vary.quantity.meaning().trim()),
            escape(&vary.dispersion.words(vary.quantity.unit()))
        );
    }
    html + "</ul>"
}

const TERMS: [(&str, &str); 5] = [
    ("95 % interval", "By this rule the interval contains the true share in at least 95 of 100 dispersions."),
    ("fail", "The figure is outside its limit, or inconclusive."),
    ("run", "One craft drawn from the dispersions, on one flight; run i is the same craft on every flight."),
    ("dispersion", "Distribution of a quantity about its nominal value."),
    ("worst", "The figure with the least margin to its limit."),
];
