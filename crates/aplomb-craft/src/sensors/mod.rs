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
use crate::sensors::imu::visit_sample;
use crate::visit::{Visit, visit_optional};
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

    /// The same sensors with their positions, filters, rates, delays and ranges, without noise, bias, errors
    /// of scale and axes, quantisation, vibration, drift, outages and jumps.
    #[must_use]
    pub fn without_errors(&self) -> Self {
        let ideal = Self::ideal();
        let imu = self.imu.map(|imu| {
            let ranges = (imu.gyro.range_rad_s, imu.accel.range_m_s2);
            imu::Config {
                vibration_gain: 0.0,
                gyro: imu::GyroConfig { range_rad_s: ranges.0, ..imu::GyroConfig::default() },
                accel: imu::AccelConfig { range_m_s2: ranges.1, ..imu::AccelConfig::default() },
                ..imu
            }
        });
        let barometer = self.barometer.zip(ideal.barometer).map(|(own, ideal)| barometer::Config {
            rate_hz: own.rate_hz,
            delay_s: own.delay_s,
            offset_pa: own.offset_pa,
            ..ideal
        });
        let gnss = self.gnss.zip(ideal.gnss).map(|(own, ideal)| gnss::Config {
            rate_hz: own.rate_hz,
            delay_s: own.delay_s,
            position_m: own.position_m,
            ..ideal
        });
        let magnetometer = self.magnetometer.map(|own| magnetometer::Config {
            white_noise_ut: 0.0,
            hard_iron_ut: 0.0,
            soft_iron_share: 0.0,
            ..own
        });
        Self { imu, barometer, gnss, magnetometer }
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

impl Readings {
    /// Visits the values.
    pub(crate) fn visit(&mut self, visit: &mut Visit) {
        if let Some(imu) = &mut self.imu {
            visit_sample(visit, "reading.imu", 0, &mut imu.value);
        }
        let mut speeds = self.rotor_speed_rad_s.into_array();
        speeds.iter_mut().enumerate().for_each(|(i, w)| visit("reading.rotor_speed_rad_s", i, Some(w)));
        self.rotor_speed_rad_s = Rotors::from_array(speeds);
        visit("reading.battery_v", 0, Some(&mut self.battery.voltage_v));
        visit("reading.battery_a", 0, Some(&mut self.battery.current_a));
        visit("reading.pressure_pa", 0, self.pressure_pa.as_mut().map(|reading| &mut reading.value));
        let fix = self.gnss.as_mut().map(|reading| &mut reading.value);
        gnss::GnssFix::visit(fix, "reading.gnss", 0, visit);
        let field = self.magnetic_field_ut.as_mut().map(|reading| &mut reading.value);
        visit_optional(visit, "reading.magnetic_field_ut", 0, field);
    }
}

/// Battery terminals as measured.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BatteryReading {
    /// Terminal voltage (V).
    pub voltage_v: f64,
    /// Current drawn (A).
    pub current_a: f64,
}
