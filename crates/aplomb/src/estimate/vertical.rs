//! Height and climb rate from vertical acceleration and delayed height samples.
//!
//! A complementary filter of third order with fixed poles. With the height h and climb rate c upwards, the
//! vertical acceleration a upwards, its bias b, and the innovation e of a sample, that is the sample less the
//! estimate of its own time, T s after the sample before:
//!
//! ```text
//! h' = c,  c' = a + b,  b' = 0;      h += 2 w T e,  c += 2 w^2 T e,  b += w^3 T e
//! ```
//!
//! so that an error decays by the Butterworth polynomial s^3 + 2 w s^2 + 2 w^2 s + w^3. That is the steady
//! Kalman filter for white sample noise of density R = sigma^2 T and an acceleration bias with a random walk
//! of density q: w = (q/R)^(1/6) (A. Gelb, ed., Applied Optimal Estimation, MIT Press 1974, chapter 4). The
//! closed form is accurate to a relative error of w T, 2 % at 50 Hz; test
//! `step_response_is_the_butterworth_one`.
//!
//! The barometer corrects the filter. After more than 1 s without a barometer sample GNSS does; the mean
//! difference of its height from the estimate, averaged before that, is subtracted, so that the change of the
//! sensor causes no step. The vertical Doppler velocity is not used.

use super::Delayed;
use crate::error::{ConfigError, require_positive};
use crate::frames::{Vector, World};
use crate::math::saturate_symmetric;

/// Noise of a source of height samples.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct HeightNoise {
    /// White noise of a sample in m, one standard deviation, greater than 0.
    pub white_noise_m: f32,
    /// Time between samples in s, greater than 0.
    pub interval_s: f32,
}

/// Configuration of a [`VerticalFilter`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Noise of the barometer's height.
    pub barometer: HeightNoise,
    /// Noise of the GNSS height, used while there is no barometer.
    pub gnss: HeightNoise,
    /// Random walk of the vertical acceleration's bias in m/s2 per square root of a second.
    pub bias_random_walk_m_s2_rts: f32,
    /// A sample with a larger innovation than this in m is rejected.
    pub gate_m: f32,
    /// The gate widens by this many m/s since the last accepted sample.
    pub gate_growth_m_s: f32,
    /// Without an accepted sample for this long in s height and climb rate are not valid.
    pub timeout_s: f32,
    /// Air temperature at home in K.
    pub home_temperature_k: f32,
}

impl Config {
    /// Barometer 0.1 m white at 50 Hz, GNSS 0.5 m at 5 Hz, random walk of the bias 0.01 m/s2 per root second
    /// (a tilt error changes the vertical part of the thrust), gate of 20 standard deviations of the
    /// barometer, widening by 5 m/s, a fast climb, timeout of 100 barometer intervals, and the temperature of
    /// the standard atmosphere. Typical of consumer sensors (values from memory).
    pub const CONSUMER: Self = Self {
        barometer: HeightNoise { white_noise_m: 0.1, interval_s: 0.02 },
        gnss: HeightNoise { white_noise_m: 0.5, interval_s: 0.2 },
        bias_random_walk_m_s2_rts: 0.01,
        gate_m: 2.0,
        gate_growth_m_s: 5.0,
        timeout_s: 2.0,
        home_temperature_k: 288.15,
    };
}

/// Sensor of a height sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Source {
    /// The barometers.
    Barometer,
    /// GNSS.
    Gnss,
}

/// After this time in s without a barometer sample the GNSS height corrects the filter: half of the preset's
/// timeout, so that the height stays valid.
const HAND_OVER_S: f32 = 1.0;
/// Time constant in s of the mean difference of the GNSS height: averages 50 fixes at 5 Hz, fast beside the
/// correlated GNSS error of minutes (common practice, no source).
const GNSS_OFFSET_S: f32 = 10.0;
/// Largest acceleration bias in m/s2 (about 150 mg): more than twice the turn-on bias of a consumer
/// accelerometer, 60 mg (value from memory).
const MAX_BIAS_M_S2: f32 = 1.5;
/// While the height is not valid the climb rate decays with this time constant in s, since the integrated
/// acceleration drifts (common practice, no source).
const CLIMB_DECAY_S: f32 = 2.0;
/// Largest product of pole and sample interval: a third of 0.74, from which the filter with these gains is
/// unstable.
const MAX_STEP: f32 = 0.25;
/// Times are counted up to this many s, above any timeout.
const MAX_ELAPSED_S: f32 = 1e4;

