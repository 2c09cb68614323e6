//! Quantities over time: frames stacked over one shared time axis.

use super::area::{Area, Kind};
use super::axis::Axis;
use super::decimate::thin;
use super::fill::Fill;
use super::quantities::range;
use super::shade;
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use aplomb_flight::trace::{Flags, Trace};
use aplomb_study::number;

/// Width of every picture in px.
pub const WIDTH: f64 = 380.0;
/// Left edge of the plotting area.
pub const LEFT: f64 = 40.0;
/// Right edge of the plotting area.
pub const RIGHT: f64 = WIDTH - 8.0;
/// Space above a frame for its name and legend.
pub const HEAD: f64 = 24.0;
/// Space below the last frame for the time axis.
pub const FOOT: f64 = 34.0;
/// Width in px of the columns whose minimum and maximum are plotted.
pub const COLUMN_PX: f64 = 0.75;

/// One line of a frame.
pub struct Series {
    /// Class of its stroke: "truth", "estimate", "setpoint" or "other".
    pub class: &'static str,
    /// Its name in the legend.
    pub label: &'static str,
    /// One value a row; NaN leaves a gap.
    pub values: Vec<f64>,
}

/// Range allowed by a limit, for each row of the trace.
pub struct Allowed {
    /// Window in s.
    pub window: (f64, f64),
    /// Lower bound a row.
    pub low: Vec<f64>,
    /// Upper bound a row.
    pub high: Vec<f64>,
}

/// A frame with lines.
pub struct Frame {
    /// What is plotted, with its unit: "roll, deg".
    pub name: &'static str,
    /// The lines, in drawing order.
    pub series: Vec<Series>,
    /// Ranges allowed by limits.
    pub allowed: Vec<Allowed>,
    /// A horizontal line at a value, with its name.
    pub level: Option<(f64, &'static str)>,
    /// Scale of the ticks.
    pub scale: Scale,
    /// Smallest range of the vertical axis, so that noise is not magnified.
    pub least_span: f64,
    /// The axis includes zero.
    pub from_zero: bool,
    /// Height of the plotting area in px.
    pub height: f64,
    /// Key by which the script finds the quantities of the craft's picture; empty for others.
    pub key: &'static str,
}

/// A row of marks for each flag.
pub struct Lanes {
    /// Name and condition of each lane.
    pub lanes: Vec<Lane>,
}

/// Name of a lane, and when it is marked.
pub type Lane = (&'static str, fn(&Flags) -> bool);

/// A stack of frames over one time axis.
pub struct Stack<'a> {
    /// The flight.
    pub trace: &'a Trace,
    /// The frames from the top.
    pub frames: Vec<Frame>,
    /// Marks below the frames.
    pub lanes: Option<Lanes>,
}

const LANE_PX: f64 = 20.0;

impl Stack<'_> {
    /// Draws the picture.
    pub fn draw(&self, id: &str, title: &str) -> String {
        let lanes_height = self.lanes.as_ref().map_or(0.0, |l| HEAD + l.lanes.len() as f64 * LANE_PX);
        let height = self.frames.iter().map(|f| HEAD + f.height).sum::<f64>() + lanes_height + FOOT;
        let mut svg = Svg::new(id, WIDTH, height, title, &self.describe());
        let rows = &self.trace.rows;
        let (start, end) = match (rows.first(), rows.last()) {
            (Some(first), Some(last)) if last.time_s > first.time_s => (first.time_s, last.time_s),
            (first, _) => first.map_or((0.0, 1.0), |row| (row.time_s, row.time_s + 1.0)),
        };
        let time = Axis { low: start, high: end, from: LEFT, to: RIGHT };
        let ticks = Ticks::inside(start, end, 7, Scale::Decimal);
        let mut top = 0.0;
        let mut legend_shown: Vec<&str> = Vec::new();
        for (index, frame) in self.frames.iter().enumerate() {
            let box_top = top + HEAD;
            let is_last = index + 1 == self.frames.len() && self.lanes.is_none();
            self.draw_frame(&mut svg, frame, &time, &ticks, (box_top, is_last));
            svg.text("name", (2.0, box_top - 8.0), Align::Start, frame.name);
            let labels: Vec<&str> = frame.series.iter().map(|s| s.label).collect();
            if labels != legend_shown && labels.len() > 1 {
                draw_legend(&mut svg, &frame.series, box_top - 8.0);
                legend_shown = labels;
            }
            top = box_top + frame.height;
        }
        if let Some(lanes) = &self.lanes {
            top = self.draw_lanes(&mut svg, lanes, &time, &ticks, top + HEAD);
        }
        draw_across_ticks(&mut svg, &time, &ticks, top + 14.0);
        svg.text("name", (RIGHT, top + 28.0), Align::End, "time, s");
        svg.finish()
    }

