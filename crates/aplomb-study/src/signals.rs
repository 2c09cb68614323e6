//! Values of each signal, computed from a trace.

use aplomb_craft::{Rotors, Spin};

use crate::measure;
use aplomb_flight::angle::half_turn;
use aplomb_flight::signal::Signal;
use aplomb_flight::trace::Row;

/// The values of `signal` over the rows of a window: one per row; four per row for the noise of the motor
/// commands; a single one for a signal that is one figure of the whole window. `spin` is the sense of
/// rotation of each rotor.
#[must_use]
pub fn values(signal: Signal, rows: &[Row], spin: &Rotors<Spin>) -> Vec<f64> {
    match signal {
        Signal::RotorSpeedRange => vec![rotor_speed_range_percent(rows)],
        Signal::MotorCommandNoise => command_noise_percent(rows),
        Signal::LineOfSightMotion => sight_motion(rows, |row| {
            row.camera.map_or([f64::NAN; 2], |camera| {
                let across = libm::cos(camera.elevation_deg.to_radians());
                [camera.elevation_error_deg, camera.heading_error_deg * across]
            })
        }),
        Signal::FrameMotion => sight_motion(rows, |row| {
            let across = libm::cos(row.truth.pitch_deg.to_radians());
            [row.truth.pitch_deg, half_turn(row.truth.heading_deg) * across]
        }),
        Signal::Heading => unwrapped(rows.iter().map(|row| row.truth.heading_deg)),
        _ => rows.iter().map(|row| value(signal, row, spin)).collect(),
    }
}

/// Set-point of `signal` at `row`; NaN for signals without a set-point.
#[must_use]
pub fn setpoint(signal: Signal, row: &Row) -> f64 {
    let s = &row.setpoint;
    match signal {
        Signal::Height => s.height_m,
        Signal::Climb => s.climb_m_s,
        Signal::North => s.north_m,
        Signal::East => s.east_m,
        Signal::Roll => s.roll_deg,
        Signal::Pitch => s.pitch_deg,
        Signal::Heading => s.heading_deg,
        Signal::RollRate => s.roll_rate_deg_s,
        Signal::PitchRate => s.pitch_rate_deg_s,
        Signal::YawRate => s.yaw_rate_deg_s,
        _ => f64::NAN,
    }
}

fn value(signal: Signal, row: &Row, spin: &Rotors<Spin>) -> f64 {
    let Row { truth, estimate, setpoint, .. } = row;
    let north_to_gnss = truth.north_m + row.gnss_correlated_noise_m[0] - setpoint.north_m;
    let east_to_gnss = truth.east_m + row.gnss_correlated_noise_m[1] - setpoint.east_m;
    let flag = |set: bool| if set { 1.0 } else { 0.0 };
    let rpm = row.rotor_rpm;
    match signal {
        Signal::Height => truth.height_m,
        Signal::HeightError => truth.height_m - setpoint.height_m,
        Signal::HeightEstimateError => estimate.height_m - truth.height_m,
        Signal::Climb => truth.climb_m_s,
        Signal::ClimbError => truth.climb_m_s - setpoint.climb_m_s,
        Signal::North => truth.north_m,
        Signal::East => truth.east_m,
        Signal::DistanceFromHome => libm::hypot(truth.north_m, truth.east_m),
        Signal::PositionError => {
            libm::hypot(truth.north_m - setpoint.north_m, truth.east_m - setpoint.east_m)
        }
        Signal::PositionErrorToGnss => libm::hypot(north_to_gnss, east_to_gnss),
        Signal::NorthErrorToGnss => north_to_gnss,
        Signal::EastErrorToGnss => east_to_gnss,
        Signal::PositionEstimateError => {
            libm::hypot(estimate.north_m - truth.north_m, estimate.east_m - truth.east_m)
        }
        Signal::GroundSpeed => libm::hypot(truth.velocity_north_m_s, truth.velocity_east_m_s),
        Signal::GroundVelocityError => libm::hypot(
            truth.velocity_north_m_s - setpoint.velocity_north_m_s,
            truth.velocity_east_m_s - setpoint.velocity_east_m_s,
        ),
        Signal::Airspeed => {
            libm::hypot(truth.velocity_north_m_s - row.wind_m_s[0], truth.velocity_east_m_s - row.wind_m_s[1])
        }
        Signal::Roll => truth.roll_deg,
        Signal::Pitch => truth.pitch_deg,
        Signal::Tilt => truth.tilt_deg,
        Signal::RollError => truth.roll_deg - setpoint.roll_deg,
        Signal::PitchError => truth.pitch_deg - setpoint.pitch_deg,
        Signal::Heading => truth.heading_deg,
        Signal::HeadingError => half_turn(truth.heading_deg - setpoint.heading_deg),
        Signal::HeadingEstimateError => half_turn(estimate.heading_deg - truth.heading_deg),
        Signal::TiltEstimateError => row.tilt_estimate_error_deg,
        Signal::RollRate => truth.roll_rate_deg_s,
        Signal::PitchRate => truth.pitch_rate_deg_s,
        Signal::YawRate => truth.yaw_rate_deg_s,
        Signal::MotorCommand | Signal::MotorCommandNoise => 25.0 * row.command.sum(),
        Signal::Thrust => row.thrust_n.sum(),
        Signal::RotorSpeed => 0.25 * rpm.sum(),
        Signal::FrontMinusRear => 0.5 * (rpm.front_left + rpm.front_right - rpm.rear_left - rpm.rear_right),
        Signal::LeftMinusRight => 0.5 * (rpm.front_left + rpm.rear_left - rpm.front_right - rpm.rear_right),
        Signal::CounterClockwiseMinusClockwise => {
            0.5 * rpm.zip(*spin).map(|(rpm, spin)| rpm * f64::from(spin.reaction())).sum()
        }
        Signal::RotorSpeedRange => f64::NAN,
        Signal::BatteryVoltage => row.battery_v,
        Signal::BatteryCurrent => row.battery_a,
        Signal::CameraLevelError => {
            row.camera.map_or(f64::NAN, |camera| libm::hypot(camera.elevation_error_deg, camera.roll_deg))
        }
        Signal::LineOfSightMotion | Signal::FrameMotion => f64::NAN,
        Signal::Armed => flag(row.flags.armed),
        Signal::OnGround => flag(row.flags.on_ground),
        Signal::AtTiltLimit => flag(row.flags.at_tilt_limit),
        Signal::RollPitchSaturated => flag(row.flags.roll_pitch_saturated),
        Signal::ThrustSaturated => flag(row.flags.thrust_saturated),
        Signal::YawSaturated => flag(row.flags.yaw_saturated),
        Signal::CannotHoldPosition => flag(row.flags.cannot_hold_position),
    }
}

