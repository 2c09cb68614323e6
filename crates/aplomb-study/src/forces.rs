//! Mean forces on a craft over intervals of a flight.

use aplomb_flight::trace::{Motion, Row, Trace};

/// Averaging interval of the force triangle in s.
const TRIANGLE_S: f64 = 1.0;
/// Largest range of the tilt in a steady interval, in deg.
const STEADY_DEG: f64 = 4.0;

/// Direction of the thrust in world axes: north, east, up.
#[must_use]
pub fn thrust_axis(motion: &Motion) -> [f64; 3] {
    let [roll, pitch, heading] =
        [motion.roll_deg, motion.pitch_deg, motion.heading_deg].map(|degrees| degrees.to_radians());
    let ((sin_roll, cos_roll), (sin_pitch, cos_pitch)) = (libm::sincos(roll), libm::sincos(pitch));
    let (sin_heading, cos_heading) = libm::sincos(heading);
    [
        -(cos_roll * sin_pitch * cos_heading + sin_roll * sin_heading),
        -(cos_roll * sin_pitch * sin_heading - sin_roll * cos_heading),
        cos_roll * cos_pitch,
    ]
}

/// Compass direction of a vector to the north and east, 0 to 360 deg.
#[must_use]
pub fn direction_deg(north: f64, east: f64) -> f64 {
    libm::atan2(east, north).to_degrees().rem_euclid(360.0)
}

/// Mean forces over an interval of a flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Middle of the interval in s.
    pub time_s: f64,
    /// Vertical thrust in N, up positive.
    pub vertical_n: f64,
    /// Horizontal thrust in N.
    pub horizontal_n: f64,
    /// Direction of the horizontal thrust, in deg clockwise from north.
    pub towards_deg: f64,
    /// Part of the horizontal thrust that accelerates the craft, in N; the rest balances the drag.
    pub accelerating_n: f64,
    /// Tilt of the mean thrust in deg.
    pub tilt_deg: f64,
    tilt_range_deg: f64,
}

/// Means over consecutive intervals of `length_s`, while armed and off the ground.
#[must_use]
pub fn intervals(trace: &Trace, length_s: f64, mass_kg: f64) -> Vec<Interval> {
    let index = |row: &Row| libm::floor(row.time_s / length_s);
    trace
        .rows
        .chunk_by(|a, b| index(a) == index(b))
        .filter(|rows| rows.iter().all(|row| row.flags.armed && !row.flags.on_ground))
        .filter(|rows| rows.len() as f64 * trace.period_s >= 0.8 * length_s)
        .map(|rows| interval(rows, mass_kg))
        .filter(|interval| interval.vertical_n.is_finite() && interval.horizontal_n.is_finite())
        .collect()
}

fn interval(rows: &[Row], mass_kg: f64) -> Interval {
    let mut force = [0.0; 3];
    for row in rows {
        let thrust = row.thrust_n.sum() / rows.len() as f64;
        for (sum, axis) in force.iter_mut().zip(thrust_axis(&row.truth)) {
            *sum += thrust * axis;
        }
    }
    let [north, east, vertical_n] = force;
    let horizontal_n = libm::hypot(north, east);
    let (first, last) = (rows[0], rows[rows.len() - 1]);
    let span_s = last.time_s - first.time_s;
    let gained = [
        last.truth.velocity_north_m_s - first.truth.velocity_north_m_s,
        last.truth.velocity_east_m_s - first.truth.velocity_east_m_s,
    ];
    let along = if horizontal_n > 0.0 { (gained[0] * north + gained[1] * east) / horizontal_n } else { 0.0 };
    let tilts = rows.iter().map(|row| row.truth.tilt_deg);
    let (low, high) = tilts.fold((f64::MAX, f64::MIN), |(low, high), t| (low.min(t), high.max(t)));
    Interval {
        time_s: (first.time_s + last.time_s) / 2.0,
        vertical_n,
        horizontal_n,
        towards_deg: direction_deg(north, east),
        accelerating_n: if span_s > 0.0 { mass_kg * along / span_s } else { 0.0 },
        tilt_deg: libm::atan2(horizontal_n, vertical_n).to_degrees(),
        tilt_range_deg: high - low,
    }
}

/// The steady interval with the largest tilt; without a steady one, the interval with the largest tilt.
#[must_use]
pub fn steepest_steady(trace: &Trace, mass_kg: f64) -> Option<Interval> {
    let all = intervals(trace, TRIANGLE_S, mass_kg);
    let largest = |steady_only: bool| {
        all.iter()
            .filter(|s| !steady_only || s.tilt_range_deg < STEADY_DEG)
            .max_by(|a, b| a.tilt_deg.total_cmp(&b.tilt_deg))
            .copied()
    };
    largest(true).or_else(|| largest(false))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thrust_direction_follows_the_tilt() {
        let direction = |roll_deg, pitch_deg, heading_deg| {
            thrust_axis(&Motion { roll_deg, pitch_deg, heading_deg, ..Motion::default() })
        };
        assert!(direction(0.0, -20.0, 0.0)[0] > 0.3, "nose down tilts north");
        assert!(direction(20.0, 0.0, 0.0)[1] > 0.3, "roll right tilts east");
        assert!(direction(0.0, -20.0, 90.0)[1] > 0.3, "nose down to the east tilts east");
        assert!((direction(0.0, -20.0, 0.0)[2] - libm::cos(20f64.to_radians())).abs() < 1e-12);
    }

    #[test]
    fn direction_is_clockwise_from_north() {
        assert!((direction_deg(0.0, 1.0) - 90.0).abs() < 1e-12);
        assert!((direction_deg(-1.0, -1.0) - 225.0).abs() < 1e-12);
    }
}
