//! Buffer of past accelerations, by which a delayed sample is compared with the estimate of its own time.

use crate::Sample;
use crate::error::{ConfigError, Problem, require_positive};
use crate::frames::{Vector, World};

/// Blocks that are kept: a reach of 0.3 s at 1 kHz in blocks of 10 ticks.
const BLOCKS: usize = 32;
/// Largest number of ticks of a block: 10 s at the highest tick rate, 8 kHz; far below what 16 bits count.
const MAX_BLOCK_TICKS: f32 = 2500.0;

/// The accelerations of the last ticks, summed in 32 blocks of equal length and one that is being filled.
///
/// The velocity v and position x of d seconds ago follow from the present ones, independently of the
/// corrections made since, with the [`Preintegration`] (dv, dx) over the last d seconds:
///
/// ```text
/// v(t-d) = v(t) - dv,    x(t-d) = x(t) - d v(t-d) - dx
/// ```
///
/// The acceleration counts as constant within a block of length L, so dv errs by up to `L^2/8 |da/dt|` and dx
/// by up to `d L^2/12 |da/dt|`: 0.6 mm/s and 0.1 mm for a reach of 0.3 s at 1 kHz and a jerk of 50 m/s3; test
/// `past_velocity_and_position_are_recovered`. A reach of up to 32 ticks is exact.
///
/// ```
/// use aplomb::{estimate::DelayBuffer, frames::Vector};
/// let mut buffer = DelayBuffer::new(0.5, 1e-3).unwrap();
/// for _ in 0..300 {
///     buffer.step(Vector::new(2.0, 0.0, 0.0));
/// }
/// let past = buffer.preintegration(200_000).unwrap();
/// assert!((past.velocity_m_s.x() - 0.4).abs() < 1e-5 && (past.position_m.x() - 0.04).abs() < 1e-5);
/// assert!(buffer.preintegration(301_000).is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct DelayBuffer {
    block_ticks: u16,
    period_s: f32,
    state: DelayBufferState,
}

/// State of a [`DelayBuffer`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct DelayBufferState {
    /// Velocity change in m/s over each full block, the newest first.
    blocks: [Vector<World>; BLOCKS],
    full: u8,
    /// The block that is being filled, and the ticks in it.
    filling: Vector<World>,
    filled_ticks: u16,
}

/// Integrals of the acceleration over the last `duration_s` (T. Lupton, S. Sukkarieh, IEEE Transactions on
/// Robotics 28(1):61-76, 2012, without the rotation: the accelerations are in world axes).
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Preintegration {
    /// Length in s.
    pub duration_s: f32,
    /// Velocity change in m/s.
    pub velocity_m_s: Vector<World>,
    /// Position change in m of a start from rest.
    pub position_m: Vector<World>,
}

/// A delayed sample with the integrals of the acceleration since it was true.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Delayed<T> {
    /// The measured value.
    pub value: T,
    /// From the time when it was true until now.
    pub since: Preintegration,
}

impl<T> Delayed<T> {
    /// The same with another value.
    #[must_use]
    pub fn map<U>(self, convert: impl FnOnce(T) -> U) -> Delayed<U> {
        Delayed { value: convert(self.value), since: self.since }
    }
}

impl DelayBuffer {
    /// Reaches back at least `reach_s` at the given period, both in s.
    ///
    /// # Errors
    /// Names `period_s` or `reach_s`; the reach is out of range beyond 32 blocks of 2500 ticks.
    pub fn new(reach_s: f32, period_s: f32) -> Result<Self, ConfigError> {
        let period_s = require_positive("period_s", period_s)?;
        let block_ticks = require_positive("reach_s", reach_s)? / (period_s * BLOCKS as f32);
        if block_ticks > MAX_BLOCK_TICKS {
            let high = MAX_BLOCK_TICKS * period_s * BLOCKS as f32;
            return Err(ConfigError::new("reach_s", Problem::OutOfRange { low: 0.0, high }));
        }
        let block_ticks = (libm::ceilf(block_ticks) as u16).max(1);
        Ok(Self { block_ticks, period_s, state: DelayBufferState::default() })
    }

    /// Adds the acceleration in m/s2 of this tick; one that is not finite counts as 0.
    pub fn step(&mut self, acceleration_m_s2: Vector<World>) {
        let state = &mut self.state;
        if state.filled_ticks >= self.block_ticks {
            state.blocks.rotate_right(1);
            if let Some(newest) = state.blocks.first_mut() {
                *newest = core::mem::take(&mut state.filling);
            }
            state.full = state.full.saturating_add(1).min(BLOCKS as u8);
            state.filled_ticks = 0;
        }
        if acceleration_m_s2.is_finite() {
            state.filling += acceleration_m_s2 * self.period_s;
        }
        state.filled_ticks = state.filled_ticks.saturating_add(1);
    }

