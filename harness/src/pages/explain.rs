//! The lessons as a page.

use std::fmt::Write as _;

use crate::report::forces::draw_triangle;
use crate::report::sheet::{Section, Sheet};
use crate::report::top_view::TopView;
use crate::report::xml::escape;
use crate::report::{Repeat, glossary};
use aplomb_study::craft::Craft;
use aplomb_study::explain::{Drawing, Lesson, Picture};

/// Name of the file with the checks, beside the page.
pub const CSV: &str = "explained.csv";

/// Composes the page.
#[must_use]
pub fn compose(craft: &Craft, lessons: &[Lesson], repeat: &Repeat) -> String {
    let title = format!("How the {} flies", craft.name);
    let mut sheet = Sheet::new(&title, &craft.words(), &[CSV]);
    let checks = lessons.iter().flat_map(|lesson| &lesson.checks);
    let (all, passed) =
        checks.fold((0, 0), |(all, passed), check| (all + 1, passed + usize::from(check.passes)));
    if passed == all {
        sheet.verdict("pass", &format!("All {all} checks passed in simulated flights of this craft"));
    } else {
        sheet.verdict("fail", &format!("{passed} of {all} checks passed in simulated flights of this craft"));
    }
    sheet.head(
        "<p>Questions of a beginner, answered with the figures of this craft. All figures are from simulated \
         flights with sensor noise and delays; the strongest wind is measured with ideal sensors.</p>",
    );
    for (index, lesson) in lessons.iter().enumerate() {
        sheet.section(section(index + 1, lesson, craft));
    }
    sheet.finish(&glossary::TERMS, repeat)
}

fn section(number: usize, lesson: &Lesson, craft: &Craft) -> Section {
    let mut body = format!(
        "<div class=\"answer\"><p class=\"lead\">{}</p><p class=\"formula\">{}</p>",
        escape(&lesson.answer),
        escape(lesson.formula)
    );
    if !lesson.checks.is_empty() {
        body.push_str("<ul class=\"checks\">");
        for check in &lesson.checks {
            let (class, word) = if check.passes { ("pass", "pass") } else { ("fail", "fail") };
            let _ = write!(body, "<li>{}: <span class=\"{class}\">{word}</span></li>", escape(&check.text));
        }
        body.push_str("</ul>");
    }
    body.push_str("</div><div class=\"plots\">");
    for (index, picture) in lesson.pictures.iter().enumerate() {
        let _ = write!(
            body,
            "\n<figure><h3>{}</h3>{}<figcaption>{}</figcaption></figure>",
            escape(&picture.title),
            draw(picture, craft, &format!("q{number}-{}", index + 1)),
            escape(&picture.caption)
        );
    }
    body.push_str("</div>");
    Section::new(format!("q{number}"), lesson.question, body).class("lesson")
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
