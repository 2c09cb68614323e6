//! Sensors: what the craft reports of its motion, each with its own place, rate, delay and errors.
//!
//! Sizes marked "typical" are common practice without a source, class "consumer" if no other is named.

pub mod barometer;
pub(crate) mod delivery;
pub mod gnss;
pub mod imu;
pub mod magnetometer;
pub(crate) mod noise;
pub(crate) mod triad;

use crate::error::ConfigError;
use crate::rotors::Rotors;
use glam::DVec3;

/// Which sensors are fitted.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Config {
    /// Gyro and accelerometer.
    pub imu: Option<imu::Config>,
    /// Barometer.
    pub barometer: Option<barometer::Config>,
    /// Satellite gnss.
    pub gnss: Option<gnss::Config>,
    /// Magnetometer.
    pub magnetometer: Option<magnetometer::Config>,
}

impl Config {
    /// All sensors, as low-cost consumer parts.
    pub fn consumer() -> Self {
        Config {
            imu: Some(imu::Config::consumer()),
            barometer: Some(barometer::Config::consumer()),
            gnss: Some(gnss::Config::consumer()),
            magnetometer: Some(magnetometer::Config::consumer()),
        }
    }

    /// All sensors without any error or delay, each at its own rate.
    pub fn ideal() -> Self {
        Config {
            imu: Some(imu::Config::ideal()),
            barometer: Some(barometer::Config::ideal()),
            gnss: Some(gnss::Config::ideal()),
            magnetometer: Some(magnetometer::Config::ideal()),
        }
    }

    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        self.imu.map_or(Ok(()), |config| config.check(tick_s))?;
        self.barometer.map_or(Ok(()), |config| config.check(tick_s))?;
        self.gnss.map_or(Ok(()), |config| config.check(tick_s))?;
        self.magnetometer.map_or(Ok(()), |config| config.check(tick_s))
    }
}

/// A value and the time since it was true.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading<T> {
    /// What is reported.
    pub value: T,
    /// Time since it was true (s).
    pub age_s: f64,
}

/// Everything the sensors say at one tick. The slow ones are there only on the tick a new one arrives.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Readings {
    /// Gyro and accelerometer, every tick if fitted.
    pub imu: Option<Reading<imu::Sample>>,
    /// Rotor speeds as the speed controllers count them (rad/s).
    pub rotor_speed_rad_s: Rotors<f64>,
    /// Battery terminals as measured.
    pub battery: BatteryReading,
    /// Static pressure (Pa).
    pub pressure_pa: Option<Reading<f64>>,
    /// Satellite position and velocity.
    pub gnss: Option<Reading<gnss::GnssFix>>,
    /// Magnetic field in body axes (uT).
    pub magnetic_field_ut: Option<Reading<DVec3>>,
}

/// Battery terminals as measured.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BatteryReading {
    /// Terminal voltage (V).
    pub voltage_v: f64,
    /// Current drawn (A).
    pub current_a: f64,
}
