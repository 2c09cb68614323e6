//! Gyro and accelerometer: noise by Allan variance parameters, bias, scale factor, misalignment, low-pass,
//! range, resolution, lever arm.
//!
//! A sample is `clip(round(F(M x + N sqrt(fs) n) + tones + bias))`. x is the specific force, or the rate with
//! its sensitivity to specific force. F is the first-order low-pass of the sensor (exact for an input that is
//! linear over the tick), M scale factor and misalignment, N the noise density. The white noise is thereby
//! integrated over the bandwidth of the sensor, and its Allan deviation is N at 1 s. The vibration tones pass
//! F at their true frequency before sampling, so that they alias. Noise terms as in IEEE Std 952-1997.

use super::Reading;
use super::noise::normals;
use super::triad::{Triad, TriadConfig};
use crate::error::{ConfigError, Reason, all_finite, fail, not_negative, positive, within};
use crate::gravity::STANDARD_M_S2;
use crate::random::{Source, Stream};
use crate::visit::{Visit, visit_vector};
use core::f64::consts::PI;
use glam::{DMat3, DVec3};

/// Length of the history for the delay, in ticks.
const HISTORY: usize = 32;

/// Parameters of gyro and accelerometer in one housing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Position from the centre of mass, body axes (m).
    pub position_m: [f64; 3],
    /// Cut-off frequency of the first-order low-pass of the sensor (Hz).
    pub low_pass_hz: f64,
    /// Delay from sample to delivery (s), rounded to ticks, at most 31 of them.
    pub delay_s: f64,
    /// Correlation time of the bias instability (s).
    pub bias_correlation_time_s: f64,
    /// Ratio of the vibration at the sensor to that of the frame.
    pub vibration_gain: f64,
    /// Gyro.
    pub gyro: GyroConfig,
    /// Accelerometer.
    pub accel: AccelConfig,
}

/// Gyro errors, the same on the three axes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GyroConfig {
    /// Noise density N (angle random walk) (rad/s/sqrt(Hz)).
    pub noise_rad_s_rthz: f64,
    /// Bias instability B (rad/s); the flat part of the Allan deviation is at 0.664 B.
    pub bias_instability_rad_s: f64,
    /// Rate random walk K (rad/s/sqrt(s)).
    pub rate_random_walk_rad_s_rts: f64,
    /// Turn-on bias, uniform within plus and minus this (rad/s).
    pub turn_on_bias_rad_s: f64,
    /// Scale factor error, standard deviation.
    pub scale_factor_share: f64,
    /// Axis misalignment, standard deviation (rad).
    pub misalignment_rad: f64,
    /// Sensitivity to specific force, standard deviation of each axis by each axis (rad/s per m/s2).
    pub per_force_s_m: f64,
    /// Full scale (rad/s).
    pub range_rad_s: f64,
    /// Resolution (rad/s); 0 for none.
    pub resolution_rad_s: f64,
}

/// Accelerometer errors, the same on the three axes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AccelConfig {
    /// Noise density N (m/s2/sqrt(Hz)).
    pub noise_m_s2_rthz: f64,
    /// Bias instability B (m/s2).
    pub bias_instability_m_s2: f64,
    /// Acceleration random walk K (m/s2/sqrt(s)).
    pub acceleration_random_walk_m_s2_rts: f64,
    /// Turn-on bias, uniform within plus and minus this (m/s2).
    pub turn_on_bias_m_s2: f64,
    /// Scale factor error, standard deviation.
    pub scale_factor_share: f64,
    /// Axis misalignment, standard deviation (rad).
    pub misalignment_rad: f64,
    /// Full scale (m/s2).
    pub range_m_s2: f64,
    /// Resolution (m/s2); 0 for none.
    pub resolution_m_s2: f64,
}

