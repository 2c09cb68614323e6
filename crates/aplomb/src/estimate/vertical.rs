//! Height and climb from vertical acceleration and late height samples.
//!
//! A complementary filter of third order with fixed poles. With the height h and climb c upwards, the vertical
//! acceleration a upwards, the offset o of a, and the innovation e of a sample against the estimate of the sample's own
//! time, T s after the sample before:
//!
//! ```text
//! h' = c,  c' = a + o,  o' = 0;      h += 2 w T e,  c += 2 w^2 T e,  o += w^3 T e
//! ```
//!
//! so that an error decays by the Butterworth polynomial s^3 + 2 w s^2 + 2 w^2 s + w^3. That is the steady Kalman
//! filter for white sample noise of density R = sigma^2 T and an acceleration offset that walks with density q:
//! w = (q/R)^(1/6) (A. Gelb, ed., Applied Optimal Estimation, MIT Press 1974, chapter 4). The closed form holds to w T,
//! 2 % at 50 Hz; test `step_response_is_the_butterworth_one`.

use super::{History, Span};
use crate::Sample;
use crate::error::{ConfigError, require_positive};
use crate::frames::{Vector, World};
use crate::math::saturate_symmetric;

pub use super::barometer::PressureHeight;

/// Noise of a source of height samples.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct HeightNoise {
    /// Standard deviation of a sample in m, greater than 0.
    pub deviation_m: f32,
    /// Time between samples in s, greater than 0.
    pub interval_s: f32,
}

/// What a [`VerticalFilter`] is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Noise of the barometer's height.
    pub barometer: HeightNoise,
    /// Noise of the satellite receiver's height, used while there is no barometer.
    pub receiver: HeightNoise,
    /// How fast the vertical acceleration's offset wanders, in m/s2 per square root of a second.
    pub acceleration_walk: f32,
    /// A sample further than this in m from the estimate is refused.
    pub gate_m: f32,
    /// The gate widens by this many m/s since the last accepted sample.
    pub gate_growth_m_s: f32,
    /// Without an accepted sample for this long in s the height is not known.
    pub timeout_s: f32,
    /// Air temperature at home in K.
    pub home_temperature_k: f32,
}

impl Config {
    /// Barometer 0.1 m white at 50 Hz, receiver 0.5 m at 5 Hz, offset walk 0.01 m/s2 per root second (a craft whose tilt
    /// error moves the vertical share of its thrust), gate of 20 barometer deviations, widening at the fastest climb that
    /// could go unseen.
    pub const CONSUMER: Self = Self {
        barometer: HeightNoise { deviation_m: 0.1, interval_s: 0.02 },
        receiver: HeightNoise { deviation_m: 0.5, interval_s: 0.2 },
        acceleration_walk: 0.01,
        gate_m: 2.0,
        gate_growth_m_s: 5.0,
        timeout_s: 2.0,
        home_temperature_k: 288.15,
    };
}

/// Where a height sample comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Source {
    /// The barometer.
    Barometer,
    /// The satellite receiver.
    Receiver,
}

/// The running filter: [`VerticalFilter::predict`] on every tick, [`VerticalFilter::correct`] when a sample comes.
///
/// ```
/// use aplomb::{Sample, estimate::{History, VerticalFilter, vertical::{Config, Source}}, frames::Vector};
/// let mut filter = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
/// let mut history = History::new(0.5, 1e-3).unwrap();
/// history.push(Vector::ZERO);
/// filter.predict(Vector::ZERO);
/// filter.correct(Sample { value: 3.0, age_us: 0 }, Source::Barometer, &history);
/// assert!(filter.known() && filter.height_m() == 3.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct VerticalFilter {
    period_s: f32,
    barometer_pole: f32,
    receiver_pole: f32,
    longest_step_s: f32,
    gate_m: f32,
    gate_growth_m_s: f32,
    timeout_s: f32,
    height_m: f32,
    climb_m_s: f32,
    offset_m_s2: f32,
    /// Receiver height less own height, kept while the barometer leads, so that a hand-over makes no step.
    receiver_shift_m: Option<f32>,
    /// Time since the last accepted sample; infinite before the first one.
    since_s: f32,
    barometer_since_s: f32,
    last_age_s: f32,
}

