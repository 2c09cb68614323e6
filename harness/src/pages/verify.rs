//! Report page of a verification.

use std::fmt::Write;

use crate::input::Folder;
use crate::output::summary::Counts;
use crate::report::page::outcome;
use crate::report::sheet::{Section, Sheet};
use crate::report::xml::{anchor, escape};
use crate::report::{Repeat, bullet};
use aplomb_flight::check::Pooling;
use aplomb_study::margins::point::Point;
use aplomb_study::number;
use aplomb_study::requirements::{Probe, probes};
use aplomb_study::verdict::Verdict;
use aplomb_study::verify::{Cause, Item, Judgement};

/// Name of the file with the figures, beside the page.
pub const CSV: &str = "verify.csv";

/// Composes the page.
#[must_use]
pub fn page(folder: &Folder, judgement: &Judgement, causes: &[Cause], how: &Repeat) -> String {
    let title = format!("Verification of the {}", folder.subject.craft.name);
    let mut sheet = Sheet::new(&title, &folder.subject.craft.words(), &[CSV]);
    verdict(&mut sheet, judgement, causes, folder.baseline.is_some());
    for flight in judgement.flights() {
        sheet.section(section(folder, judgement, flight));
    }
    if !judgement.untested.is_empty() {
        sheet.section(Section::new("untested", "Untested requirements", untested(judgement)));
    }
    sheet.finish(&TERMS, how)
}

fn verdict(sheet: &mut Sheet, judgement: &Judgement, causes: &[Cause], compared: bool) {
    let counts = Counts::of(&judgement.items);
    match causes.len() {
        0 => sheet.verdict("pass", &format!("Pass: {}", counts.words())),
        1 => sheet.verdict("fail", &format!("Fail, one cause: {}", counts.words())),
        many => sheet.verdict("fail", &format!("Fail, {many} causes: {}", counts.words())),
    }
    let causes: String =
        causes.iter().map(|cause| format!("<li>{}</li>", escape(&cause.to_string()))).collect();
    if !causes.is_empty() {
        sheet.head(&format!("<ul>{causes}</ul>"));
    }
    sheet.head(if compared {
        "<p>Compared with the accepted baseline: a margin that shrinks by more than its tolerance is a failure.</p>"
    } else {
        "<p>There is no accepted baseline: only the limits are judged.</p>"
    });
}

fn class(counts: Counts) -> &'static str {
    match counts {
        Counts { fail: 1.., .. } => "fail",
        Counts { inconclusive: 1.., .. } => "inconclusive",
        Counts { .. } => "pass",
    }
}

fn section(folder: &Folder, judgement: &Judgement, flight: &str) -> Section {
    let plan = folder.subject.plans.iter().find(|plan| plan.name == flight);
    let purpose = match (plan, point_of(flight)) {
        (Some(plan), _) => plan.purpose.clone(),
        (None, Some(point)) => format!("Loop margins by the linear model. {}", point.words),
        (None, None) => probes::PURPOSE.to_owned(),
    };
    let title = plan.map_or_else(|| title_of(flight), |plan| plan.title.clone());
    let id = anchor(flight);
    let mut body = format!(
        "<p class=\"lead\">{}</p><table><caption>Requirements and checks</caption>\
         <thead><tr><th scope=\"col\">What is measured</th><th scope=\"col\">Measured</th><th scope=\"col\">Limit</th>\
         <th scope=\"col\">Allowed range and measured value</th><th scope=\"col\">Outcome</th></tr></thead><tbody>",
        escape(&purpose)
    );
    for (index, item) in judgement.of_flight(flight).enumerate() {
        row(&mut body, item, &format!("{id}-{index}"));
    }
    body.push_str("</tbody></table>");
    let counts = Counts::of(judgement.of_flight(flight));
    Section::new(id, &title, body).verdict(class(counts), counts.words()).collapsible()
}

/// The operating point of the items on loops.
fn point_of(flight: &str) -> Option<Point> {
    Point::named(flight.strip_prefix("margins-")?)
}

/// Heading of a probe or an operating point; the name of another flight.
pub fn title_of(flight: &str) -> String {
    let probe = Probe::ALL.into_iter().find(|probe| probe.name() == flight);
    match (probe, point_of(flight)) {
        (Some(probe), _) => probe.title().to_owned(),
        (None, Some(point)) => format!("Margins: {}", point.name.replace('-', " ")),
        (None, None) => flight.to_owned(),
    }
}

fn row(page: &mut String, item: &Item, id: &str) {
    let verdict = Verdict {
        text: item.text.clone(),
        measured: item.measured,
        limit: item.limit,
        unit: item.unit,
        outcome: item.outcome,
        source: item.source.clone(),
    };
    let (class, word) = match &item.waived {
        Some(_) => ("inconclusive", "waived"),
        None => outcome(item.outcome),
    };
    let pooling = match item.pooling {
        Some(Pooling::Pooled) => "samples of all seeds",
        Some(Pooling::Median) => "median of the seeds",
        Some(Pooling::Worst) => "worst of the seeds",
        None => "worst of the loops",
    };
    let mut notes = format!("Error sources: {}; {pooling}.", item.error_model);
    if let Some(source) = &item.source {
        notes = format!("Source of the limit: {source}. {notes}");
    }
    if let Some(reason) = &item.waived {
        notes = format!("Waived: {reason}. {notes}");
    }
    let id_note = if item.id == item.text {
        String::new()
    } else {
        format!(" Identifier: <code>{}</code>.", escape(&item.id))
    };
    let _ = write!(
        page,
        "\n<tr><th scope=\"row\">{}<span class=\"source\">{}{id_note}</span></th><td class=\"figure\">{} {}</td>\
         <td class=\"limit\">{}</td><td class=\"bullet\">{}</td><td class=\"outcome {class}\">{word}</td></tr>",
        escape(&item.text),
        escape(&notes),
        number::measured(item.measured, item.limit),
        escape(item.unit),
        escape(&number::limit(item.limit, item.unit)),
        bullet::draw(&verdict, id),
    );
}

fn untested(judgement: &Judgement) -> String {
    let items = judgement.untested.iter();
    let items: String =
        items.map(|one| format!("<li><code>{}</code>: {}</li>", escape(&one.id), escape(&one.why))).collect();
    format!("<ul>{items}</ul>")
}

const TERMS: [(&str, &str); 10] = [
    ("bandwidth", "Frequency at which the tilt lags a small sinusoidal demand by 135 deg of phase."),
    (
        "baseline",
        "Accepted figures. The margin of a later figure may be smaller by no more than a tolerance.",
    ),
    ("coupling", "Response of one axis to a demand on another one."),
    ("damping ratio", "Decay of an oscillation: 1 and above is without overshoot, 0 is undamped."),
    ("check", "A limit on a figure of one flight, stated in its flight file."),
    ("margin", "Distance of a figure from its limit."),
    ("overshoot", "Excess of a step response over its final value, as a share of the step."),
    ("probe", "A built-in flight that tests one property of craft and controller."),
    ("requirement", "A limit with a source, judged on every flight that tests it."),
    ("waived", "Excluded from the verdict, with a written reason."),
];
