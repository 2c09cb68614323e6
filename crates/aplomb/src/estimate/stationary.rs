//! Zero-rate detection: whether the craft is stationary.

use crate::frames::{Body, Vector};

/// Time constant in s of the two low-passes, and the time without motion in s that makes the craft stationary
/// (D. Laidig, T. Seel, Information Fusion 91:187-204, 2023).
const LOW_PASS_S: f32 = 0.5;
const STATIONARY_S: f32 = 1.5;
/// Largest deviation of the rate from its mean: 2 deg/s, squared (same source).
const RATE_SQUARED: f32 = 0.034_907 * 0.034_907;
/// Largest deviation of the specific force from its mean: 0.5 m/s2, squared (same source).
const FORCE_SQUARED: f32 = 0.25;
/// Largest mean rate per axis: 5 deg/s, above the turn-on bias of consumer gyros (0.5 to 3 deg/s, values from
/// memory). A larger one is motion, not bias.
const MEAN_RATE_RAD_S: f32 = 0.087_266;

/// Detects a stationary craft: rate and specific force within 2 deg/s and 0.5 m/s2 of their low-passed means
/// for 1.5 s, and a mean rate within 5 deg/s per axis.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StationaryDetector {
    period_s: f32,
    state: StationaryState,
}

/// State of a [`StationaryDetector`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct StationaryState {
    /// Low-passed rate and specific force; `None` before the first sample.
    mean: Option<(Vector<Body>, Vector<Body>)>,
    without_motion_s: f32,
}

impl StationaryDetector {
    /// For a fixed period in s.
    #[must_use]
    pub const fn new(period_s: f32) -> Self {
        Self { period_s, state: StationaryState { mean: None, without_motion_s: 0.0 } }
    }

    /// One tick with finite samples. Returns the low-passed rate in rad/s, which is the gyro's bias, while
    /// stationary.
    pub fn step(
        &mut self,
        rate_rad_s: Vector<Body>,
        specific_force_m_s2: Vector<Body>,
    ) -> Option<Vector<Body>> {
        let state = &mut self.state;
        let gain = self.period_s / (LOW_PASS_S + self.period_s);
        let (mut rate, mut force) = state.mean.unwrap_or((rate_rad_s, specific_force_m_s2));
        rate += (rate_rad_s - rate) * gain;
        force += (specific_force_m_s2 - force) * gain;
        state.mean = Some((rate, force));
        let motionless = (rate_rad_s - rate).norm_squared() < RATE_SQUARED
            && (specific_force_m_s2 - force).norm_squared() < FORCE_SQUARED
            && rate.to_array().into_iter().all(|mean| mean.abs() < MEAN_RATE_RAD_S);
        state.without_motion_s = match motionless {
            true if state.without_motion_s < STATIONARY_S => state.without_motion_s + self.period_s,
            true => state.without_motion_s,
            false => 0.0,
        };
        self.is_stationary().then_some(rate)
    }

    /// Stationary on the last tick.
    #[must_use]
    pub const fn is_stationary(&self) -> bool {
        self.state.without_motion_s >= STATIONARY_S
    }

    /// Initialises the state: the next sample is the first.
    pub const fn reset(&mut self) {
        *self = Self::new(self.period_s);
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> StationaryState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: StationaryState) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DOWN: Vector<Body> = Vector::new(0.0, 0.0, -9.8);

    /// Ticks until it is stationary, out of 3000, with a constant rate and an alternating change of rate and
    /// force.
    fn ticks(rate_rad_s: f32, shake_rad_s: f32, shake_m_s2: f32) -> Option<usize> {
        let mut detector = StationaryDetector::new(1e-3);
        (0..3000usize).find(|k| {
            let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
            let rate = Vector::new(rate_rad_s + sign * shake_rad_s, 0.0, 0.0);
            detector.step(rate, DOWN + Vector::new(0.0, sign * shake_m_s2, 0.0)).is_some()
        })
    }

    #[test]
    fn stationary_after_1_5_s_with_bias_but_not_with_motion() {
        assert!(ticks(0.05, 0.015, 0.2).is_some_and(|k| (1490..1510).contains(&k)));
        // Each alone is motion: a rate above 5 deg/s, an alternating rate above 2 deg/s, an alternating force
        // above 0.5 m/s2.
        assert_eq!((ticks(0.09, 0.0, 0.0), ticks(0.0, 0.04, 0.0), ticks(0.0, 0.0, 0.6)), (None, None, None));
    }

    #[test]
    fn reported_bias_is_the_mean_rate_and_a_reset_starts_over() {
        let mut detector = StationaryDetector::new(1e-3);
        let bias = Vector::new(0.03, -0.02, 0.01);
        let last = (0..2000).map(|_| detector.step(bias, DOWN)).last().flatten().unwrap();
        assert!((last - bias).norm_squared() < 1e-12 && detector.is_stationary());
        detector.reset();
        assert!(!detector.is_stationary() && detector.step(bias, DOWN).is_none());
    }
}
