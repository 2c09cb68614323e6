//! The report on a sweep: a map of the margin ratio, with the present values of the files.

use super::Repeat;
use super::area::{Area, Kind};
use super::axis::Axis;
use super::fill::{self, Fill};
use super::sheet::{Section, Sheet};
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{FOOT, HEAD, LEFT, RIGHT, WIDTH, draw_across_ticks, draw_grid};
use super::xml::escape;
use crate::input::axis as vary;
use aplomb_study::sweep::Tried;
use std::io;

/// Content of the report.
#[derive(Clone, Debug)]
pub struct SweepReport<'a> {
    /// The heading of the page.
    pub title: String,
    /// One line above it.
    pub subtitle: String,
    /// Results in sentences.
    pub findings: Vec<String>,
    /// Varied parameters; the first two are the axes of the map.
    pub axes: &'a [vary::Axis],
    /// Every point.
    pub tried: &'a [Tried],
    /// The points form a grid.
    pub is_grid: bool,
    /// Present values in the files, where they are given.
    pub present: Vec<Option<f64>>,
    /// How to reproduce the figures.
    pub repeat: Repeat,
}

const TERMS: [(&str, &str); 4] = [
    (
        "feasible",
        "Stable, every margin and peak sensitivity of the loops at the torque and thrust demands within its limit, and every check of the flight passes.",
    ),
    (
        "margin ratio",
        "Of the limiting margin: margin over required margin, or largest allowed peak sensitivity over peak. At 1 the limit is just met; 0 is an unstable craft.",
    ),
    ("present values", "Values in the files."),
    (
        "linear model",
        "Margins are computed from the equations of craft and controller; some points are also measured by injection.",
    ),
];

/// Writes the page.
///
/// # Errors
/// Errors of `out`. The page is composed before the first byte is written.
pub fn write_sweep(report: &SweepReport<'_>, out: &mut impl io::Write) -> io::Result<()> {
    out.write_all(compose(report).as_bytes())?;
    out.flush()
}

fn compose(report: &SweepReport<'_>) -> String {
    let mut sheet = Sheet::new(&report.title, &report.subtitle, &["sweep.csv", "sweep.parquet"]);
    for finding in &report.findings {
        sheet.head(&format!("<p>{}</p>", escape(finding)));
    }
    let fills = FILLS.map(|fill| (fill, String::new()));
    let map = format!(
        "{}<div class=\"plots\"><figure class=\"map\"><h3>Margin ratio</h3>{}<figcaption>Outlined: feasible. Cross: \
         present values.</figcaption></figure></div>",
        fill::key("Colours:", fills),
        map(report)
    );
    sheet.section(Section::new("map-of-the-sweep", "Map", map));
    sheet.finish(&TERMS, &report.repeat)
}

/// Fills of the cells.
pub(super) const FILLS: [Fill; 5] =
    [Fill::Unstable, Fill::Forbidden, Fill::Ratio1, Fill::Ratio2, Fill::Ratio3];

/// Fill by margin ratio.
pub(super) fn fill_of(margin_ratio: f64) -> Fill {
    match margin_ratio {
        ratio if ratio <= 0.0 => Fill::Unstable,
        ratio if ratio < 1.0 => Fill::Forbidden,
        ratio if ratio < 1.15 => Fill::Ratio1,
        ratio if ratio < 1.3 => Fill::Ratio2,
        _ => Fill::Ratio3,
    }
}

