//! Magnetometer: Earth's magnetic field in body axes with soft iron, hard iron, the field of the battery
//! current and white noise: `m = (1 + S) R' e + h + c I + n`.

use super::Reading;
use super::delivery::Delivery;
use super::noise::normals;
use crate::error::{ConfigError, all_finite, not_negative, within};
use crate::random::{Source, Stream};
use crate::visit::{Visit, visit_optional};
use glam::{DMat3, DQuat, DVec3};

/// Parameters of a magnetometer, and Earth's magnetic field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Sample rate (Hz).
    pub rate_hz: f64,
    /// Delay from sample to delivery (s).
    pub delay_s: f64,
    /// Earth's magnetic field, north-east-down (uT).
    pub magnetic_field_ut: [f64; 3],
    /// White noise, standard deviation per axis (uT).
    pub white_noise_ut: f64,
    /// Hard iron: constant, standard deviation per axis (uT).
    pub hard_iron_ut: f64,
    /// Soft iron: standard deviation of the elements of the symmetric matrix S.
    pub soft_iron_share: f64,
    /// Field per battery current in body axes, c (uT/A).
    pub current_ut_a: [f64; 3],
}

impl Config {
    /// Typical consumer sensor in a mid-latitude field of 49 uT with 65 deg inclination.
    pub fn consumer() -> Self {
        Config {
            rate_hz: 50.0,
            delay_s: 0.01,
            magnetic_field_ut: [20.7, 0.0, 44.4],
            white_noise_ut: 0.3,
            hard_iron_ut: 1.0,
            soft_iron_share: 0.0,
            current_ut_a: [0.0; 3],
        }
    }

    /// No errors and no delay.
    pub fn ideal() -> Self {
        Config { delay_s: 0.0, white_noise_ut: 0.0, hard_iron_ut: 0.0, ..Config::consumer() }
    }

    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        let fields = ["sensors.magnetometer.rate_hz", "sensors.magnetometer.delay_s"];
        Delivery::<DVec3>::check(fields, self.rate_hz, self.delay_s, tick_s)?;
        all_finite("sensors.magnetometer.magnetic_field_ut", &self.magnetic_field_ut)?;
        not_negative("sensors.magnetometer.white_noise_ut", self.white_noise_ut)?;
        not_negative("sensors.magnetometer.hard_iron_ut", self.hard_iron_ut)?;
        within("sensors.magnetometer.soft_iron_share", self.soft_iron_share, 0.0, 0.2)?;
        all_finite("sensors.magnetometer.current_ut_a", &self.current_ut_a)
    }
}

#[derive(Clone, Debug)]
pub(crate) struct Magnetometer {
    magnetic_field_ut: DVec3,
    soft_iron: Option<DMat3>,
    hard_iron_ut: DVec3,
    current_ut_a: DVec3,
    white_noise_ut: f64,
    stream: Stream,
    delivery: Delivery<DVec3>,
}

impl Magnetometer {
    pub(crate) fn new(config: &Config, tick_s: f64, seed: u64) -> Self {
        let mut stream = Stream::new(seed, Source::Magnetometer);
        Magnetometer {
            magnetic_field_ut: DVec3::from_array(config.magnetic_field_ut),
            soft_iron: (config.soft_iron_share > 0.0).then(|| soft_iron(config.soft_iron_share, seed)),
            hard_iron_ut: normals(&mut stream) * config.hard_iron_ut,
            current_ut_a: DVec3::from_array(config.current_ut_a),
            white_noise_ut: config.white_noise_ut,
            stream,
            delivery: Delivery::new(config.rate_hz, config.delay_s, tick_s),
        }
    }

    /// Visits the samples in transit.
    pub(crate) fn visit(&mut self, visit: &mut Visit) {
        for (i, value) in self.delivery.in_transit().enumerate() {
            visit_optional(visit, "magnetometer.in_transit", 3 * i, value);
        }
    }

    #[inline]
    pub(crate) fn advance(&mut self, tick: u64, attitude: DQuat, battery_a: f64) -> Option<Reading<DVec3>> {
        let Magnetometer {
            magnetic_field_ut,
            soft_iron,
            hard_iron_ut,
            current_ut_a,
            white_noise_ut,
            stream,
            delivery,
        } = self;
        delivery.advance(tick, || {
            let mut field = attitude.conjugate() * *magnetic_field_ut;
            if let Some(soft_iron) = soft_iron {
                field = *soft_iron * field;
            }
            Some(field + *hard_iron_ut + *current_ut_a * battery_a + normals(stream) * *white_noise_ut)
        })
    }
}

/// 1 + S.
fn soft_iron(share: f64, seed: u64) -> DMat3 {
    let mut stream = Stream::new(seed, Source::SoftIron);
    let (along, across) = (normals(&mut stream) * share, normals(&mut stream) * share);
    DMat3::from_cols(
        DVec3::new(1.0 + along.x, across.x, across.y),
        DVec3::new(across.x, 1.0 + along.y, across.z),
        DVec3::new(across.y, across.z, 1.0 + along.z),
    )
}
