//! Tilt against the balance of forces: the horizontal thrust of every tilt, and the force triangle of one instant.

use aplomb_craft::gravity::STANDARD_M_S2;

use super::quantities::{direction_deg, thrust_axis};
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{Axis, LEFT, RIGHT, WIDTH, draw_grid};
use super::{CraftNotes, number};
use crate::trace::{Row, Trace};

const HEIGHT: f64 = 330.0;
const TOP: f64 = 24.0;
const BOTTOM: f64 = HEIGHT - 34.0;
/// Length in s of the averages that take vibration out of the balance plot.
const DOT_S: f64 = 0.2;
/// Length in s of the stretch that the triangle stands for.
const TRIANGLE_S: f64 = 1.0;
/// A stretch is steady when its tilt varies by less than this, in deg.
const STEADY_DEG: f64 = 4.0;

/// Mean forces over a stretch of a flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Middle of the stretch in s.
    pub time_s: f64,
    /// Thrust upwards in N.
    pub up_n: f64,
    /// Thrust to the side in N.
    pub aside_n: f64,
    /// Where the sideways part points, in deg clockwise from north.
    pub towards_deg: f64,
    /// Part of the sideways thrust that speeds the craft up, in N; the air takes the rest.
    pub accelerates_n: f64,
    /// Tilt of the mean thrust in deg.
    pub tilt_deg: f64,
    spread_deg: f64,
}

/// Means over consecutive stretches of `length_s`, of the time off the ground with the motors turning.
pub fn stretches(trace: &Trace, length_s: f64, mass_kg: f64) -> Vec<Stretch> {
    let index = |row: &Row| libm::floor(row.time_s / length_s);
    trace
        .rows
        .chunk_by(|a, b| index(a) == index(b))
        .filter(|rows| rows.iter().all(|row| row.flags.armed && !row.flags.on_ground))
        .filter(|rows| rows.len() as f64 * trace.period_s >= 0.8 * length_s)
        .map(|rows| stretch(rows, mass_kg))
        .filter(|stretch| stretch.up_n.is_finite() && stretch.aside_n.is_finite())
        .collect()
}

fn stretch(rows: &[Row], mass_kg: f64) -> Stretch {
    let mut force = [0.0; 3];
    for row in rows {
        let thrust = row.thrust_n.sum() / rows.len() as f64;
        for (sum, axis) in force.iter_mut().zip(thrust_axis(&row.truth)) {
            *sum += thrust * axis;
        }
    }
    let [north, east, up_n] = force;
    let aside_n = libm::hypot(north, east);
    let (first, last) = (rows[0], rows[rows.len() - 1]);
    let span_s = last.time_s - first.time_s;
    let gained = [
        last.truth.velocity_north_m_s - first.truth.velocity_north_m_s,
        last.truth.velocity_east_m_s - first.truth.velocity_east_m_s,
    ];
    let along = if aside_n > 0.0 { (gained[0] * north + gained[1] * east) / aside_n } else { 0.0 };
    let tilts = rows.iter().map(|row| row.truth.tilt_deg);
    let (low, high) = tilts.fold((f64::MAX, f64::MIN), |(low, high), t| (low.min(t), high.max(t)));
    Stretch {
        time_s: (first.time_s + last.time_s) / 2.0,
        up_n,
        aside_n,
        towards_deg: direction_deg(north, east),
        accelerates_n: if span_s > 0.0 { mass_kg * along / span_s } else { 0.0 },
        tilt_deg: libm::atan2(aside_n, up_n).to_degrees(),
        spread_deg: high - low,
    }
}

/// The stretch that shows most: the steepest steady one, else the steepest.
pub fn telling(trace: &Trace, mass_kg: f64) -> Option<Stretch> {
    let all = stretches(trace, TRIANGLE_S, mass_kg);
    let steepest = |steady_only: bool| {
        all.iter()
            .filter(|s| !steady_only || s.spread_deg < STEADY_DEG)
            .max_by(|a, b| a.tilt_deg.total_cmp(&b.tilt_deg))
            .copied()
    };
    steepest(true).or_else(|| steepest(false))
}

