//! Height or climb to vertical acceleration.
//!
//! Height error times a gain is the climb, within the climb and the descent limit and never more than sqrt(2 a d), so
//! that the craft stops at the height with the deceleration a. A PI controller turns climb error into acceleration; its
//! integral learns what hovering really takes.
//!
//! A straight descent near the hover induced speed v_h = sqrt(T/(2 rho A)) (Leishman, Principles of Helicopter
//! Aerodynamics, 2nd ed. 2006, ch. 2) re-ingests the craft's own wake; keep the limit below half of it (common practice,
//! no source).
//!
//! ```text
//! climb = k d up to d = a/k^2, sqrt(2 a (d - a/(2 k^2))) beyond, within the limits, changed by at most a
//! a_up  = w (climb - v) + w/Ti integral(climb - v) + forward,   forward = a while the ramp is on
//! ```
//!
//! with the crossovers w of the climb loop and k of the height loop; equations of the controller in [`crate::pid`]. Climb and
//! descent limit hold exactly, and the flag says when (`tests/limits.rs`); margins of the derived gains in
//! `tests/margins.rs`.

use core::marker::PhantomData;

use super::position::Approach;
use crate::VerticalDemand;
use crate::error::{ConfigError, Problem, require_finite, require_positive};
use crate::math::{Libm, Math, saturate, saturate_symmetric};
use crate::pid;

/// What the vertical loop is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Crossover of the climb loop in rad/s; above 0.
    pub climb_crossover_rad_s: f32,
    /// Integral time of the climb loop in s; above 0.
    pub climb_integral_time_s: f32,
    /// Crossover of the height loop in rad/s; below that of the climb loop.
    pub height_crossover_rad_s: f32,
    /// Largest climb in m/s; above 0.
    pub climb_limit_m_s: f32,
    /// Largest descent in m/s, as a positive number.
    pub descent_limit_m_s: f32,
    /// Acceleration in m/s2 used to change the climb and to stop at a height; above 0.
    pub acceleration_m_s2: f32,
}

/// The vertical loop, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VerticalController<M = Libm> {
    climb: pid::Pid,
    climb_limit_m_s: f32,
    descent_limit_m_s: f32,
    approach: Approach,
    slew_m_s: f32,
    math: PhantomData<M>,
}

/// State of the vertical loop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    climb: pid::State,
    held: Held,
    ramp_m_s: f32,
}

/// The height that is held or approached, in m, by who asked for it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
enum Held {
    #[default]
    Nothing,
    /// Where the craft comes to rest after the climb was centred.
    AtRest(f32),
    Demanded(f32),
}

impl State {
    /// Forgets everything, the integral too.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The height in m that is held or approached.
    #[must_use]
    pub const fn held_m(&self) -> Option<f32> {
        match self.held {
            Held::Nothing => None,
            Held::AtRest(height_m) | Held::Demanded(height_m) => Some(height_m),
        }
    }

    /// Climb asked for in m/s after limits and ramp.
    #[must_use]
    pub const fn setpoint_m_s(&self) -> f32 {
        self.ramp_m_s
    }

    /// The integral in m/s2: what hovering takes beyond gravity.
    #[must_use]
    pub const fn integral_m_s2(&self) -> f32 {
        self.climb.integral()
    }
}

/// What the vertical loop asks for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Output {
    /// Acceleration in m/s2, up positive.
    pub up_m_s2: f32,
    /// Climb set-point in m/s after the limits.
    pub climb_m_s: f32,
    /// Height set-point in m, while a height is held or approached.
    pub height_m: Option<f32>,
    /// A limit cut the climb.
    pub limited: bool,
}

impl<M: Math> VerticalController<M> {
    /// Folds the gains for a period in s; `range_m_s2` is the lowest and the highest vertical acceleration, up positive.
    ///
    /// ```
    /// use aplomb::{Libm, VerticalDemand, control::vertical::{Config, State, VerticalController}};
    /// let config = Config {
    ///     climb_crossover_rad_s: 4.0, climb_integral_time_s: 1.0, height_crossover_rad_s: 1.3,
    ///     climb_limit_m_s: 3.0, descent_limit_m_s: 2.0, acceleration_m_s2: 3.0,
    /// };
    /// let vertical = VerticalController::<Libm>::new(&config, (-7.0, 9.0), 0.025)?;
    /// // Half a metre too low and at rest: the climb wanted is 1.3 * 0.5 m/s, the ramp has come to 3 * 0.025 of it.
    /// let output = vertical.step(&mut State::new(), VerticalDemand::Height(10.0), 9.5, 0.0);
    /// assert!((output.climb_m_s - 0.075).abs() < 1e-6 && (output.up_m_s2 - (4.0 * 0.075 + 3.0)).abs() < 1e-5);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite or not positive, `height_crossover_rad_s` when it is not below
    /// `climb_crossover_rad_s`, and `range_m_s2` when it is not finite or does not rise.
    pub fn new(config: &Config, range_m_s2: (f32, f32), period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        let gain = require_positive("climb_crossover_rad_s", config.climb_crossover_rad_s)?;
        require_positive("climb_integral_time_s", config.climb_integral_time_s)?;
        require_positive("height_crossover_rad_s", config.height_crossover_rad_s)?;
        require_positive("climb_limit_m_s", config.climb_limit_m_s)?;
        require_positive("descent_limit_m_s", config.descent_limit_m_s)?;
        require_positive("acceleration_m_s2", config.acceleration_m_s2)?;
        if config.height_crossover_rad_s >= config.climb_crossover_rad_s {
            return Err(ConfigError::new("height_crossover_rad_s", Problem::WrongOrder));
        }
        let (output_min, output_max) = range_m_s2;
        require_finite("range_m_s2", output_min)?;
        require_finite("range_m_s2", output_max)?;
        if output_min >= output_max {
            return Err(ConfigError::new("range_m_s2", Problem::WrongOrder));
        }
        let climb = pid::Pid::new(
            &pid::Config {
                integral_time_s: Some(config.climb_integral_time_s),
                output_min,
                output_max,
                integral_limit: 0.5 * crate::STANDARD_GRAVITY_M_S2,
                ..pid::Config::proportional(gain, 1.0)
            },
            period_s,
        )
        .map_err(|error| ConfigError { field: "climb_crossover_rad_s", ..error })?;
        // The limits of climb and descent come after it.
        let approach = Approach::new(config.height_crossover_rad_s, config.acceleration_m_s2, f32::INFINITY);
        Ok(Self {
            climb,
            climb_limit_m_s: config.climb_limit_m_s,
            descent_limit_m_s: config.descent_limit_m_s,
            approach,
            slew_m_s: config.acceleration_m_s2 * period_s,
            math: PhantomData,
        })
    }

