//! The report on recordings: a table of errors, and the errors over time.

use super::Repeat;
use super::area::{Area, Kind};
use super::axis::Axis;
use super::decimate::thin;
use super::fill::{self, Fill};
use super::page::{self, Counts};
use super::quantities::range;
use super::sheet::{Section, Sheet};
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{
    COLUMN_PX, FOOT, HEAD, LEFT, RIGHT, WIDTH, draw_across_ticks, draw_grid, label_width,
};
use super::xml::{anchor, escape};
use aplomb_study::number;
use aplomb_study::verdict::Verdict;
use std::fmt::Write as _;
use std::io;

/// Content of the report.
#[derive(Clone, Debug)]
pub struct RecordingReport<'a> {
    /// The heading of the page.
    pub title: String,
    /// One line above it.
    pub subtitle: String,
    /// Checks of the means; may be empty.
    pub verdicts: &'a [Verdict],
    /// The figures.
    pub table: ScoreTable,
    /// The recordings, in the order to read them.
    pub sections: Vec<RecordingSection>,
    /// How to reproduce the figures.
    pub repeat: Repeat,
}

/// A table of figures; the first column names the row.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ScoreTable {
    /// Caption.
    pub caption: String,
    /// Names of the columns.
    pub heads: Vec<String>,
    /// The rows.
    pub rows: Vec<Vec<String>>,
}

/// One recording.
#[derive(Clone, Debug)]
pub struct RecordingSection {
    /// Its name.
    pub name: String,
    /// Length, period and content in one sentence.
    pub details: String,
    /// Its plots.
    pub plots: Vec<Plot>,
}

/// Lines over time.
#[derive(Clone, Debug)]
pub struct Plot {
    /// Heading.
    pub title: String,
    /// Caption.
    pub caption: String,
    /// What is plotted, with its unit.
    pub name: String,
    /// Time of each value in s.
    pub time_s: Vec<f64>,
    /// At most four lines.
    pub lines: Vec<Line>,
    /// Intervals that are not evaluated: from and to in s.
    pub not_counted: Vec<(f64, f64)>,
}

/// One line.
#[derive(Clone, Debug)]
pub struct Line {
    /// Its name.
    pub label: String,
    /// One value for each time; NaN leaves a gap.
    pub values: Vec<f64>,
}

/// Name of the file with the table, beside the page.
pub const ERRORS_CSV: &str = "errors.csv";
/// Classes of the lines in order.
const CLASSES: [&str; 4] = ["truth", "estimate", "other", "setpoint"];
const PLOT_PX: f64 = 150.0;
/// Smallest range of the vertical axis, so that noise is not magnified.
const LEAST_SPAN: f64 = 1.0;

/// Writes the page.
///
/// # Errors
/// Errors of `out`. The page is composed before the first byte is written.
pub fn write_recordings(report: &RecordingReport<'_>, out: &mut impl io::Write) -> io::Result<()> {
    out.write_all(compose(report).as_bytes())?;
    out.flush()
}

fn compose(report: &RecordingReport<'_>) -> String {
    let mut sheet = Sheet::new(&report.title, &report.subtitle, &[ERRORS_CSV]);
    let mut figures = String::new();
    if !report.verdicts.is_empty() {
        let counts = Counts::of(report.verdicts);
        sheet.verdict(counts.class(), &counts.words());
        page::checks(&mut figures, report.verdicts, "mean");
    }
    scores(&mut figures, &report.table);
    sheet.section(Section::new("figures", "Figures", figures));
    for (index, section) in report.sections.iter().enumerate() {
        let id = format!("r{}-{}", index + 1, anchor(&section.name));
        let mut body = format!("<p class=\"details\">{}</p>", escape(&section.details));
        if section.plots.iter().any(|plot| !plot.not_counted.is_empty()) {
            body += &fill::key("Shaded in the plots:", [(Fill::NotEvaluated, String::new())]);
        }
        body.push_str("<div class=\"plots\">");
        for (number, plot) in section.plots.iter().enumerate() {
            let picture = draw(plot, &format!("{id}-p{number}"));
            let (title, caption) = (escape(&plot.title), escape(&plot.caption));
            let _ = write!(
                body,
                "\n<figure><h3>{title}</h3>{picture}<figcaption>{caption}</figcaption></figure>"
            );
        }
        body.push_str("</div>");
        sheet.section(Section::new(id, &section.name, body).collapsible());
    }
    sheet.finish(&TERMS, &report.repeat)
}