/// Draws horizontal thrust over tilt, with the curve on which the height is kept.
pub fn draw_balance(trace: &Trace, craft: &CraftNotes, id: &str, title: &str) -> String {
    let dots = stretches(trace, DOT_S, craft.mass_kg);
    let weight_n = craft.mass_kg * STANDARD_M_S2;
    let steepest = dots.iter().map(|dot| dot.tilt_deg).fold(10.0, f64::max);
    let limit_deg = craft.tilt_limit_deg;
    let tilt_end = if limit_deg.is_finite() { steepest.max(limit_deg + 3.0) } else { steepest }.min(89.0);
    let tilt_ticks = Ticks::around(0.0, tilt_end, 6, Scale::Decimal);
    let tilt_end = tilt_ticks.range.1;
    let most = dots.iter().map(|dot| dot.aside_n).fold(1.0, f64::max);
    let needed = weight_n * libm::tan(tilt_end.min(60.0).to_radians());
    let force_ticks =
        Ticks::around(0.0, if needed.is_finite() { most.max(needed) } else { most }, 8, Scale::Decimal);
    let tilt = Axis { low: 0.0, high: tilt_end, from: LEFT, to: RIGHT };
    let high = force_ticks.range.1;
    let force = Axis { low: 0.0, high, from: BOTTOM, to: TOP };

    let mut svg = Svg::new(id, WIDTH, HEIGHT, title, &describe_balance(&dots, weight_n));
    draw_grid(&mut svg, &tilt, &tilt_ticks, &force, &force_ticks);
    for &tick in &tilt_ticks.values {
        svg.text("tick", (tilt.at(tick), BOTTOM + 14.0), Align::Middle, &tilt_ticks.label(tick));
    }
    svg.text("name", (2.0, TOP - 10.0), Align::Start, "horizontal thrust, N");
    svg.text("name", (RIGHT, BOTTOM + 28.0), Align::End, "tilt, deg");
    let mut curve = |class: &str, value: &dyn Fn(f64) -> f64| {
        let mut path = Path::default();
        let points = (0..=80).map(|i| f64::from(i) / 80.0 * tilt_end).map(|t| (t, value(t.to_radians())));
        let shown: Vec<_> = points
            .take_while(|(_, y)| (0.0..=high).contains(y))
            .map(|(t, y)| (tilt.at(t), force.at(y)))
            .collect();
        path.run(&shown);
        svg.path(class, &path);
        shown.last().copied()
    };
    let max_thrust_n = 4.0 * craft.full_thrust_n;
    let balance_end = curve("balance", &|t| weight_n * libm::tan(t));
    let full_end = curve("full", &|t| max_thrust_n * libm::sin(t));
    let mut path = Path::default();
    for dot in dots.iter().filter(|dot| dot.tilt_deg <= tilt_end && dot.aside_n <= high) {
        path.dot((tilt.at(dot.tilt_deg), force.at(dot.aside_n)));
    }
    svg.path("dots", &path);
    if let Some((x, y)) = balance_end {
        svg.text("note halo", (x - 10.0, y + 14.0), Align::End, "m g tan(tilt)");
    }
    if let Some((x, y)) = full_end {
        svg.text("note halo", (x - 8.0, y + 4.0), Align::End, "full thrust");
    }
    if (0.0..=tilt_end).contains(&limit_deg) {
        svg.line("level", (tilt.at(limit_deg), TOP), (tilt.at(limit_deg), BOTTOM));
        svg.text("note halo", (tilt.at(limit_deg) - 4.0, BOTTOM - 6.0), Align::End, "tilt limit");
    }
    svg.finish()
}

fn describe_balance(dots: &[Stretch], weight_n: f64) -> String {
    let off = dots.iter().map(|dot| dot.aside_n - weight_n * libm::tan(dot.tilt_deg.to_radians()));
    let off = super::quantities::mean(off);
    let steepest = dots.iter().map(|dot| dot.tilt_deg).fold(0.0, f64::max);
    format!(
        "Each dot is {DOT_S} s of flight; {} dots, steepest {} deg; on average {} N above the curve m g tan(tilt).",
        dots.len(),
        number::significant(steepest, 3),
        number::significant(off, 2)
    )
}