/// Typical values of a class, all from memory: bounds of the usual range; the geometric mean is used.
struct Class {
    gyro_noise_deg: [f64; 2],
    gyro_instability_deg_h: [f64; 2],
    gyro_turn_on_deg: [f64; 2],
    accel_noise_ug: [f64; 2],
    accel_turn_on_mg: [f64; 2],
    accel_instability_ug: f64,
    scale_factor_share: f64,
    misalignment_deg: f64,
}

impl Config {
    /// Low-cost consumer class (typical values, from memory).
    pub fn consumer() -> Self {
        Config::of(&Class {
            gyro_noise_deg: [0.005, 0.015],
            gyro_instability_deg_h: [5.0, 30.0],
            gyro_turn_on_deg: [0.5, 3.0],
            accel_noise_ug: [100.0, 300.0],
            accel_turn_on_mg: [20.0, 60.0],
            accel_instability_ug: 100.0,
            scale_factor_share: 0.01,
            misalignment_deg: 0.5,
        })
    }

    /// Better consumer class (typical values, from memory).
    pub fn better() -> Self {
        Config::of(&Class {
            gyro_noise_deg: [0.003, 0.005],
            gyro_instability_deg_h: [2.0, 10.0],
            gyro_turn_on_deg: [0.2, 1.0],
            accel_noise_ug: [50.0, 100.0],
            accel_turn_on_mg: [10.0, 30.0],
            accel_instability_ug: 50.0,
            scale_factor_share: 0.005,
            misalignment_deg: 0.3,
        })
    }

    /// Industrial class (typical values, from memory).
    pub fn industrial() -> Self {
        Config::of(&Class {
            gyro_noise_deg: [0.001, 0.003],
            gyro_instability_deg_h: [0.5, 5.0],
            gyro_turn_on_deg: [0.1, 0.3],
            accel_noise_ug: [20.0, 60.0],
            accel_turn_on_mg: [2.0, 10.0],
            accel_instability_ug: 20.0,
            scale_factor_share: 0.001,
            misalignment_deg: 0.05,
        })
    }

    /// No errors, delay or vibration, and a low-pass far above the tick rate.
    pub fn ideal() -> Self {
        Config {
            position_m: [0.0; 3],
            low_pass_hz: 1e6,
            delay_s: 0.0,
            bias_correlation_time_s: 100.0,
            vibration_gain: 0.0,
            gyro: GyroConfig { range_rad_s: 1e3, ..GyroConfig::default() },
            accel: AccelConfig { range_m_s2: 1e4, ..AccelConfig::default() },
        }
    }

