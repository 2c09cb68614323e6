//! Sensors, each with its position, rate, delay and errors.
//!
//! Values marked "typical" are common practice without a source, for the consumer class if no other is named.

pub mod barometer;
pub(crate) mod delivery;
pub mod gnss;
pub mod imu;
pub mod magnetometer;
pub(crate) mod noise;
pub(crate) mod triad;

use crate::Rotors;
use crate::error::ConfigError;
use glam::DVec3;

/// Fitted sensors.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Config {
    /// Gyro and accelerometer.
    pub imu: Option<imu::Config>,
    /// Barometer.
    pub barometer: Option<barometer::Config>,
    /// GNSS receiver.
    pub gnss: Option<gnss::Config>,
    /// Magnetometer.
    pub magnetometer: Option<magnetometer::Config>,
}

impl Config {
    /// All sensors, consumer class.
    pub fn consumer() -> Self {
        Config {
            imu: Some(imu::Config::consumer()),
            barometer: Some(barometer::Config::consumer()),
            gnss: Some(gnss::Config::consumer()),
            magnetometer: Some(magnetometer::Config::consumer()),
        }
    }

    /// All sensors without errors or delay, each at its own rate.
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

/// A sample with its age.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading<T> {
    /// Value.
    pub value: T,
    /// Age: time since the value was true (s).
    pub age_s: f64,
}

/// Samples of one tick. A slow sensor has one only on the tick of its delivery.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Readings {
    /// Gyro and accelerometer, on every tick if fitted.
    pub imu: Option<Reading<imu::Sample>>,
    /// Rotor speeds measured by the speed controllers (rad/s).
    pub rotor_speed_rad_s: Rotors<f64>,
    /// Battery terminals as measured.
    pub battery: BatteryReading,
    /// Static pressure (Pa).
    pub pressure_pa: Option<Reading<f64>>,
    /// GNSS position and velocity.
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
