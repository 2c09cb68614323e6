//! The report on margins: figures of each loop, Bode and Nyquist plots with the margins.

use super::Repeat;
use super::area::{Area, Kind};
use super::axis::Axis;
use super::fill::{self, Fill};
use super::page::{self, Counts};
use super::sheet::{Section, Sheet};
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{FOOT, HEAD, LEFT, RIGHT, WIDTH, draw_across_ticks, draw_grid};
use super::xml::{anchor, escape};
use aplomb_study::linear::C64;
use aplomb_study::margins::figures::Figures;
use aplomb_study::margins::judge::{LARGEST_PEAK, LEAST_GAIN_DB, LEAST_PHASE_DEG};
use aplomb_study::margins::{COHERENT, Line, Linear, Measured};
use aplomb_study::number;
use aplomb_study::verdict::Verdict;
use std::fmt::Write as _;
use std::io;

/// Content of the report.
#[derive(Clone, Debug)]
pub struct MarginsReport<'a> {
    /// The heading of the page.
    pub title: String,
    /// The craft in one line.
    pub subtitle: String,
    /// The operating points, in the order to read them.
    pub points: Vec<PointSection<'a>>,
    /// How to reproduce the figures.
    pub repeat: Repeat,
}

/// One operating point.
#[derive(Clone, Debug)]
pub struct PointSection<'a> {
    /// Its name.
    pub name: &'a str,
    /// Difference from the hover.
    pub words: &'a str,
    /// Results of the limits.
    pub verdicts: &'a [Verdict],
    /// Its loops.
    pub loops: Vec<(&'a Linear, &'a Measured)>,
}

const TERMS: [(&str, &str); 13] = [
    ("bandwidth", "Frequency in rad/s above which the gain of the closed loop stays below -3 dB."),
    (
        "Bode plot",
        "Gain and phase of the loop transfer function over frequency. Dots: measured; small grey dots: measured with a coherence below 0.95; line: linear model.",
    ),
    (
        "coherence",
        "Share of the power of a signal that is periodic with the injection. Frequencies with less than 0.95 are not evaluated.",
    ),
    ("crossover", "Highest frequency at which the gain of the loop transfer function falls through 1."),
    ("delay margin", "Smallest additional delay with which the closed loop is unstable."),
    (
        "disk margin",
        "Size of the largest disk of gain and phase changes, at the same time, with which the closed loop is stable: 0.67 is 6 dB and 37 deg, 0.4 is 3.5 dB and 23 deg.",
    ),
    (
        "linear model",
        "Craft and controller, linearised by differences of the running code with all delays, filters and rates; without noise and limits.",
    ),
    (
        "loop broken at",
        "Signal at which the loop is broken. A multisine is added to it in closed loop; the loop transfer function is minus the returned signal over the total signal. All other loops stay closed.",
    ),
    (
        "not measured",
        "A motor command was saturated, the flight was not steady, or the coherence is too low.",
    ),
    (
        "Nyquist plot",
        "The loop transfer function in the complex plane. Its distance from -1 is the distance from instability.",
    ),
    (
        "peak sensitivity Ms",
        "Maximum of |1/(1 + L)|, the largest amplification of a disturbance; the inverse of the smallest distance of L from -1. Ms = 2 guarantees a gain margin of 6 dB and a phase margin of 29 deg.",
    ),
    (
        "phase margin",
        "Smallest additional phase, of either sign, with which the closed loop is unstable, in deg.",
    ),
    (
        "upper and lower gain margin",
        "Factor in dB by which the loop gain can be raised, or lowered, until the closed loop is unstable: 6 dB is a factor of two.",
    ),
];

/// Writes the page.
///
/// # Errors
/// Errors of `out`. The page is composed before the first byte is written.
pub fn write_margins(report: &MarginsReport<'_>, out: &mut impl io::Write) -> io::Result<()> {
    out.write_all(compose(report).as_bytes())?;
    out.flush()
}

fn compose(report: &MarginsReport<'_>) -> String {
    let mut sheet = Sheet::new(&report.title, &report.subtitle, &["margins.csv", "points.csv"]);
    let counts = Counts::of(report.points.iter().flat_map(|point| point.verdicts));
    sheet.verdict(counts.class(), &counts.words());
    for point in &report.points {
        sheet.section(section(point));
    }
    sheet.finish(&TERMS, &report.repeat)
}

