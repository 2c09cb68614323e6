//! The report on margins: figures of each loop, Bode and Nyquist plots with the margins.

use super::page::{self, Counts};
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{Axis, FOOT, HEAD, LEFT, RIGHT, WIDTH, draw_grid};
use super::xml::{anchor, escape};
use super::{Repeat, sheet};
use aplomb_study::linear::C64;
use aplomb_study::margins::figures::Figures;
use aplomb_study::margins::judge::{LARGEST_PEAK, LEAST_GAIN_DB, LEAST_PHASE_DEG};
use aplomb_study::margins::{COHERENT, Linear, Measured};
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

const TERMS: [(&str, &str); 12] = [
    ("bandwidth", "Frequency in rad/s above which the gain of the closed loop stays below -3 dB."),
    (
        "Bode plot",
        "Gain and phase of the loop transfer function over frequency. Dots: measured; rings: measured with a coherence below 0.95; line: linear model.",
    ),
    (
        "coherence",
        "Share of the power of a signal that is periodic with the injection. Frequencies with less than 0.95 are not evaluated.",
    ),
    ("crossover", "Highest frequency at which the gain of the loop transfer function falls through 1."),
    ("delay margin", "Smallest additional delay with which the closed loop is unstable."),
    (
        "linear model",
        "Linearised equations of craft and controller with delays, filters, sampling, rotor time constant and all outer loops; without noise and limits.",
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
    let mut page = String::new();
    sheet::open(&mut page, &report.title);
    let counts = Counts::of(report.points.iter().flat_map(|point| point.verdicts));
    let _ = write!(
        page,
        "<header><p class=\"craft\">{}</p><h1>{}</h1><p class=\"verdict {}\">{}.</p><p class=\"soft\">{}</p>",
        escape(&report.subtitle),
        escape(&report.title),
        counts.class(),
        counts.words(),
        sheet::EVIDENCE
    );
    page.push_str("<nav aria-label=\"Operating points\"><ol class=\"overview\">");
    for point in &report.points {
        let counts = Counts::of(point.verdicts);
        let _ = write!(
            page,
            "<li><a href=\"#{}\">{}</a> <span class=\"{}\">{}</span></li>",
            anchor(point.name),
            escape(point.name),
            counts.class(),
            counts.words()
        );
    }
    page.push_str("</ol></nav></header>\n");
    for point in &report.points {
        section(&mut page, point);
    }
    sheet::terms(&mut page, &TERMS);
    sheet::cautions(&mut page);
    sheet::repeat(&mut page, &report.repeat);
    sheet::close(&mut page);
    page
}

fn section(page: &mut String, point: &PointSection<'_>) {
    let id = anchor(point.name);
    let counts = Counts::of(point.verdicts);
    let _ = write!(
        page,
        "<section id=\"{id}\"><h2>{}</h2><p class=\"lead\">{}</p><p class=\"verdict small {}\">{}.</p>",
        escape(point.name),
        escape(point.words),
        counts.class(),
        counts.words()
    );
    page::checks(page, point.verdicts, &id);
    figures_table(page, point);
    page.push_str("<div class=\"plots\">");
    for (index, &(linear, measured)) in point.loops.iter().enumerate() {
        let name = linear.broken.name();
        for (kind, svg, caption) in [
            ("Bode", bode(linear, measured, &format!("{id}-b{index}")), bode_caption(measured)),
            ("Nyquist", nyquist(linear, measured, &format!("{id}-n{index}")), nyquist_caption(measured)),
        ] {
            let _ = write!(
                page,
                "\n<figure><h3>{}: {kind}</h3>{svg}<figcaption>{caption}</figcaption></figure>",
                escape(name)
            );
        }
    }
    page.push_str("</div></section>\n");
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
    allowed(&mut svg, &gain, &angle);
    let marks = frequency_marks(low, high);
    let across_ticks = Ticks::at(marks.iter().map(|w| libm::log10(*w)).collect());
    draw_grid(&mut svg, &across, &across_ticks, &gain, &gain_ticks);
    draw_grid(&mut svg, &across, &across_ticks, &angle, &phase_ticks);
    svg.line("level", (LEFT, angle.at(-180.0)), (RIGHT, angle.at(-180.0)));
    for (axis, of) in [(&gain, decibel as fn(C64) -> f64), (&angle, phase)] {
        draw_line(&mut svg, &grid, axis, &at, |w| of(linear.curve.at(w)));
        draw_dots(&mut svg, measured, axis, &at, of);
    }
    draw_margins(&mut svg, &measured.figures, measured, (&gain, &angle), &at);
    svg.text("name", (2.0, gain_top - 8.0), Align::Start, "|L|, dB");
    svg.text("name", (2.0, phase_top - 8.0), Align::Start, "phase, deg");
    legend(&mut svg, gain_top - 8.0);
    let bottom = phase_top + PHASE_PX;
    let mut last = f64::NEG_INFINITY;
    for &mark in &marks {
        if at(mark) - last > 24.0 {
            svg.text("tick", (at(mark), bottom + 14.0), Align::Middle, &number::significant(mark, 1));
            last = at(mark);
        }
    }
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

/// Regions excluded by the required margins: 6 dB about 0 dB at -180 deg, 45 deg about -180 deg at the
/// crossover.
fn allowed(svg: &mut Svg, gain: &Axis, angle: &Axis) {
    let band = |axis: &Axis, centre: f64, half: f64| {
        let (top, bottom) = (axis.at(centre + half).max(axis.to), axis.at(centre - half).min(axis.from));
        (top, bottom - top)
    };
    for (axis, centre, half) in [(gain, 0.0, LEAST_GAIN_DB), (angle, -180.0, LEAST_PHASE_DEG)] {
        let (top, height) = band(axis, centre, half);
        svg.rect("crosshatch", LEFT, top, RIGHT - LEFT, height);
    }
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
    svg.path("estimate", &path);
}

fn draw_dots(
    svg: &mut Svg,
    measured: &Measured,
    axis: &Axis,
    at: &dyn Fn(f64) -> f64,
    value: fn(C64) -> f64,
) {
    for line in &measured.lines {
        let now = value(line.transfer);
        if (axis.low..=axis.high).contains(&now) {
            let class = if line.coherence >= COHERENT { "time" } else { "ring" };
            svg.circle(class, (at(line.rad_s), axis.at(now)), 2.2);
        }
    }
}

/// Lines from the critical gain or phase to the curve: the margins.
fn draw_margins(
    svg: &mut Svg,
    figures: &Figures,
    measured: &Measured,
    (gain, angle): (&Axis, &Axis),
    at: &dyn Fn(f64) -> f64,
) {
    let mut line = |axis: &Axis, rad_s: f64, from: f64, to: f64| {
        let clipped = to.clamp(axis.low, axis.high);
        if rad_s.is_finite() {
            svg.line("marker", (at(rad_s), axis.at(from)), (at(rad_s), axis.at(clipped)));
        }
    };
    if measured.curve.range().is_some() {
        line(gain, figures.upper_gain_margin_rad_s, 0.0, -figures.upper_gain_margin_db);
        line(gain, figures.lower_gain_margin_rad_s, 0.0, figures.lower_gain_margin_db);
        if figures.phase_margin_rad_s.is_finite() {
            line(
                angle,
                figures.phase_margin_rad_s,
                -180.0,
                phase(measured.curve.at(figures.phase_margin_rad_s)),
            );
        }
    }
}

fn legend(svg: &mut Svg, baseline: f64) {
    svg.circle("time", (RIGHT - 218.0, baseline - 4.0), 2.2);
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
    svg.circle("allowed", minus_one, unit / LARGEST_PEAK);
    draw_grid(&mut svg, &real, &ticks(&real), &imaginary, &ticks(&imaginary));
    svg.circle("ring", point(C64::new(0.0, 0.0)), unit);
    let (low, high) = span(measured);
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
    svg.path("estimate", &path);
    for line in measured.lines.iter().filter(|line| inside(line.transfer)) {
        let class = if line.coherence >= COHERENT { "time" } else { "ring" };
        svg.circle(class, point(line.transfer), 2.2);
    }
    margins_from_minus_one(&mut svg, measured, &point, &inside);
    let (x, y) = minus_one;
    let mut cross = Path::default();
    for side in [-4.0, 4.0] {
        cross.move_to((x - side, y - 4.0));
        cross.line_to((x + side, y + 4.0));
    }
    svg.path("marker", &cross);
    svg.text("note", (x - 6.0, y - 8.0), Align::End, "−1");
    svg.text("name", (2.0, HEAD - 8.0), Align::Start, "imaginary part of L");
    legend(&mut svg, HEAD - 8.0);
    for &tick in &ticks(&real).values {
        svg.text("tick", (real.at(tick), HEAD + size + 14.0), Align::Middle, &ticks(&real).label(tick));
    }
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
