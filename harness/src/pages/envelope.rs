//! The envelope as a page.

use std::fmt::Write as _;

use crate::report::forces::draw_triangle;
use crate::report::sheet::{Section, Sheet};
use crate::report::xml::escape;
use crate::report::{Repeat, glossary};
use aplomb_study::craft::Craft;
use aplomb_study::envelope::{self, Conditions, Figure};
use aplomb_study::number::significant;

/// Name of the file with the figures, beside the page.
pub const CSV: &str = "envelope.csv";

/// Composes the page.
#[must_use]
pub fn compose(craft: &Craft, conditions: &Conditions, figures: &[Figure], repeat: &Repeat) -> String {
    let title = format!("Performance envelope of the {}", craft.name);
    let mut sheet = Sheet::new(&title, &craft.words(), &[CSV]);
    let flown: Vec<_> = figures.iter().filter_map(|figure| figure.confirmed.as_ref()).collect();
    let passed = flown.iter().filter(|confirmation| confirmation.holds).count();
    if passed == flown.len() {
        sheet.verdict("pass", &format!("All {passed} figures that can be flown are confirmed within 2 %"));
    } else {
        let words = format!("{passed} of {} figures are confirmed by their flights within 2 %", flown.len());
        sheet.verdict("fail", &words);
    }
    sheet.head(&format!("<p>{}</p>", escape(&conditions.words())));
    sheet.head(&format!("<p>{}</p>", escape(&envelope::accuracy_words(craft))));
    sheet.section(Section::new("summary", "Summary", summary(figures)));
    for (index, figure) in figures.iter().enumerate() {
        sheet.section(section(index + 1, figure, craft.config.mass_kg + conditions.payload_kg));
    }
    sheet.finish(&glossary::TERMS, repeat)
}

fn summary(figures: &[Figure]) -> String {
    let mut html = "<table><thead><tr><th scope=\"col\">Figure</th><th scope=\"col\">Value</th>\
         <th scope=\"col\">Unit</th></tr></thead><tbody>"
        .to_owned();
    for (name, value, unit) in figures.iter().flat_map(|figure| &figure.values) {
        let _ = write!(
            html,
            "\n<tr><th scope=\"row\">{name}</th><td class=\"figure\">{}</td><td>{unit}</td></tr>",
            significant(*value, 3)
        );
    }
    html + "</tbody></table>"
}

fn section(number: usize, figure: &Figure, mass_kg: f64) -> Section {
    let mut body = format!(
        "<div class=\"answer\"><p class=\"lead\">{}</p><p class=\"formula\">{}</p>",
        escape(&figure.answer),
        escape(figure.formula)
    );
    if let Some(confirmation) = &figure.confirmed {
        let (class, word) =
            if confirmation.holds { ("pass", "confirmed") } else { ("fail", "not confirmed") };
        let _ = write!(
            body,
            "<ul class=\"checks\"><li>{}: <span class=\"{class}\">{word}</span></li></ul>",
            escape(&confirmation.text)
        );
    }
    body.push_str("</div><div class=\"plots\">");
    if let Some(forces) = &figure.forces {
        let picture = draw_triangle(forces, mass_kg, &format!("q{number}-forces"), figure.question);
        let _ = write!(body, "<figure>{picture}</figure>");
    }
    body.push_str("</div>");
    Section::new(format!("q{number}"), figure.question, body).class("lesson")
}
