//! Heading or heading rate demand to heading set-point, within a rate limit.
//!
//! ```text
//! hold a heading:  psi += limit(sin(psi_target - psi), r h)         beyond a quarter turn: psi += r h towards it
//! turn at a rate:  psi += limit(rate h, r h), not while psi is more than 60 deg ahead of the nose
//! ```
//!
//! with the rate limit r and the period h. The second condition stops the set-point while the craft cannot
//! follow; beyond 180 deg the error would change its sign. Rate limit and flag for any demand:
//! `tests/limits.rs`.

use core::marker::PhantomData;

use crate::HeadingDemand;
use crate::error::{ConfigError, require_positive, require_within};
use crate::frames::{Attitude, Heading, Horizontal};
use crate::math::{Libm, Math, saturate_symmetric};

/// Configuration of a [`HeadingRateLimiter`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Largest rate of the set-point in rad/s; above 0 and at most half a radian a period.
    pub rate_limit_rad_s: f32,
}

/// Moves the heading set-point as demanded, within the rate limit.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HeadingRateLimiter<M = Libm> {
    rate_limit_rad_s: f32,
    period_s: f32,
    state: State,
    math: PhantomData<M>,
}

/// State of a [`HeadingRateLimiter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    heading: Option<Heading>,
}

/// Output of a [`HeadingRateLimiter`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Output {
    /// The heading set-point.
    pub heading: Heading,
    /// It moves more slowly than demanded: at the rate limit, or stopped because the craft does not follow.
    pub limited: bool,
}

impl<M: Math> HeadingRateLimiter<M> {
    /// For a period in s.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive or out of range.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        require_positive("rate_limit_rad_s", config.rate_limit_rad_s)?;
        let rate_limit_rad_s =
            require_within("rate_limit_rad_s", config.rate_limit_rad_s, 0.0, 0.5 / period_s)?;
        Ok(Self { rate_limit_rad_s, period_s, state: State::default(), math: PhantomData })
    }

    /// The next set-point. It starts at the heading of `attitude`, and at north where the nose points
    /// straight up or down. A demand that is NaN leaves it unchanged.
    ///
    /// ```
    /// use aplomb::control::heading::{Config, HeadingRateLimiter};
    /// use aplomb::{HeadingDemand, Libm, frames::Attitude};
    /// let mut limiter = HeadingRateLimiter::<Libm>::new(&Config { rate_limit_rad_s: 1.5 }, 5e-3)?;
    /// let output = limiter.step(HeadingDemand::Rate(1.0), Attitude::LEVEL);
    /// assert!((output.heading.east() - 0.005).abs() < 1e-6 && !output.limited);
    /// // 9 rad/s are cut to 1.5.
    /// let output = limiter.step(HeadingDemand::Rate(9.0), Attitude::LEVEL);
    /// assert!((output.heading.east() - 0.0125).abs() < 1e-6 && output.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn step(&mut self, demand: HeadingDemand, attitude: Attitude) -> Output {
        let setpoint = match self.state.heading {
            Some(heading) => heading,
            None => attitude.heading::<M>().unwrap_or(Heading::NORTH),
        };
        let angle = match demand {
            HeadingDemand::Hold(target) => {
                let (sine, cosine) = (setpoint.sine_to(target), setpoint.cosine_to(target));
                // Near the heading the sine is the angle; a quarter turn and more from it, only the sense
                // matters.
                if cosine > 0.0 {
                    sine
                } else if sine < 0.0 {
                    -1.0
                } else {
                    1.0
                }
            }
            HeadingDemand::Rate(rate) => rate * self.period_s,
        };
        let step = saturate_symmetric(angle, self.rate_limit_rad_s * self.period_s);
        let waits = matches!(demand, HeadingDemand::Rate(_)) && is_far_ahead(attitude, setpoint, step);
        let heading = if waits { setpoint } else { setpoint.rotated(step) };
        self.state.heading = Some(heading);
        Output { heading, limited: waits || step != angle }
    }

    /// The next step starts at the heading of its attitude.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The state, to be saved.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Continues from a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }
}