    fn draw_frame(
        &self,
        svg: &mut Svg,
        frame: &Frame,
        time: &Axis,
        time_ticks: &Ticks,
        (top, has_foot): (f64, bool),
    ) {
        let bottom = top + frame.height;
        let ticks = frame.ticks();
        let (low, high) = ticks.range;
        let value = Axis { low, high, from: bottom, to: top };
        self.draw_shades(svg, time, top, frame.height);
        draw_grid(svg, time, time_ticks, &value, &ticks);
        let level = frame.level.filter(|(level, _)| (low..=high).contains(level));
        let (name, key) = (frame.name, frame.key);
        Area { kind: Kind::Time, name, across: time, up: &value, has_foot, key }.draw(svg, |svg| {
            for allowed in &frame.allowed {
                self.draw_allowed(svg, allowed, time, &value);
            }
            if let Some((level, _)) = level {
                svg.line("level", (LEFT, value.at(level)), (RIGHT, value.at(level)));
            }
            for series in &frame.series {
                let points = self.trace.rows.iter().zip(&series.values);
                let points = points.map(|(row, &y)| (time.at(row.time_s), value.at(y)));
                let mut path = Path::default();
                for run in thin(points, COLUMN_PX) {
                    path.run(&run);
                }
                svg.plotted(series.class, series.label, &path);
            }
        });
        if let Some((level, name)) = level {
            svg.group("axes", |svg| {
                svg.text("note halo", (RIGHT - 3.0, value.at(level) + 11.0), Align::End, name);
            });
        }
    }

    fn draw_shades(&self, svg: &mut Svg, time: &Axis, top: f64, height: f64) {
        let pixel_s = (time.high - time.low) / (time.to - time.from);
        svg.group("shades", |svg| {
            for fill in shade::FILLS {
                for (from, to) in
                    shade::intervals(self.trace, 2.0 * pixel_s, |flags| shade::is_on(fill, flags))
                {
                    let (x0, x1) = (time.at(from), time.at(to.min(time.high)));
                    svg.rect(fill.class(), x0, top, (x1 - x0).max(0.6), height);
                }
            }
        });
    }

    fn draw_allowed(&self, svg: &mut Svg, allowed: &Allowed, time: &Axis, value: &Axis) {
        let bound = |bounds: &[f64]| {
            let inside = self.trace.rows.iter().zip(bounds).map(|(row, &bound)| {
                let shown = (allowed.window.0..=allowed.window.1).contains(&row.time_s) && !bound.is_nan();
                (
                    time.at(row.time_s),
                    if shown { value.at(bound.clamp(value.low, value.high)) } else { f64::NAN },
                )
            });
            thin(inside, COLUMN_PX)
        };
        for (low, high) in bound(&allowed.low).iter().zip(&bound(&allowed.high)) {
            let mut path = Path::default();
            let outline: Vec<_> = high.iter().chain(low.iter().rev()).copied().collect();
            path.run(&outline);
            path.close();
            svg.path(Fill::Allowed.class(), &path);
        }
    }

    fn draw_lanes(&self, svg: &mut Svg, lanes: &Lanes, time: &Axis, ticks: &Ticks, top: f64) -> f64 {
        let pixel_s = (time.high - time.low) / (time.to - time.from);
        svg.text("name", (2.0, top - 8.0), Align::Start, "state and saturation (solid: yes)");
        let bottom = top + lanes.lanes.len() as f64 * LANE_PX;
        let none = Axis { low: 0.0, high: 0.0, from: bottom, to: top };
        draw_grid(svg, time, ticks, &none, &Ticks::at(Vec::new()));
        Area { kind: Kind::Time, name: "", across: time, up: &none, has_foot: true, key: "" }.draw(
            svg,
            |svg| {
                for (place, (_, is_on)) in lanes.lanes.iter().enumerate() {
                    let y = top + place as f64 * LANE_PX + 12.0;
                    svg.rect("lane", LEFT, y, RIGHT - LEFT, 5.0);
                    for (from, to) in shade::intervals(self.trace, 1.5 * pixel_s, is_on) {
                        let (x0, x1) = (time.at(from), time.at(to.min(time.high)));
                        svg.rect("mark", x0, y, (x1 - x0).max(0.8), 5.0);
                    }
                }
            },
        );
        for (place, (name, is_on)) in lanes.lanes.iter().enumerate() {
            let y = top + place as f64 * LANE_PX;
            let share = number::significant(100.0 * shade::share(self.trace, is_on), 2);
            svg.text("note halo", (LEFT, y + 9.0), Align::Start, &format!("{name}, {share} % of the time"));
        }
        bottom + 2.0
    }

