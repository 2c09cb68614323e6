//! The craft from above, nose up: thrust, speed and direction of rotation of each rotor.

use aplomb_craft::{Rotors, Spin};

use aplomb_study::craft::Craft;

use super::svg::{Align, Path, Svg};
use super::time_plot::WIDTH;

/// Centres of the rotors, in the order of `CORNERS`.
const CENTRES: [(f64, f64); 4] = [(105.0, 92.0), (275.0, 92.0), (105.0, 232.0), (275.0, 232.0)];
const HEIGHT: f64 = 326.0;
/// Radius of a ring: full thrust.
const RING: f64 = 44.0;
const CORNERS: [&str; 4] = ["front left", "front right", "rear left", "rear right"];

/// Content of the picture.
pub struct TopView<'a> {
    /// The craft.
    pub craft: &'a Craft,
    /// Thrust of each rotor in N: area of the disc relative to the ring.
    pub thrust_n: Rotors<f64>,
    /// A line at each rotor, such as its speed.
    pub labels: Rotors<String>,
    /// Draws the direction of the reaction torque of each rotor on the frame, too.
    pub reactions: bool,
}

impl TopView<'_> {
    /// Draws it; `title` and the labels are its text alternative.
    pub fn draw(&self, id: &str, title: &str) -> String {
        let labels = self.labels.clone().into_array();
        let texts: Vec<String> =
            CORNERS.iter().zip(&labels).map(|(corner, label)| format!("{corner}: {label}")).collect();
        let mut svg = Svg::new(id, WIDTH, HEIGHT, title, &texts.join("; "));
        let spins = self.craft.config.arms.map(|arm| arm.spin).into_array();
        let thrusts = self.thrust_n.into_array();
        let full = self.craft.full_thrust_n();
        for (from, to) in [(0, 3), (1, 2)] {
            svg.line("frame", CENTRES[from], CENTRES[to]);
        }
        let (middle_x, middle_y) = (WIDTH / 2.0, (CENTRES[0].1 + CENTRES[2].1) / 2.0);
        svg.arrow("frame", (middle_x, middle_y), (middle_x, middle_y - 52.0), 10.0);
        svg.text("note halo", (middle_x, middle_y - 58.0), Align::Middle, "nose");
        for corner in 0..4 {
            let (x, y) = CENTRES[corner];
            svg.circle("paper", (x, y), RING);
            svg.circle("ring", (x, y), RING);
            let share = (thrusts[corner] / full).max(0.0);
            svg.circle("lift", (x, y), RING * libm::sqrt(share.min(1.0)));
            draw_rotation(&mut svg, "wind", (x, y), RING + 7.0, spins[corner], corner < 2);
            if self.reactions {
                draw_rotation(&mut svg, "remainder", (x, y), 20.0, opposite(spins[corner]), corner < 2);
            }
            let above = corner < 2;
            let line = if above { y - RING - 29.0 } else { y + RING + 24.0 };
            svg.text("name", (x, line), Align::Middle, CORNERS[corner]);
            svg.text("note", (x, line + 14.0), Align::Middle, &labels[corner]);
        }
        svg.finish()
    }
}

fn opposite(spin: Spin) -> Spin {
    match spin {
        Spin::Clockwise => Spin::CounterClockwise,
        Spin::CounterClockwise => Spin::Clockwise,
    }
}

/// An arc with an arrow head, on the side of the ring opposite to the label.
fn draw_rotation(svg: &mut Svg, class: &str, (x, y): (f64, f64), radius: f64, spin: Spin, below: bool) {
    let (from, to): (f64, f64) = if below { (40.0, 140.0) } else { (220.0, 320.0) };
    let (from, to) = match spin {
        Spin::Clockwise => (from, to),
        Spin::CounterClockwise => (to, from),
    };
    let at = |deg: f64| {
        let (sin, cos) = libm::sincos(deg.to_radians());
        (x + radius * cos, y + radius * sin)
    };
    let mut arc = Path::default();
    arc.run(&(0..=16).map(|i| at(from + (to - from) * f64::from(i) / 16.0)).collect::<Vec<_>>());
    svg.path(class, &arc);
    let before = at(to - (to - from).signum() * 9.0_f64.max(420.0 / radius));
    svg.arrow(class, before, at(to), 8.0);
}