/// The vertical filter.
///
/// ```
/// use aplomb::{Sample, estimate::{DelayBuffer, VerticalFilter, vertical::Config}, frames::Vector};
/// let mut filter = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
/// let buffer = DelayBuffer::new(0.3, 1e-3).unwrap();
/// let barometer = buffer.delayed(Sample { value: 3.0, age_us: 0 });
/// let output = filter.step(Vector::ZERO, barometer, None);
/// assert!(output.is_valid && output.height_m == 3.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct VerticalFilter {
    period_s: f32,
    barometer_pole_rad_s: f32,
    gnss_pole_rad_s: f32,
    /// Gain of the low-pass of the GNSS offset, per sample.
    gnss_offset_gain: f32,
    max_interval_s: f32,
    gate_m: f32,
    gate_growth_m_s: f32,
    timeout_s: f32,
    state: State,
}

/// State of a [`VerticalFilter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    height_m: f32,
    climb_m_s: f32,
    bias_m_s2: f32,
    /// GNSS height less the estimate, averaged while the barometer corrects; `None` before the first GNSS
    /// height.
    gnss_offset_m: Option<f32>,
    last_accepted: Option<Accepted>,
    /// Time since the last accepted barometer sample; `None` before the first one.
    since_barometer_s: Option<f32>,
}

/// The last accepted sample.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Accepted {
    elapsed_s: f32,
    /// Its age on arrival.
    age_s: f32,
}

/// Output of a [`VerticalFilter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Output {
    /// Height in m above home.
    pub height_m: f32,
    /// Climb rate in m/s, up positive.
    pub climb_m_s: f32,
    /// Bias that is added to the upward acceleration, in m/s2.
    pub bias_m_s2: f32,
    /// A sample has been accepted within the timeout.
    pub is_valid: bool,
    /// The source whose sample was accepted on this tick.
    pub accepted: Option<Source>,
}

