//! The result of a verification as a page in the style of the flights' report.

use std::fmt::Write;

use super::summary::Counts;
use super::{Cause, Folder, Item, Judgement};
use crate::input::check::OverSeeds;
use crate::report::page::outcome;
use crate::report::xml::{anchor, escape};
use crate::report::{Repeat, bullet, number, sheet};
use crate::requirements::{Probe, probes};
use crate::verdict::Verdict;

/// Composes the page.
#[must_use]
pub fn page(folder: &Folder, judgement: &Judgement, causes: &[Cause], how: &Repeat) -> String {
    let title = format!("Verification of the {}", folder.craft.name);
    let mut page = String::new();
    sheet::open(&mut page, &title);
    // Writing to a text cannot fail.
    let _ = write!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1>",
        escape(&folder.craft.words()),
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
        0 => ("held", format!("Verified: {}", counts.words())),
        1 => ("missed", format!("Not verified, for one cause: {}", counts.words())),
        many => ("missed", format!("Not verified, for {many} causes: {}", counts.words())),
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
        "Compared with the accepted baseline: a margin that shrank by more than its tolerance counts."
    } else {
        "No baseline was accepted yet, so only the limits were judged."
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
        Counts { missed: 1.., .. } => "missed",
        Counts { unknown: 1.., .. } => "unknown",
        Counts { .. } => "held",
    }
}

fn section(page: &mut String, folder: &Folder, judgement: &Judgement, flight: &str) {
    let plan = folder.plans.iter().find(|plan| plan.name == flight);
    let probe = Probe::ALL.into_iter().find(|probe| probe.name() == flight);
    let (title, purpose) = match plan {
        Some(plan) => (plan.title.as_str(), plan.purpose.as_str()),
        None => (probe.map_or(flight, |probe| probe.title()), probes::PURPOSE),
    };
    let _ = write!(
        page,
        "<section id=\"{}\"><h2>{}</h2><p class=\"lead\">{}</p><table><caption>Requirements and checks</caption>\
         <thead><tr><th scope=\"col\">What is measured</th><th scope=\"col\">Measured</th><th scope=\"col\">Limit</th>\
         <th scope=\"col\">Measured on the allowed range</th><th scope=\"col\">Outcome</th></tr></thead><tbody>",
        anchor(flight),
        escape(title),
        escape(purpose)
    );
    for (place, item) in judgement.of_flight(flight).enumerate() {
        row(page, item, &format!("{}-{place}", anchor(flight)));
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
        Some(_) => ("unknown", "waived"),
        None => outcome(item.outcome),
    };
    let pooling = match item.over_seeds {
        OverSeeds::Pooled => "samples of all seeds",
        OverSeeds::Median => "median of the seeds",
        OverSeeds::Worst => "worst of the seeds",
    };
    let mut notes = format!("Errors: {}; {pooling}.", item.error_model);
    if let Some(source) = &item.source {
        notes = format!("Limit from: {source}. {notes}");
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
    page.push_str("<section id=\"untested\"><h2>Not put to the test</h2><ul>");
    for one in &judgement.untested {
        let _ = write!(page, "<li><b>{}</b>: {}</li>", escape(&one.id), escape(&one.why));
    }
    page.push_str("</ul></section>\n");
}

const TERMS: [(&str, &str); 10] = [
    (
        "bandwidth",
        "Frequency up to which the craft follows small swings of the demand: where it lags by 135 deg.",
    ),
    (
        "baseline",
        "Figures that somebody accepted; later ones may not come nearer to their limits by more than a tolerance.",
    ),
    ("coupling", "How much of a demand on one axis shows up on another."),
    ("damping", "How fast a swing dies down: 1 is without swinging back, 0 swings for ever."),
    ("check", "A figure of one flight with a limit, stated in the flight's file before it is flown."),
    ("margin", "Distance of a figure from its limit."),
    ("overshoot", "How far a step goes past its aim, as a share of the step."),
    ("probe", "A built-in flight that puts craft and controller to one test."),
    ("requirement", "A standing demand with a source, judged on every flight that puts it to the test."),
    ("waived", "Somebody wrote down why this one is not asked for here."),
];
