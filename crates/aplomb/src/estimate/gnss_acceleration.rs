//! Acceleration from GNSS velocity differences, compared with the accelerometer over the same interval.

use super::{Delayed, VelocityChange};
use crate::frames::{Vector, World};
use crate::{GnssFix, STANDARD_GRAVITY_M_S2};

/// Range of the interval between two fixes whose difference is used, over the nominal one: a shorter one
/// amplifies the velocity noise, a longer one averages over manoeuvres.
const MIN_INTERVAL: f32 = 0.25;
const MAX_INTERVAL: f32 = 5.0;
/// The apparent gravity is held for this many nominal intervals: until the next fix, with half an interval of
/// jitter.
const HOLD_INTERVALS: f32 = 1.5;
/// A fix with a worse stated accuracy of its horizontal velocity in m/s is not used: over 0.2 s it would err
/// by half of g.
const MAX_VELOCITY_ACCURACY_M_S: f32 = 1.0;
/// A velocity beyond 1000 m/s, squared, is no measurement.
const MAX_VELOCITY_SQUARED: f32 = 1e6;
/// An apparent gravity beyond twice the standard one, squared, is no measurement: in unaccelerated flight its
/// length is g for any error of the attitude.
const MAX_GRAVITY_SQUARED: f32 = 4.0 * STANDARD_GRAVITY_M_S2 * STANDARD_GRAVITY_M_S2;

/// Apparent gravity and change of velocity between two fixes: corrections of the attitude that accelerations
/// do not disturb.
///
/// With the fixes' velocities v1, v2 and the acceleration a = R f + (0, 0, g) integrated over the same
/// interval T:
///
/// ```text
/// apparent gravity = (v2 - v1 - integral a dt)/T + (0, 0, g)
/// ```
///
/// which is (0, 0, g) when the attitude R is right. It is the mean over an interval that ends at the time of
/// the fix, its age ago, and is held until 1.5 nominal intervals have passed without a new one.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GnssAcceleration {
    interval_s: f32,
    period_s: f32,
    state: GnssAccelerationState,
}

/// State of a [`GnssAcceleration`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct GnssAccelerationState {
    last_fix: Option<LastFix>,
    apparent_gravity: Option<ApparentGravity>,
    /// Change of velocity that ended with the fix of the last tick.
    velocity_change: Option<VelocityChange>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct LastFix {
    velocity_m_s: Vector<World>,
    /// Integral of the acceleration since the time of the fix, and that time.
    change_m_s: Vector<World>,
    elapsed_s: f32,
}

#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct ApparentGravity {
    value_m_s2: Vector<World>,
    held_s: f32,
}

impl GnssAcceleration {
    /// For fixes every `interval_s` and a fixed period, both in s.
    #[must_use]
    pub fn new(interval_s: f32, period_s: f32) -> Self {
        Self { interval_s, period_s, state: GnssAccelerationState::default() }
    }

    /// One tick: world acceleration in m/s2, and a fix on a tick with a new one.
    pub fn step(&mut self, acceleration_m_s2: Vector<World>, fix: Option<&Delayed<GnssFix>>) {
        let state = &mut self.state;
        state.velocity_change = None;
        if let Some(gravity) = &mut state.apparent_gravity {
            gravity.held_s += self.period_s;
        }
        state.apparent_gravity =
            state.apparent_gravity.filter(|gravity| gravity.held_s < HOLD_INTERVALS * self.interval_s);
        if let Some(last) = &mut state.last_fix {
            last.change_m_s += acceleration_m_s2 * self.period_s;
            last.elapsed_s += self.period_s;
        }
        let Some(Delayed { value: fix, since }) = fix else { return };
        // False for NaN.
        let usable = fix.velocity_m_s.norm_squared() < MAX_VELOCITY_SQUARED
            && fix.horizontal_velocity_accuracy_m_s < MAX_VELOCITY_ACCURACY_M_S;
        if !usable {
            return;
        }
        if let Some(last) = state.last_fix {
            let length_s = last.elapsed_s - since.duration_s;
            if length_s <= 0.0 {
                return;
            }
            let inertial_m_s = last.change_m_s - since.velocity_m_s;
            let measured_m_s = fix.velocity_m_s - last.velocity_m_s;
            let gravity = (measured_m_s - inertial_m_s) * (1.0 / length_s)
                + Vector::new(0.0, 0.0, STANDARD_GRAVITY_M_S2);
            if length_s > MIN_INTERVAL * self.interval_s
                && length_s < MAX_INTERVAL * self.interval_s
                && gravity.norm_squared() < MAX_GRAVITY_SQUARED
            {
                state.apparent_gravity = Some(ApparentGravity { value_m_s2: gravity, held_s: 0.0 });
                state.velocity_change = Some(VelocityChange {
                    inertial_m_s: inertial_m_s.horizontal(),
                    measured_m_s: measured_m_s.horizontal(),
                });
            }
        }
        state.last_fix = Some(LastFix {
            velocity_m_s: fix.velocity_m_s,
            change_m_s: since.velocity_m_s,
            elapsed_s: since.duration_s,
        });
    }

