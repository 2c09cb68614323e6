//! What the acceleration did lately, so that a late sample meets the estimate of its own time.

use crate::error::{ConfigError, Problem, require_positive};
use crate::frames::{Vector, World};

/// Blocks that are kept.
const BLOCKS: u8 = 6;

/// Velocity changes over the last ticks, in 6 blocks of equal length and one that is being filled.
///
/// From the velocity v and position x of now, those of d seconds ago follow exactly, whatever corrections were made since:
/// `v(t-d) = v - dv`, `x(t-d) = x - d v(t-d) - (d dv - m)`, with the [`Span`] over the last d seconds. Since
/// the acceleration counts as constant within a block of length L, dv errs by up to `L^2/8 |da/dt|` and m by up to
/// `d L^2/12 |da/dt|`: 16 mm/s and 3 mm for a reach of 0.3 s and a jerk of 50 m/s3.
///
/// ```
/// use aplomb::{estimate::History, frames::Vector};
/// let mut history = History::new(0.5, 1e-3).unwrap();
/// for _ in 0..300 {
///     history.push(Vector::new(2.0, 0.0, 0.0));
/// }
/// let span = history.span(200_000).unwrap();
/// assert!((span.velocity_m_s.x() - 0.4).abs() < 1e-5);
/// assert!(history.span(301_000).is_none());
/// ```
#[derive(Clone, Debug)]
pub struct History {
    blocks: [Vector<World>; BLOCKS as usize],
    /// Where the newest block stands; the older ones follow in a ring.
    newest: u8,
    full: u8,
    filling: Vector<World>,
    filled_ticks: u16,
    block_ticks: u16,
    period_s: f32,
}

/// Integrals of the acceleration over a stretch of the past.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Span {
    /// Length in s.
    pub length_s: f32,
    /// Velocity change dv in m/s.
    pub velocity_m_s: Vector<World>,
    /// First moment about the start, m = integral of (time since the start) times acceleration, in m.
    pub moment_m: Vector<World>,
}

impl History {
    /// Reaches back at least `reach_s` at the given period, both in s.
    ///
    /// # Errors
    /// Names `period_s` or `reach_s`; the reach is out of range beyond 6 blocks of 2500 ticks.
    pub fn new(reach_s: f32, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let ticks = require_positive("reach_s", reach_s)? / (h * f32::from(BLOCKS));
        if ticks <= 2500.0 {
            Ok(Self {
                blocks: [Vector::ZERO; BLOCKS as usize],
                newest: 0,
                full: 0,
                filling: Vector::ZERO,
                filled_ticks: 0,
                block_ticks: (libm::ceilf(ticks) as u16).max(1),
                period_s: h,
            })
        } else {
            Err(ConfigError::new("reach_s", Problem::OutOfRange))
        }
    }

    /// Takes the acceleration in m/s2 of this tick; one that is not finite counts as 0.
    #[inline]
    pub fn push(&mut self, acceleration_m_s2: Vector<World>) {
        self.push_finite(if acceleration_m_s2.is_finite() { acceleration_m_s2 } else { Vector::ZERO });
    }

    /// The same for an acceleration that is known to be finite.
    #[inline]
    pub(super) fn push_finite(&mut self, acceleration_m_s2: Vector<World>) {
        if self.filled_ticks >= self.block_ticks {
            self.newest = self.newest.checked_sub(1).unwrap_or(BLOCKS - 1);
            // Always there.
            if let Some(oldest) = self.blocks.get_mut(usize::from(self.newest)) {
                *oldest = core::mem::take(&mut self.filling);
            }
            self.full = self.full.saturating_add(1).min(BLOCKS);
            self.filled_ticks = 0;
        }
        self.filling += acceleration_m_s2 * self.period_s;
        self.filled_ticks = self.filled_ticks.saturating_add(1);
    }

    /// Integrals from `age_us` us ago until now. `None` when that is further back than the history reaches. Within a block the
    /// acceleration counts as constant.
    #[must_use]
    pub fn span(&self, age_us: u32) -> Option<Span> {
        let from = age_us as f32 * (1e-6 / self.period_s);
        let (mut velocity, mut moment) = (Vector::ZERO, Vector::ZERO);
        let mut young = 0.0f32;
        let mut length = f32::from(self.filled_ticks);
        let (older, newer) = self.blocks.split_at(usize::from(self.newest.min(BLOCKS)));
        let full = newer.iter().chain(older).take(usize::from(self.full));
        for block in core::iter::once(&self.filling).chain(full) {
            let old = young + length;
            if old < from {
                velocity += *block;
                moment += *block * (from - 0.5 * (young + old));
            } else {
                // The part of this block since then, if it holds anything.
                let part = if from > young { *block * ((from - young) / length) } else { Vector::ZERO };
                return Some(Span {
                    length_s: from * self.period_s,
                    velocity_m_s: velocity + part,
                    moment_m: (moment + part * (0.5 * (from - young))) * self.period_s,
                });
            }
            young = old;
            length = f32::from(self.block_ticks);
        }
        None
    }

    /// Time between two accelerations in s.
    #[inline]
    pub(super) const fn period_s(&self) -> f32 {
        self.period_s
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.full = 0;
        self.filling = Vector::ZERO;
        self.filled_ticks = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn past_velocity_and_position_are_recovered() {
        let mut history = History::new(0.3, 1e-3).unwrap();
        let (mut x, mut v) = (0.0f64, 0.0f64);
        let mut track = [(0.0f64, 0.0f64); 2000];
        for (k, entry) in track.iter_mut().enumerate() {
            let a = 3.0 * (k as f64 * 4e-3).sin();
            history.push(Vector::new(a as f32, 0.0, 0.0));
            x += v * 1e-3 + 0.5e-6 * a;
            v += a * 1e-3;
            *entry = (x, v);
        }
        // Blocks of 50 ticks; the acceleration changes by up to 12 m/s3.
        let (stated_m_s, stated_m) = (0.05 * 0.05 / 8.0 * 12.0, 0.3 * 0.05 * 0.05 / 12.0 * 12.0);
        let (mut worst_m_s, mut worst_m) = (0.0f64, 0.0f64);
        for age in 1..=300usize {
            let span = history.span(1000 * age as u32).unwrap();
            let d = f64::from(span.length_s);
            let past_v = v - f64::from(span.velocity_m_s.x());
            let past_x =
                x - d * past_v - (d * f64::from(span.velocity_m_s.x()) - f64::from(span.moment_m.x()));
            let (true_x, true_v) = track[1999 - age];
            worst_m_s = worst_m_s.max((past_v - true_v).abs());
            worst_m = worst_m.max((past_x - true_x).abs());
        }
        assert!(worst_m < stated_m && worst_m > 0.3 * stated_m, "{worst_m} {stated_m}");
        assert!(worst_m_s < stated_m_s && worst_m_s > 0.5 * stated_m_s, "{worst_m_s} {stated_m_s}");
    }

    #[test]
    fn bad_arguments_and_bad_samples() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            assert_eq!(History::new(bad, 1e-3).unwrap_err().field, "reach_s");
            assert_eq!(History::new(0.5, bad).unwrap_err().field, "period_s");
        }
        let mut history = History::new(0.032, 1e-3).unwrap();
        history.push(Vector::new(f32::NAN, 1.0, 1.0));
        assert_eq!(history.span(1000).unwrap().velocity_m_s, Vector::ZERO);
        history.clear();
        assert!(history.span(1000).is_none());
    }
}
