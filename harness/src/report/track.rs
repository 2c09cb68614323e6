//! Ground track: north up, the same scale on both axes.

use super::area::{Area, Kind};
use super::axis::Axis;
use super::decimate::{Point, thin_track};
use super::fill::Fill;
use super::quantities::{range, wind_speed_m_s};
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{LEFT, RIGHT, WIDTH, draw_across_ticks, draw_grid};
use super::{Band, Quantity};
use aplomb_flight::limit::Limit;
use aplomb_flight::trace::{Motion, Row, Trace};
use aplomb_study::forces::direction_deg;
use aplomb_study::measure::mean_of_finite as mean;
use aplomb_study::number;
use std::fmt::Write as _;

const TOP: f64 = 24.0;
const SIDE: f64 = RIGHT - LEFT;
/// Smallest side of the plotted area in m, so that noise in hover is not magnified.
const LEAST_SIDE_M: f64 = 4.0;
/// Time between the points of a track in s; a craft moves in nearly straight lines for so long.
const TRACK_S: f64 = 0.05;
/// Largest wind speed of still air in m/s.
const STILL_M_S: f64 = 0.05;
/// Space below the plot for the axis and the wind.
const FOOT: f64 = 92.0;

/// Draws the picture.
pub fn draw(trace: &Trace, bands: &[Band], id: &str, title: &str) -> String {
    let setpoints = position_setpoints(trace);
    let (north, east) = ground(trace, &setpoints, bands);
    let mut svg = Svg::new(id, WIDTH, TOP + SIDE + FOOT, title, &describe(trace, &setpoints));
    let [across, up] = [&east, &north].map(|axis| Ticks::inside(axis.low, axis.high, 6, Scale::Decimal));
    draw_grid(&mut svg, &east, &across, &north, &up);
    draw_across_ticks(&mut svg, &east, &across, TOP + SIDE + 14.0);
    svg.text("name", (2.0, TOP - 10.0), Align::Start, "north, m");
    svg.text("name", (RIGHT, TOP + SIDE + 28.0), Align::End, "east, m");
    draw_legend(&mut svg);

    let at = |n: f64, e: f64| (east.at(e), north.at(n));
    let radius = bands.iter().find_map(|band| match band {
        Band { quantity: Quantity::Distance, limit: Limit::AtMost(radius_m), .. } => Some(*radius_m),
        _ => None,
    });
    let (kind, name) = (Kind::Plane, "east, m|north, m");
    Area { kind, name, across: &east, up: &north, has_foot: true, key: "track" }.draw(&mut svg, |svg| {
        for &(n, e) in &setpoints {
            if let Some(radius_m) = radius {
                svg.circle(Fill::Allowed.class(), at(n, e), radius_m / (east.high - east.low) * SIDE);
            }
        }
        let rows: Vec<&Row> = sampled(trace).collect();
        let of = |motion: &Motion| at(motion.north_m, motion.east_m);
        draw_track(svg, "estimate", "estimate", rows.iter().map(|row| of(&row.estimate)));
        draw_timed_track(svg, rows.iter().map(|row| (of(&row.truth), row.time_s)));
        draw_track(svg, "setpoint", "set-point", rows.iter().map(|row| of(&row.setpoint)));
    });
    svg.group("axes", |svg| {
        for &(n, e) in &setpoints {
            cross(svg, at(n, e));
        }
        draw_times(svg, trace, &at);
    });
    draw_wind(&mut svg, trace);
    svg.finish()
}

/// Rows at least `TRACK_S` apart.
fn sampled(trace: &Trace) -> impl Iterator<Item = &Row> {
    let mut next_s = f64::NEG_INFINITY;
    trace.rows.iter().filter(move |row| {
        let is_due = row.time_s >= next_s;
        if is_due {
            next_s = row.time_s + TRACK_S;
        }
        is_due
    })
}

/// A track.
fn draw_track(svg: &mut Svg, class: &str, name: &str, points: impl Iterator<Item = Point>) {
    let mut path = Path::default();
    for run in thin_track(points.map(|point| (point, 0.0)), 1.0) {
        path.run(&run.iter().map(|&(point, _)| point).collect::<Vec<_>>());
    }
    svg.plotted(class, name, &path);
}