    /// The vertical acceleration for a demand, at a height in m and climb in m/s (both up). Call
    /// [`VerticalController::achieved`] afterwards.
    ///
    /// A centred climb holds the height at which the craft comes to rest, also when a height was on its way before. A
    /// demand that is no number counts as centred, or keeps the height held; a height that is no number asks for no climb;
    /// a climb that is no number holds the last acceleration.
    ///
    /// ```
    /// # use aplomb::{Libm, VerticalDemand, control::vertical::{Config, State, VerticalController}};
    /// # let config = Config {
    /// #     climb_crossover_rad_s: 4.0, climb_integral_time_s: 1.0, height_crossover_rad_s: 1.3,
    /// #     climb_limit_m_s: 3.0, descent_limit_m_s: 2.0, acceleration_m_s2: 3.0,
    /// # };
    /// # let vertical = VerticalController::<Libm>::new(&config, (-7.0, 9.0), 0.025)?;
    /// // 40 m too high: the descent grows to its limit, and it is said.
    /// let mut state = State::new();
    /// let outputs = (0..40).map(|_| vertical.step(&mut state, VerticalDemand::Height(10.0), 50.0, 0.0));
    /// let last = outputs.last().unwrap();
    /// assert!(last.climb_m_s == -2.0 && last.limited && last.height_m == Some(10.0));
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(&self, state: &mut State, demand: VerticalDemand, height_m: f32, climb_m_s: f32) -> Output {
        let wanted = match demand {
            VerticalDemand::Climb(climb) if climb != 0.0 && climb.is_finite() => {
                state.held = Held::Nothing;
                climb
            }
            VerticalDemand::Climb(_) => {
                let held = match state.held {
                    Held::AtRest(held) => held,
                    Held::Nothing | Held::Demanded(_) => {
                        height_m + climb_m_s * climb_m_s.abs() / (2.0 * self.approach.braking())
                    }
                };
                state.held = if held.is_finite() { Held::AtRest(held) } else { Held::Nothing };
                self.climb_towards(held, height_m)
            }
            VerticalDemand::Height(height) => {
                let held = if height.is_finite() { height } else { state.held_m().unwrap_or(height_m) };
                state.held = if held.is_finite() { Held::Demanded(held) } else { Held::Nothing };
                self.climb_towards(held, height_m)
            }
        };
        let climb = saturate(wanted, -self.descent_limit_m_s, self.climb_limit_m_s);
        let change = saturate_symmetric(climb - state.ramp_m_s, self.slew_m_s);
        state.ramp_m_s += change;
        // While the ramp is on, its slope is the acceleration wanted.
        let forward =
            if change.abs() >= self.slew_m_s { self.approach.braking().copysign(change) } else { 0.0 };
        let up_m_s2 = self.climb.step_seldom(&mut state.climb, state.ramp_m_s, climb_m_s, forward);
        Output { up_m_s2, climb_m_s: state.ramp_m_s, height_m: state.held_m(), limited: climb != wanted }
    }

    /// Tells the integral which vertical acceleration in m/s2 (up) was achieved. Without this call it stands still.
    ///
    /// ```
    /// # use aplomb::{Libm, VerticalDemand, control::vertical::{Config, State, VerticalController}};
    /// # let config = Config {
    /// #     climb_crossover_rad_s: 4.0, climb_integral_time_s: 1.0, height_crossover_rad_s: 1.3,
    /// #     climb_limit_m_s: 3.0, descent_limit_m_s: 2.0, acceleration_m_s2: 3.0,
    /// # };
    /// # let vertical = VerticalController::<Libm>::new(&config, (-7.0, 9.0), 0.025)?;
    /// // Sinking at 0.5 m/s while the height is right: w h/Ti e = 4 * 0.025/1 * 0.5 m/s2 a step.
    /// let mut state = State::new();
    /// let output = vertical.step(&mut state, VerticalDemand::Height(5.0), 5.0, -0.5);
    /// vertical.achieved(&mut state, output.up_m_s2);
    /// assert!((state.integral_m_s2() - 0.05).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn achieved(&self, state: &mut State, up_m_s2: f32) {
        self.climb.achieved_seldom(&mut state.climb, up_m_s2);
    }

    /// Climb in m/s towards a height; 0 when one of them is no number.
    fn climb_towards(&self, target_m: f32, height_m: f32) -> f32 {
        let error = target_m - height_m;
        if !error.is_finite() {
            return 0.0;
        }
        let (speed, ..) = self.approach.speed::<M>(error.abs());
        if error < 0.0 { -speed } else { speed }
    }
}
