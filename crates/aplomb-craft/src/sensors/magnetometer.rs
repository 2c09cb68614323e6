//! Magnetometer: the earth's field in body axes, with a constant offset and white noise.

use super::Reading;
use super::delivery::Delivery;
use super::noise::normals;
use crate::error::{ConfigError, all_finite, not_negative};
use crate::random::{Source, Stream};
use glam::{DQuat, DVec3};

/// A magnetometer and the field it is in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Samples a second.
    pub rate_hz: f64,
    /// From sample to delivery (s).
    pub delay_s: f64,
    /// Earth's field, north-east-down (uT).
    pub field_ut: [f64; 3],
    /// White noise, standard deviation per axis (uT).
    pub white_ut: f64,
    /// Constant offset per axis, standard deviation of the draw (uT).
    pub offset_ut: f64,
}

impl Config {
    /// Typical consumer part in a mid-latitude field of 49 uT that dips 65 deg.
    pub fn consumer() -> Self {
        Config { rate_hz: 50.0, delay_s: 0.01, field_ut: [20.7, 0.0, 44.4], white_ut: 0.3, offset_ut: 1.0 }
    }

    /// No error and no delay.
    pub fn ideal() -> Self {
        Config { delay_s: 0.0, white_ut: 0.0, offset_ut: 0.0, ..Config::consumer() }
    }

    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        let fields = ["sensors.magnetometer.rate_hz", "sensors.magnetometer.delay_s"];
        Delivery::<DVec3>::check(fields, self.rate_hz, self.delay_s, tick_s)?;
        all_finite("sensors.magnetometer.field_ut", &self.field_ut)?;
        not_negative("sensors.magnetometer.white_ut", self.white_ut)?;
        not_negative("sensors.magnetometer.offset_ut", self.offset_ut)
    }
}

#[derive(Clone, Debug)]
pub(crate) struct Magnetometer {
    field_ut: DVec3,
    offset_ut: DVec3,
    white_ut: f64,
    stream: Stream,
    delivery: Delivery<DVec3>,
}

impl Magnetometer {
    pub(crate) fn new(config: &Config, tick_s: f64, seed: u64) -> Self {
        let mut stream = Stream::new(seed, Source::Magnetometer);
        Magnetometer {
            field_ut: DVec3::from_array(config.field_ut),
            offset_ut: normals(&mut stream) * config.offset_ut,
            white_ut: config.white_ut,
            stream,
            delivery: Delivery::new(config.rate_hz, config.delay_s, tick_s),
        }
    }

    #[inline]
    pub(crate) fn advance(&mut self, tick: u64, attitude: DQuat) -> Option<Reading<DVec3>> {
        let Magnetometer { field_ut, offset_ut, white_ut, stream, delivery } = self;
        delivery.advance(tick, || attitude.conjugate() * *field_ut + *offset_ut + normals(stream) * *white_ut)
    }
}