/// The true track with the times of its points in hundredths of a second, each as the difference from the one
/// before.
fn draw_timed_track(svg: &mut Svg, points: impl Iterator<Item = (Point, f64)>) {
    let (mut path, mut times, mut last) = (Path::default(), String::new(), 0);
    for run in thin_track(points, 0.5) {
        for &(_, time_s) in &run {
            let hundredths = libm::round(100.0 * time_s) as i64;
            let _ = write!(times, "{}{}", if times.is_empty() { "" } else { " " }, hundredths - last);
            last = hundredths;
        }
        path.run_whole(&run.iter().map(|&(point, _)| point).collect::<Vec<_>>());
    }
    svg.plotted_with("truth", "truth", &format!(" data-t=\"{times}\""), &path);
}

/// North and east axes of the same scale that contain all tracks.
fn ground(trace: &Trace, setpoints: &[(f64, f64)], bands: &[Band]) -> (Axis, Axis) {
    let radius_m = bands
        .iter()
        .filter_map(|band| match (band.quantity, band.limit) {
            (Quantity::Distance, Limit::AtMost(radius_m)) if radius_m.is_finite() => Some(radius_m),
            _ => None,
        })
        .fold(0.0, f64::max);
    let span = |value: &dyn Fn(usize) -> [f64; 2], axis: &dyn Fn(&(f64, f64)) -> f64| {
        let flown: Vec<f64> = (0..trace.rows.len()).flat_map(value).collect();
        let commanded: Vec<f64> =
            setpoints.iter().flat_map(|p| [axis(p) - radius_m, axis(p) + radius_m]).collect();
        range(flown.iter().chain(&commanded)).unwrap_or((0.0, 0.0))
    };
    let rows = &trace.rows;
    let north = span(&|i| [rows[i].truth.north_m, rows[i].estimate.north_m], &|p| p.0);
    let east = span(&|i| [rows[i].truth.east_m, rows[i].estimate.east_m], &|p| p.1);
    let side = (1.1 * (north.1 - north.0).max(east.1 - east.0)).max(LEAST_SIDE_M);
    let centred = |(low, high): (f64, f64)| ((low + high - side) / 2.0, (low + high + side) / 2.0);
    let ((south, north), (west, east)) = (centred(north), centred(east));
    (
        Axis { low: south, high: north, from: TOP + SIDE, to: TOP },
        Axis { low: west, high: east, from: LEFT, to: RIGHT },
    )
}

/// Position set-points (north, east) that are constant for a second or more, each once.
fn position_setpoints(trace: &Trace) -> Vec<(f64, f64)> {
    let mut setpoints: Vec<(f64, f64)> = Vec::new();
    let setpoint = |i: usize| (trace.rows[i].setpoint.north_m, trace.rows[i].setpoint.east_m);
    let mut since = 0;
    for i in 0..trace.rows.len() {
        if setpoint(i) != setpoint(since) {
            since = i;
        }
        let constant_s = trace.rows[i].time_s - trace.rows[since].time_s;
        let (north, east) = setpoint(i);
        let known = setpoints.iter().any(|p| libm::hypot(p.0 - north, p.1 - east) < 0.2);
        if constant_s >= 1.0 && north.is_finite() && east.is_finite() && !known && setpoints.len() < 20 {
            setpoints.push((north, east));
        }
    }
    setpoints
}

/// A cross at a position set-point.
fn cross(svg: &mut Svg, (x, y): Point) {
    let mut path = Path::default();
    path.move_to((x - 6.0, y));
    path.line_to((x + 6.0, y));
    path.move_to((x, y - 6.0));
    path.line_to((x, y + 6.0));
    svg.path("marker", &path);
}

/// Start, end and the time along the track; labels that would overlap are omitted.
fn draw_times(svg: &mut Svg, trace: &Trace, at: &dyn Fn(f64, f64) -> Point) {
    let flown: Vec<_> = trace
        .rows
        .iter()
        .map(|row| (row.time_s, at(row.truth.north_m, row.truth.east_m)))
        .filter(|(_, (x, y))| x.is_finite() && y.is_finite())
        .collect();
    let (Some(&(start_s, start)), Some(&(end_s, end))) = (flown.first(), flown.last()) else { return };
    svg.circle("start", start, 5.0);
    svg.rect("end", end.0 - 4.0, end.1 - 4.0, 8.0, 8.0);
    let mut labelled = vec![start, end];
    let mut next = 0;
    let ticks = Ticks::inside(start_s, end_s, 12, Scale::Decimal);
    for &(time_s, point) in &flown {
        while ticks.values.get(next).is_some_and(|&tick| time_s >= tick) {
            let clear = labelled.iter().all(|l| libm::hypot(l.0 - point.0, l.1 - point.1) > 30.0);
            if clear {
                svg.circle("time", point, 2.5);
                let text = format!("{} s", ticks.label(ticks.values[next]));
                svg.text("note halo", (point.0 + 6.0, point.1 - 5.0), Align::Start, &text);
                labelled.push(point);
            }
            next += 1;
        }
    }
}

