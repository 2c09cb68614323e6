//! The trace of one flight: truth, estimate, set-point and actuators by time.

use aplomb_craft::Rotors;

/// One instant. Angles are in degrees, the heading is clockwise from north, heights are positive upwards. All
/// values are those at the time of the samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Row {
    /// Time from the start of the flight in s.
    pub time_s: f64,
    /// True state.
    pub truth: Motion,
    /// Estimated state.
    pub estimate: Motion,
    /// Set-points; NaN where a quantity is not controlled.
    pub setpoint: Motion,
    /// Motor commands, 0 to 1.
    pub command: Rotors<f64>,
    /// True thrust by rotor in N.
    pub thrust_n: Rotors<f64>,
    /// True torque of each propeller on the air in N m.
    pub torque_nm: Rotors<f64>,
    /// True rotor speed in rpm.
    pub rotor_rpm: Rotors<f64>,
    /// Wind at the craft in m/s: north, east, up (where it blows to).
    pub wind_m_s: [f64; 3],
    /// Angle between the estimated and the true vertical in deg.
    pub tilt_estimate_error_deg: f64,
    /// Slowly varying part of the receiver's position error in m: north, east, up.
    pub gnss_correlated_noise_m: [f64; 3],
    /// Battery voltage in V.
    pub battery_v: f64,
    /// Battery current in A.
    pub battery_a: f64,
    /// Camera state, where one is fitted.
    pub camera: Option<Camera>,
    /// Saturation and mode flags.
    pub flags: Flags,
}

/// Position, velocity, attitude and body rates.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Motion {
    /// North of home in m.
    pub north_m: f64,
    /// East of home in m.
    pub east_m: f64,
    /// Above home in m.
    pub height_m: f64,
    /// Velocity to the north in m/s.
    pub velocity_north_m_s: f64,
    /// Velocity to the east in m/s.
    pub velocity_east_m_s: f64,
    /// Climb in m/s.
    pub climb_m_s: f64,
    /// Roll, right positive, in deg.
    pub roll_deg: f64,
    /// Pitch, nose up positive, in deg.
    pub pitch_deg: f64,
    /// Heading in deg, 0 to 360 clockwise from north.
    pub heading_deg: f64,
    /// Angle of the thrust axis from the vertical in deg.
    pub tilt_deg: f64,
    /// Roll rate in deg/s.
    pub roll_rate_deg_s: f64,
    /// Pitch rate in deg/s.
    pub pitch_rate_deg_s: f64,
    /// Yaw rate in deg/s.
    pub yaw_rate_deg_s: f64,
}

/// State of the stabilised camera. Errors are truth minus set-point.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Camera {
    /// Heading error of the line of sight in deg.
    pub heading_error_deg: f64,
    /// Elevation of the line of sight above the horizon in deg.
    pub elevation_deg: f64,
    /// Elevation error of the line of sight in deg.
    pub elevation_error_deg: f64,
    /// Rotation of the image about the line of sight in deg; 0 with a level horizon.
    pub roll_deg: f64,
    /// Angles of the joints in deg: yaw, roll, pitch.
    pub joint_deg: [f64; 3],
    /// A joint is at its end stop.
    pub at_stop: bool,
    /// Pixels per degree at the centre of the image.
    pub pixels_per_deg: f64,
}

/// Saturation and mode flags.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flags {
    /// The motors are armed.
    pub armed: bool,
    /// The craft touches the ground.
    pub on_ground: bool,
    /// The tilt limit is active.
    pub at_tilt_limit: bool,
    /// Roll/pitch saturation: the mixer allocates less roll or pitch torque than demanded.
    pub roll_pitch_saturated: bool,
    /// Thrust saturation: the mixer allocates another thrust than demanded.
    pub thrust_saturated: bool,
    /// Yaw saturation: the mixer allocates less yaw torque than demanded.
    pub yaw_saturated: bool,
    /// The controller cannot hold position against the wind.
    pub cannot_hold_position: bool,
}

/// A flight, sampled every `period_s`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Time between rows in s.
    pub period_s: f64,
    /// The rows, in order of time.
    pub rows: Vec<Row>,
}

impl Trace {
    /// The rows from `from_s` to `to_s`, both included.
    #[must_use]
    pub fn window(&self, from_s: f64, to_s: f64) -> &[Row] {
        let tolerance = 1e-9;
        let first = self.rows.partition_point(|row| row.time_s < from_s - tolerance);
        let end = self.rows.partition_point(|row| row.time_s <= to_s + tolerance);
        &self.rows[first..end.max(first)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn window_includes_both_ends_and_may_be_empty() {
        let trace = Trace {
            period_s: 0.1,
            rows: (0..11).map(|i| Row { time_s: 0.1 * f64::from(i), ..Row::default() }).collect(),
        };
        assert_eq!(trace.window(0.3, 0.5).len(), 3);
        assert!(trace.window(2.0, 3.0).is_empty());
    }
}