    /// Integrals from `age_us` us ago until now; `None` further back than the buffer reaches.
    #[must_use]
    pub fn preintegration(&self, age_us: u32) -> Option<Preintegration> {
        let state = &self.state;
        let start = age_us as f32 * (1e-6 / self.period_s);
        let (mut velocity_m_s, mut position_ticks) = (Vector::ZERO, Vector::ZERO);
        // Ages in ticks of the end and of the start of a block.
        let mut end = 0.0;
        let full = state.blocks.iter().take(usize::from(state.full));
        let blocks = core::iter::once((&state.filling, state.filled_ticks))
            .chain(full.map(|block| (block, self.block_ticks)));
        for (block, ticks) in blocks {
            let length = f32::from(ticks);
            // The part of the block since the start; none of an empty block.
            let part = ((start - end) / length).min(1.0);
            if part > 0.0 {
                let change = *block * part;
                velocity_m_s += change;
                // A velocity change acts on the position for the time since then: on average since the middle
                // of the part.
                position_ticks += change * (end + 0.5 * part * length);
            }
            end += length;
            if start <= end {
                let position_m = position_ticks * self.period_s;
                return Some(Preintegration { duration_s: start * self.period_s, velocity_m_s, position_m });
            }
        }
        None
    }

    /// A sample with the accelerations since it was true; `None` for one that is older than the buffer
    /// reaches.
    #[must_use]
    pub fn delayed<T>(&self, sample: Sample<T>) -> Option<Delayed<T>> {
        let since = self.preintegration(sample.age_us)?;
        Some(Delayed { value: sample.value, since })
    }

    /// Empties the buffer.
    pub fn reset(&mut self) {
        self.state = DelayBufferState::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> DelayBufferState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: DelayBufferState) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn past_velocity_and_position_are_recovered() {
        let mut buffer = DelayBuffer::new(0.3, 1e-3).unwrap();
        let (mut x, mut v) = (0.0f64, 0.0f64);
        let mut track = [(0.0f64, 0.0f64); 2000];
        for (k, entry) in track.iter_mut().enumerate() {
            let a = 3.0 * (k as f64 * 4e-3).sin();
            buffer.step(Vector::new(a as f32, 0.0, 0.0));
            x += v * 1e-3 + 0.5e-6 * a;
            v += a * 1e-3;
            *entry = (x, v);
        }
        // Blocks of 10 ticks; the acceleration changes by up to 12 m/s3.
        let (stated_m_s, stated_m) = (0.01 * 0.01 / 8.0 * 12.0, 0.3 * 0.01 * 0.01 / 12.0 * 12.0);
        let (mut worst_m_s, mut worst_m) = (0.0f64, 0.0f64);
        for age in 1..=300usize {
            let past = buffer.preintegration(1000 * age as u32).unwrap();
            let past_v = v - f64::from(past.velocity_m_s.x());
            let past_x = x - f64::from(past.duration_s) * past_v - f64::from(past.position_m.x());
            let (true_x, true_v) = track[1999 - age];
            worst_m_s = worst_m_s.max((past_v - true_v).abs());
            worst_m = worst_m.max((past_x - true_x).abs());
        }
        assert!(worst_m < stated_m && worst_m > 0.3 * stated_m, "{worst_m} {stated_m}");
        assert!(worst_m_s < stated_m_s && worst_m_s > 0.5 * stated_m_s, "{worst_m_s} {stated_m_s}");
    }

    #[test]
    fn short_reach_is_exact_up_to_its_documented_end() {
        let mut buffer = DelayBuffer::new(0.032, 1e-3).unwrap();
        (0..100u8).for_each(|k| buffer.step(Vector::new(f32::from(k), 0.0, 0.0)));
        let past = buffer.preintegration(3000).unwrap();
        // 97, 98 and 99 m/s2 for 1 ms each: 0.294 m/s, and 97 * 2.5 + 98 * 1.5 + 99 * 0.5 um.
        assert!((past.velocity_m_s.x() - 0.294).abs() < 1e-6 && (past.position_m.x() - 439e-6).abs() < 1e-9);
        assert_eq!(buffer.preintegration(0).unwrap().velocity_m_s, Vector::ZERO);
        assert!(buffer.preintegration(33_000).is_some() && buffer.preintegration(33_100).is_none());
    }

    #[test]
    fn bad_arguments_and_bad_samples() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            assert_eq!(DelayBuffer::new(bad, 1e-3).unwrap_err().field, "reach_s");
            assert_eq!(DelayBuffer::new(0.5, bad).unwrap_err().field, "period_s");
        }
        let refused = DelayBuffer::new(81.0, 1e-3).unwrap_err();
        let Problem::OutOfRange { low: 0.0, high } = refused.problem else { panic!("{refused}") };
        assert!(refused.field == "reach_s" && (high - 80.0).abs() < 1e-4, "{refused}");
        let mut buffer = DelayBuffer::new(0.032, 1e-3).unwrap();
        assert!(buffer.preintegration(0).is_some() && buffer.preintegration(1).is_none());
        buffer.step(Vector::new(f32::NAN, 1.0, 1.0));
        assert_eq!(buffer.preintegration(1000).unwrap().velocity_m_s, Vector::ZERO);
        buffer.reset();
        assert!(buffer.preintegration(1000).is_none());
    }
}
