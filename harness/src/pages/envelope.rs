//! The envelope as a page.

use std::fmt::Write as _;

use crate::report::forces::draw_triangle;
use crate::report::xml::escape;
use crate::report::{Repeat, glossary, sheet};
use aplomb_study::craft::Craft;
use aplomb_study::envelope::{Conditions, Figure};
use aplomb_study::number::significant;

/// Composes the page.
#[must_use]
pub fn compose(craft: &Craft, conditions: &Conditions, figures: &[Figure], repeat: &Repeat) -> String {
    let mut page = String::new();
    let title = format!("Performance envelope of the {}", craft.name);
    sheet::open(&mut page, &title);
    let flown: Vec<_> = figures.iter().filter_map(|figure| figure.confirmed.as_ref()).collect();
    let passed = flown.iter().filter(|confirmation| confirmation.holds).count();
    let (class, verdict) = if passed == flown.len() {
        ("pass", format!("All {passed} figures that can be flown are confirmed within 2 %"))
    } else {
        ("fail", format!("{passed} of {} figures are confirmed by their flights within 2 %", flown.len()))
    };
    let _ = writeln!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1><p class=\"verdict {class}\">{verdict}.</p><p>{}</p>\
         <p class=\"soft\">{}</p></header>",
        escape(&craft.words()),
        escape(&title),
        escape(&conditions.words()),
        sheet::EVIDENCE
    );
    page.push_str(
        "<table><caption>Summary</caption><thead><tr><th scope=\"col\">Figure</th><th scope=\"col\">Value</th>\
         <th scope=\"col\">Unit</th></tr></thead><tbody>",
    );
    for (name, value, unit) in figures.iter().flat_map(|figure| &figure.values) {
        let _ = write!(
            page,
            "\n<tr><th scope=\"row\">{name}</th><td class=\"figure\">{}</td><td>{unit}</td></tr>",
            significant(*value, 3)
        );
    }
    page.push_str("</tbody></table>\n");
    for (index, figure) in figures.iter().enumerate() {
        section(&mut page, index + 1, figure, craft.config.mass_kg + conditions.payload_kg);
    }
    sheet::terms(&mut page, &glossary::TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, repeat);
    sheet::close(&mut page);
    page
}

fn section(page: &mut String, number: usize, figure: &Figure, mass_kg: f64) {
    let _ = write!(
        page,
        "<section id=\"q{number}\" class=\"lesson\"><h2>{}</h2><div class=\"answer\"><p class=\"lead\">{}</p>\
         <p class=\"formula\">{}</p>",
        escape(figure.question),
        escape(&figure.answer),
        escape(figure.formula)
    );
    if let Some(confirmation) = &figure.confirmed {
        let (class, word) =
            if confirmation.holds { ("pass", "confirmed") } else { ("fail", "not confirmed") };
        let _ = write!(
            page,
            "<ul class=\"checks\"><li>{}: <span class=\"{class}\">{word}</span></li></ul>",
            escape(&confirmation.text)
        );
    }
    page.push_str("</div><div class=\"plots\">");
    if let Some(forces) = &figure.forces {
        let picture = draw_triangle(forces, mass_kg, &format!("q{number}-forces"), figure.question);
        let _ = write!(page, "<figure>{picture}</figure>");
    }
    page.push_str("</div></section>\n");
}
