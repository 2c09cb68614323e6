//! Ground track: north up, the same scale on both axes.

use super::decimate::{Point, thin_track};
use super::quantities::{range, wind_speed_m_s};
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{Axis, LEFT, RIGHT, WIDTH, draw_grid};
use super::{Band, Quantity};
use aplomb_flight::limit::Limit;
use aplomb_flight::trace::Trace;
use aplomb_study::forces::direction_deg;
use aplomb_study::measure::mean_of_finite as mean;
use aplomb_study::number;

const TOP: f64 = 24.0;
const SIDE: f64 = RIGHT - LEFT;
/// Smallest side of the plotted area in m, so that noise in hover is not magnified.
const LEAST_SIDE_M: f64 = 4.0;
/// Space below the plot for the axis and the wind.
const FOOT: f64 = 92.0;

/// Draws the picture.
pub fn draw(trace: &Trace, bands: &[Band], id: &str, title: &str) -> String {
    let setpoints = position_setpoints(trace);
    let (north, east) = ground(trace, &setpoints, bands);
    let mut svg = Svg::new(id, WIDTH, TOP + SIDE + FOOT, title, &describe(trace, &setpoints));
    draw_grid(
        &mut svg,
        &east,
        &Ticks::inside(east.low, east.high, 6, Scale::Decimal),
        &north,
        &Ticks::inside(north.low, north.high, 6, Scale::Decimal),
    );
    let ticks = Ticks::inside(east.low, east.high, 6, Scale::Decimal);
    for &tick in &ticks.values {
        svg.text("tick", (east.at(tick), TOP + SIDE + 14.0), Align::Middle, &ticks.label(tick));
    }
    svg.text("name", (2.0, TOP - 10.0), Align::Start, "north, m");
    svg.text("name", (RIGHT, TOP + SIDE + 28.0), Align::End, "east, m");
    draw_legend(&mut svg);

    let at = |n: f64, e: f64| (east.at(e), north.at(n));
    let radius = bands.iter().find_map(|band| match band {
        Band { quantity: Quantity::Distance, limit: Limit::AtMost(radius_m), .. } => Some(*radius_m),
        _ => None,
    });
    for &(n, e) in &setpoints {
        if let Some(radius_m) = radius {
            svg.circle("allowed", at(n, e), radius_m / (east.high - east.low) * SIDE);
        }
    }
    let mut stroke = |class: &str, position: &dyn Fn(usize) -> (f64, f64)| {
        let mut path = Path::default();
        for run in thin_track((0..trace.rows.len()).map(|i| at(position(i).0, position(i).1)), 0.5) {
            path.run(&run);
        }
        svg.path(class, &path);
    };
    stroke("estimate", &|i| (trace.rows[i].estimate.north_m, trace.rows[i].estimate.east_m));
    stroke("truth", &|i| (trace.rows[i].truth.north_m, trace.rows[i].truth.east_m));
    stroke("setpoint", &|i| (trace.rows[i].setpoint.north_m, trace.rows[i].setpoint.east_m));
    for &(n, e) in &setpoints {
        cross(&mut svg, at(n, e));
    }
    draw_times(&mut svg, trace, &at);
    draw_wind(&mut svg, trace);
    svg.finish()
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

/// Mean and strongest wind as arrows that point downwind, north up, both on the same scale.
fn draw_wind(svg: &mut Svg, trace: &Trace) {
    let [north, east] = [0, 1].map(|axis| mean(trace.rows.iter().map(|row| row.wind_m_s[axis])));
    let strongest = trace
        .rows
        .iter()
        .filter(|row| wind_speed_m_s(row).is_finite())
        .max_by(|a, b| wind_speed_m_s(a).total_cmp(&wind_speed_m_s(b)));
    let y = TOP + SIDE + 62.0;
    let Some(strongest) = strongest.filter(|row| wind_speed_m_s(row) > 0.05) else {
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
