//! Force balance: horizontal thrust over tilt, and the force triangle of one interval.

use aplomb_craft::gravity::STANDARD_M_S2;

use super::CraftNotes;
use super::area::{Area, Kind};
use super::axis::Axis;
use super::svg::{Align, Path, Svg};
use super::ticks::{Scale, Ticks};
use super::time_plot::{LEFT, RIGHT, WIDTH, draw_across_ticks, draw_grid, label_width};
use aplomb_flight::trace::Trace;
use aplomb_study::forces::{Interval, intervals};
use aplomb_study::measure::mean_of_finite;
use aplomb_study::number;

const HEIGHT: f64 = 330.0;
const TOP: f64 = 24.0;
const BOTTOM: f64 = HEIGHT - 34.0;
/// Averaging interval of the balance plot in s; removes vibration.
const DOT_S: f64 = 0.2;
/// Least distance in px of the weight from the foot of the thrust.
const BESIDE_PX: f64 = 44.0;
/// Names of the curves.
const LEVEL: &str = "m g tan(tilt)";
const FULL: &str = "full thrust";

/// Draws horizontal thrust over tilt, with the curve of constant height.
pub fn draw_balance(trace: &Trace, craft: &CraftNotes, id: &str, title: &str) -> String {
    let dots = intervals(trace, DOT_S, craft.mass_kg);
    let weight_n = craft.mass_kg * STANDARD_M_S2;
    let steepest = dots.iter().map(|dot| dot.tilt_deg).fold(10.0, f64::max);
    let limit_deg = craft.tilt_limit_deg;
    let tilt_end = if limit_deg.is_finite() { steepest.max(limit_deg + 3.0) } else { steepest }.min(89.0);
    let tilt_ticks = Ticks::around(0.0, tilt_end, 6, Scale::Decimal);
    let tilt_end = tilt_ticks.range.1;
    let most = dots.iter().map(|dot| dot.horizontal_n).fold(1.0, f64::max);
    let needed = weight_n * libm::tan(tilt_end.min(60.0).to_radians());
    let force_ticks =
        Ticks::around(0.0, if needed.is_finite() { most.max(needed) } else { most }, 8, Scale::Decimal);
    let tilt = Axis { low: 0.0, high: tilt_end, from: LEFT, to: RIGHT };
    let high = force_ticks.range.1;
    let force = Axis { low: 0.0, high, from: BOTTOM, to: TOP };

    let mut svg = Svg::new(id, WIDTH, HEIGHT, title, &describe_balance(&dots, weight_n));
    draw_grid(&mut svg, &tilt, &tilt_ticks, &force, &force_ticks);
    draw_across_ticks(&mut svg, &tilt, &tilt_ticks, BOTTOM + 14.0);
    svg.text("name", (2.0, TOP - 10.0), Align::Start, "horizontal thrust, N");
    svg.text("name", (RIGHT, BOTTOM + 28.0), Align::End, "tilt, deg");
    let curve = |svg: &mut Svg, class: &str, name: &str, value: &dyn Fn(f64) -> f64| {
        let mut path = Path::default();
        let points = (0..=80).map(|i| f64::from(i) / 80.0 * tilt_end).map(|t| (t, value(t.to_radians())));
        let shown: Vec<_> = points
            .take_while(|(_, y)| (0.0..=high).contains(y))
            .map(|(t, y)| (tilt.at(t), force.at(y)))
            .collect();
        path.run(&shown);
        svg.plotted(class, name, &path);
    };
    let max_thrust_n = 4.0 * craft.full_thrust_n;
    let has_limit = (0.0..=tilt_end).contains(&limit_deg);
    let (kind, name) = (Kind::Plane, "tilt, deg|horizontal thrust, N");
    Area { kind, name, across: &tilt, up: &force, has_foot: true, key: "" }.draw(&mut svg, |svg| {
        curve(svg, "balance", LEVEL, &|t| weight_n * libm::tan(t));
        curve(svg, "full", FULL, &|t| max_thrust_n * libm::sin(t));
        let mut path = Path::default();
        for dot in dots.iter().filter(|dot| dot.tilt_deg <= tilt_end && dot.horizontal_n <= high) {
            path.dot((tilt.at(dot.tilt_deg), force.at(dot.horizontal_n)));
        }
        svg.path("dots", &path);
        if has_limit {
            svg.line("level", (tilt.at(limit_deg), TOP), (tilt.at(limit_deg), BOTTOM));
        }
    });
    let mut x = RIGHT;
    for (class, name) in [("full", FULL), ("balance", LEVEL)] {
        x -= label_width(name);
        svg.text("note", (x, TOP - 10.0), Align::Start, name);
        svg.line(class, (x - 22.0, TOP - 14.0), (x - 4.0, TOP - 14.0));
        x -= 34.0;
    }
    if has_limit {
        svg.group("axes", |svg| {
            svg.text("note halo", (tilt.at(limit_deg) - 4.0, BOTTOM - 6.0), Align::End, "tilt limit");
        });
    }
    svg.finish()
}

