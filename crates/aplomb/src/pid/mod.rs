//! Fixed-rate controller with proportional, integral and derivative part, two degrees of freedom.
//!
//! With set-point r, measurement y, feed-forward f, period h and error e = r - y:
//!
//! ```text
//! P = K (b r - y)
//! D = a D + g (x - x_previous),   x = c r - y,   a = Td/(Td + N h),   g = K Td N/(Td + N h)
//! v = P + I + D + f,                              u = v within the output limits
//! I = I + K h/Ti e + h/Tt (u_achieved - v)        back-calculation, after the step
//! ```
//!
//! Source: K. J. Astrom, T. Hagglund, Advanced PID Control (ISA, 2006), chapters 3 and 13; the difference equations as
//! in K. J. Astrom, B. Wittenmark, Computer-Controlled Systems (3rd edition, 1997), section 8.5. The derivative runs in
//! the equivalent form D = m + g x, m = a D - g x, which needs neither the previous x nor a difference.
//!
//! A tick is [`Pid::step`], which gives the output, then [`Pid::achieved`], which closes the integral with what the
//! actuators really did. To hold the integral, leave the second call out: proportional and derivative part go on.
//! Coefficients ([`Pid`]) are immutable and apart from the [`State`], so one set serves several axes.

mod slew;

pub use slew::{SlewLimit, SlewState};

use crate::error::{ConfigError, Problem, require_finite, require_not_negative, require_positive};
use crate::math::{most, saturate, saturate_symmetric};

/// Keeps a decaying derivative off the denormal numbers, which slow some processors down.
const FLOOR: f32 = 1e-27;

/// How the integral is summed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Integration {
    /// Forward (Euler): the error of this tick counts from the next one.
    #[default]
    Forward,
    /// Trapezoidal (Tustin): half of this tick's error counts at once.
    Trapezoidal,
}

/// What keeps the integral from growing while the output is limited.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum AntiWindup {
    /// The integral is led back by (achieved - demanded)/Tt.
    BackCalculation {
        /// Tracking time Tt in s, at least one period (a shorter one is raised to it). `None`: sqrt(Ti Td), or Ti
        /// when Td = 0.
        tracking_time_s: Option<f32>,
    },
    /// The integral stops while it would move the output further into the limit.
    ConditionalStop,
}

impl Default for AntiWindup {
    fn default() -> Self {
        Self::BackCalculation { tracking_time_s: None }
    }
}

/// What a [`Pid`] is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Proportional gain K, output units per unit of error; greater than 0.
    pub gain: f32,
    /// Integral time Ti in s, greater than 0; `None` for no integral.
    pub integral_time_s: Option<f32>,
    /// Derivative time Td in s; 0 for no derivative.
    pub derivative_time_s: f32,
    /// Derivative filter ratio N: the filter's time constant is Td/N. Greater than 0; 2 to 20 is usual.
    pub derivative_filter_ratio: f32,
    /// Set-point weight b of the proportional part, 0 to 1 as a rule.
    pub setpoint_weight: f32,
    /// Set-point weight c of the derivative part; 0 puts it on the measurement alone.
    pub derivative_setpoint_weight: f32,
    /// Lowest output.
    pub output_min: f32,
    /// Highest output, greater than `output_min`.
    pub output_max: f32,
    /// Largest magnitude of the integral part, in output units; greater than 0.
    pub integral_limit: f32,
    /// How the integral is summed.
    pub integration: Integration,
    /// What keeps the integral from winding up.
    pub anti_windup: AntiWindup,
}

impl Config {
    /// A proportional controller of the given gain and symmetric output limit; b = 1, c = 0, N = 10, forward
    /// integration, back-calculation, integral limited to four times the output limit. A base to fill in.
    ///
    /// ```
    /// use aplomb::pid::{Config, Pid, State};
    /// let pid = Pid::new(&Config { integral_time_s: Some(0.5), ..Config::proportional(2.0, 10.0) }, 0.01).unwrap();
    /// assert_eq!(pid.step(&mut State::new(), 1.0, 0.0, 0.0), 2.0);
    /// ```
    #[must_use]
    pub const fn proportional(gain: f32, output_limit: f32) -> Self {
        Self {
            gain,
            integral_time_s: None,
            derivative_time_s: 0.0,
            derivative_filter_ratio: 10.0,
            setpoint_weight: 1.0,
            derivative_setpoint_weight: 0.0,
            output_min: -output_limit,
            output_max: output_limit,
            integral_limit: 4.0 * output_limit,
            integration: Integration::Forward,
            anti_windup: AntiWindup::BackCalculation { tracking_time_s: None },
        }
    }
}

