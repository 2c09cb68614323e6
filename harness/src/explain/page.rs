//! The lessons as a page to read or to print.

use std::fmt::Write as _;

use super::Lesson;
use crate::input::Craft;
use crate::report::xml::escape;
use crate::report::{Repeat, glossary, sheet};

/// Composes the page.
#[must_use]
pub fn compose(craft: &Craft, lessons: &[Lesson], repeat: &Repeat) -> String {
    let mut page = String::new();
    let title = format!("Why the {} flies", craft.name);
    sheet::open(&mut page, &title);
    let claims = lessons.iter().flat_map(|lesson| &lesson.claims);
    let (all, held) = claims.fold((0, 0), |(all, held), claim| (all + 1, held + usize::from(claim.holds)));
    let (class, verdict) = if held == all {
        ("held", format!("All {all} statements hold in this craft's own flights"))
    } else {
        ("missed", format!("{held} of {all} statements hold in this craft's own flights"))
    };
    let _ = write!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1><p class=\"verdict {class}\">{verdict}.</p>\
         <p>Questions of somebody who has never seen such a craft, answered with the figures of this one. Every figure is \
         taken from a simulated flight with all its noise and lag.</p><p class=\"soft\">{}</p>\
         <nav aria-label=\"Questions\"><ol class=\"overview\">",
        escape(&craft.words()),
        escape(&title),
        sheet::EVIDENCE
    );
    for (place, lesson) in lessons.iter().enumerate() {
        let _ = write!(page, "<li><a href=\"#q{}\">{}</a></li>", place + 1, lesson.question);
    }
    page.push_str("</ol></nav></header>\n");
    for (place, lesson) in lessons.iter().enumerate() {
        section(&mut page, place + 1, lesson);
    }
    sheet::terms(&mut page, &glossary::TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, repeat);
    sheet::close(&mut page);
    page
}

fn section(page: &mut String, number: usize, lesson: &Lesson) {
    let _ = write!(
        page,
        "<section id=\"q{number}\" class=\"lesson\"><h2>{}</h2><div class=\"said\"><p class=\"lead\">{}</p>\
         <p class=\"formula\">{}</p>",
        escape(lesson.question),
        escape(&lesson.answer),
        escape(lesson.formula)
    );
    if !lesson.claims.is_empty() {
        page.push_str("<ul class=\"claims\">");
        for claim in &lesson.claims {
            let (class, word) = if claim.holds { ("held", "holds") } else { ("missed", "does not hold") };
            let _ = write!(page, "<li>{}: <span class=\"{class}\">{word}</span></li>", escape(&claim.text));
        }
        page.push_str("</ul>");
    }
    page.push_str("</div><div class=\"plots\">");
    for picture in &lesson.pictures {
        let _ = write!(
            page,
            "\n<figure><h3>{}</h3>{}<figcaption>{}</figcaption></figure>",
            escape(&picture.title),
            picture.svg,
            escape(&picture.caption)
        );
    }
    page.push_str("</div></section>\n");
}
