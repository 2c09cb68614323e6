//! Report page of a verification.

use std::fmt::Write;

use crate::input::Folder;
use crate::output::summary::Counts;
use crate::report::page::outcome;
use crate::report::xml::{anchor, escape};
use crate::report::{Repeat, bullet, sheet};
use aplomb_flight::check::Pooling;
use aplomb_study::number;
use aplomb_study::requirements::{Probe, probes};
use aplomb_study::verdict::Verdict;
use aplomb_study::verify::{Cause, Item, Judgement};

/// Composes the page.
#[must_use]
pub fn page(folder: &Folder, judgement: &Judgement, causes: &[Cause], how: &Repeat) -> String {
    let title = format!("Verification of the {}", folder.subject.craft.name);
    let mut page = String::new();
    sheet::open(&mut page, &title);
    // Writing to a text cannot fail.
    let _ = write!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1>",
        escape(&folder.subject.craft.words()),
        escape(&title)
    );
    verdict(&mut page, judgement, causes, folder.baseline.is_some());
    contents(&mut page, judgement);
    page.push_str("</header>\n");
    for flight in judgement.flights() {
        section(&mut page, folder, judgement, flight);
    }
    untested(&mut page, judgement);
    sheet::terms(&mut page, &TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, how);
    sheet::close(&mut page);
    page
}

fn verdict(page: &mut String, judgement: &Judgement, causes: &[Cause], compared: bool) {
    let counts = Counts::of(&judgement.items);
    let (class, words) = match causes.len() {
        0 => ("pass", format!("Pass: {}", counts.words())),
        1 => ("fail", format!("Fail, one cause: {}", counts.words())),
        many => ("fail", format!("Fail, {many} causes: {}", counts.words())),
    };
    let _ = write!(page, "<p class=\"verdict {class}\">{words}.</p>");
    if !causes.is_empty() {
        page.push_str("<ul>");
        for cause in causes {
            let _ = write!(page, "<li>{}</li>", escape(&cause.to_string()));
        }
        page.push_str("</ul>");
    }
    let against = if compared {
        "Compared with the accepted baseline: a margin that shrinks by more than its tolerance is a failure."
    } else {
        "There is no accepted baseline: only the limits are judged."
    };
    let _ = write!(page, "<p>{against}</p><p class=\"soft\">{}</p>", sheet::EVIDENCE);
}

fn contents(page: &mut String, judgement: &Judgement) {
    page.push_str("<nav aria-label=\"Flights\"><ol class=\"overview\">");
    for flight in judgement.flights() {
        let counts = Counts::of(judgement.of_flight(flight));
        let _ = write!(
            page,
            "<li><a href=\"#{}\">{}</a> <span class=\"{}\">{}</span></li>",
            anchor(flight),
            escape(flight),
            class(counts),
            counts.words()
        );
    }
    page.push_str("</ol></nav>");
}

fn class(counts: Counts) -> &'static str {
    match counts {
        Counts { fail: 1.., .. } => "fail",
        Counts { inconclusive: 1.., .. } => "inconclusive",
        Counts { .. } => "pass",
    }
}

fn section(page: &mut String, folder: &Folder, judgement: &Judgement, flight: &str) {
    let plan = folder.subject.plans.iter().find(|plan| plan.name == flight);
    let probe = Probe::ALL.into_iter().find(|probe| probe.name() == flight);
    let (title, purpose) = match plan {
        Some(plan) => (plan.title.as_str(), plan.purpose.as_str()),
        None => (probe.map_or(flight, |probe| probe.title()), probes::PURPOSE),
    };
    let _ = write!(
        page,
        "<section id=\"{}\"><h2>{}</h2><p class=\"lead\">{}</p><table><caption>Requirements and checks</caption>\
         <thead><tr><th scope=\"col\">What is measured</th><th scope=\"col\">Measured</th><th scope=\"col\">Limit</th>\
         <th scope=\"col\">Figure and limit</th><th scope=\"col\">Outcome</th></tr></thead><tbody>",
        anchor(flight),
        escape(title),
        escape(purpose)
    );
    for (index, item) in judgement.of_flight(flight).enumerate() {
        row(page, item, &format!("{}-{index}", anchor(flight)));
    }
    page.push_str("</tbody></table></section>\n");
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
        Pooling::Pooled => "samples of all seeds",
        Pooling::Median => "median of the seeds",
        Pooling::Worst => "worst of the seeds",
    };
    let mut notes = format!("Error sources: {}; {pooling}.", item.error_model);
    if let Some(source) = &item.source {
        notes = format!("Source of the limit: {source}. {notes}");
    }
    if let Some(reason) = &item.waived {
        notes = format!("Waived: {reason}. {notes}");
    }
    let name = if item.id == item.text { String::new() } else { format!("<b>{}</b>: ", escape(&item.id)) };
    let _ = write!(
        page,
        "\n<tr><th scope=\"row\">{name}{}<span class=\"source\">{}</span></th><td class=\"figure\">{} {}</td>\
         <td class=\"limit\">{}</td><td class=\"bullet\">{}</td><td class=\"outcome {class}\">{word}</td></tr>",
        escape(&item.text),
        escape(&notes),
        number::measured(item.measured, item.limit),
        escape(item.unit),
        escape(&number::limit(item.limit, item.unit)),
        bullet::draw(&verdict, id),
    );
}

fn untested(page: &mut String, judgement: &Judgement) {
    if judgement.untested.is_empty() {
        return;
    }
    page.push_str("<section id=\"untested\"><h2>Untested requirements</h2><ul>");
    for one in &judgement.untested {
        let _ = write!(page, "<li><b>{}</b>: {}</li>", escape(&one.id), escape(&one.why));
    }
    page.push_str("</ul></section>\n");
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