/// Folded coefficients of one controller at a fixed rate. See the [module](self) for the equations.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Pid {
    /// Proportional and derivative part of the output per set-point and per measurement.
    setpoint_gain: f32,
    measurement_gain: f32,
    /// a, (1 - a) g c and (1 - a) g of the derivative's memory.
    memory_decay: f32,
    memory_setpoint: f32,
    memory_measurement: f32,
    integral_gain: f32,
    /// Infinite for the conditional stop.
    tracking_gain: f32,
    integral_limit: f32,
    output_min: f32,
    output_max: f32,
}

/// What one controller remembers from tick to tick.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    integral: f32,
    /// m of the derivative. Not finite before the first step, which takes no derivative.
    memory: f32,
    demanded: f32,
    /// The integral with the error of the last step, before it is led back.
    pending: f32,
}

impl State {
    /// Zero integral and derivative; the first step takes no derivative.
    #[must_use]
    pub const fn new() -> Self {
        Self { integral: 0.0, memory: f32::INFINITY, demanded: 0.0, pending: 0.0 }
    }

    /// Back to the new state.
    pub const fn reset(&mut self) {
        *self = Self::new();
    }

    /// Integral part in output units.
    #[must_use]
    pub const fn integral(&self) -> f32 {
        self.integral
    }

    /// Output demanded on the last step, before the output limits.
    #[must_use]
    pub const fn demanded(&self) -> f32 {
        self.demanded
    }
}

impl Default for State {
    fn default() -> Self {
        Self::new()
    }
}