    fn of(class: &Class) -> Self {
        let middle = |[low, high]: [f64; 2]| libm::sqrt(low * high);
        let (degree, milli_g) = (PI / 180.0, STANDARD_M_S2 * 1e-3);
        let (range_rad_s, range_m_s2) = (2000.0 * degree, 16.0 * STANDARD_M_S2);
        Config {
            position_m: [0.0; 3],
            low_pass_hz: 200.0,
            delay_s: 0.0,
            bias_correlation_time_s: 100.0,
            vibration_gain: 0.3,
            gyro: GyroConfig {
                noise_rad_s_rthz: middle(class.gyro_noise_deg) * degree,
                bias_instability_rad_s: middle(class.gyro_instability_deg_h) * degree / 3600.0,
                rate_random_walk_rad_s_rts: 0.0,
                turn_on_bias_rad_s: middle(class.gyro_turn_on_deg) * degree,
                scale_factor_share: class.scale_factor_share,
                misalignment_rad: class.misalignment_deg * degree,
                per_force_s_m: 0.0,
                range_rad_s,
                resolution_rad_s: range_rad_s / 32768.0,
            },
            accel: AccelConfig {
                noise_m_s2_rthz: middle(class.accel_noise_ug) * 1e-3 * milli_g,
                bias_instability_m_s2: class.accel_instability_ug * 1e-3 * milli_g,
                acceleration_random_walk_m_s2_rts: 0.0,
                turn_on_bias_m_s2: middle(class.accel_turn_on_mg) * milli_g,
                scale_factor_share: class.scale_factor_share,
                misalignment_rad: class.misalignment_deg * degree,
                range_m_s2,
                resolution_m_s2: range_m_s2 / 32768.0,
            },
        }
    }

    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        all_finite("sensors.imu.position_m", &self.position_m)?;
        positive("sensors.imu.low_pass_hz", self.low_pass_hz)?;
        not_negative("sensors.imu.delay_s", self.delay_s)?;
        if self.delay_s / tick_s + 0.5 >= HISTORY as f64 {
            return fail("sensors.imu.delay_s", Reason::TooLong);
        }
        positive("sensors.imu.bias_correlation_time_s", self.bias_correlation_time_s)?;
        not_negative("sensors.imu.vibration_gain", self.vibration_gain)?;
        let gyro = &self.gyro;
        not_negative("sensors.imu.gyro.noise_rad_s_rthz", gyro.noise_rad_s_rthz)?;
        not_negative("sensors.imu.gyro.bias_instability_rad_s", gyro.bias_instability_rad_s)?;
        not_negative("sensors.imu.gyro.rate_random_walk_rad_s_rts", gyro.rate_random_walk_rad_s_rts)?;
        not_negative("sensors.imu.gyro.turn_on_bias_rad_s", gyro.turn_on_bias_rad_s)?;
        within("sensors.imu.gyro.scale_factor_share", gyro.scale_factor_share, 0.0, 0.2)?;
        within("sensors.imu.gyro.misalignment_rad", gyro.misalignment_rad, 0.0, 0.2)?;
        not_negative("sensors.imu.gyro.per_force_s_m", gyro.per_force_s_m)?;
        positive("sensors.imu.gyro.range_rad_s", gyro.range_rad_s)?;
        not_negative("sensors.imu.gyro.resolution_rad_s", gyro.resolution_rad_s)?;
        let accel = &self.accel;
        not_negative("sensors.imu.accel.noise_m_s2_rthz", accel.noise_m_s2_rthz)?;
        not_negative("sensors.imu.accel.bias_instability_m_s2", accel.bias_instability_m_s2)?;
        not_negative(
            "sensors.imu.accel.acceleration_random_walk_m_s2_rts",
            accel.acceleration_random_walk_m_s2_rts,
        )?;
        not_negative("sensors.imu.accel.turn_on_bias_m_s2", accel.turn_on_bias_m_s2)?;
        within("sensors.imu.accel.scale_factor_share", accel.scale_factor_share, 0.0, 0.2)?;
        within("sensors.imu.accel.misalignment_rad", accel.misalignment_rad, 0.0, 0.2)?;
        positive("sensors.imu.accel.range_m_s2", accel.range_m_s2)?;
        not_negative("sensors.imu.accel.resolution_m_s2", accel.resolution_m_s2)
    }
}

/// One sample, body axes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sample {
    /// Body rate (rad/s).
    pub gyro_rad_s: DVec3,
    /// Specific force (m/s2): acceleration less gravity; (0, 0, -9.8) if level and stationary.
    pub accel_m_s2: DVec3,
}

/// Motion at the position of the sensor, and the vibration there after the low-pass of the sensor.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Motion {
    pub(crate) rate: DVec3,
    pub(crate) specific_force: DVec3,
    pub(crate) vibration: Sample,
}

#[derive(Clone, Debug)]
pub(crate) struct Imu {
    gyro: Triad,
    accel: Triad,
    /// Sensitivity of the rate to specific force.
    per_force: Option<DMat3>,
    delay_ticks: usize,
    delay_s: f64,
    next: usize,
    history: [Sample; HISTORY],
}

