//! Report page of a tuning: limiting requirements, adjusted parameters, trade-off.

use std::fmt::Write as _;

use super::verify::title_of;
use crate::report::Repeat;
use crate::report::area::{Area, Kind};
use crate::report::axis::Axis;
use crate::report::sheet::{Section, Sheet};
use crate::report::svg::{Align, Path, Svg};
use crate::report::ticks::{Scale, Ticks};
use crate::report::time_plot::{FOOT, HEAD, LEFT, RIGHT, WIDTH, draw_across_ticks, draw_grid};
use crate::report::xml::escape;
use aplomb_study::craft::Craft;
use aplomb_study::number::{limit, significant};
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

/// Name of the file with all figures, beside the page.
pub const CSV: &str = "figures.csv";

/// Composes the page.
#[must_use]
pub fn compose(page_of: &TunePage<'_>) -> String {
    let TunePage { craft, tuned, repeat } = page_of;
    let mut sheet = Sheet::new(&format!("Controller of the {}", craft.name), &craft.words(), &[CSV]);
    let items = &tuned.found.judgement.items;
    let failed = items.iter().filter(|item| item.counts_against()).count();
    if failed == 0 {
        sheet.verdict("pass", &format!("Pass: all {} figures are within their limits", items.len()));
    } else {
        let all = items.len();
        sheet.verdict(
            "fail",
            &format!("Fail: {failed} of {all} figures are outside their limits or inconclusive"),
        );
    }
    sheet.head(&format!(
        "<p>{} controllers were tried. The least normalised slack is {} %; with the derived gains it is {} %.</p>",
        tuned.tried,
        significant(100.0 * tuned.found.slack(), 2),
        significant(100.0 * tuned.start.slack(), 2)
    ));
    sheet.section(Section::new("limiting", "Limiting requirements", limiting(tuned)));
    sheet.section(Section::new("adjusted", "Adjusted parameters", adjusted(tuned)));
    let trade_off = format!(
        "<div class=\"plots\"><figure class=\"map\"><h3>Disturbance rejection against noise, by gain scale</h3>{}\
         <figcaption>Largest tilt after a torque pulse, over the noise of the motor commands in hover, with the craft's \
         own sensors. Filled: every requirement passes. Open: at least one does not. Cross: the tuned controller.\
         </figcaption></figure></div>",
        curve(&tuned.trades)
    );
    sheet.section(Section::new("trade-off", "Trade-off", trade_off));
    sheet.finish(&TERMS, repeat)
}

fn limiting(tuned: &Tuned) -> String {
    let mut html = "<table><thead><tr><th scope=\"col\">Requirement</th><th scope=\"col\">Where</th>\
        <th scope=\"col\">Figure</th><th scope=\"col\">Limit</th><th scope=\"col\">Normalised slack</th></tr></thead><tbody>"
        .to_owned();
    for item in tuned.found.limiting(6) {
        let _ = write!(
            html,
            "\n<tr><th scope=\"row\">{}</th><td>{}</td><td class=\"figure\">{} {}</td><td>{}</td><td class=\"figure\">{} %</td></tr>",
            escape(&item.text),
            escape(&title_of(&item.flight)),
            significant(item.measured, 3),
            item.unit,
            escape(&limit(item.limit, item.unit)),
            significant(100.0 * slack(item), 2)
        );
    }
    html + "</tbody></table>"
}

fn adjusted(tuned: &Tuned) -> String {
    let mut html = "<table><thead><tr><th scope=\"col\">Gain</th>\
        <th scope=\"col\">Factor on the derived value</th></tr></thead><tbody>"
        .to_owned();
    for (parameter, factor) in PARAMETERS.iter().zip(tuned.factors) {
        let _ = write!(
            html,
            "\n<tr><th scope=\"row\">{}</th><td class=\"figure\">{}</td></tr>",
            parameter.name,
            significant(factor, 3)
        );
    }
    html + "</tbody></table>"
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
    draw_across_ticks(&mut svg, &x, &across, HEAD + height + 14.0);
    let point = |trade: &Trade| (x.at(trade.noise_percent), y.at(trade.tilt_deg));
    let (kind, name) = (Kind::Plane, "noise, % rms|largest tilt, deg");
    Area { kind, name, across: &x, up: &y, has_foot: true, key: "" }.draw(&mut svg, |svg| {
        let mut line = Path::default();
        line.run(&trades.iter().map(point).collect::<Vec<_>>());
        svg.path("truth", &line);
        for trade in trades {
            let (px, py) = point(trade);
            svg.circle(if trade.passes { "lift" } else { "paper" }, (px, py), 4.0);
            svg.circle("start", (px, py), if trade.passes { 2.0 } else { 4.0 });
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
    });
    svg.group("axes", |svg| {
        for trade in trades {
            let (px, py) = point(trade);
            svg.text("note halo", (px + 7.0, py - 6.0), Align::Start, &format!("{}", trade.gain_scale));
        }
    });
    svg.text("name", (RIGHT, HEAD + height + 28.0), Align::End, "noise of the motor commands, % rms");
    svg.text("name", (2.0, HEAD - 8.0), Align::Start, "largest tilt after a pulse, deg");
    svg.finish()
}
