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
use aplomb_study::number::{fixed, limit, measured, significant};
use aplomb_study::tune::parameter::PARAMETERS;
use aplomb_study::tune::{Judged, Trade, Tuned, slack};
use aplomb_study::verify::Item;

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

const TERMS: [(&str, &str); 5] = [
    (
        "normalised slack",
        "Distance of a figure from its limit over the limit; beyond the limit −ln(1 + that distance). The tuning requires 15 % \
         of each, and then maximises the speed of the loops.",
    ),
    ("limiting requirement", "A requirement or check with the least slack."),
    (
        "gain scale",
        "Common factor on the gains of roll, pitch and yaw rate and of tilt; the slow loops are unchanged.",
    ),
    (
        "limiting effect",
        "The physical effect of the craft without which fewest figures fail, after a search with this one effect relaxed.",
    ),
    ("derived", "Computed from mass, inertia, rotor time constant, delays and filters."),
];

/// Name of the file with all figures, beside the page.
pub const CSV: &str = "figures.csv";

/// Composes the page.
#[must_use]
pub fn compose(page_of: &TunePage<'_>) -> String {
    let TunePage { craft, tuned, repeat } = page_of;
    let mut sheet = Sheet::new(&format!("Tuning of the {}", craft.name), &craft.words(), &[CSV]);
    let items = &tuned.found.judgement.items;
    let failed = items.iter().filter(|item| item.counts_against()).count();
    if failed == 0 {
        sheet.verdict("pass", &format!("Pass: all {} figures are within their limits", items.len()));
    } else {
        let all = items.len();
        sheet.verdict(
            "fail",
            &format!("Infeasible: {failed} of {all} figures are outside their limits or inconclusive"),
        );
    }
    let outside = |judged: &Judged| match judged.rank.failures {
        0 => "no figure is outside its limit".to_owned(),
        1 => "1 figure is outside its limit".to_owned(),
        count => format!("{count} figures are outside their limits"),
    };
    sheet.head(&format!(
        "<p>{} controllers were tried. With the derived gains {}; with the best ones found {}.</p>",
        tuned.tried,
        outside(&tuned.start),
        outside(&tuned.found),
    ));
    if !tuned.effects.is_empty() {
        sheet.head(&format!("<p>{} No controller was written.</p>", limiting_effect(tuned)));
        sheet.section(Section::new("effect", "Limiting effect", effects(tuned)));
    }
    sheet.section(Section::new("limiting", "Limiting requirements", limiting(tuned)));
    sheet.section(Section::new("adjusted", "Adjusted parameters", adjusted(tuned)));
    if !tuned.trades.is_empty() {
        let trade_off = format!(
            "<div class=\"plots\"><figure class=\"map\"><h3>Disturbance rejection against noise, by gain scale</h3>{}\
             <figcaption>Largest tilt after a torque pulse, over the noise of the motor commands in hover, with the craft's \
             own sensors. Filled: margins and probes of the inner loops pass. Open: at least one does not. Cross: the tuned \
             controller.</figcaption></figure></div>",
            curve(&tuned.trades)
        );
        sheet.section(Section::new("trade-off", "Trade-off", trade_off));
    }
    sheet.finish(&TERMS, repeat)
}

fn limiting_effect(tuned: &Tuned) -> String {
    match tuned.limiting_effect() {
        Some(effect) => format!(
            "Limiting effect: {}, {}. What to change: {}.",
            escape(effect.name),
            escape(&effect.figure),
            escape(effect.remedy)
        ),
        None => "No effect is limiting on its own.".to_owned(),
    }
}

fn effects(tuned: &Tuned) -> String {
    let mut html = format!(
        "<p>Each effect is relaxed on its own and the search is repeated, starting from the derived and from the best gains. \
         With none relaxed, {} figures fail under three seeds.</p>\
         <table><thead><tr><th scope=\"col\">Effect</th><th scope=\"col\">On this craft</th>\
         <th scope=\"col\">Relaxed to</th><th scope=\"col\">Figures that fail then</th>\
         <th scope=\"col\">Controllers tried</th></tr></thead><tbody>",
        tuned.unrelaxed.failures
    );
    for effect in &tuned.effects {
        let _ = write!(
            html,
            "\n<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td class=\"figure\">{}</td><td class=\"figure\">{}</td></tr>",
            escape(effect.name),
            escape(&effect.figure),
            escape(&effect.relaxed),
            effect.rank.failures,
            effect.tried
        );
    }
    html + "</tbody></table>"
}

fn limiting(tuned: &Tuned) -> String {
    let mut html = "<table><thead><tr><th scope=\"col\">Requirement or check</th><th scope=\"col\">Where</th>\
        <th scope=\"col\">Figure</th><th scope=\"col\">Limit</th><th scope=\"col\">Normalised slack</th></tr></thead><tbody>"
        .to_owned();
    for item in tuned.found.limiting(8) {
        let _ = write!(
            html,
            "\n<tr><th scope=\"row\">{}</th><td>{}</td><td class=\"figure\">{}</td><td>{}</td><td class=\"figure\">{}</td></tr>",
            escape(&item.text),
            escape(&title_of(&item.flight)),
            escape(&figure_of(item)),
            escape(&limit(item.limit, item.unit)),
            slack_of(item)
        );
    }
    html + "</tbody></table>"
}

/// The figure of an item with its unit, or that there is none.
pub(crate) fn figure_of(item: &Item) -> String {
    if !item.measured.is_finite() {
        return "no figure".to_owned();
    }
    format!("{} {}", measured(item.measured, item.limit), item.unit).trim_end().to_owned()
}

/// The normalised slack of an item; a dash where there is no figure.
fn slack_of(item: &Item) -> String {
    if item.measured.is_finite() {
        format!("{} %", significant(100.0 * slack(item), 2))
    } else {
        "–".to_owned()
    }
}

fn adjusted(tuned: &Tuned) -> String {
    let mut html = "<table><thead><tr><th scope=\"col\">Parameter</th>\
        <th scope=\"col\">Factor on the derived value</th><th scope=\"col\">Range</th>\
        <th scope=\"col\">At a bound</th></tr></thead><tbody>"
        .to_owned();
    for (parameter, factor) in PARAMETERS.iter().zip(tuned.factors) {
        let (low, high) = parameter.range;
        let _ = write!(
            html,
            "\n<tr><th scope=\"row\">{}</th><td class=\"figure\">{}</td><td>{low} to {high}</td><td>{}</td></tr>",
            parameter.name,
            fixed(factor, 2),
            parameter.bound(factor).unwrap_or("")
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
