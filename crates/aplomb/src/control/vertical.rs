//! Height or climb rate to vertical acceleration.
//!
//! Height error times a gain is the climb rate set-point, within the climb and the descent limit and never
//! more than sqrt(2 a d), so that the craft stops at the height with the deceleration a. A PI controller
//! converts the climb rate error to an acceleration; its integral is the acceleration that hovering needs
//! beyond gravity.
//!
//! A straight descent near the hover induced speed v_h = sqrt(T/(2 rho A)) (Leishman, Principles of
//! Helicopter Aerodynamics, 2nd ed. 2006, ch. 2) re-ingests the craft's own wake; keep the limit below half
//! of it (common practice, no source).
//!
//! ```text
//! climb = k d up to d = a/k^2, sqrt(2 a (d - a/(2 k^2))) beyond, within the limits, slope at most a
//! a_up  = w (climb - v) + w/Ti integral(climb - v) + forward,   forward = a while the ramp is active
//! ```
//!
//! with the crossovers w of the climb loop and k of the height loop; equations of the controller in
//! [`crate::pid`]. Climb and descent limit hold exactly, and the flag reports it (`tests/limits.rs`); margins
//! of the derived gains in `tests/margins.rs`.

use core::marker::PhantomData;
use core::ops::RangeInclusive;

use super::position::Approach;
use crate::VerticalDemand;
use crate::error::{ConfigError, Problem, require_finite, require_positive};
use crate::math::{Libm, Math, saturate, saturate_symmetric};
use crate::pid;

/// Configuration of a [`VerticalController`].
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
    /// Largest climb rate in m/s; above 0.
    pub climb_limit_m_s: f32,
    /// Largest descent rate in m/s; above 0.
    pub descent_limit_m_s: f32,
    /// Acceleration in m/s2 used to change the climb rate and to stop at a height; above 0.
    pub acceleration_m_s2: f32,
}

/// The vertical controller.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct VerticalController<M = Libm> {
    climb: pid::Pid,
    climb_limit_m_s: f32,
    descent_limit_m_s: f32,
    approach: Approach,
    largest_change_m_s: f32,
    state: State,
    math: PhantomData<M>,
}

/// State of a [`VerticalController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    climb: pid::State,
    held: HeldHeight,
    ramp_m_s: f32,
}

/// The height in m that is held or approached, by its origin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
enum HeldHeight {
    #[default]
    None,
    /// Where the craft stops after the demanded climb rate became 0.
    AtRest(f32),
    Demanded(f32),
}

impl HeldHeight {
    const fn height_m(self) -> Option<f32> {
        match self {
            Self::None => None,
            Self::AtRest(height_m) | Self::Demanded(height_m) => Some(height_m),
        }
    }
}

/// Output of a [`VerticalController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Output {
    /// Acceleration in m/s2, up positive.
    pub up_m_s2: f32,
    /// Climb rate set-point in m/s after limits and ramp.
    pub climb_m_s: f32,
    /// Height set-point in m, while a height is held or approached.
    pub height_m: Option<f32>,
    /// The climb or descent limit reduced the climb rate.
    pub limited: bool,
}