fn section(point: &PointSection<'_>) -> Section {
    let id = anchor(point.name);
    let counts = Counts::of(point.verdicts);
    let mut body = format!("<p class=\"lead\">{}</p>", escape(point.words));
    page::checks(&mut body, point.verdicts, &id);
    figures_table(&mut body, point);
    body += &fill::key("Tinted in the plots:", [(Fill::Forbidden, String::new())]);
    body.push_str("<div class=\"plots pairs\">");
    for (index, &(linear, measured)) in point.loops.iter().enumerate() {
        let name = linear.broken.name();
        for (kind, svg, caption) in [
            ("Bode", bode(linear, measured, &format!("{id}-b{index}")), bode_caption(measured)),
            ("Nyquist", nyquist(linear, measured, &format!("{id}-n{index}")), nyquist_caption(measured)),
        ] {
            let _ = write!(
                body,
                "\n<figure><h3>{}: {kind}</h3>{svg}<figcaption>{caption}</figcaption></figure>",
                escape(name)
            );
        }
    }
    body.push_str("</div>");
    Section::new(id, &point.name.replace('-', " "), body)
        .verdict(counts.class(), counts.words())
        .collapsible()
}

/// Heads of the columns and decimals of their figures.
const HEADS: [(&str, usize); 7] = [
    ("upper gain margin, dB", 1),
    ("lower gain margin, dB", 1),
    ("phase margin, deg", 1),
    ("delay margin, ms", 1),
    ("crossover, rad/s", 1),
    ("Ms", 2),
    ("bandwidth, rad/s", 1),
];

fn figures_table(page: &mut String, point: &PointSection<'_>) {
    page.push_str(
        "<table><caption>Measured, and linear model in grey</caption><thead><tr><th scope=\"col\">loop broken at</th>",
    );
    for (head, _) in HEADS {
        let _ = write!(page, "<th scope=\"col\">{head}</th>");
    }
    page.push_str("</tr></thead><tbody>");
    for &(linear, measured) in &point.loops {
        let _ = write!(page, "\n<tr><th scope=\"row\">{}</th>", escape(linear.broken.name()));
        let pairs = columns(&measured.figures).into_iter().zip(columns(&linear.figures));
        for ((found, expected), (head, decimals)) in pairs.zip(HEADS) {
            let (found, expected) = (shown(found, decimals), shown(expected, decimals));
            let _ = write!(
                page,
                "<td class=\"figure\" data-head=\"{head}\">{found} <span class=\"soft\">{expected}</span></td>"
            );
        }
        page.push_str("</tr>");
    }
    page.push_str("</tbody></table>\n");
}

fn columns(figures: &Figures) -> [f64; 7] {
    [
        figures.upper_gain_margin_db,
        figures.lower_gain_margin_db,
        figures.phase_margin_deg,
        1e3 * figures.delay_margin_s,
        figures.crossover_rad_s,
        figures.peak_sensitivity,
        figures.bandwidth_rad_s,
    ]
}

/// A figure as text: an infinite margin as a sign, one that was not measured as a dash.
fn shown(value: f64, decimals: usize) -> String {
    if value.is_infinite() { "∞".to_owned() } else { number::fixed(value, decimals) }
}

fn bode_caption(measured: &Measured) -> String {
    let figures = &measured.figures;
    let margin = |what: &str, value: f64, unit: &str, at: f64| {
        if value.is_finite() {
            format!("{what} {} {unit} at {} rad/s", number::fixed(value, 1), number::significant(at, 3))
        } else if value.is_infinite() {
            format!("{what} infinite")
        } else {
            format!("{what} not measured")
        }
    };
    format!(
        "{}; {}; {}.",
        margin("Phase margin", figures.phase_margin_deg, "deg", figures.phase_margin_rad_s),
        margin("upper gain margin", figures.upper_gain_margin_db, "dB", figures.upper_gain_margin_rad_s),
        margin("lower gain margin", figures.lower_gain_margin_db, "dB", figures.lower_gain_margin_rad_s)
    )
}

