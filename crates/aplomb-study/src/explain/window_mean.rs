//! Means over a time window of a flight, by rotor.

use aplomb_craft::Rotors;

use crate::measure::mean_of_finite as mean;
use aplomb_flight::trace::{Row, Trace};

/// Means over a time window of a flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindowMean {
    /// Rotor speed in rpm.
    pub rpm: Rotors<f64>,
    /// Thrust in N.
    pub thrust_n: Rotors<f64>,
    /// Torque of each propeller on the air in N m.
    pub torque_nm: Rotors<f64>,
    /// Vertical component of the thrust in N, up positive.
    pub up_n: f64,
    /// Climb in m/s.
    pub climb_m_s: f64,
    /// Tilt in deg.
    pub tilt_deg: f64,
    /// Power from the battery in W.
    pub power_w: f64,
}

impl WindowMean {
    /// From `from_s` to `to_s`; NaN without a row in between.
    pub fn over(trace: &Trace, from_s: f64, to_s: f64) -> Self {
        let rows: Vec<&Row> = trace.rows.iter().filter(|row| (from_s..=to_s).contains(&row.time_s)).collect();
        let average = |value: &dyn Fn(&Row) -> f64| mean(rows.iter().map(|row| value(row)));
        let by_corner = |value: &dyn Fn(&Row) -> Rotors<f64>| {
            Rotors::from_fn(|corner| average(&|row| *value(row).at(corner)))
        };
        Self {
            rpm: by_corner(&|row| row.rotor_rpm),
            thrust_n: by_corner(&|row| row.thrust_n),
            torque_nm: by_corner(&|row| row.torque_nm),
            up_n: average(&|row| row.thrust_n.sum() * libm::cos(row.truth.tilt_deg.to_radians())),
            climb_m_s: average(&|row| row.truth.climb_m_s),
            tilt_deg: average(&|row| row.truth.tilt_deg),
            power_w: average(&|row| row.battery_v * row.battery_a),
        }
    }

    /// Around the row between `from_s` and `to_s` where `value` is largest.
    pub fn at_largest(trace: &Trace, from_s: f64, to_s: f64, value: impl Fn(&Row) -> f64) -> Self {
        let within = trace.rows.iter().filter(|row| (from_s..=to_s).contains(&row.time_s));
        let peak = within.max_by(|a, b| value(a).total_cmp(&value(b)));
        let time_s = peak.map_or(f64::NAN, |row| row.time_s);
        Self::over(trace, time_s - HALF_WIDTH_S, time_s + HALF_WIDTH_S)
    }
}

/// Half length of a short window in s: removes vibration.
const HALF_WIDTH_S: f64 = 0.012;