fn draw_legend(svg: &mut Svg) {
    let y = TOP - 10.0;
    for (x, class, label) in [(112.0, "truth", "truth"), (182.0, "estimate", "estimate")] {
        svg.line(class, (x, y - 4.0), (x + 18.0, y - 4.0));
        svg.text("note", (x + 22.0, y), Align::Start, label);
    }
    cross(svg, (268.0, y - 4.0));
    svg.text("note", (279.0, y), Align::Start, "set-point");
    svg.circle("start", (10.0, TOP + SIDE + 25.0), 4.5);
    svg.text("note", (18.0, TOP + SIDE + 29.0), Align::Start, "start");
    svg.rect("end", 54.0, TOP + SIDE + 21.0, 8.0, 8.0);
    svg.text("note", (66.0, TOP + SIDE + 29.0), Align::Start, "end");
}

/// The instant of the strongest wind; `None` in still air.
pub fn strongest_wind(trace: &Trace) -> Option<&Row> {
    let rows = trace.rows.iter().filter(|row| wind_speed_m_s(row) > STILL_M_S);
    rows.filter(|row| wind_speed_m_s(row).is_finite())
        .max_by(|a, b| wind_speed_m_s(a).total_cmp(&wind_speed_m_s(b)))
}

/// Mean and strongest wind as arrows that point downwind, north up, both on the same scale.
fn draw_wind(svg: &mut Svg, trace: &Trace) {
    let [north, east] = [0, 1].map(|axis| mean(trace.rows.iter().map(|row| row.wind_m_s[axis])));
    let y = TOP + SIDE + 62.0;
    let Some(strongest) = strongest_wind(trace) else {
        svg.text("note", (2.0, y + 4.0), Align::Start, "still air");
        return;
    };
    let scale = 46.0 / wind_speed_m_s(strongest);
    let [gust_north, gust_east, _] = strongest.wind_m_s;
    let arrows =
        [("mean wind", north, east, None), ("strongest", gust_north, gust_east, Some(strongest.time_s))];
    for ((name, north, east, time_s), x) in arrows.into_iter().zip([32.0, 222.0]) {
        let half = (east * scale / 2.0, -north * scale / 2.0);
        svg.circle("ring", (x, y), 25.0);
        svg.arrow("wind", (x - half.0, y - half.1), (x + half.0, y + half.1), 9.0);
        let speed = number::significant(libm::hypot(north, east), 2);
        let from = number::fixed(direction_deg(-north, -east), 0);
        let at = time_s.map_or(String::new(), |time_s| format!(", at {} s", number::fixed(time_s, 1)));
        svg.text("note", (x + 32.0, y - 3.0), Align::Start, &format!("{name}{at}"));
        svg.text("note", (x + 32.0, y + 12.0), Align::Start, &format!("{speed} m/s from {from} deg"));
    }
}

fn describe(trace: &Trace, setpoints: &[(f64, f64)]) -> String {
    let spot = |north: f64, east: f64| {
        format!("{} m north, {} m east", number::fixed(north, 1), number::fixed(east, 1))
    };
    let mut text = "North is up, both axes have the same scale. ".to_owned();
    if let (Some(first), Some(last)) = (trace.rows.first(), trace.rows.last()) {
        text += &format!("Start {}; ", spot(first.truth.north_m, first.truth.east_m));
        text += &format!("end {}. ", spot(last.truth.north_m, last.truth.east_m));
    }
    for &(north, east) in setpoints {
        text += &format!("Position set-point {}. ", spot(north, east));
    }
    let wind = mean(trace.rows.iter().map(wind_speed_m_s));
    text + &format!("Mean wind speed {} m/s.", number::significant(wind, 2))
}