fn nyquist_caption(measured: &Measured) -> String {
    let figures = &measured.figures;
    if figures.peak_sensitivity.is_finite() {
        format!(
            "Ms {} at {} rad/s. Inside the tinted circle about −1 the sensitivity exceeds {LARGEST_PEAK}.",
            number::fixed(figures.peak_sensitivity, 2),
            number::significant(figures.peak_sensitivity_rad_s, 3)
        )
    } else {
        format!("Ms not measured. Inside the tinted circle about −1 the sensitivity exceeds {LARGEST_PEAK}.")
    }
}

const GAIN_PX: f64 = 130.0;
const PHASE_PX: f64 = 110.0;

/// Range of the measured frequencies.
fn span(measured: &Measured) -> (f64, f64) {
    match (measured.lines.first(), measured.lines.last()) {
        (Some(first), Some(last)) => (first.rad_s, last.rad_s),
        _ => (1.0, 10.0),
    }
}

fn decibel(transfer: C64) -> f64 {
    20.0 * libm::log10(transfer.norm())
}

/// Phase in deg from -360 to 0, so that -180 lies in the middle.
fn phase(transfer: C64) -> f64 {
    let degrees = transfer.arg().to_degrees();
    if degrees > 0.0 { degrees - 360.0 } else { degrees }
}

fn bode(linear: &Linear, measured: &Measured, id: &str) -> String {
    let name = linear.broken.name();
    let (low, high) = span(measured);
    let height = 2.0 * HEAD + GAIN_PX + PHASE_PX + FOOT;
    let title = format!("Bode plot, {name}");
    let mut svg = Svg::new(id, WIDTH, height, &title, &bode_caption(measured));
    let across = Axis { low: libm::log10(low), high: libm::log10(high), from: LEFT, to: RIGHT };
    let at = |rad_s: f64| across.at(libm::log10(rad_s));
    let grid: Vec<f64> = (0..=240).map(|i| low * libm::pow(high / low, f64::from(i) / 240.0)).collect();
    let values = grid.iter().map(|&w| decibel(linear.curve.at(w)));
    let (least, most) = values.fold((0.0, 0.0), |(a, b): (f64, f64), v| (a.min(v), b.max(v)));
    let gain_ticks = Ticks::around(least.max(-40.0), most.min(60.0), 5, Scale::Decimal);
    let phase_ticks = Ticks::around(-360.0, 0.0, 5, Scale::Degrees);
    let (gain_top, phase_top) = (HEAD, 2.0 * HEAD + GAIN_PX);
    let gain =
        Axis { low: gain_ticks.range.0, high: gain_ticks.range.1, from: gain_top + GAIN_PX, to: gain_top };
    let angle = Axis { low: -360.0, high: 0.0, from: phase_top + PHASE_PX, to: phase_top };
    let marks = frequency_marks(low, high);
    let across_ticks = Ticks::at(marks.iter().map(|w| libm::log10(*w)).collect());
    draw_grid(&mut svg, &across, &across_ticks, &gain, &gain_ticks);
    draw_grid(&mut svg, &across, &across_ticks, &angle, &phase_ticks);
    for (name, up, of, has_foot) in
        [("|L|, dB", &gain, decibel as fn(C64) -> f64, false), ("phase, deg", &angle, phase, true)]
    {
        Area { kind: Kind::Frequency, name, across: &across, up, has_foot, key: "" }.draw(&mut svg, |svg| {
            if has_foot {
                forbidden(svg, up, -180.0, LEAST_PHASE_DEG);
                svg.line("level", (LEFT, up.at(-180.0)), (RIGHT, up.at(-180.0)));
                draw_phase_margin(svg, measured, up, &at);
            } else {
                forbidden(svg, up, 0.0, LEAST_GAIN_DB);
                draw_gain_margins(svg, measured, up, &at);
            }
            draw_line(svg, &grid, up, &at, |w| of(linear.curve.at(w)));
            let value = |line: &Line| {
                let now = of(line.transfer);
                (up.low..=up.high).contains(&now).then(|| (at(line.rad_s), up.at(now)))
            };
            draw_dots(svg, measured, value);
        });
    }
    svg.text("name", (2.0, gain_top - 8.0), Align::Start, "|L|, dB");
    svg.text("name", (2.0, phase_top - 8.0), Align::Start, "phase, deg");
    legend(&mut svg, gain_top - 8.0);
    let bottom = phase_top + PHASE_PX;
    svg.group("axes", |svg| {
        let mut last = f64::NEG_INFINITY;
        for &mark in marks.iter().filter(|&&mark| (LEFT + 4.0..RIGHT - 4.0).contains(&at(mark))) {
            if at(mark) - last > 24.0 {
                svg.text("tick", (at(mark), bottom + 14.0), Align::Middle, &number::significant(mark, 1));
                last = at(mark);
            }
        }
    });
    svg.text("name", (RIGHT, bottom + 28.0), Align::End, "frequency, rad/s");
    svg.finish()
}