    fn describe(&self) -> String {
        let mut text = String::new();
        for frame in &self.frames {
            for series in &frame.series {
                let last = series.values.iter().rev().find(|v| v.is_finite()).copied().unwrap_or(f64::NAN);
                if let Some((low, high)) = range(&series.values) {
                    let [low, high, last] = [low, high, last].map(|v| number::significant(v, 3));
                    text +=
                        &format!("{}, {}: {low} to {high}, at the end {last}. ", frame.name, series.label);
                }
            }
        }
        for fill in shade::FILLS {
            let share = 100.0 * shade::share(self.trace, |flags| shade::is_on(fill, flags));
            if share > 0.0 {
                let share = number::significant(share, 2);
                text += &format!("Shaded {}: {share} % of the time. ", fill.meaning());
            }
        }
        text.trim_end().to_owned()
    }
}

impl Frame {
    fn ticks(&self) -> Ticks {
        let values = self.series.iter().flat_map(|series| &series.values);
        let (mut low, mut high) = range(values).unwrap_or((0.0, 0.0));
        if self.from_zero {
            (low, high) = (low.min(0.0), high.max(0.0));
        }
        if let Some((level, _)) = self.level {
            (low, high) = (low.min(level), high.max(level));
        }
        let bounds = self.allowed.iter().flat_map(|allowed| allowed.low.iter().chain(&allowed.high));
        if let Some((lowest, highest)) = range(bounds) {
            (low, high) = (low.min(lowest), high.max(highest));
        }
        let lack = self.least_span - (high - low);
        if lack > 0.0 {
            let below = if self.from_zero && low >= 0.0 { 0.0 } else { lack / 2.0 };
            (low, high) = (low - below, high + lack - below);
        }
        Ticks::around(low, high, libm::round(self.height / 26.0) as usize, self.scale)
    }
}

/// Grid lines of both axes and the labels of the vertical one.
pub fn draw_grid(svg: &mut Svg, across: &Axis, across_ticks: &Ticks, up: &Axis, up_ticks: &Ticks) {
    svg.group("axes", |svg| grid_and_labels(svg, across, across_ticks, up, up_ticks));
}

/// Labels of the horizontal axis.
pub fn draw_across_ticks(svg: &mut Svg, across: &Axis, ticks: &Ticks, baseline: f64) {
    svg.group("axes", |svg| {
        for &tick in &ticks.values {
            svg.text("tick", (across.at(tick), baseline), Align::Middle, &ticks.label(tick));
        }
    });
}

fn grid_and_labels(svg: &mut Svg, across: &Axis, across_ticks: &Ticks, up: &Axis, up_ticks: &Ticks) {
    let mut grid = Path::default();
    for &tick in &across_ticks.values {
        grid.move_to((across.at(tick), up.to));
        grid.line_to((across.at(tick), up.from));
    }
    for &tick in &up_ticks.values {
        grid.move_to((across.from, up.at(tick)));
        grid.line_to((across.to, up.at(tick)));
    }
    svg.path("grid", &grid);
    if up.low < 0.0 && up.high > 0.0 {
        svg.line("zero", (across.from, up.at(0.0)), (across.to, up.at(0.0)));
    }
    for &tick in &up_ticks.values {
        svg.text("tick", (across.from - 5.0, up.at(tick) + 4.0), Align::End, &up_ticks.label(tick));
    }
}

/// Approximate width of a label in px.
pub fn label_width(text: &str) -> f64 {
    6.2 * text.chars().count() as f64
}

/// Samples of the lines with their names, ending at the right edge.
fn draw_legend(svg: &mut Svg, series: &[Series], baseline: f64) {
    let mut x = RIGHT;
    for series in series.iter().rev() {
        x -= label_width(series.label);
        svg.text("note", (x, baseline), Align::Start, series.label);
        svg.line(series.class, (x - 22.0, baseline - 4.0), (x - 4.0, baseline - 4.0));
        x -= 34.0;
    }
}
