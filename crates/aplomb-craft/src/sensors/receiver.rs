//! Satellite receiver: position and velocity at a low rate, late, with a white and a slowly varying error.

use super::Reading;
use super::delivery::Delivery;
use super::noise::{Correlated, normals};
use crate::body::State;
use crate::error::{ConfigError, all_finite, not_negative, positive};
use crate::random::{Source, Stream};
use glam::DVec3;

/// A receiver with its antenna.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Samples a second.
    pub rate_hz: f64,
    /// From sample to delivery (s).
    pub delay_s: f64,
    /// Place of the antenna, body axes (m).
    pub position_m: [f64; 3],
    /// White error of the position, standard deviation per axis (m).
    pub white_m: f64,
    /// Slow error of the position, standard deviation per axis (m).
    pub correlated_m: f64,
    /// Correlation time of the slow error (s).
    pub correlated_s: f64,
    /// White error of the velocity, standard deviation per axis (m/s).
    pub velocity_m_s: f64,
}

/// What the receiver reports.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fix {
    /// North-east-down from home (m).
    pub position_m: DVec3,
    /// North-east-down (m/s).
    pub velocity_m_s: DVec3,
    /// Stated accuracy of the position, one standard deviation per axis (m).
    pub position_accuracy_m: f64,
    /// Stated accuracy of the velocity, one standard deviation per axis (m/s).
    pub velocity_accuracy_m_s: f64,
}

/// Parts of the position error of the latest sample taken, north-east-down (m).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Errors {
    /// White part.
    pub white_m: DVec3,
    /// Slow part.
    pub correlated_m: DVec3,
}

impl Config {
    /// Typical consumer part: 5 Hz, 0.2 s late, white 0.3 m, 1.5 m over 150 s, velocity 0.1 m/s.
    pub fn consumer() -> Self {
        Config {
            rate_hz: 5.0,
            delay_s: 0.2,
            position_m: [0.0; 3],
            white_m: 0.3,
            correlated_m: 1.5,
            correlated_s: 150.0,
            velocity_m_s: 0.1,
        }
    }

    /// No error and no delay.
    pub fn ideal() -> Self {
        Config { delay_s: 0.0, white_m: 0.0, correlated_m: 0.0, velocity_m_s: 0.0, ..Config::consumer() }
    }

    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        let fields = ["sensors.receiver.rate_hz", "sensors.receiver.delay_s"];
        Delivery::<Fix>::check(fields, self.rate_hz, self.delay_s, tick_s)?;
        all_finite("sensors.receiver.position_m", &self.position_m)?;
        not_negative("sensors.receiver.white_m", self.white_m)?;
        not_negative("sensors.receiver.correlated_m", self.correlated_m)?;
        positive("sensors.receiver.correlated_s", self.correlated_s)?;
        not_negative("sensors.receiver.velocity_m_s", self.velocity_m_s)
    }
}

#[derive(Clone, Debug)]
pub(crate) struct Receiver {
    config: Config,
    white: Stream,
    correlated: Stream,
    slow: Correlated<DVec3>,
    accuracy_m: f64,
    errors: Errors,
    delivery: Delivery<Fix>,
}

impl Receiver {
    pub(crate) fn new(config: &Config, tick_s: f64, seed: u64) -> Self {
        let delivery = Delivery::new(config.rate_hz, config.delay_s, tick_s);
        let mut correlated = Stream::new(seed, Source::ReceiverCorrelated);
        let period_s = delivery.period_s(tick_s);
        let slow = Correlated::three(config.correlated_m, config.correlated_s, period_s, &mut correlated);
        Receiver {
            config: *config,
            white: Stream::new(seed, Source::ReceiverWhite),
            correlated,
            slow,
            accuracy_m: libm::sqrt(
                config.white_m * config.white_m + config.correlated_m * config.correlated_m,
            ),
            errors: Errors::default(),
            delivery,
        }
    }

    pub(crate) fn errors(&self) -> Errors {
        self.errors
    }

    #[inline]
    pub(crate) fn advance(&mut self, tick: u64, state: &State) -> Option<Reading<Fix>> {
        let Receiver { config, white, correlated, slow, accuracy_m, errors, delivery } = self;
        delivery.advance(tick, || {
            errors.white_m = normals(white) * config.white_m;
            errors.correlated_m = slow.advance_three(correlated);
            let arm = DVec3::from_array(config.position_m);
            let position = state.position_m + state.attitude * arm;
            let velocity = state.velocity_m_s + state.attitude * state.rate_rad_s.cross(arm);
            Fix {
                position_m: position + errors.white_m + errors.correlated_m,
                velocity_m_s: velocity + normals(white) * config.velocity_m_s,
                position_accuracy_m: *accuracy_m,
                velocity_accuracy_m_s: config.velocity_m_s,
            }
        })
    }
}