/// Round frequencies within a range.
fn frequency_marks(low: f64, high: f64) -> Vec<f64> {
    let first = libm::floor(libm::log10(low)) as i32;
    let last = libm::ceil(libm::log10(high)) as i32;
    let all =
        (first..=last).flat_map(|decade| [1.0, 2.0, 5.0].map(|m| m * libm::pow(10.0, f64::from(decade))));
    all.filter(|mark| (low..=high).contains(mark)).collect()
}

/// Region excluded by a required margin: `half` on both sides of `centre`.
fn forbidden(svg: &mut Svg, axis: &Axis, centre: f64, half: f64) {
    let (top, bottom) = (axis.at(centre + half).max(axis.to), axis.at(centre - half).min(axis.from));
    svg.rect(Fill::Forbidden.class(), LEFT, top, RIGHT - LEFT, bottom - top);
}

fn draw_line(svg: &mut Svg, grid: &[f64], axis: &Axis, at: &dyn Fn(f64) -> f64, value: impl Fn(f64) -> f64) {
    let mut path = Path::default();
    let mut run: Vec<(f64, f64)> = Vec::new();
    let mut before = f64::NAN;
    for &w in grid {
        let now = value(w);
        let inside = (axis.low..=axis.high).contains(&now);
        // The phase jumps by 360 deg where it leaves the picture.
        if !inside || (now - before).abs() > 180.0 {
            path.run(&run);
            run.clear();
        }
        if inside {
            run.push((at(w), axis.at(now)));
        }
        before = now;
    }
    path.run(&run);
    svg.plotted("estimate", "linear", &path);
}

/// The measured points, and those of a low coherence, at the positions of `position`.
fn draw_dots(svg: &mut Svg, measured: &Measured, position: impl Fn(&Line) -> Option<(f64, f64)>) {
    for (class, name, is_coherent) in [("weak", "incoherent", false), ("measured", "measured", true)] {
        let mut path = Path::default();
        for line in measured.lines.iter().filter(|line| (line.coherence >= COHERENT) == is_coherent) {
            if let Some(point) = position(line) {
                path.dot(point);
            }
        }
        svg.plotted(class, name, &path);
    }
}

/// A line from the critical value `from` to the curve: a margin.
fn draw_margin(svg: &mut Svg, axis: &Axis, x: f64, from: f64, to: f64) {
    if x.is_finite() {
        svg.line("marker", (x, axis.at(from)), (x, axis.at(to.clamp(axis.low, axis.high))));
    }
}

fn draw_gain_margins(svg: &mut Svg, measured: &Measured, axis: &Axis, at: &dyn Fn(f64) -> f64) {
    let figures = &measured.figures;
    if measured.curve.range().is_some() {
        let (upper, lower) = (figures.upper_gain_margin_rad_s, figures.lower_gain_margin_rad_s);
        draw_margin(svg, axis, at(upper), 0.0, -figures.upper_gain_margin_db);
        draw_margin(svg, axis, at(lower), 0.0, figures.lower_gain_margin_db);
    }
}

fn draw_phase_margin(svg: &mut Svg, measured: &Measured, axis: &Axis, at: &dyn Fn(f64) -> f64) {
    let rad_s = measured.figures.phase_margin_rad_s;
    if measured.curve.range().is_some() && rad_s.is_finite() {
        draw_margin(svg, axis, at(rad_s), -180.0, phase(measured.curve.at(rad_s)));
    }
}