impl Imu {
    pub(crate) fn new(config: &Config, tick_s: f64, seed: u64) -> Self {
        let (gyro, accel) = (&config.gyro, &config.accel);
        let common = (config.low_pass_hz, config.bias_correlation_time_s, tick_s);
        let delay_ticks = libm::floor(config.delay_s / tick_s + 0.5);
        Imu {
            gyro: Triad::new(
                &TriadConfig {
                    noise: gyro.noise_rad_s_rthz,
                    instability: gyro.bias_instability_rad_s,
                    random_walk: gyro.rate_random_walk_rad_s_rts,
                    turn_on: gyro.turn_on_bias_rad_s,
                    scale_factor_share: gyro.scale_factor_share,
                    misalignment_rad: gyro.misalignment_rad,
                    range: gyro.range_rad_s,
                    step: gyro.resolution_rad_s,
                },
                common,
                [Stream::new(seed, Source::GyroWhite), Stream::new(seed, Source::GyroBias)],
            ),
            accel: Triad::new(
                &TriadConfig {
                    noise: accel.noise_m_s2_rthz,
                    instability: accel.bias_instability_m_s2,
                    random_walk: accel.acceleration_random_walk_m_s2_rts,
                    turn_on: accel.turn_on_bias_m_s2,
                    scale_factor_share: accel.scale_factor_share,
                    misalignment_rad: accel.misalignment_rad,
                    range: accel.range_m_s2,
                    step: accel.resolution_m_s2,
                },
                common,
                [Stream::new(seed, Source::AccelWhite), Stream::new(seed, Source::AccelBias)],
            ),
            per_force: (gyro.per_force_s_m > 0.0).then(|| {
                let mut stream = Stream::new(seed, Source::GyroSensitivity);
                let mut column = || normals(&mut stream) * gyro.per_force_s_m;
                DMat3::from_cols(column(), column(), column())
            }),
            delay_ticks: delay_ticks as usize,
            delay_s: delay_ticks * tick_s,
            next: 0,
            history: [Sample::default(); HISTORY],
        }
    }

    /// Initialises filters and history with the steady state of `motion`.
    pub(crate) fn start(&mut self, motion: &Motion) {
        self.gyro.start(self.sensed_rate(motion));
        self.accel.start(motion.specific_force);
        let sample = self.sample(motion);
        self.history = [sample; HISTORY];
    }

    #[inline]
    pub(crate) fn advance(&mut self, motion: &Motion) -> Reading<Sample> {
        self.history[self.next] = self.sample(motion);
        let value = self.history[(self.next + HISTORY - self.delay_ticks) % HISTORY];
        self.next = (self.next + 1) % HISTORY;
        Reading { value, age_s: self.delay_s }
    }

    /// Visits the low-passes and the samples in transit, the newest first.
    pub(crate) fn visit(&mut self, visit: &mut Visit) {
        self.gyro.visit("imu.gyro.low_pass_rad_s", visit);
        self.accel.visit("imu.accel.low_pass_m_s2", visit);
        for age in 0..self.delay_ticks {
            let place = (self.next + HISTORY - 1 - age) % HISTORY;
            visit_sample(visit, "imu.in_transit", 6 * age, &mut self.history[place]);
        }
    }

    #[inline]
    fn sample(&mut self, motion: &Motion) -> Sample {
        Sample {
            gyro_rad_s: self.gyro.advance(self.sensed_rate(motion), motion.vibration.gyro_rad_s),
            accel_m_s2: self.accel.advance(motion.specific_force, motion.vibration.accel_m_s2),
        }
    }

    /// Rate including the sensitivity to specific force.
    #[inline]
    fn sensed_rate(&self, motion: &Motion) -> DVec3 {
        match &self.per_force {
            None => motion.rate,
            Some(per_force) => motion.rate + *per_force * motion.specific_force,
        }
    }

    /// True bias of gyro and accelerometer.
    pub(crate) fn bias(&self) -> Sample {
        Sample { gyro_rad_s: self.gyro.bias, accel_m_s2: self.accel.bias }
    }
}

/// Visits rates and specific forces.
pub(crate) fn visit_sample(visit: &mut Visit, name: &'static str, from: usize, sample: &mut Sample) {
    visit_vector(visit, name, from, &mut sample.gyro_rad_s);
    visit_vector(visit, name, from + 3, &mut sample.accel_m_s2);
}