/// A barometer silent for this long in s hands over to the receiver.
const HAND_OVER_S: f32 = 1.0;
/// Time constant in s with which the receiver's shift is learnt.
const SHIFT_S: f32 = 10.0;
/// Largest acceleration offset in m/s2 (about 150 mg).
const OFFSET_MAX_M_S2: f32 = 1.5;

impl VerticalFilter {
    /// For a fixed period in s.
    ///
    /// # Errors
    /// Names the first field that is not finite or not positive.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let walk = require_positive("acceleration_walk", config.acceleration_walk)?;
        let pole = |fields: (&'static str, &'static str), noise: &HeightNoise| {
            let sigma = require_positive(fields.0, noise.deviation_m)?;
            let interval = require_positive(fields.1, noise.interval_s)?;
            // (q/R)^(1/6) with q = walk^2 and R = sigma^2 T.
            Ok(libm::cbrtf(walk / (sigma * libm::sqrtf(interval))))
        };
        require_positive("home_temperature_k", config.home_temperature_k)?;
        let slower = if config.barometer.interval_s > config.receiver.interval_s {
            config.barometer.interval_s
        } else {
            config.receiver.interval_s
        };
        Ok(Self {
            period_s: require_positive("period_s", period_s)?,
            barometer_pole: pole(("barometer.deviation_m", "barometer.interval_s"), &config.barometer)?,
            receiver_pole: pole(("receiver.deviation_m", "receiver.interval_s"), &config.receiver)?,
            longest_step_s: 2.0 * slower,
            gate_m: require_positive("gate_m", config.gate_m)?,
            gate_growth_m_s: require_positive("gate_growth_m_s", config.gate_growth_m_s)?,
            timeout_s: require_positive("timeout_s", config.timeout_s)?,
            height_m: 0.0,
            climb_m_s: 0.0,
            offset_m_s2: 0.0,
            receiver_shift_m: None,
            since_s: f32::INFINITY,
            // The receiver may lead from the start.
            barometer_since_s: 2.0 * HAND_OVER_S,
            last_age_s: 0.0,
        })
    }

    /// One tick: carries height and climb on with the world acceleration in m/s2 (down positive, gravity taken out). One
    /// that is not finite counts as 0. While the height is not known the climb fades within 2 s.
    #[inline]
    pub fn predict(&mut self, acceleration_m_s2: Vector<World>) {
        let up = -acceleration_m_s2.z();
        self.predict_finite(if up.is_finite() { up } else { 0.0 });
    }

    /// The same for an upward acceleration that is known to be finite.
    #[inline]
    pub(super) fn predict_finite(&mut self, up_m_s2: f32) {
        let dt = self.period_s;
        let change = (up_m_s2 + self.offset_m_s2) * dt;
        self.height_m += (self.climb_m_s + 0.5 * change) * dt;
        self.climb_m_s += change;
        if self.since_s < 1e4 {
            self.since_s += dt;
            self.barometer_since_s += dt;
        }
        if !self.known() {
            self.climb_m_s -= self.climb_m_s * (0.5 * dt);
        }
    }

    /// Takes a height sample in m (up positive) of the given age. Refused: not finite, older than the history or than the
    /// sample before, or outside the gate. The receiver only counts while the barometer is silent. Returns true when
    /// accepted.
    pub fn correct(&mut self, sample: Sample<f32>, source: Source, history: &History) -> bool {
        history.span(sample.age_us).is_some_and(|span| self.correct_over(sample.value, source, &span))
    }

    /// The same with the span over the sample's age.
    pub(super) fn correct_over(&mut self, height_m: f32, source: Source, span: &Span) -> bool {
        if !height_m.is_finite() {
            return false;
        }
        let leading = match source {
            Source::Barometer => true,
            Source::Receiver => self.barometer_since_s > HAND_OVER_S,
        };
        let d = span.length_s;
        let past_climb = self.climb_m_s + span.velocity_m_s.z() - self.offset_m_s2 * d;
        // Down components: minus the upward double integral over the age.
        let double = -(d * span.velocity_m_s.z() - span.moment_m.z()) + 0.5 * self.offset_m_s2 * d * d;
        let past_height = self.height_m - d * past_climb - double;
        let shift = match source {
            Source::Barometer => 0.0,
            Source::Receiver => self.receiver_shift_m.unwrap_or(0.0),
        };
        let innovation = height_m - shift - past_height;
        if !leading {
            let share = self.longest_step_s / (2.0 * SHIFT_S);
            self.receiver_shift_m = Some(match self.receiver_shift_m {
                Some(shift) => shift + share * innovation,
                None => innovation,
            });
            return false;
        }
        if d >= self.last_age_s + self.since_s {
            return false;
        }
        if !self.known() {
            self.height_m += innovation;
            if self.since_s == f32::INFINITY {
                self.climb_m_s = 0.0;
            }
            self.accepted(source, d);
            return true;
        }
        let gate = self.gate_m + self.gate_growth_m_s * self.since_s;
        if !(innovation < gate && innovation > -gate) {
            return false;
        }
        let w = match source {
            Source::Barometer => self.barometer_pole,
            Source::Receiver => self.receiver_pole,
        };
        let step = if self.since_s < self.longest_step_s { self.since_s } else { self.longest_step_s };
        let wt = w * step;
        let wt = if wt < 0.25 { wt } else { 0.25 };
        self.height_m += 2.0 * wt * innovation;
        self.climb_m_s += 2.0 * w * wt * innovation;
        self.offset_m_s2 = saturate_symmetric(self.offset_m_s2 + w * w * wt * innovation, OFFSET_MAX_M_S2);
        self.accepted(source, d);
        true
    }

    fn accepted(&mut self, source: Source, age_s: f32) {
        self.since_s = 0.0;
        self.last_age_s = age_s;
        if source == Source::Barometer {
            self.barometer_since_s = 0.0;
        }
    }

    /// Height in m above home.
    #[inline]
    #[must_use]
    pub const fn height_m(&self) -> f32 {
        self.height_m
    }

    /// Climb in m/s, up positive.
    #[inline]
    #[must_use]
    pub const fn climb_m_s(&self) -> f32 {
        self.climb_m_s
    }

    /// Offset that is added to the upward acceleration, in m/s2.
    #[inline]
    #[must_use]
    pub const fn offset_m_s2(&self) -> f32 {
        self.offset_m_s2
    }

    /// A sample has been accepted within the timeout.
    #[inline]
    #[must_use]
    pub fn known(&self) -> bool {
        self.since_s <= self.timeout_s
    }

    /// Double real pole and corner frequency w of the barometer's correction in rad/s.
    #[must_use]
    pub const fn barometer_pole_rad_s(&self) -> f32 {
        self.barometer_pole
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Problem;

    #[test]
    fn each_bad_field_is_named() {
        type Set = fn(&mut Config, f32);
        let fields: [(&str, Set); 9] = [
            ("barometer.deviation_m", |c, x| c.barometer.deviation_m = x),
            ("barometer.interval_s", |c, x| c.barometer.interval_s = x),
            ("receiver.deviation_m", |c, x| c.receiver.deviation_m = x),
            ("receiver.interval_s", |c, x| c.receiver.interval_s = x),
            ("acceleration_walk", |c, x| c.acceleration_walk = x),
            ("gate_m", |c, x| c.gate_m = x),
            ("gate_growth_m_s", |c, x| c.gate_growth_m_s = x),
            ("timeout_s", |c, x| c.timeout_s = x),
            ("home_temperature_k", |c, x| c.home_temperature_k = x),
        ];
        for (field, set) in fields {
            for (x, problem) in [
                (f32::NAN, Problem::NotFinite),
                (f32::INFINITY, Problem::NotFinite),
                (f32::NEG_INFINITY, Problem::NotFinite),
                (0.0, Problem::NotPositive),
                (-1.0, Problem::NotPositive),
            ] {
                let mut config = Config::CONSUMER;
                set(&mut config, x);
                assert_eq!(VerticalFilter::new(&config, 1e-3).unwrap_err(), ConfigError::new(field, problem));
            }
        }
        assert_eq!(VerticalFilter::new(&Config::CONSUMER, 0.0).unwrap_err().field, "period_s");
    }

    /// Runs 1 kHz with barometer samples every 20 ms, late by `age` ticks.
    fn run(
        seconds: f32,
        age: u16,
        height: impl Fn(f32) -> f32,
        acceleration: impl Fn(f32) -> f32,
    ) -> VerticalFilter {
        let mut filter = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
        let mut history = History::new(0.5, 1e-3).unwrap();
        for k in 0..(seconds * 1e3) as u32 {
            let t = k as f32 * 1e-3;
            let a = Vector::new(0.0, 0.0, -acceleration(t));
            filter.predict(a);
            history.push(a);
            if k % 20 == 0 && k >= u32::from(age) {
                let past = t - f32::from(age) * 1e-3;
                filter.correct(
                    Sample { value: height(past), age_us: 1000 * u32::from(age) },
                    Source::Barometer,
                    &history,
                );
            }
        }
        filter
    }

    #[test]
    fn step_response_is_the_butterworth_one() {
        // Height samples step from 0 to 1 m at t = 1 s. The error transform 1/s - H/s = s^2/((s + w)(s^2 + w s + w^2)) has the
        // partial fractions 1/(s + w) - w/(s^2 + w s + w^2).
        let w = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap().barometer_pole_rad_s();
        for t in [0.5f32, 1.0, 2.0, 4.0] {
            let got = run(1.0 + t, 0, |t| if t >= 1.0 { 1.0 } else { 0.0 }, |_| 0.0).height_m();
            let x = w * t;
            let b = 0.75f32.sqrt() * x;
            let error = (-x).exp() - (2.0 / 3.0f32.sqrt()) * (-0.5 * x).exp() * b.sin();
            assert!((got - (1.0 - error)).abs() < 0.03, "{t}: {got} {}", 1.0 - error);
        }
    }

    #[test]
    fn constant_acceleration_offset_is_learnt() {
        let filter = run(40.0, 0, |_| 2.0, |_| -0.3);
        assert!((filter.height_m() - 2.0).abs() < 1e-3 && filter.climb_m_s().abs() < 1e-3);
        assert!((filter.offset_m_s2() - 0.3).abs() < 1e-3);
    }

    #[test]
    fn late_samples_meet_the_estimate_of_their_time() {
        // A bobbing craft: amplitude 1 m, 2 rad/s, samples 200 ms late. With the age honoured nothing is lost.
        let height = |t: f32| (2.0 * t).sin();
        let acceleration = |t: f32| -4.0 * (2.0 * t).sin();
        let filter = run(40.0, 200, height, acceleration);
        let t = 39.999;
        assert!((filter.height_m() - height(t)).abs() < 0.02, "{} {}", filter.height_m(), height(t));
        // The twin that hides the age errs.
        let twin = run(40.0, 0, |t| height(t - 0.2), acceleration);
        assert!((twin.height_m() - height(t)).abs() > 0.05);
    }

    #[test]
    fn outlier_is_refused_and_the_gate_widens() {
        let mut filter = run(5.0, 0, |_| 1.0, |_| 0.0);
        let mut history = History::new(0.5, 1e-3).unwrap();
        let mut refused = 0;
        for k in 0..4000u32 {
            history.push(Vector::ZERO);
            filter.predict(Vector::ZERO);
            if k % 20 == 0 {
                let sample = Sample { value: 8.0, age_us: 0 };
                refused += u32::from(!filter.correct(sample, Source::Barometer, &history));
            }
        }
        // 7 m away, gate 2 m + 5 m/s: accepted after 1 s, that is 50 samples; never locked out.
        assert!((45..=75).contains(&refused), "{refused}");
        let mut bad = filter;
        for value in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert!(!bad.correct(Sample { value, age_us: 0 }, Source::Barometer, &history));
        }
        assert_eq!(bad.height_m(), filter.height_m());
        bad.predict(Vector::new(0.0, 0.0, f32::NAN));
        assert!(bad.height_m().is_finite());
        assert!(!bad.correct(Sample { value: 1.0, age_us: 5_000_000 }, Source::Barometer, &history));
    }

    #[test]
    fn receiver_takes_over_without_a_step() {
        let mut filter = VerticalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
        let mut history = History::new(0.5, 1e-3).unwrap();
        let mut largest = 0.0f32;
        for k in 0..60_000u32 {
            history.push(Vector::ZERO);
            filter.predict(Vector::ZERO);
            if k % 20 == 0 && k < 30_000 {
                filter.correct(Sample { value: 1.0, age_us: 0 }, Source::Barometer, &history);
            }
            if k % 200 == 0 {
                filter.correct(Sample { value: 9.0, age_us: 100_000 }, Source::Receiver, &history);
            }
            if k > 20_000 {
                largest = largest.max((filter.height_m() - 1.0).abs());
            }
        }
        assert!(filter.known() && largest < 0.01, "{largest}");
    }
}
