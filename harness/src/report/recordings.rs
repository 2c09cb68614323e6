//! The report on recordings: a table of errors, and the errors over time.

use super::decimate::thin;
use super::page::{self, Counts};
use super::quantities::range;
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{Axis, COLUMN_PX, FOOT, HEAD, LEFT, RIGHT, WIDTH, draw_grid, label_width};
use super::xml::{anchor, escape};
use super::{Repeat, sheet};
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
    let mut page = String::new();
    sheet::open(&mut page, &report.title);
    let (subtitle, title) = (escape(&report.subtitle), escape(&report.title));
    let _ = write!(page, "<header><p class=\"craft\">{subtitle}</p><h1>{title}</h1>");
    if !report.verdicts.is_empty() {
        let counts = Counts::of(report.verdicts);
        let _ = write!(page, "<p class=\"verdict {}\">{}.</p>", counts.class(), counts.words());
    }
    page.push_str("</header>\n");
    page::checks(&mut page, report.verdicts, "mean");
    scores(&mut page, &report.table);
    for (index, section) in report.sections.iter().enumerate() {
        let id = format!("r{}-{}", index + 1, anchor(&section.name));
        let _ = write!(
            page,
            "<section id=\"{id}\"><h2>{}</h2><p class=\"details\">{}</p>",
            escape(&section.name),
            escape(&section.details)
        );
        page.push_str("<div class=\"plots\">");
        for (number, plot) in section.plots.iter().enumerate() {
            let picture = draw(plot, &format!("{id}-p{number}"));
            let (title, caption) = (escape(&plot.title), escape(&plot.caption));
            let _ = write!(
                page,
                "\n<figure><h3>{title}</h3>{picture}<figcaption>{caption}</figcaption></figure>"
            );
        }
        page.push_str("</div></section>\n");
    }
    sheet::repeat(&mut page, &report.repeat);
    sheet::close(&mut page);
    page
}

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
    for &(from, to) in &plot.not_counted {
        svg.rect("ground", time.at(from), top, time.at(to) - time.at(from), PLOT_PX);
    }
    draw_grid(&mut svg, &time, &time_ticks, &value, &ticks);
    for (line, class) in plot.lines.iter().zip(CLASSES) {
        let points = plot.time_s.iter().zip(&line.values).map(|(&t, &y)| (time.at(t), value.at(y)));
        let mut path = Path::default();
        for run in thin(points, COLUMN_PX) {
            path.run(&run);
        }
        svg.path(class, &path);
    }
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
    for &tick in &time_ticks.values {
        svg.text("tick", (time.at(tick), bottom + 14.0), Align::Middle, &time_ticks.label(tick));
    }
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