/// Corner frequency in Hz of the high-pass on line-of-sight motion: slower motion does not blur the image.
const PICTURE_HZ: f64 = 0.3;

/// Magnitude of the motion of two angles above [`PICTURE_HZ`], per row.
fn sight_motion(rows: &[Row], angles: impl Fn(&Row) -> [f64; 2]) -> Vec<f64> {
    let period_s = rows.get(1).map_or(f64::NAN, |second| second.time_s - rows[0].time_s);
    let axis = |axis: usize| {
        let values: Vec<f64> = rows.iter().map(|row| angles(row)[axis]).collect();
        measure::above(&values, PICTURE_HZ * period_s)
    };
    axis(0).into_iter().zip(axis(1)).map(|(up, across)| libm::hypot(up, across)).collect()
}

fn unwrapped(angles_deg: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut last = f64::NAN;
    angles_deg
        .map(|angle| {
            last = if last.is_nan() { angle } else { last + half_turn(angle - last) };
            last
        })
        .collect()
}

fn by_rotor(rows: &[Row], of: impl Fn(&Row) -> Rotors<f64>) -> [Vec<f64>; 4] {
    std::array::from_fn(|rotor| rows.iter().map(|row| of(row).into_array()[rotor]).collect())
}

fn rotor_speed_range_percent(rows: &[Row]) -> f64 {
    let means = by_rotor(rows, |row| row.rotor_rpm).map(|rpm| measure::mean(&rpm));
    100.0 * (measure::largest(&means) - measure::smallest(&means)) / measure::mean(&means)
}

fn command_noise_percent(rows: &[Row]) -> Vec<f64> {
    by_rotor(rows, |row| row.command)
        .into_iter()
        .flat_map(|commands| {
            let mean = measure::mean(&commands);
            commands.into_iter().map(move |command| 100.0 * (command - mean))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spin() -> Rotors<Spin> {
        aplomb_craft::Config::weir_gauge().arms.map(|arm| arm.spin)
    }

    fn at(time_s: f64) -> Row {
        Row { time_s, ..Row::default() }
    }

    #[test]
    fn heading_is_unwrapped_through_north() {
        let mut rows = [at(0.0), at(0.1), at(0.2)];
        for (row, heading) in rows.iter_mut().zip([350.0, 355.0, 5.0]) {
            row.truth.heading_deg = heading;
        }
        assert_eq!(values(Signal::Heading, &rows, &spin()), [350.0, 355.0, 365.0]);
        rows[2].setpoint.heading_deg = 350.0;
        assert_eq!(values(Signal::HeadingError, &rows[2..], &spin()), [15.0]);
    }

    #[test]
    fn rotor_pairs_and_speed_range_have_the_right_sign() {
        let mut row = at(0.0);
        row.rotor_rpm =
            Rotors { front_left: 5000.0, front_right: 4900.0, rear_left: 5100.0, rear_right: 5200.0 };
        let one = |signal| values(signal, &[row], &spin())[0];
        assert_eq!(one(Signal::FrontMinusRear), -200.0);
        assert_eq!(one(Signal::LeftMinusRight), 0.0);
        assert_eq!(one(Signal::CounterClockwiseMinusClockwise), 100.0);
        assert!((one(Signal::RotorSpeedRange) - 100.0 * 300.0 / 5050.0).abs() < 1e-12);
    }

    #[test]
    fn command_noise_is_about_each_rotors_own_mean() {
        let mut rows = [at(0.0), at(0.1)];
        rows[0].command = Rotors { front_left: 0.4, ..Rotors::splat(0.5) };
        rows[1].command = Rotors { front_left: 0.6, ..Rotors::splat(0.5) };
        let noise = values(Signal::MotorCommandNoise, &rows, &spin());
        assert_eq!(noise.len(), 8);
        assert!((measure::rms(&noise) - 5.0).abs() < 1e-12);
    }
}