impl VerticalFilter {
    /// For a fixed period in s.
    ///
    /// # Errors
    /// Names the first field that is not finite or not positive.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let walk = require_positive("bias_random_walk_m_s2_rts", config.bias_random_walk_m_s2_rts)?;
        let pole = |fields: (&'static str, &'static str), noise: &HeightNoise| {
            let sigma = require_positive(fields.0, noise.white_noise_m)?;
            let interval = require_positive(fields.1, noise.interval_s)?;
            // (q/R)^(1/6) with q = walk^2 and R = sigma^2 T.
            Ok(libm::cbrtf(walk / (sigma * libm::sqrtf(interval))))
        };
        require_positive("home_temperature_k", config.home_temperature_k)?;
        let (barometer, gnss) = (&config.barometer, &config.gnss);
        let barometer_pole_rad_s = pole(("barometer.white_noise_m", "barometer.interval_s"), barometer)?;
        let gnss_pole_rad_s = pole(("gnss.white_noise_m", "gnss.interval_s"), gnss)?;
        Ok(Self {
            period_s: require_positive("period_s", period_s)?,
            barometer_pole_rad_s,
            gnss_pole_rad_s,
            gnss_offset_gain: (gnss.interval_s / GNSS_OFFSET_S).min(1.0),
            max_interval_s: 2.0 * barometer.interval_s.max(gnss.interval_s),
            gate_m: require_positive("gate_m", config.gate_m)?,
            gate_growth_m_s: require_positive("gate_growth_m_s", config.gate_growth_m_s)?,
            timeout_s: require_positive("timeout_s", config.timeout_s)?,
            state: State::default(),
        })
    }

    /// One tick: world acceleration in m/s2 (down positive, gravity removed; not finite counts as 0) and, on
    /// a tick with a new one, the height in m (up positive) by barometer and by GNSS.
    ///
    /// A sample is rejected when it is not finite, older than the one before, or outside the gate; the GNSS
    /// height corrects only during a barometer outage. After the timeout the climb rate decays with a time
    /// constant of 2 s and the next sample initialises the height.
    pub fn step(
        &mut self,
        acceleration_m_s2: Vector<World>,
        barometer_m: Option<Delayed<f32>>,
        gnss_m: Option<Delayed<f32>>,
    ) -> Output {
        let up = -acceleration_m_s2.z();
        self.predict(if up.is_finite() { up } else { 0.0 });
        let mut accepted = None;
        if let Some(sample) = barometer_m
            && self.correct(&sample, self.barometer_pole_rad_s, 0.0)
        {
            self.state.since_barometer_s = Some(0.0);
            accepted = Some(Source::Barometer);
        }
        if let Some(sample) = gnss_m
            && self.correct_by_gnss(&sample)
        {
            accepted = Some(Source::Gnss);
        }
        let State { height_m, climb_m_s, bias_m_s2, .. } = self.state;
        Output { height_m, climb_m_s, bias_m_s2, is_valid: self.is_valid(), accepted }
    }

    fn predict(&mut self, up_m_s2: f32) {
        let (dt, is_valid) = (self.period_s, self.is_valid());
        let state = &mut self.state;
        let change = (up_m_s2 + state.bias_m_s2) * dt;
        state.height_m += (state.climb_m_s + 0.5 * change) * dt;
        state.climb_m_s += change;
        if !is_valid {
            state.climb_m_s -= state.climb_m_s * (dt / CLIMB_DECAY_S);
        }
        let count = |elapsed_s: &mut f32| *elapsed_s = (*elapsed_s + dt).min(MAX_ELAPSED_S);
        if let Some(last) = &mut state.last_accepted {
            count(&mut last.elapsed_s);
        }
        if let Some(since_s) = &mut state.since_barometer_s {
            count(since_s);
        }
    }

    /// Sample less the estimate of its own time.
    fn innovation_m(&self, sample: &Delayed<f32>) -> f32 {
        let State { height_m, climb_m_s, bias_m_s2, .. } = self.state;
        let (d, since) = (sample.since.duration_s, &sample.since);
        let past_climb = climb_m_s + since.velocity_m_s.z() - bias_m_s2 * d;
        let past_height = height_m - d * past_climb + since.position_m.z() - 0.5 * bias_m_s2 * d * d;
        sample.value - past_height
    }

    fn correct_by_gnss(&mut self, sample: &Delayed<f32>) -> bool {
        if !sample.value.is_finite() {
            return false;
        }
        let barometer_corrects = self.state.since_barometer_s.is_some_and(|since_s| since_s <= HAND_OVER_S);
        if !barometer_corrects {
            let offset_m = self.state.gnss_offset_m.unwrap_or(0.0);
            return self.correct(sample, self.gnss_pole_rad_s, offset_m);
        }
        let difference_m = self.innovation_m(sample);
        let offset_m = self.state.gnss_offset_m.get_or_insert(difference_m);
        *offset_m += (difference_m - *offset_m) * self.gnss_offset_gain;
        false
    }

    /// Corrects the state by a sample of a source with this pole and offset; true when it is accepted.
    fn correct(&mut self, sample: &Delayed<f32>, pole_rad_s: f32, offset_m: f32) -> bool {
        let innovation = self.innovation_m(sample) - offset_m;
        let age_s = sample.since.duration_s;
        let last = self.state.last_accepted;
        if !innovation.is_finite() || last.is_some_and(|last| age_s >= last.age_s + last.elapsed_s) {
            return false;
        }
        let is_valid = self.is_valid();
        let state = &mut self.state;
        match last {
            Some(Accepted { elapsed_s, .. }) if is_valid => {
                if innovation.abs() >= self.gate_m + self.gate_growth_m_s * elapsed_s {
                    return false;
                }
                let w = pole_rad_s;
                let wt = (w * elapsed_s.min(self.max_interval_s)).min(MAX_STEP);
                state.height_m += 2.0 * wt * innovation;
                state.climb_m_s += 2.0 * w * wt * innovation;
                state.bias_m_s2 =
                    saturate_symmetric(state.bias_m_s2 + w * w * wt * innovation, MAX_BIAS_M_S2);
            }
            Some(_) => state.height_m += innovation,
            None => (state.height_m, state.climb_m_s) = (state.height_m + innovation, 0.0),
        }
        state.last_accepted = Some(Accepted { elapsed_s: 0.0, age_s });
        true
    }

    /// A sample has been accepted within the timeout.
    fn is_valid(&self) -> bool {
        self.state.last_accepted.is_some_and(|last| last.elapsed_s <= self.timeout_s)
    }

    /// Pole w of the correction by barometer in rad/s.
    #[must_use]
    pub const fn barometer_pole_rad_s(&self) -> f32 {
        self.barometer_pole_rad_s
    }

    /// Initialises the state: stationary at home.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests;
