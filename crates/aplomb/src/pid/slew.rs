//! A limit on how fast a value may change.

use crate::error::{ConfigError, require_positive};
use crate::math::least;

/// Limits the rate of change of a value: y moves towards x by at most `rise` or `fall` per second.
///
/// ```
/// use aplomb::pid::{SlewLimit, SlewState};
/// let limit = SlewLimit::new(2.0, 4.0, 0.1).unwrap();
/// let mut state = SlewState::at(0.0);
/// assert!((limit.step(&mut state, 1.0) - 0.2).abs() < 1e-6);
/// assert!((limit.step(&mut state, -1.0) + 0.2).abs() < 1e-6);
/// assert!((limit.step(&mut state, f32::NAN) + 0.2).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct SlewLimit {
    rise: f32,
    fall: f32,
}

/// The last value given out.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct SlewState {
    last: f32,
}

impl SlewState {
    /// Starts at a value; not finite counts as 0.
    #[must_use]
    pub const fn at(value: f32) -> Self {
        Self { last: if value.is_finite() { value } else { 0.0 } }
    }
}

impl SlewLimit {
    /// From the steepest rise and fall in units per second and the period in s, all greater than 0.
    ///
    /// # Errors
    /// Names the argument that is not finite or not positive.
    pub fn new(rise_per_s: f32, fall_per_s: f32, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        Ok(Self {
            rise: require_positive("rise_per_s", rise_per_s)? * h,
            fall: require_positive("fall_per_s", fall_per_s)? * h,
        })
    }

    /// The next value on the way to `target`; NaN holds the last one.
    #[inline]
    pub fn step(&self, state: &mut SlewState, target: f32) -> f32 {
        let (low, high) = (state.last - self.fall, state.last + self.rise);
        if target >= low {
            state.last = least(target, high);
        } else if target < low {
            state.last = low;
        }
        state.last
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Problem;

    #[test]
    fn each_bad_argument_is_named() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            assert_eq!(SlewLimit::new(bad, 1.0, 1.0).unwrap_err().field, "rise_per_s");
            assert_eq!(SlewLimit::new(1.0, bad, 1.0).unwrap_err().field, "fall_per_s");
            assert_eq!(SlewLimit::new(1.0, 1.0, bad).unwrap_err().field, "period_s");
        }
        assert_eq!(SlewLimit::new(-1.0, 1.0, 1.0).unwrap_err().problem, Problem::NotPositive);
    }

    #[test]
    fn infinite_targets_move_at_the_limit_and_it_recovers() {
        let limit = SlewLimit::new(1.0, 1.0, 0.1).unwrap();
        let mut state = SlewState::at(f32::NAN);
        assert!((limit.step(&mut state, f32::INFINITY) - 0.1).abs() < 1e-6);
        assert!(limit.step(&mut state, f32::NEG_INFINITY).abs() < 1e-6);
        assert!((limit.step(&mut state, 0.05) - 0.05).abs() < 1e-6);
    }
}