impl<M: Math> VerticalController<M> {
    /// Computes the coefficients for a period in s; `range_m_s2` is the lowest and the highest vertical
    /// acceleration, up positive.
    ///
    /// ```
    /// use aplomb::{Libm, VerticalDemand, control::vertical::{Config, VerticalController}};
    /// let config = Config {
    ///     climb_crossover_rad_s: 4.0, climb_integral_time_s: 1.0, height_crossover_rad_s: 1.3,
    ///     climb_limit_m_s: 3.0, descent_limit_m_s: 2.0, acceleration_m_s2: 3.0,
    /// };
    /// let mut vertical = VerticalController::<Libm>::new(&config, -7.0..=9.0, 0.025)?;
    /// // Half a metre too low and not moving: the ramp towards a climb of 1.3 * 0.5 m/s has come to 3 * 0.025 m/s.
    /// let output = vertical.step(VerticalDemand::Height(10.0), 9.5, 0.0);
    /// assert!((output.climb_m_s - 0.075).abs() < 1e-6 && (output.up_m_s2 - (4.0 * 0.075 + 3.0)).abs() < 1e-5);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite or not positive, `height_crossover_rad_s` when it is not below
    /// `climb_crossover_rad_s`, and `range_m_s2` when it is not finite or does not rise.
    pub fn new(config: &Config, range_m_s2: RangeInclusive<f32>, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        let gain = require_positive("climb_crossover_rad_s", config.climb_crossover_rad_s)?;
        require_positive("climb_integral_time_s", config.climb_integral_time_s)?;
        require_positive("height_crossover_rad_s", config.height_crossover_rad_s)?;
        require_positive("climb_limit_m_s", config.climb_limit_m_s)?;
        require_positive("descent_limit_m_s", config.descent_limit_m_s)?;
        require_positive("acceleration_m_s2", config.acceleration_m_s2)?;
        if config.height_crossover_rad_s >= config.climb_crossover_rad_s {
            return Err(ConfigError::new(
                "height_crossover_rad_s",
                Problem::WrongOrder("climb_crossover_rad_s"),
            ));
        }
        let (output_min, output_max) = range_m_s2.into_inner();
        require_finite("range_m_s2", output_min)?;
        require_finite("range_m_s2", output_max)?;
        if output_min >= output_max {
            return Err(ConfigError::new("range_m_s2", Problem::Inconsistent("does not rise")));
        }
        let climb = pid::Pid::new(
            &pid::Config {
                integral_time_s: Some(config.climb_integral_time_s),
                output_min,
                output_max,
                // Half of g: a model error of half the weight (common practice, no source).
                integral_limit: 0.5 * crate::STANDARD_GRAVITY_M_S2,
                ..pid::Config::proportional(gain, 1.0)
            },
            period_s,
        )
        .map_err(|error| ConfigError { field: "climb_crossover_rad_s", ..error })?;
        let approach = Approach::new(config.height_crossover_rad_s, config.acceleration_m_s2);
        Ok(Self {
            climb,
            climb_limit_m_s: config.climb_limit_m_s,
            descent_limit_m_s: config.descent_limit_m_s,
            approach,
            largest_change_m_s: config.acceleration_m_s2 * period_s,
            state: State::default(),
            math: PhantomData,
        })
    }

    /// The vertical acceleration for a demand, at a height in m and climb rate in m/s (both up). Call
    /// [`VerticalController::achieved`] afterwards.
    ///
    /// A demanded climb rate of 0 holds the height at which the craft stops, also when another height was
    /// approached before. A demanded climb rate that is not finite counts as 0; a demanded height that is not
    /// finite keeps the height held. Without a finite height the climb rate set-point is 0; without a finite
    /// climb rate the last acceleration is held.
    ///
    /// ```
    /// # use aplomb::{Libm, VerticalDemand, control::vertical::{Config, VerticalController}};
    /// # let config = Config {
    /// #     climb_crossover_rad_s: 4.0, climb_integral_time_s: 1.0, height_crossover_rad_s: 1.3,
    /// #     climb_limit_m_s: 3.0, descent_limit_m_s: 2.0, acceleration_m_s2: 3.0,
    /// # };
    /// # let mut vertical = VerticalController::<Libm>::new(&config, -7.0..=9.0, 0.025)?;
    /// // 40 m too high: the descent grows to its limit, and the flag is set.
    /// let outputs = (0..40).map(|_| vertical.step(VerticalDemand::Height(10.0), 50.0, 0.0));
    /// let last = outputs.last().unwrap();
    /// assert!(last.climb_m_s == -2.0 && last.limited && last.height_m == Some(10.0));
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(&mut self, demand: VerticalDemand, height_m: f32, climb_m_s: f32) -> Output {
        let braking_m = climb_m_s * climb_m_s.abs() / (2.0 * self.approach.braking());
        let held = self.state.held;
        let (demanded, held) = match demand {
            VerticalDemand::Climb(climb) if climb != 0.0 && climb.is_finite() => (climb, HeldHeight::None),
            VerticalDemand::Climb(_) => {
                let target =
                    if let HeldHeight::AtRest(target) = held { target } else { height_m + braking_m };
                (self.climb_towards(target, height_m), HeldHeight::AtRest(target))
            }
            VerticalDemand::Height(height) => {
                let target = if height.is_finite() { height } else { held.height_m().unwrap_or(height_m) };
                (self.climb_towards(target, height_m), HeldHeight::Demanded(target))
            }
        };
        let is_finite = held.height_m().is_none_or(f32::is_finite);
        self.state.held = if is_finite { held } else { HeldHeight::None };
        let climb = saturate(demanded, -self.descent_limit_m_s, self.climb_limit_m_s);
        let change = saturate_symmetric(climb - self.state.ramp_m_s, self.largest_change_m_s);
        self.state.ramp_m_s += change;
        // While the ramp is active, its slope is the acceleration.
        let is_ramping = change.abs() >= self.largest_change_m_s;
        let forward = if is_ramping { self.approach.braking().copysign(change) } else { 0.0 };
        let setpoint_m_s = self.state.ramp_m_s;
        Output {
            up_m_s2: self.climb.step(&mut self.state.climb, setpoint_m_s, climb_m_s, forward),
            climb_m_s: setpoint_m_s,
            height_m: self.state.held.height_m(),
            limited: climb != demanded,
        }
    }