const TERMS: [(&str, &str); 4] = [
    ("evaluated", "Rows of the recording on which the error is determined."),
    ("inclination error", "Angle between the estimated and the true vertical in deg."),
    ("total error", "Angle of the rotation from the true to the estimated attitude in deg."),
    ("gyro bias", "Estimated slowly varying error of the angular rate in deg/s."),
];

fn scores(page: &mut String, table: &ScoreTable) {
    let _ = write!(page, "<table><caption>{}</caption><thead><tr>", escape(&table.caption));
    for head in &table.heads {
        let _ = write!(page, "<th scope=\"col\">{}</th>", escape(head));
    }
    page.push_str("</tr></thead><tbody>");
    for row in &table.rows {
        page.push_str("\n<tr>");
        for (column, cell) in row.iter().enumerate() {
            let cell = escape(cell);
            let _ = match column {
                0 => write!(page, "<th scope=\"row\">{cell}</th>"),
                _ => write!(page, "<td class=\"figure\">{cell}</td>"),
            };
        }
        page.push_str("</tr>");
    }
    page.push_str("</tbody></table>\n");
}

fn draw(plot: &Plot, id: &str) -> String {
    let mut svg = Svg::new(id, WIDTH, HEAD + PLOT_PX + FOOT, &plot.title, &describe(plot));
    let (start, end) = match (plot.time_s.first(), plot.time_s.last()) {
        (Some(&first), Some(&last)) if last > first => (first, last),
        _ => (0.0, 1.0),
    };
    let (bottom, top) = (HEAD + PLOT_PX, HEAD);
    let (low, high) = range(plot.lines.iter().flat_map(|line| &line.values)).unwrap_or((0.0, 0.0));
    let (low, high) = (low.min(0.0), if low < 0.0 { high } else { high.max(LEAST_SPAN) });
    let ticks = Ticks::around(low, high, 6, Scale::Decimal);
    let time_ticks = Ticks::inside(start, end, 7, Scale::Decimal);
    let time = Axis { low: start, high: end, from: LEFT, to: RIGHT };
    let value = Axis { low: ticks.range.0, high: ticks.range.1, from: bottom, to: top };
    svg.group("shades", |svg| {
        for &(from, to) in &plot.not_counted {
            svg.rect(Fill::NotEvaluated.class(), time.at(from), top, time.at(to) - time.at(from), PLOT_PX);
        }
    });
    draw_grid(&mut svg, &time, &time_ticks, &value, &ticks);
    let (across, up) = (&time, &value);
    Area { kind: Kind::Time, name: &plot.name, across, up, has_foot: true, key: "" }.draw(&mut svg, |svg| {
        for (line, class) in plot.lines.iter().zip(CLASSES) {
            let points = plot.time_s.iter().zip(&line.values).map(|(&t, &y)| (time.at(t), value.at(y)));
            let mut path = Path::default();
            for run in thin(points, COLUMN_PX) {
                path.run(&run);
            }
            svg.plotted(class, &line.label, &path);
        }
    });
    svg.text("name", (2.0, top - 8.0), Align::Start, &plot.name);
    let mut x = RIGHT;
    if plot.lines.len() > 1 {
        for (line, class) in plot.lines.iter().zip(CLASSES).rev() {
            x -= label_width(&line.label);
            svg.text("note", (x, top - 8.0), Align::Start, &line.label);
            svg.line(class, (x - 22.0, top - 12.0), (x - 4.0, top - 12.0));
            x -= 34.0;
        }
    }
    draw_across_ticks(&mut svg, &time, &time_ticks, bottom + 14.0);
    svg.text("name", (RIGHT, bottom + 28.0), Align::End, "time, s");
    svg.finish()
}

fn describe(plot: &Plot) -> String {
    let mut text = String::new();
    for line in &plot.lines {
        if let Some((low, high)) = range(&line.values) {
            let [low, high] = [low, high].map(|value| number::significant(value, 3));
            let _ = write!(text, "{}, {}: {low} to {high}. ", plot.name, line.label);
        }
    }
    text.trim_end().to_owned()
}