fn map(report: &SweepReport<'_>) -> String {
    let size = RIGHT - LEFT;
    let feasible = report.tried.iter().filter(|tried| tried.is_feasible()).count();
    let words = format!("{feasible} of {} points are feasible.", report.tried.len());
    let mut svg = Svg::new("map", WIDTH, HEAD + size + FOOT, "Map of the sweep", &words);
    let [across, up] = [0, 1].map(|i| report.axes.get(i));
    let Some(across) = across else { return svg.finish() };
    // Half a cell beyond the outermost points.
    let span = |axis: &vary::Axis| {
        let half = if report.is_grid { 0.5 / (axis.count - 1) as f64 } else { 0.02 };
        (axis.at(-half), axis.at(1.0 + half))
    };
    let (low, high) = span(across);
    let x = Axis { low, high, from: LEFT, to: RIGHT };
    let (low, high) = up.map_or((-0.5, 0.5), span);
    let y = Axis { low, high, from: HEAD + size, to: HEAD };
    let cell = |axis: Option<&vary::Axis>| match axis {
        Some(axis) if report.is_grid => size / axis.count as f64,
        Some(_) => 8.0,
        None => size,
    };
    let (width, height) = (cell(Some(across)), cell(up));
    let point = |values: &[f64]| (x.at(values[0]), y.at(values.get(1).copied().unwrap_or(0.0)));
    let mut outline = Path::default();
    let rows = up.map_or(1, |axis| axis.count);
    let is_feasible = |i: usize, j: usize| report.tried.get(i * rows + j).is_some_and(Tried::is_feasible);
    for (index, tried) in report.tried.iter().enumerate().filter(|(_, tried)| tried.is_feasible()) {
        let (cx, cy) = point(&tried.values);
        let (left, right) = (cx - 0.5 * width, cx + 0.5 * width);
        let (top, bottom) = (cy - 0.5 * height, cy + 0.5 * height);
        // In a map, the border of the region; else each point's own.
        let (i, j) = (index / rows, index % rows);
        let is_map = report.is_grid && report.axes.len() <= 2;
        let inside = |i: Option<usize>, j: Option<usize>| match (i, j) {
            (Some(i), Some(j)) => is_map && j < rows && is_feasible(i, j),
            _ => false,
        };
        for (is_inside, from, to) in [
            (inside(i.checked_sub(1), Some(j)), (left, top), (left, bottom)),
            (inside(Some(i + 1), Some(j)), (right, top), (right, bottom)),
            (inside(Some(i), j.checked_sub(1)), (left, bottom), (right, bottom)),
            (inside(Some(i), Some(j + 1)), (left, top), (right, top)),
        ] {
            if !is_inside {
                outline.move_to(from);
                outline.line_to(to);
            }
        }
    }
    let ticks = |axis: &Axis| Ticks::inside(axis.low, axis.high, 6, Scale::Decimal);
    let up_ticks = if up.is_some() { ticks(&y) } else { Ticks::at(Vec::new()) };
    let across_name = across.name();
    let name = up.map_or(across_name.clone(), |up| format!("{across_name}|{}", up.name()));
    let name = name.as_str();
    Area { kind: Kind::Plane, name, across: &x, up: &y, has_foot: true, key: "" }.draw(&mut svg, |svg| {
        for tried in report.tried {
            let (cx, cy) = point(&tried.values);
            let class = fill_of(tried.margin_ratio()).class();
            svg.rect(class, cx - 0.5 * width, cy - 0.5 * height, width, height);
        }
        svg.path("bound", &outline);
    });
    draw_grid(&mut svg, &x, &ticks(&x), &y, &up_ticks);
    if let Some(present) = report.present.iter().take(2).copied().collect::<Option<Vec<f64>>>()
        && !present.is_empty()
    {
        let (cx, cy) = point(&present);
        let mut cross = Path::default();
        for side in [-6.0, 6.0] {
            cross.move_to((cx - side, cy - 6.0));
            cross.line_to((cx + side, cy + 6.0));
        }
        svg.group("axes", |svg| svg.path("marker", &cross));
    }
    draw_across_ticks(&mut svg, &x, &ticks(&x), HEAD + size + 14.0);
    svg.text("name", (RIGHT, HEAD + size + 28.0), Align::End, &across_name);
    if let Some(up) = up {
        svg.text("name", (2.0, HEAD - 8.0), Align::Start, &up.name());
    }
    svg.finish()
}