fn legend(svg: &mut Svg, baseline: f64) {
    let mut dot = Path::default();
    dot.dot((RIGHT - 218.0, baseline - 4.0));
    svg.path("measured", &dot);
    svg.text("note", (RIGHT - 210.0, baseline), Align::Start, "measured");
    svg.line("estimate", (RIGHT - 150.0, baseline - 4.0), (RIGHT - 132.0, baseline - 4.0));
    svg.text("note", (RIGHT - 128.0, baseline), Align::Start, "linear");
    svg.line("marker", (RIGHT - 78.0, baseline - 4.0), (RIGHT - 60.0, baseline - 4.0));
    svg.text("note", (RIGHT - 56.0, baseline), Align::Start, "margin");
}

/// Half width of the Nyquist plot, and its centre on the real axis.
const REACH: f64 = 2.0;
const MIDDLE: f64 = -0.6;

fn nyquist(linear: &Linear, measured: &Measured, id: &str) -> String {
    let title = format!("Nyquist plot, {}", linear.broken.name());
    let size = RIGHT - LEFT;
    let mut svg = Svg::new(id, WIDTH, HEAD + size + FOOT, &title, &nyquist_caption(measured));
    let real = Axis { low: MIDDLE - REACH, high: MIDDLE + REACH, from: LEFT, to: RIGHT };
    let imaginary = Axis { low: -REACH, high: REACH, from: HEAD + size, to: HEAD };
    let ticks = |axis: &Axis| Ticks::inside(axis.low, axis.high, 5, Scale::Decimal);
    let unit = size / (2.0 * REACH);
    let point = |z: C64| (real.at(z.re), imaginary.at(z.im));
    let inside =
        |z: C64| (real.low..=real.high).contains(&z.re) && (imaginary.low..=imaginary.high).contains(&z.im);
    let minus_one = point(C64::new(-1.0, 0.0));
    draw_grid(&mut svg, &real, &ticks(&real), &imaginary, &ticks(&imaginary));
    let (low, high) = span(measured);
    let (kind, name) = (Kind::Plane, "real part|imaginary part");
    Area { kind, name, across: &real, up: &imaginary, has_foot: true, key: "" }.draw(&mut svg, |svg| {
        svg.circle(Fill::Forbidden.class(), minus_one, unit / LARGEST_PEAK);
        svg.circle("ring", point(C64::new(0.0, 0.0)), unit);
        let mut path = Path::default();
        let mut run: Vec<(f64, f64)> = Vec::new();
        for i in 0..=480 {
            let z = linear.curve.at(low * libm::pow(high / low, f64::from(i) / 480.0));
            if inside(z) {
                run.push(point(z));
            } else {
                path.run(&run);
                run.clear();
            }
        }
        path.run(&run);
        svg.plotted("estimate", "linear", &path);
        draw_dots(svg, measured, |line| inside(line.transfer).then(|| point(line.transfer)));
        margins_from_minus_one(svg, measured, &point, &inside);
        let (x, y) = minus_one;
        let mut cross = Path::default();
        for side in [-4.0, 4.0] {
            cross.move_to((x - side, y - 4.0));
            cross.line_to((x + side, y + 4.0));
        }
        svg.path("marker", &cross);
    });
    let (x, y) = minus_one;
    svg.group("axes", |svg| svg.text("note halo", (x - 6.0, y - 8.0), Align::End, "−1"));
    svg.text("name", (2.0, HEAD - 8.0), Align::Start, "imaginary part of L");
    legend(&mut svg, HEAD - 8.0);
    draw_across_ticks(&mut svg, &real, &ticks(&real), HEAD + size + 14.0);
    svg.text("name", (RIGHT, HEAD + size + 28.0), Align::End, "real part of L");
    svg.finish()
}

/// A line from -1 to the nearest point of the curve: its length is 1/Ms.
fn margins_from_minus_one(
    svg: &mut Svg,
    measured: &Measured,
    point: &dyn Fn(C64) -> (f64, f64),
    inside: &dyn Fn(C64) -> bool,
) {
    if measured.figures.peak_sensitivity.is_finite() {
        let nearest = measured.curve.at(measured.figures.peak_sensitivity_rad_s);
        if inside(nearest) {
            svg.line("marker", point(C64::new(-1.0, 0.0)), point(nearest));
        }
    }
}