/// True when `setpoint` is more than 60 deg ahead of the nose and a `step` would take it further.
fn is_far_ahead(attitude: Attitude, setpoint: Heading, step: f32) -> bool {
    let Horizontal { north, east } = attitude.nose();
    let along = north * setpoint.north() + east * setpoint.east();
    let ahead = north * setpoint.east() - east * setpoint.north();
    // tan(60 deg) = sqrt(3), squared; a nose that points straight up or down has no heading to be ahead of.
    let beyond = along <= 0.0 || ahead * ahead > 3.0 * along * along;
    beyond && ahead * step > 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;
    use crate::frames::{Body, Vector};

    fn limiter() -> HeadingRateLimiter<Libm> {
        HeadingRateLimiter::new(&Config { rate_limit_rad_s: 1.0 }, 0.1).unwrap()
    }

    fn turned(deg: f32) -> Attitude {
        Attitude::LEVEL.rotated(Vector::<Body>::new(0.0, 0.0, deg.to_radians()))
    }

    #[test]
    fn heading_turns_the_short_way_round() {
        for (deg, sense) in [(100.0, 1.0), (170.0, 1.0), (-100.0, -1.0), (-170.0, -1.0)] {
            let target = Heading::from_rad::<Libm>(f32::to_radians(deg));
            let output = limiter().step(HeadingDemand::Hold(target), Attitude::LEVEL);
            assert!((output.heading.east() - sense * 0.1f32.sin()).abs() < 1e-3 && output.limited, "{deg}");
        }
        // Within a step of the target it is the target.
        let target = Heading::from_rad::<Libm>(0.05);
        let output = limiter().step(HeadingDemand::Hold(target), Attitude::LEVEL);
        assert!((output.heading.east() - target.east()).abs() < 1e-4 && !output.limited);
    }

    #[test]
    fn demanded_rate_waits_while_the_set_point_is_60_deg_ahead_of_the_nose() {
        // The nose stays at north; the set-point turns at 57 deg/s.
        let mut limiter = limiter();
        let mut last = Output { heading: Heading::NORTH, limited: false };
        for _ in 0..40 {
            last = limiter.step(HeadingDemand::Rate(1.0), Attitude::LEVEL);
        }
        let ahead_deg = last.heading.east().atan2(last.heading.north()).to_degrees();
        assert!((60.0..66.0).contains(&ahead_deg) && last.limited, "{ahead_deg}");
        // Back is allowed, and on it goes when the nose follows.
        let back = limiter.step(HeadingDemand::Rate(-1.0), Attitude::LEVEL);
        assert!(back.heading.east() < last.heading.east() && !back.limited);
        let on = limiter.step(HeadingDemand::Rate(1.0), turned(30.0));
        assert!(!on.limited);
        assert!(!is_far_ahead(turned(30.0), Heading::from_rad::<Libm>(85f32.to_radians()), 0.1));
        assert!(is_far_ahead(turned(30.0), Heading::from_rad::<Libm>(95f32.to_radians()), 0.1));
        assert!(!is_far_ahead(turned(30.0), Heading::from_rad::<Libm>(95f32.to_radians()), -0.1));
        assert!(is_far_ahead(turned(30.0), Heading::from_rad::<Libm>((-95f32).to_radians()), -0.1));
    }

    #[test]
    fn set_point_is_far_ahead_from_60_to_180_deg_at_any_heading() {
        for nose_deg in (0..360u16).step_by(30).map(f32::from) {
            let far = |ahead_deg: f32, step: f32| {
                let setpoint = Heading::from_rad::<Libm>((nose_deg + ahead_deg).to_radians());
                let attitude = Attitude::from_angles::<Libm>(0.0, 0.0, nose_deg.to_radians());
                is_far_ahead(attitude, setpoint, step)
            };
            for (ahead_deg, expected) in
                [(5.0, false), (58.0, false), (62.0, true), (120.0, true), (175.0, true)]
            {
                assert_eq!(far(ahead_deg, 0.1), expected, "{nose_deg} {ahead_deg}");
                assert_eq!(far(-ahead_deg, -0.1), expected, "{nose_deg} {ahead_deg}");
                // Towards the nose it is free, and standing still is not waiting.
                assert!(!far(ahead_deg, -0.1) && !far(-ahead_deg, 0.1) && !far(ahead_deg, 0.0));
            }
        }
    }
}
