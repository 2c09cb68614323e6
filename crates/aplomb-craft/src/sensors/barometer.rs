//! Barometer: static pressure with white noise, correlated noise, drift, ground pressure, and rotor wash near
//! the ground.

use super::Reading;
use super::delivery::Delivery;
use super::noise::GaussMarkov;
use crate::error::{ConfigError, not_negative, positive, within};
use crate::random::{Source, Stream};
use crate::visit::Visit;

/// Parameters of a barometer; errors are given as heights where not stated otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Sample rate (Hz).
    pub rate_hz: f64,
    /// Delay from sample to delivery (s).
    pub delay_s: f64,
    /// White noise, standard deviation (m).
    pub white_noise_m: f64,
    /// Correlated noise, standard deviation (m).
    pub correlated_noise_m: f64,
    /// Correlation time of the correlated noise (s).
    pub correlation_time_s: f64,
    /// Drift (m/h), of random sign.
    pub drift_m_h: f64,
    /// Constant offset (Pa): difference of the ground pressure from the standard atmosphere, and offset of
    /// the sensor. The air density does not depend on it.
    pub offset_pa: f64,
    /// Height error by rotor wash at hover thrust on the ground (m): the measured height is too low by this.
    /// It decreases linearly to zero at `rotor_wash_below_m`.
    pub rotor_wash_m: f64,
    /// Height above which rotor wash has no effect (m).
    pub rotor_wash_below_m: f64,
}

impl Config {
    /// Typical consumer sensor: white noise 0.1 m, correlated noise 0.1 m over 20 s, drift 1 m/h, rotor wash
    /// 0.3 m below 1 m.
    pub fn consumer() -> Self {
        Config {
            rate_hz: 50.0,
            delay_s: 0.0,
            white_noise_m: 0.1,
            correlated_noise_m: 0.1,
            correlation_time_s: 20.0,
            drift_m_h: 1.0,
            offset_pa: 0.0,
            rotor_wash_m: 0.3,
            rotor_wash_below_m: 1.0,
        }
    }

    /// No errors.
    pub fn ideal() -> Self {
        Config {
            white_noise_m: 0.0,
            correlated_noise_m: 0.0,
            drift_m_h: 0.0,
            offset_pa: 0.0,
            rotor_wash_m: 0.0,
            ..Config::consumer()
        }
    }

    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        let fields = ["sensors.barometer.rate_hz", "sensors.barometer.delay_s"];
        Delivery::<f64>::check(fields, self.rate_hz, self.delay_s, tick_s)?;
        not_negative("sensors.barometer.white_noise_m", self.white_noise_m)?;
        not_negative("sensors.barometer.correlated_noise_m", self.correlated_noise_m)?;
        positive("sensors.barometer.correlation_time_s", self.correlation_time_s)?;
        not_negative("sensors.barometer.drift_m_h", self.drift_m_h)?;
        within("sensors.barometer.offset_pa", self.offset_pa, -2e4, 2e4)?;
        not_negative("sensors.barometer.rotor_wash_m", self.rotor_wash_m)?;
        positive("sensors.barometer.rotor_wash_below_m", self.rotor_wash_below_m)
    }
}

#[derive(Clone, Debug)]
pub(crate) struct Barometer {
    config: Config,
    stream: Stream,
    slow: GaussMarkov<f64>,
    drift_m_s: f64,
    delivery: Delivery<f64>,
}

impl Barometer {
    pub(crate) fn new(config: &Config, tick_s: f64, seed: u64) -> Self {
        let delivery = Delivery::new(config.rate_hz, config.delay_s, tick_s);
        let mut stream = Stream::new(seed, Source::Barometer);
        let sign = if stream.uniform() < 0.5 { -1.0 } else { 1.0 };
        let slow = GaussMarkov::new(
            config.correlated_noise_m,
            config.correlation_time_s,
            delivery.period_s(tick_s),
            &mut stream,
        );
        Barometer { config: *config, stream, slow, drift_m_s: sign * config.drift_m_h / 3600.0, delivery }
    }

    /// Visits the samples in transit.
    pub(crate) fn visit(&mut self, visit: &mut Visit) {
        for (i, value) in self.delivery.in_transit().enumerate() {
            visit("barometer.in_transit", i, value);
        }
    }

    /// `pressure(height)` is the static pressure at a height above home; `thrust_ratio` is thrust over
    /// weight.
    #[inline]
    pub(crate) fn advance(
        &mut self,
        tick: u64,
        time_s: f64,
        height_m: f64,
        clearance_m: f64,
        thrust_ratio: f64,
        pressure: impl FnOnce(f64) -> f64,
    ) -> Option<Reading<f64>> {
        let Barometer { config, stream, slow, drift_m_s, delivery } = self;
        delivery.advance(tick, || {
            let near = (1.0 - clearance_m / config.rotor_wash_below_m).clamp(0.0, 1.0);
            let wash = config.rotor_wash_m * near * thrust_ratio;
            let error =
                config.white_noise_m * stream.normal() + slow.advance(stream) + *drift_m_s * time_s - wash;
            Some(pressure(height_m + error) + config.offset_pa)
        })
    }
}
