//! Rest detection from gyro and accelerometer.

use crate::frames::{Body, Vector};

/// Time constant of the two low-passes in s and time without motion that makes rest (D. Laidig, T. Seel, Information
/// Fusion 91:187-204, 2023).
const LOW_PASS_S: f32 = 0.5;
const STILL_S: f32 = 1.5;
/// Largest deviation of the rate from its average: 2 deg/s, squared.
const RATE_SQUARED: f32 = 0.034_907 * 0.034_907;
/// Largest deviation of the specific force from its average: 0.5 m/s2, squared.
const FORCE_SQUARED: f32 = 0.25;
/// Largest average rate per axis: 5 deg/s. A larger one is motion, not offset.
const OFFSET_RAD_S: f32 = 0.087_266;
/// No time without motion: starts over with the next sample.
const AFRESH: f32 = -2.0;

/// At rest when rate and specific force have kept near their averages for 1.5 s.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Rest {
    rate: Vector<Body>,
    force: Vector<Body>,
    /// [`AFRESH`] until the first sample.
    still_s: f32,
}

impl Rest {
    pub(crate) const fn new() -> Self {
        Self { rate: Vector::ZERO, force: Vector::ZERO, still_s: AFRESH }
    }

    /// Takes one sample of finite values, `period_s` after the one before; true at rest.
    pub(crate) fn step(&mut self, rate: Vector<Body>, force: Vector<Body>, period_s: f32) -> bool {
        if self.still_s < 0.0 {
            *self = Self { rate, force, still_s: 0.0 };
        }
        let gain = period_s / (LOW_PASS_S + period_s);
        self.rate += (rate - self.rate) * gain;
        self.force += (force - self.force) * gain;
        let [x, y, z] = self.rate.to_array();
        let within = |x: f32| x < OFFSET_RAD_S && x > -OFFSET_RAD_S;
        let still = (rate - self.rate).norm_squared() < RATE_SQUARED
            && (force - self.force).norm_squared() < FORCE_SQUARED
            && within(x)
            && within(y)
            && within(z);
        self.still_s = if !still {
            0.0
        } else if self.still_s < STILL_S {
            self.still_s + period_s
        } else {
            self.still_s
        };
        self.resting()
    }

    /// Starts over with the next sample.
    pub(crate) fn forget(&mut self) {
        self.still_s = AFRESH;
    }

    pub(crate) const fn resting(&self) -> bool {
        self.still_s >= STILL_S
    }

    /// The averaged rate in rad/s.
    pub(crate) const fn rate(&self) -> Vector<Body> {
        self.rate
    }
}