/// Draws the triangle of thrust, weight and what is left over, for the most telling second.
pub fn draw_triangle(stretch: &Stretch, craft: &CraftNotes, id: &str, title: &str) -> String {
    let weight_n = craft.mass_kg * STANDARD_M_S2;
    let thrust_n = libm::hypot(stretch.up_n, stretch.aside_n);
    let air_n = stretch.aside_n - stretch.accelerates_n;
    let newton = |value: f64| format!("{} N", number::fixed(value, if value.abs() < 1.0 { 2 } else { 1 }));
    let degrees = format!("{} deg", number::fixed(stretch.tilt_deg, 1));
    let towards = format!("towards {} deg", number::fixed(stretch.towards_deg, 0));
    let mut svg = Svg::new(
        id,
        WIDTH,
        HEIGHT,
        title,
        &format!(
            "At {} s: thrust {} at {degrees} from the vertical, weight {}, horizontal part {} {towards}, of which {} \
             accelerates the craft and {} is taken by the air.",
            number::fixed(stretch.time_s, 1),
            newton(thrust_n),
            newton(weight_n),
            newton(stretch.aside_n),
            newton(stretch.accelerates_n),
            newton(air_n)
        ),
    );
    svg.text(
        "name",
        (2.0, 14.0),
        Align::Start,
        &format!("mean of 1 s about {} s", number::fixed(stretch.time_s, 1)),
    );
    let scale = (185.0 / stretch.up_n.max(weight_n)).min(210.0 / stretch.aside_n.max(1e-9));
    let aside = stretch.aside_n * scale;
    let foot = ((WIDTH - aside) / 2.0 - 10.0, 250.0);
    let tip = (foot.0 + aside, foot.1 - stretch.up_n * scale);
    let narrow = if aside < 26.0 { 26.0 - aside } else { 0.0 };
    let weight_end = (tip.0 + narrow, tip.1 + weight_n * scale);

    draw_craft(&mut svg, foot, stretch.tilt_deg);
    svg.line("level", foot, (foot.0, tip.1));
    draw_angle(&mut svg, foot, stretch.tilt_deg, &degrees);
    svg.arrow("thrust", foot, tip, 11.0);
    svg.arrow("weight", (weight_end.0, tip.1), weight_end, 11.0);
    svg.arrow("remainder", foot, (foot.0 + aside, foot.1), 11.0);
    let upper = (foot.0 + 0.72 * aside - 9.0, foot.1 + 0.72 * (tip.1 - foot.1));
    svg.text("name halo", (upper.0, upper.1 - 8.0), Align::End, "thrust");
    svg.text("name halo", (upper.0, upper.1 + 7.0), Align::End, &newton(thrust_n));
    svg.text("name", (weight_end.0 + 9.0, upper.1 - 8.0), Align::Start, "weight m g");
    svg.text("name", (weight_end.0 + 9.0, upper.1 + 7.0), Align::Start, &newton(weight_n));
    let left_over = format!("left over {} {towards}", newton(stretch.aside_n));
    svg.text("name halo", (WIDTH / 2.0, 288.0), Align::Middle, &left_over);
    let split = format!(
        "{} accelerates the craft, {} leans on the air",
        newton(stretch.accelerates_n),
        newton(air_n)
    );
    svg.text("note", (WIDTH / 2.0, 306.0), Align::Middle, &split);
    svg.finish()
}

/// The craft from the side: a beam at right angles to the thrust with a rotor at each end.
fn draw_craft(svg: &mut Svg, (x, y): (f64, f64), tilt_deg: f64) {
    let (sin, cos) = libm::sincos(tilt_deg.to_radians());
    let at = |along: f64, up: f64| (x + along * cos + up * sin, y + along * sin - up * cos);
    svg.line("frame", at(-26.0, 0.0), at(26.0, 0.0));
    for side in [-26.0, 26.0] {
        svg.line("frame", at(side, 0.0), at(side, 5.0));
        svg.line("frame", at(side - 11.0, 6.0), at(side + 11.0, 6.0));
    }
    svg.circle("frame solid", (x, y), 3.5);
}

/// The tilt as an arc between the vertical and the thrust.
fn draw_angle(svg: &mut Svg, (x, y): (f64, f64), tilt_deg: f64, label: &str) {
    let radius = 92.0;
    let on_arc = |degrees: f64| {
        let (sin, cos) = libm::sincos(degrees.to_radians());
        (x + radius * sin, y - radius * cos)
    };
    let mut arc = Path::default();
    arc.run(&(0..=12).map(|i| on_arc(tilt_deg * f64::from(i) / 12.0)).collect::<Vec<_>>());
    svg.path("ring", &arc);
    let (label_x, label_y) = on_arc(0.0);
    svg.text("note halo", (label_x - 5.0, label_y + 4.0), Align::End, label);
}