impl Pid {
    /// Folds the gains for a fixed period in s.
    ///
    /// # Errors
    /// Names the first field that is not finite, not positive where it must be, or in the wrong order; `inconsistent`
    /// when a folded coefficient overflows.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let h = require_positive("period_s", period_s)?;
        let k = require_positive("gain", config.gain)?;
        let td = require_not_negative("derivative_time_s", config.derivative_time_s)?;
        let n = require_positive("derivative_filter_ratio", config.derivative_filter_ratio)?;
        let b = require_finite("setpoint_weight", config.setpoint_weight)?;
        let c = require_finite("derivative_setpoint_weight", config.derivative_setpoint_weight)?;
        let output_min = require_finite("output_min", config.output_min)?;
        let output_max = require_finite("output_max", config.output_max)?;
        if output_min >= output_max {
            return Err(ConfigError::new("output_min", Problem::WrongOrder));
        }
        let integral_limit = require_positive("integral_limit", config.integral_limit)?;
        let integral_gain = match config.integral_time_s {
            Some(ti) => k * h / require_positive("integral_time_s", ti)?,
            None => 0.0,
        };
        let tracking_gain = match config.anti_windup {
            AntiWindup::BackCalculation { tracking_time_s } => {
                let tracking_time = match (tracking_time_s, config.integral_time_s) {
                    (Some(tt), _) => require_positive("tracking_time_s", tt)?,
                    (None, Some(ti)) if td > 0.0 => libm::sqrtf(ti * td),
                    (None, Some(ti)) => ti,
                    (None, None) => h,
                };
                // Without an integral there is nothing to lead back.
                let active = config.integral_time_s.is_some();
                if active { if tracking_time > h { h / tracking_time } else { 1.0 } } else { 0.0 }
            }
            AntiWindup::ConditionalStop => f32::INFINITY,
        };
        // The trapezoidal sum is the forward sum plus half of this tick's increment.
        let now = match config.integration {
            Integration::Forward => 0.0,
            Integration::Trapezoidal => 0.5 * integral_gain,
        };
        let spread = td + n * h;
        let derivative_gain = k * td * n / spread;
        let forget = n * h / spread;
        let pid = Self {
            setpoint_gain: k * b + now + derivative_gain * c,
            measurement_gain: k + now + derivative_gain,
            memory_decay: td / spread,
            memory_setpoint: forget * derivative_gain * c,
            memory_measurement: forget * derivative_gain,
            integral_gain,
            tracking_gain,
            integral_limit,
            output_min,
            output_max,
        };
        let folded = [pid.setpoint_gain, pid.measurement_gain, pid.memory_setpoint, pid.integral_gain];
        if folded.iter().all(|x| x.is_finite()) {
            Ok(pid)
        } else {
            Err(ConfigError::new("gain", Problem::Inconsistent))
        }
    }

    /// One tick: the limited output for set-point, measurement and feed-forward (output units). Call
    /// [`Pid::achieved`] afterwards. If any input is not finite, the last output is held, nothing is learned from this
    /// tick and the state stays as it was.
    ///
    /// ```
    /// use aplomb::pid::{Config, Pid, State};
    /// let pid = Pid::new(&Config { integral_time_s: Some(0.5), ..Config::proportional(2.0, 10.0) }, 0.01).unwrap();
    /// let mut state = State::new();
    /// let first = pid.step(&mut state, 1.0, 0.0, 0.0);
    /// pid.achieved(&mut state, first);
    /// // The integral has grown by K h/Ti e = 2 * 0.01/0.5.
    /// assert!((pid.step(&mut state, 1.0, 0.0, 0.0) - 2.04).abs() < 1e-6);
    /// assert!((pid.step(&mut state, f32::NAN, 0.0, 0.0) - 2.04).abs() < 1e-6);
    /// ```
    #[inline]
    pub fn step(&self, state: &mut State, setpoint: f32, measurement: f32, feed_forward: f32) -> f32 {
        let demanded = self.demand(state, setpoint, measurement, feed_forward);
        if demanded.is_finite() {
            self.learn(state, setpoint, measurement, demanded);
            if demanded > self.output_max { self.output_max } else { most(demanded, self.output_min) }
        } else {
            self.start_or_hold(state, setpoint, measurement, feed_forward)
        }
    }

    /// [`Pid::step`] for loops that run seldom: called, so that its code is in the program once.
    #[inline(never)]
    pub(crate) fn step_seldom(
        &self,
        state: &mut State,
        setpoint: f32,
        measurement: f32,
        feed_forward: f32,
    ) -> f32 {
        self.step(state, setpoint, measurement, feed_forward)
    }

    #[inline]
    fn demand(&self, state: &State, setpoint: f32, measurement: f32, feed_forward: f32) -> f32 {
        state.memory + state.integral + feed_forward + self.setpoint_gain * setpoint
            - self.measurement_gain * measurement
    }

    #[inline]
    fn learn(&self, state: &mut State, setpoint: f32, measurement: f32, demanded: f32) {
        state.memory = FLOOR + self.memory_decay * state.memory - self.memory_setpoint * setpoint
            + self.memory_measurement * measurement;
        state.demanded = demanded;
        state.pending = state.integral + self.integral_gain * (setpoint - measurement);
    }

    /// The demand is no number: because nothing has been learnt yet, or because of an input.
    #[cold]
    fn start_or_hold(&self, state: &mut State, setpoint: f32, measurement: f32, feed_forward: f32) -> f32 {
        state.pending = state.integral;
        if !state.memory.is_finite() {
            let started = State { memory: self.settled_memory(setpoint, measurement), ..*state };
            let demanded = self.demand(&started, setpoint, measurement, feed_forward);
            if demanded.is_finite() {
                *state = started;
                self.learn(state, setpoint, measurement, demanded);
            }
        }
        saturate(state.demanded, self.output_min, self.output_max)
    }

    /// The derivative's memory when these inputs have long been there: -g x.
    fn settled_memory(&self, setpoint: f32, measurement: f32) -> f32 {
        (self.memory_measurement * measurement - self.memory_setpoint * setpoint) / (1.0 - self.memory_decay)
    }

    /// Closes the tick: the integral takes up the error of the last [`Pid::step`] and is led back by the difference
    /// between what was `applied` and what was demanded. Not finite counts as applied in full. A second call for the
    /// same step replaces the first.
    ///
    /// ```
    /// use aplomb::pid::{Config, Pid, State};
    /// let pid = Pid::new(&Config { integral_time_s: Some(0.5), ..Config::proportional(2.0, 1.0) }, 0.01).unwrap();
    /// let mut state = State::new();
    /// // 2 are demanded, 1 is the limit: of K h/Ti e = 0.04, h/Tt (2 - 1) = 0.02 are led back.
    /// let output = pid.step(&mut state, 1.0, 0.0, 0.0);
    /// pid.achieved(&mut state, output);
    /// assert!((output - 1.0).abs() < 1e-6 && (state.integral() - 0.02).abs() < 1e-6);
    /// ```
    #[inline]
    pub fn achieved(&self, state: &mut State, applied: f32) {
        let integral = state.pending + self.tracking_gain * (applied - state.demanded);
        if integral.abs() <= self.integral_limit {
            state.integral = integral;
        } else if integral.is_finite() {
            state.integral = self.integral_limit.copysign(integral);
        } else {
            self.stop(state, applied);
        }
    }

    /// [`Pid::achieved`] for loops that run seldom.
    #[inline(never)]
    pub(crate) fn achieved_seldom(&self, state: &mut State, applied: f32) {
        self.achieved(state, applied);
    }

    /// The conditional stop, and what is no number.
    #[inline]
    fn stop(&self, state: &mut State, applied: f32) {
        let short = applied - state.demanded;
        let short = if short.is_finite() { short } else { 0.0 };
        let integral = if self.tracking_gain.is_finite() {
            state.pending + self.tracking_gain * short
        } else if short * (state.pending - state.integral) < 0.0 {
            state.integral
        } else {
            state.pending
        };
        state.integral = saturate_symmetric(integral, self.integral_limit);
    }

    /// Hand-over without a bump: sets the state so that a step with these inputs would give `output` (as far as the
    /// integral limit allows), with no derivative. Called on every tick it holds the output while another source is in
    /// charge. Does nothing if an input is not finite.
    ///
    /// ```
    /// use aplomb::pid::{Config, Pid, State};
    /// let pid = Pid::new(&Config { integral_time_s: Some(0.5), ..Config::proportional(2.0, 10.0) }, 0.01).unwrap();
    /// let mut state = State::new();
    /// pid.preset(&mut state, 1.0, 0.2, 0.5, 3.0);
    /// assert!((pid.step(&mut state, 1.0, 0.2, 0.5) - 3.0).abs() < 1e-6);
    /// ```
    pub fn preset(&self, state: &mut State, setpoint: f32, measurement: f32, feed_forward: f32, output: f32) {
        let settled = State { integral: 0.0, memory: self.settled_memory(setpoint, measurement), ..*state };
        let integral = output - self.demand(&settled, setpoint, measurement, feed_forward);
        if integral.is_finite() && settled.memory.is_finite() {
            let integral = saturate_symmetric(integral, self.integral_limit);
            *state = State { integral, demanded: output, pending: integral, ..settled };
        }
    }

    /// Change of gains without a bump: `state` was run by `old` and goes on with `self`; at these inputs the output
    /// stays what it was. The derivative's filter state is carried over in units of the derivative.
    ///
    /// ```
    /// use aplomb::pid::{Config, Pid, State};
    /// let config = Config { integral_time_s: Some(0.5), ..Config::proportional(2.0, 10.0) };
    /// let old = Pid::new(&config, 0.01).unwrap();
    /// let new = Pid::new(&Config { gain: 5.0, ..config }, 0.01).unwrap();
    /// let mut state = State::new();
    /// let before = old.step(&mut state, 1.0, 0.4, 0.0);
    /// new.adopt(&mut state, &old, 1.0, 0.4);
    /// assert!((new.step(&mut state, 1.0, 0.4, 0.0) - before).abs() < 1e-6);
    /// ```
    pub fn adopt(&self, state: &mut State, old: &Self, setpoint: f32, measurement: f32) {
        let was_settled = old.settled_memory(setpoint, measurement);
        let was =
            State { memory: if state.memory.is_finite() { state.memory } else { was_settled }, ..*state };
        let old_gain = old.memory_measurement / (1.0 - old.memory_decay);
        let new_gain = self.memory_measurement / (1.0 - self.memory_decay);
        let ratio = if old_gain > 0.0 { new_gain / old_gain } else { 0.0 };
        let memory = self.settled_memory(setpoint, measurement) + ratio * (was.memory - was_settled);
        let mut new = State { integral: 0.0, memory, ..*state };
        let integral =
            old.demand(&was, setpoint, measurement, 0.0) - self.demand(&new, setpoint, measurement, 0.0);
        if integral.is_finite() && memory.is_finite() {
            new.integral = saturate_symmetric(integral, self.integral_limit);
            new.pending = new.integral;
            *state = new;
        }
    }
}

#[cfg(test)]
mod tests;
