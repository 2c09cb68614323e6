//! The lessons as a page.

use std::fmt::Write as _;

use crate::report::forces::draw_triangle;
use crate::report::top_view::TopView;
use crate::report::xml::escape;
use crate::report::{Repeat, glossary, sheet};
use aplomb_study::craft::Craft;
use aplomb_study::explain::{Drawing, Lesson, Picture};

/// Composes the page.
#[must_use]
pub fn compose(craft: &Craft, lessons: &[Lesson], repeat: &Repeat) -> String {
    let mut page = String::new();
    let title = format!("How the {} flies", craft.name);
    sheet::open(&mut page, &title);
    let checks = lessons.iter().flat_map(|lesson| &lesson.checks);
    let (all, passed) =
        checks.fold((0, 0), |(all, passed), check| (all + 1, passed + usize::from(check.passes)));
    let (class, verdict) = if passed == all {
        ("pass", format!("All {all} checks passed in simulated flights of this craft"))
    } else {
        ("fail", format!("{passed} of {all} checks passed in simulated flights of this craft"))
    };
    let _ = write!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1><p class=\"verdict {class}\">{verdict}.</p>\
         <p>Questions of a beginner, answered with the figures of this craft. All figures are from simulated \
         flights with sensor noise and delays.</p><p class=\"soft\">{}</p>\
         <nav aria-label=\"Questions\"><ol class=\"overview\">",
        escape(&craft.words()),
        escape(&title),
        sheet::EVIDENCE
    );
    for (index, lesson) in lessons.iter().enumerate() {
        let _ = write!(page, "<li><a href=\"#q{}\">{}</a></li>", index + 1, lesson.question);
    }
    page.push_str("</ol></nav></header>\n");
    for (index, lesson) in lessons.iter().enumerate() {
        section(&mut page, index + 1, lesson, craft);
    }
    sheet::terms(&mut page, &glossary::TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, repeat);
    sheet::close(&mut page);
    page
}

fn section(page: &mut String, number: usize, lesson: &Lesson, craft: &Craft) {
    let _ = write!(
        page,
        "<section id=\"q{number}\" class=\"lesson\"><h2>{}</h2><div class=\"answer\"><p class=\"lead\">{}</p>\
         <p class=\"formula\">{}</p>",
        escape(lesson.question),
        escape(&lesson.answer),
        escape(lesson.formula)
    );
    if !lesson.checks.is_empty() {
        page.push_str("<ul class=\"checks\">");
        for check in &lesson.checks {
            let (class, word) = if check.passes { ("pass", "pass") } else { ("fail", "fail") };
            let _ = write!(page, "<li>{}: <span class=\"{class}\">{word}</span></li>", escape(&check.text));
        }
        page.push_str("</ul>");
    }
    page.push_str("</div><div class=\"plots\">");
    for (index, picture) in lesson.pictures.iter().enumerate() {
        let _ = write!(
            page,
            "\n<figure><h3>{}</h3>{}<figcaption>{}</figcaption></figure>",
            escape(&picture.title),
            draw(picture, craft, &format!("q{number}-{}", index + 1)),
            escape(&picture.caption)
        );
    }
    page.push_str("</div></section>\n");
}

fn draw(picture: &Picture, craft: &Craft, id: &str) -> String {
    match &picture.drawing {
        Drawing::TopView { thrust_n, labels, reactions } => {
            TopView { craft, thrust_n: *thrust_n, labels: labels.clone(), reactions: *reactions }
                .draw(id, &picture.title)
        }
        Drawing::Triangle(interval) => draw_triangle(interval, craft.config.mass_kg, id, &picture.title),
    }
}
