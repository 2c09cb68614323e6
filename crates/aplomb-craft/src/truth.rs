//! True state of the craft.

use crate::Rotors;
use crate::battery::Terminals;
use crate::sensors::{gnss, imu};
use glam::{DQuat, DVec3};

/// True state of the craft at one tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Time since the start (s).
    pub time_s: f64,
    /// Position of the centre of mass, north-east-down from home (m).
    pub position_m: DVec3,
    /// Velocity, north-east-down (m/s).
    pub velocity_m_s: DVec3,
    /// Acceleration, north-east-down (m/s2).
    pub acceleration_m_s2: DVec3,
    /// Attitude, body to world.
    pub attitude: DQuat,
    /// Body rate (rad/s).
    pub body_rate_rad_s: DVec3,
    /// Body angular acceleration (rad/s2).
    pub body_acceleration_rad_s2: DVec3,
    /// Rotor speeds (rad/s).
    pub rotor_speed_rad_s: Rotors<f64>,
    /// Thrust of each rotor (N).
    pub thrust_n: Rotors<f64>,
    /// Shaft torque of each rotor (N m).
    pub torque_nm: Rotors<f64>,
    /// Motor command in force, after delay and quantisation of the speed controller.
    pub motor_command: Rotors<f64>,
    /// Wind at the craft, north-east-down (m/s).
    pub wind_m_s: DVec3,
    /// Airspeed (m/s).
    pub airspeed_m_s: f64,
    /// Air density (kg/m3).
    pub density_kg_m3: f64,
    /// Battery.
    pub battery: Terminals,
    /// Any point of the craft is in contact with the ground.
    pub on_ground: bool,
    /// In contact with the ground and tilted by more than 60 deg.
    pub tipped_over: bool,
    /// Parts of the GNSS position error in the latest sample.
    pub gnss_errors: gnss::Errors,
    /// Bias of gyro and accelerometer.
    pub imu_bias: imu::Sample,
}

impl Truth {
    /// Height above home (m).
    pub fn height_m(&self) -> f64 {
        -self.position_m.z
    }

    /// Angle between the vertical axes of body and world (rad), 0..pi.
    pub fn tilt_rad(&self) -> f64 {
        let (x, y) = (self.attitude.x, self.attitude.y);
        2.0 * libm::asin(libm::sqrt(x * x + y * y).min(1.0))
    }

    /// Heading, clockwise from north (rad), -pi..pi.
    pub fn heading_rad(&self) -> f64 {
        let q = self.attitude;
        libm::atan2(2.0 * (q.w * q.z + q.x * q.y), 1.0 - 2.0 * (q.y * q.y + q.z * q.z))
    }
}
