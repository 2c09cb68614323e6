//! Conversion of the craft's truth and the controller's record to a trace row.

use aplomb::guard::Phase;
use aplomb::record::Record;
use aplomb_craft::Truth;

use crate::exchange;
use crate::trace::{Flags, Motion, Row};

/// The trace row at `time_s`.
#[must_use]
pub fn row(time_s: f64, truth: &Truth, record: &Record) -> Row {
    let up = |v: aplomb_craft::glam::DVec3| [v.x, v.y, -v.z];
    let [w, x, y, z] = record.estimate.attitude.wxyz().map(f64::from);
    let estimated = aplomb_craft::glam::DQuat::from_xyzw(x, y, z, w);
    Row {
        time_s,
        truth: true_motion(truth),
        estimate: estimated_motion(record),
        setpoint: setpoint_motion(record),
        command: exchange::commands(record.commands),
        thrust_n: truth.thrust_n,
        torque_nm: truth.torque_nm,
        rotor_rpm: truth.rotor_speed_rad_s.map(|speed| speed * 60.0 / std::f64::consts::TAU),
        wind_m_s: up(truth.wind_m_s),
        tilt_estimate_error_deg: angle_deg(
            truth.attitude.conjugate() * aplomb_craft::glam::DVec3::Z,
            estimated.conjugate() * aplomb_craft::glam::DVec3::Z,
        ),
        gnss_correlated_noise_m: up(truth.gnss_errors.correlated_noise_m),
        battery_v: truth.battery.voltage_v,
        battery_a: truth.battery.current_a,
        camera: None,
        flags: Flags {
            armed: !matches!(record.phase, Phase::Disarmed | Phase::Stopped { .. }),
            on_ground: truth.on_ground,
            at_tilt_limit: record.achieved.limited.tilt,
            roll_pitch_saturated: record.achieved.limited.roll_pitch,
            thrust_saturated: record.achieved.limited.thrust,
            yaw_saturated: record.achieved.limited.yaw,
            cannot_hold_position: record.outer.cannot_hold_position,
        },
    }
}

fn true_motion(truth: &Truth) -> Motion {
    let q = truth.attitude;
    let rate = truth.body_rate_rad_s;
    Motion {
        north_m: truth.position_m.x,
        east_m: truth.position_m.y,
        height_m: -truth.position_m.z,
        velocity_north_m_s: truth.velocity_m_s.x,
        velocity_east_m_s: truth.velocity_m_s.y,
        climb_m_s: -truth.velocity_m_s.z,
        roll_rate_deg_s: rate.x.to_degrees(),
        pitch_rate_deg_s: rate.y.to_degrees(),
        yaw_rate_deg_s: rate.z.to_degrees(),
        ..angles([q.w, q.x, q.y, q.z])
    }
}

fn estimated_motion(record: &Record) -> Motion {
    let estimate = &record.estimate;
    let [north_m, east_m, down_m] = estimate.position_m.to_array().map(f64::from);
    let [velocity_north_m_s, velocity_east_m_s, down_m_s] = estimate.velocity_m_s.to_array().map(f64::from);
    let [roll, pitch, yaw] = estimate.rate_rad_s.to_array().map(f64::from);
    let valid = |valid: bool, value: f64| if valid { value } else { f64::NAN };
    Motion {
        north_m: valid(estimate.position_valid, north_m),
        east_m: valid(estimate.position_valid, east_m),
        height_m: valid(estimate.height_valid, -down_m),
        velocity_north_m_s: valid(estimate.position_valid, velocity_north_m_s),
        velocity_east_m_s: valid(estimate.position_valid, velocity_east_m_s),
        climb_m_s: valid(estimate.height_valid, -down_m_s),
        roll_rate_deg_s: roll.to_degrees(),
        pitch_rate_deg_s: pitch.to_degrees(),
        yaw_rate_deg_s: yaw.to_degrees(),
        ..angles(estimate.attitude.wxyz().map(f64::from))
    }
}

fn setpoint_motion(record: &Record) -> Motion {
    let position = record.outer.position_setpoint_m.map(|p| [p.north, p.east].map(f64::from));
    let [north_m, east_m] = position.unwrap_or([f64::NAN; 2]);
    let [velocity_north_m_s, velocity_east_m_s, down_m_s] =
        record.outer.velocity_setpoint_m_s.to_array().map(f64::from);
    let [roll, pitch, yaw] = record.attitude.rate_setpoint.rate_rad_s.to_array().map(f64::from);
    Motion {
        north_m,
        east_m,
        height_m: record.outer.height_setpoint_m.map_or(f64::NAN, f64::from),
        velocity_north_m_s,
        velocity_east_m_s,
        climb_m_s: -down_m_s,
        roll_rate_deg_s: roll.to_degrees(),
        pitch_rate_deg_s: pitch.to_degrees(),
        yaw_rate_deg_s: yaw.to_degrees(),
        ..angles(record.attitude.attitude_setpoint.wxyz().map(f64::from))
    }
}

/// Roll, pitch, heading and tilt of an attitude quaternion (scalar first, body to world); all other fields
/// are 0.
fn angles([w, x, y, z]: [f64; 4]) -> Motion {
    let roll = libm::atan2(2.0 * (w * x + y * z), 1.0 - 2.0 * (x * x + y * y));
    let pitch = libm::asin((2.0 * (w * y - z * x)).clamp(-1.0, 1.0));
    let yaw = libm::atan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z)).to_degrees();
    let tilt = 2.0 * libm::asin(libm::hypot(x, y).min(1.0));
    Motion {
        roll_deg: roll.to_degrees(),
        pitch_deg: pitch.to_degrees(),
        heading_deg: if yaw < 0.0 { yaw + 360.0 } else { yaw },
        tilt_deg: tilt.to_degrees(),
        ..Motion::default()
    }
}

fn angle_deg(a: aplomb_craft::glam::DVec3, b: aplomb_craft::glam::DVec3) -> f64 {
    libm::atan2(libm::sqrt(a.cross(b).length_squared()), a.dot(b)).to_degrees()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_of_a_heading_and_a_nose_down_tilt() {
        let half = |deg: f64| (deg.to_radians() / 2.0).sin_cos();
        let (s, c) = half(-90.0);
        let west = angles([c, 0.0, 0.0, s]);
        assert!((west.heading_deg - 270.0).abs() < 1e-9 && west.tilt_deg.abs() < 1e-9);
        let (s, c) = half(-20.0);
        let nose_down = angles([c, 0.0, s, 0.0]);
        assert!((nose_down.pitch_deg + 20.0).abs() < 1e-9 && (nose_down.tilt_deg - 20.0).abs() < 1e-9);
    }
}
