//! Report page of a tuning: limiting requirements, adjusted parameters, trade-off.

use std::fmt::Write as _;

use crate::report::svg::{Align, Path, Svg};
use crate::report::ticks::{Scale, Ticks};
use crate::report::time_plot::{Axis, FOOT, HEAD, LEFT, RIGHT, WIDTH, draw_grid};
use crate::report::xml::escape;
use crate::report::{Repeat, sheet};
use aplomb_flight::limit::Limit;
use aplomb_study::craft::Craft;
use aplomb_study::number::significant;
use aplomb_study::tune::parameter::PARAMETERS;
use aplomb_study::tune::{Trade, Tuned, slack};

/// Contents of the page.
#[derive(Clone, Debug)]
pub struct TunePage<'a> {
    /// The craft.
    pub craft: &'a Craft,
    /// The result of the tuning.
    pub tuned: &'a Tuned,
    /// How to repeat it.
    pub repeat: Repeat,
}

const TERMS: [(&str, &str); 4] = [
    (
        "normalised slack",
        "Distance of a figure from its limit over the limit. The tuning requires 15 % of each, and then maximises the speed of the loops.",
    ),
    (
        "limiting requirement",
        "A requirement with the least slack. Faster or slower gains would violate it or another one.",
    ),
    (
        "gain scale",
        "Common factor on the gains of roll, pitch and yaw rate and of tilt; the slow loops are unchanged.",
    ),
    ("derived", "Computed from mass, inertia, rotor time constant, delays and filters."),
];

/// Composes the page.
#[must_use]
pub fn compose(page_of: &TunePage<'_>) -> String {
    let TunePage { craft, tuned, repeat } = page_of;
    let title = format!("Controller of the {}", craft.name);
    let mut page = String::new();
    sheet::open(&mut page, &title);
    let failed = tuned.found.judgement.items.iter().filter(|item| item.counts_against()).count();
    let (class, verdict) = if failed == 0 {
        ("pass", format!("Pass: all {} figures are within their limits", tuned.found.judgement.items.len()))
    } else {
        (
            "fail",
            format!(
                "Fail: {failed} of {} figures are outside their limits or inconclusive",
                tuned.found.judgement.items.len()
            ),
        )
    };
    let _ = writeln!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1><p class=\"verdict {class}\">{verdict}.</p>\
         <p>{} controllers were tried. The least normalised slack is {} %; with the derived gains it is {} %.</p>\
         <p class=\"soft\">{}</p></header>",
        escape(&craft.words()),
        escape(&title),
        tuned.tried,
        significant(100.0 * tuned.found.slack(), 2),
        significant(100.0 * tuned.start.slack(), 2),
        sheet::EVIDENCE
    );
    page.push_str("<section><h2>Limiting requirements</h2><table><thead><tr><th scope=\"col\">Requirement</th><th scope=\"col\">Where</th>\
        <th scope=\"col\">Figure</th><th scope=\"col\">Limit</th><th scope=\"col\">Normalised slack</th></tr></thead><tbody>");
    for item in tuned.found.limiting(6) {
        let limit = match item.limit {
            Limit::AtMost(high) => format!("at most {}", significant(high, 3)),
            Limit::AtLeast(low) => format!("at least {}", significant(low, 3)),
            Limit::Between(low, high) => format!("{} to {}", significant(low, 3), significant(high, 3)),
        };
        let _ = write!(
            page,
            "\n<tr><th scope=\"row\">{}</th><td>{}</td><td class=\"figure\">{} {}</td><td>{limit} {}</td><td class=\"figure\">{} %</td></tr>",
            escape(&item.text),
            escape(&item.flight),
            significant(item.measured, 3),
            item.unit,
            item.unit,
            significant(100.0 * slack(item), 2)
        );
    }
    page.push_str("</tbody></table></section>\n<section><h2>Adjusted parameters</h2><table><thead><tr><th scope=\"col\">Gain</th>\
        <th scope=\"col\">Factor on the derived value</th></tr></thead><tbody>");
    for (parameter, factor) in PARAMETERS.iter().zip(tuned.factors) {
        let _ = write!(
            page,
            "\n<tr><th scope=\"row\">{}</th><td class=\"figure\">{}</td></tr>",
            parameter.name,
            significant(factor, 3)
        );
    }
    let _ = writeln!(
        page,
        "</tbody></table></section>\n<section><h2>Trade-off</h2><figure class=\"map\"><h3>Disturbance rejection against noise, by gain scale</h3>{}\
         <figcaption>Largest tilt after a torque pulse, over the noise of the motor commands in hover, with the craft's \
         own sensors. Filled: every requirement passes. Open: at least one does not. Cross: the tuned controller.</figcaption></figure>\
         </section>",
        curve(&tuned.trades)
    );
    sheet::terms(&mut page, &TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, repeat);
    sheet::close(&mut page);
    page
}

fn curve(trades: &[Trade]) -> String {
    let height = 260.0;
    let words = trades.iter().map(|trade| {
        format!(
            "Gain scale {}: {} deg of tilt and {} % of noise.",
            trade.gain_scale,
            significant(trade.tilt_deg, 3),
            significant(trade.noise_percent, 3)
        )
    });
    let words: Vec<String> = words.collect();
    let mut svg =
        Svg::new("trade", WIDTH, HEAD + height + FOOT, "Disturbance against noise", &words.join(" "));
    let most = |of: fn(&Trade) -> f64| 1.1 * trades.iter().map(of).fold(0.0, f64::max);
    let x = Axis { low: 0.0, high: most(|trade| trade.noise_percent), from: LEFT, to: RIGHT };
    let y = Axis { low: 0.0, high: most(|trade| trade.tilt_deg), from: HEAD + height, to: HEAD };
    if !(x.high > 0.0 && y.high > 0.0) {
        return svg.finish();
    }
    let (across, up) =
        (Ticks::inside(x.low, x.high, 6, Scale::Decimal), Ticks::inside(y.low, y.high, 6, Scale::Decimal));
    draw_grid(&mut svg, &x, &across, &y, &up);
    for &tick in &across.values {
        svg.text("tick", (x.at(tick), HEAD + height + 14.0), Align::Middle, &across.label(tick));
    }
    let point = |trade: &Trade| (x.at(trade.noise_percent), y.at(trade.tilt_deg));
    let mut line = Path::default();
    line.run(&trades.iter().map(point).collect::<Vec<_>>());
    svg.path("truth", &line);
    for trade in trades {
        let (px, py) = point(trade);
        svg.circle(if trade.passes { "lift" } else { "paper" }, (px, py), 4.0);
        svg.circle("start", (px, py), if trade.passes { 2.0 } else { 4.0 });
        svg.text("note", (px + 7.0, py - 6.0), Align::Start, &format!("{}", trade.gain_scale));
    }
    if let Some(found) = trades.iter().find(|trade| trade.gain_scale == 1.0) {
        let (px, py) = point(found);
        let mut cross = Path::default();
        for side in [-6.0, 6.0] {
            cross.move_to((px - side, py - 6.0));
            cross.line_to((px + side, py + 6.0));
        }
        svg.path("marker", &cross);
    }
    svg.text("name", (RIGHT, HEAD + height + 28.0), Align::End, "noise of the motor commands, % rms");
    svg.text("name", (2.0, HEAD - 8.0), Align::Start, "largest tilt after a pulse, deg");
    svg.finish()
}