    /// Apparent gravity in m/s2, while it holds.
    #[must_use]
    pub fn apparent_gravity_m_s2(&self) -> Option<Vector<World>> {
        self.state.apparent_gravity.map(|gravity| gravity.value_m_s2)
    }

    /// The change of velocity that ended with the fix of the last tick.
    #[must_use]
    pub const fn velocity_change(&self) -> Option<VelocityChange> {
        self.state.velocity_change
    }

    /// Initialises the state: the next fix is the first.
    pub fn reset(&mut self) {
        self.state = GnssAccelerationState::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> GnssAccelerationState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: GnssAccelerationState) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Sample;
    use crate::estimate::DelayBuffer;

    /// Fixes every 200 ms, 100 ms late, of a craft that speeds up to the north by 3 m/s2, with an
    /// accelerometer that measures `inertial_m_s2`; stated accuracy of the velocity in m/s. What there is
    /// `after_ms` the last fix.
    fn flown(inertial_m_s2: f32, accuracy_m_s: f32, after_ms: u32) -> GnssAcceleration {
        let mut gnss = GnssAcceleration::new(0.2, 1e-3);
        let mut buffer = DelayBuffer::new(0.3, 1e-3).unwrap();
        for k in 1..=1000 + after_ms {
            let acceleration = Vector::new(inertial_m_s2, 0.0, 0.0);
            buffer.step(acceleration);
            let fix = (k % 200 == 0 && k <= 1000).then(|| GnssFix {
                position_m: Vector::ZERO,
                velocity_m_s: Vector::new(3e-3 * (k as f32 - 100.0), 0.0, 0.0),
                horizontal_accuracy_m: 1.0,
                vertical_accuracy_m: 1.0,
                horizontal_velocity_accuracy_m_s: accuracy_m_s,
                vertical_velocity_accuracy_m_s: accuracy_m_s,
            });
            let fix = fix.and_then(|value| buffer.delayed(Sample { value, age_us: 100_000 }));
            gnss.step(acceleration, fix.as_ref());
        }
        gnss
    }

    #[test]
    fn apparent_gravity_is_gravity_only_when_the_accelerometer_agrees() {
        let agrees = flown(3.0, 0.2, 0).apparent_gravity_m_s2().unwrap();
        assert!((agrees - Vector::new(0.0, 0.0, STANDARD_GRAVITY_M_S2)).norm_squared() < 1e-5, "{agrees:?}");
        let differs = flown(2.0, 0.2, 0).apparent_gravity_m_s2().unwrap();
        assert!((differs.x() - 1.0).abs() < 1e-3, "{differs:?}");
        let change = flown(2.0, 0.2, 0).velocity_change().unwrap();
        assert!(
            (change.inertial_m_s.north - 0.4).abs() < 1e-4 && (change.measured_m_s.north - 0.6).abs() < 1e-4
        );
        assert!(flown(3.0, 1.5, 0).apparent_gravity_m_s2().is_none(), "stated accuracy too poor");
    }

    #[test]
    fn apparent_gravity_holds_for_one_and_a_half_intervals_and_a_change_for_one_tick() {
        assert!(flown(3.0, 0.2, 1).velocity_change().is_none());
        assert!(flown(3.0, 0.2, 298).apparent_gravity_m_s2().is_some());
        assert!(flown(3.0, 0.2, 302).apparent_gravity_m_s2().is_none());
    }
}