    /// Updates the integral with the vertical acceleration in m/s2 (up) that was achieved. Without this call
    /// it is held.
    ///
    /// ```
    /// # use aplomb::{Libm, VerticalDemand, control::vertical::{Config, VerticalController}};
    /// # let config = Config {
    /// #     climb_crossover_rad_s: 4.0, climb_integral_time_s: 1.0, height_crossover_rad_s: 1.3,
    /// #     climb_limit_m_s: 3.0, descent_limit_m_s: 2.0, acceleration_m_s2: 3.0,
    /// # };
    /// # let mut vertical = VerticalController::<Libm>::new(&config, -7.0..=9.0, 0.025)?;
    /// // Descending at 0.5 m/s at the set height: w h/Ti e = 4 * 0.025/1 * 0.5 m/s2 a step.
    /// let output = vertical.step(VerticalDemand::Height(5.0), 5.0, -0.5);
    /// vertical.achieved(output.up_m_s2);
    /// assert!((vertical.integral_m_s2() - 0.05).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn achieved(&mut self, up_m_s2: f32) {
        self.climb.achieved(&mut self.state.climb, up_m_s2);
    }

    /// Sets the integral to zero; no height is held.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The integral in m/s2: the acceleration that hovering needs beyond gravity.
    #[must_use]
    pub const fn integral_m_s2(&self) -> f32 {
        self.state.climb.integral()
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

    /// Climb rate in m/s towards a height; 0 when one of them is not finite.
    fn climb_towards(&self, target_m: f32, height_m: f32) -> f32 {
        let error = target_m - height_m;
        if !error.is_finite() {
            return 0.0;
        }
        let (speed, _) = self.approach.speed::<M>(error.abs());
        if error < 0.0 { -speed } else { speed }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CONFIG: Config = Config {
        climb_crossover_rad_s: 4.0,
        climb_integral_time_s: 1.0,
        height_crossover_rad_s: 1.0,
        climb_limit_m_s: 3.0,
        descent_limit_m_s: 1.5,
        acceleration_m_s2: 2.0,
    };

    fn last(demand: VerticalDemand, height_m: f32, climb_m_s: f32) -> Output {
        let mut controller = VerticalController::<Libm>::new(&CONFIG, -7.0..=9.0, 0.025).unwrap();
        (0..200).map(|_| controller.step(demand, height_m, climb_m_s)).last().unwrap()
    }

    #[test]
    fn climb_set_point_is_proportional_near_the_height_and_that_of_uniform_deceleration_beyond() {
        // k = 1/s up to a/k^2 = 2 m, then sqrt(2 a (d - 1)).
        for (error_m, climb_m_s) in [(0.5, 0.5), (1.6, 1.6), (-1.2, -1.2), (2.5, 6f32.sqrt())] {
            let output = last(VerticalDemand::Height(10.0 + error_m), 10.0, 0.0);
            assert!((output.climb_m_s - climb_m_s).abs() < 1e-5 && !output.limited, "{error_m}: {output:?}");
        }
        let down = last(VerticalDemand::Height(0.0), 10.0, 0.0);
        assert!(down.climb_m_s == -1.5 && down.limited);
        let up = last(VerticalDemand::Height(90.0), 10.0, 0.0);
        assert!(up.climb_m_s == 3.0 && up.limited);
    }

    #[test]
    fn demanded_climb_is_followed_and_its_end_holds_the_height_at_which_the_craft_can_stop() {
        let output = last(VerticalDemand::Climb(1.0), 10.0, 0.0);
        assert!((output.climb_m_s - 1.0).abs() < 1e-6 && output.height_m.is_none());
        // From 2 m/s the craft stops within v^2/(2 a) = 1 m, from -2 m/s 1 m lower.
        for (climb_m_s, height_m) in [(2.0, 11.0), (-2.0, 9.0), (0.0, 10.0)] {
            let mut controller = VerticalController::<Libm>::new(&CONFIG, -7.0..=9.0, 0.025).unwrap();
            let _ = controller.step(VerticalDemand::Climb(climb_m_s), 10.0, climb_m_s);
            let output = controller.step(VerticalDemand::Climb(0.0), 10.0, climb_m_s);
            assert_eq!(output.height_m, Some(height_m), "{climb_m_s}");
        }
    }

    #[test]
    fn demands_and_heights_that_are_not_finite_change_no_held_height() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            let mut controller = VerticalController::<Libm>::new(&CONFIG, -7.0..=9.0, 0.025).unwrap();
            // Nothing is held before: the present height is.
            assert_eq!(controller.step(VerticalDemand::Height(bad), 4.0, 0.0).height_m, Some(4.0));
            let _ = controller.step(VerticalDemand::Height(10.0), 9.0, 0.0);
            assert_eq!(controller.step(VerticalDemand::Height(bad), 9.0, 0.0).height_m, Some(10.0));
            // Without a finite height the climb rate goes to 0, in two steps of the ramp.
            let _ = controller.step(VerticalDemand::Height(10.0), bad, 0.0);
            let lost = controller.step(VerticalDemand::Height(10.0), bad, 0.0);
            assert!(lost.climb_m_s.abs() < 1e-6 && lost.height_m == Some(10.0), "{lost:?}");
            let stopped = controller.step(VerticalDemand::Climb(0.0), bad, 0.0);
            assert!(stopped.climb_m_s.abs() < 1e-6 && stopped.height_m.is_none(), "{stopped:?}");
            // A climb that is not finite counts as 0.
            assert_eq!(controller.step(VerticalDemand::Climb(bad), 7.0, 0.0).height_m, Some(7.0));
            assert_eq!(controller.step(VerticalDemand::Climb(bad), 6.0, 0.0).height_m, Some(7.0));
        }
    }

    #[test]
    fn slope_of_the_ramp_is_fed_forward_only_while_it_ramps() {
        let mut controller = VerticalController::<Libm>::new(&CONFIG, -7.0..=9.0, 0.025).unwrap();
        // 2 m/s2 times 0.025 s a step, down and then up.
        for k in 1..=4u8 {
            let output = controller.step(VerticalDemand::Climb(-1.2), 10.0, 0.0);
            let ramp_m_s = -0.05 * f32::from(k);
            assert!((output.climb_m_s - ramp_m_s).abs() < 1e-6, "{output:?}");
            assert!((output.up_m_s2 - (4.0 * ramp_m_s - 2.0)).abs() < 1e-5, "{output:?}");
        }
        let turned = controller.step(VerticalDemand::Climb(1.0), 10.0, 0.0);
        assert!((turned.up_m_s2 - (-4.0 * 0.15 + 2.0)).abs() < 1e-5, "{turned:?}");
        // At the demanded climb there is no slope.
        assert!((last(VerticalDemand::Climb(1.0), 10.0, 0.0).up_m_s2 - 4.0).abs() < 1e-5);
    }

    #[test]
    fn configuration_keeps_the_order_of_the_loops_and_of_the_range() {
        let refused = |config: Config, range_m_s2| {
            VerticalController::<Libm>::new(&config, range_m_s2, 0.025).unwrap_err().field
        };
        for height_crossover_rad_s in [4.0, 5.0] {
            assert_eq!(
                refused(Config { height_crossover_rad_s, ..CONFIG }, -7.0..=9.0),
                "height_crossover_rad_s"
            );
        }
        for range_m_s2 in [2.0..=2.0, 3.0..=2.0, f32::NAN..=2.0, 0.0..=f32::INFINITY] {
            assert_eq!(refused(CONFIG, range_m_s2), "range_m_s2");
        }
    }
}