fn describe_balance(dots: &[Interval], weight_n: f64) -> String {
    let off = dots.iter().map(|dot| dot.horizontal_n - weight_n * libm::tan(dot.tilt_deg.to_radians()));
    let off = mean_of_finite(off);
    let steepest = dots.iter().map(|dot| dot.tilt_deg).fold(0.0, f64::max);
    format!(
        "Each dot is {DOT_S} s of flight; {} dots, largest tilt {} deg; on average {} N above the curve m g tan(tilt).",
        dots.len(),
        number::significant(steepest, 3),
        number::significant(off, 2)
    )
}

/// Draws the triangle of thrust, weight and their resultant.
pub fn draw_triangle(interval: &Interval, mass_kg: f64, id: &str, title: &str) -> String {
    let weight_n = mass_kg * STANDARD_M_S2;
    let thrust_n = libm::hypot(interval.vertical_n, interval.horizontal_n);
    let air_n = interval.horizontal_n - interval.accelerating_n;
    let newton = |value: f64| format!("{} N", number::fixed(value, if value.abs() < 1.0 { 2 } else { 1 }));
    let degrees = format!("{} deg", number::fixed(interval.tilt_deg, 1));
    let towards = format!("towards {} deg", number::fixed(interval.towards_deg, 0));
    let mut svg = Svg::new(
        id,
        WIDTH,
        HEIGHT,
        title,
        &format!(
            "At {} s: thrust {} at {degrees} from the vertical, weight {}, horizontal part {} {towards}, of which {} \
             accelerates the craft and {} balances the drag.",
            number::fixed(interval.time_s, 1),
            newton(thrust_n),
            newton(weight_n),
            newton(interval.horizontal_n),
            newton(interval.accelerating_n),
            newton(air_n)
        ),
    );
    svg.text(
        "name",
        (2.0, 14.0),
        Align::Start,
        &format!("mean of 1 s about {} s", number::fixed(interval.time_s, 1)),
    );
    let scale = (185.0 / interval.vertical_n.max(weight_n)).min(210.0 / interval.horizontal_n.max(1e-9));
    let horizontal = interval.horizontal_n * scale;
    let foot = ((WIDTH - horizontal) / 2.0 - 10.0, 250.0);
    let tip = (foot.0 + horizontal, foot.1 - interval.vertical_n * scale);
    // The weight is drawn beside the rotor of the craft.
    let narrow = (BESIDE_PX - horizontal).max(0.0);
    let weight_end = (tip.0 + narrow, tip.1 + weight_n * scale);

    draw_craft(&mut svg, foot, interval.tilt_deg);
    svg.line("level", foot, (foot.0, tip.1));
    draw_angle(&mut svg, foot, interval.tilt_deg, &degrees);
    svg.arrow("thrust", foot, tip, 11.0);
    svg.arrow("weight", (weight_end.0, tip.1), weight_end, 11.0);
    svg.arrow("remainder", foot, (foot.0 + horizontal, foot.1), 11.0);
    let upper = (foot.0 + 0.72 * horizontal - 9.0, foot.1 + 0.72 * (tip.1 - foot.1));
    svg.text("name halo", (upper.0, upper.1 - 8.0), Align::End, "thrust");
    svg.text("name halo", (upper.0, upper.1 + 7.0), Align::End, &newton(thrust_n));
    svg.text("name", (weight_end.0 + 9.0, upper.1 - 8.0), Align::Start, "weight m g");
    svg.text("name", (weight_end.0 + 9.0, upper.1 + 7.0), Align::Start, &newton(weight_n));
    let resultant = format!("horizontal {} {towards}", newton(interval.horizontal_n));
    svg.text("name halo", (WIDTH / 2.0, 288.0), Align::Middle, &resultant);
    let split = format!(
        "{} accelerates the craft, {} balances the drag",
        newton(interval.accelerating_n),
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
