//! Four small plots arranged as the rotors on the craft, seen from above, nose up.

use super::area::{Area, Kind};
use super::axis::Axis;
use super::decimate::thin;
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{COLUMN_PX, RIGHT, WIDTH, draw_across_ticks, draw_grid, label_width};
use aplomb_craft::Rotors;
use aplomb_flight::trace::{Row, Trace};
use aplomb_study::measure::mean_of_finite as mean;
use aplomb_study::number;

/// One quantity of the four rotors.
pub struct RotorPlot<'a> {
    /// The flight.
    pub trace: &'a Trace,
    /// Quantity and unit: "command, %".
    pub name: &'static str,
    /// The value of each rotor.
    pub value: fn(&Row) -> Rotors<f64>,
    /// Top of the scale at least; the bottom is zero.
    pub full: f64,
    /// A second line of text in each cell.
    pub note: Option<fn(&Trace) -> Rotors<String>>,
    /// Key of the areas for the script, numbered by corner; empty for none.
    pub key: &'static str,
}

const CORNERS: [&str; 4] = ["front left", "front right", "rear left", "rear right"];
const CELL_WIDTH: f64 = 148.0;
const CELL_HEIGHT: f64 = 104.0;
const COLUMNS: [f64; 2] = [32.0, 224.0];
const ROWS: [f64; 2] = [44.0, 210.0];

impl RotorPlot<'_> {
    /// Draws the picture.
    pub fn draw(&self, id: &str, title: &str) -> String {
        let rows = &self.trace.rows;
        let means = Rotors::from_fn(|corner| mean(rows.iter().map(|row| *(self.value)(row).at(corner))));
        let means = means.into_array();
        let mut svg = Svg::new(id, WIDTH, ROWS[1] + CELL_HEIGHT + 34.0, title, &self.describe(means));
        let highest = rows.iter().flat_map(|row| (self.value)(row).into_array());
        let highest = highest.filter(|value| value.is_finite()).fold(0.0, f64::max);
        let full = if self.full.is_finite() { self.full.max(highest) } else { highest };
        let ticks = Ticks::around(0.0, if full > 0.0 { full } else { 1.0 }, 4, Scale::Decimal);
        let notes = self.note.map(|note| note(self.trace).into_array());
        svg.text("name", (2.0, 12.0), Align::Start, self.name);
        svg.text("note", (RIGHT, 12.0), Align::End, "mean of the rotors");
        let legend = RIGHT - label_width("mean of the rotors") - 4.0;
        svg.line("setpoint", (legend - 20.0, 8.0), (legend, 8.0));
        draw_craft(&mut svg);
        for corner in 0..4 {
            let (left, top) = (COLUMNS[corner % 2], ROWS[corner / 2]);
            self.draw_cell(&mut svg, corner, left, top, &ticks);
            let note = notes.as_ref().map_or(String::new(), |notes| format!(", {}", notes[corner]));
            let text = format!("{}{note}", CORNERS[corner]);
            svg.text("name", (left, top - 7.0), Align::Start, &text);
        }
        svg.text("name", (COLUMNS[1] + CELL_WIDTH, ROWS[1] + CELL_HEIGHT + 28.0), Align::End, "time, s");
        svg.finish()
    }

    fn draw_cell(&self, svg: &mut Svg, corner: usize, left: f64, top: f64, ticks: &Ticks) {
        let rows = &self.trace.rows;
        let (Some(first), Some(last)) = (rows.first(), rows.last()) else { return };
        let end = if last.time_s > first.time_s { last.time_s } else { first.time_s + 1.0 };
        let time = Axis { low: first.time_s, high: end, from: left, to: left + CELL_WIDTH };
        let time_ticks = Ticks::inside(time.low, time.high, 4, Scale::Decimal);
        let high = ticks.range.1;
        let value = Axis { low: 0.0, high, from: top + CELL_HEIGHT, to: top };
        draw_grid(svg, &time, &time_ticks, &value, ticks);
        draw_across_ticks(svg, &time, &time_ticks, top + CELL_HEIGHT + 14.0);
        let key = if self.key.is_empty() { String::new() } else { format!("{}{corner}", self.key) };
        let line = |svg: &mut Svg, class: &str, name: &str, pick: &dyn Fn([f64; 4]) -> f64| {
            let points = rows
                .iter()
                .map(|r| (time.at(r.time_s), value.at(pick((self.value)(r).into_array()).max(0.0))));
            let mut path = Path::default();
            for run in thin(points, COLUMN_PX) {
                path.run(&run);
            }
            svg.plotted(class, name, &path);
        };
        let name = format!("{}, {}", CORNERS[corner], self.name);
        let (across, up) = (&time, &value);
        Area { kind: Kind::Time, name: &name, across, up, has_foot: true, key: &key }.draw(svg, |svg| {
            line(svg, "truth", "rotor", &|rotors| rotors[corner]);
            line(svg, "setpoint", "mean", &|rotors| rotors.iter().sum::<f64>() / 4.0);
        });
    }

    fn describe(&self, means: [f64; 4]) -> String {
        let each = CORNERS
            .iter()
            .zip(means)
            .map(|(corner, mean)| format!("{corner} {}", number::significant(mean, 3)));
        format!("Mean of {}, by corner: {}.", self.name, each.collect::<Vec<_>>().join("; "))
    }
}

/// Mean rotor speed at each corner, as text.
pub fn mean_speeds(trace: &Trace) -> Rotors<String> {
    Rotors::from_fn(|corner| {
        let speed = mean(trace.rows.iter().map(|row| *row.rotor_rpm.at(corner)));
        format!("{} rpm", number::fixed(speed, 0))
    })
}

/// The craft from above between the cells; the triangle is its nose.
fn draw_craft(svg: &mut Svg) {
    let centre = ((COLUMNS[0] + CELL_WIDTH + COLUMNS[1]) / 2.0 - 6.0, ROWS[0] + CELL_HEIGHT + 32.0);
    let arm = 8.0;
    let mut arms = Path::default();
    for (dx, dy) in [(-arm, -arm), (-arm, arm)] {
        arms.move_to((centre.0 + dx, centre.1 + dy));
        arms.line_to((centre.0 - dx, centre.1 - dy));
    }
    svg.path("frame", &arms);
    for (dx, dy) in [(-arm, -arm), (arm, -arm), (-arm, arm), (arm, arm)] {
        svg.circle("frame", (centre.0 + dx, centre.1 + dy), 5.0);
    }
    let mut nose = Path::default();
    nose.move_to((centre.0, centre.1 - 14.0));
    nose.line_to((centre.0 - 4.0, centre.1 - 7.0));
    nose.line_to((centre.0 + 4.0, centre.1 - 7.0));
    nose.close();
    svg.path("frame solid", &nose);
}
