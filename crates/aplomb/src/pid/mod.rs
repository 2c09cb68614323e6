//! PID controller with two degrees of freedom, at a fixed rate.
//!
//! With set-point r, measurement y, feed-forward f, period h and error e = r - y:
//!
//! ```text
//! P = K (b r - y)
//! D = a D + g (x - x_previous),   x = c r - y,   a = Td/(Td + N h),   g = K Td N/(Td + N h)
//! v = P + I + D + f,                              u = v within the output limits
//! I = I + K h/Ti e + h/Tt (u_achieved - v)        anti-windup by back-calculation, after the step
//! ```
//!
//! Source: K. J. Astrom, T. Hagglund, Advanced PID Control (ISA, 2006), chapters 3 and 13; the difference
//! equations as in K. J. Astrom, B. Wittenmark, Computer-Controlled Systems (3rd edition, 1997), section 8.5.
//! The derivative is computed in the equivalent form D = m + g x, m = a D - g x, which needs neither the
//! previous x nor a difference. The tests hold the equations against scipy and against a published sequence
//! (`tests/pid_scipy.rs`, `tests/pid_sequence.rs`).
//!
//! A tick is [`Pid::step`], which gives the output, then [`Pid::achieved`], which updates the integral with
//! the output that the actuators achieved. Without the second call the integral is held; proportional and
//! derivative part continue. Coefficients ([`Pid`]) are immutable and separate from the [`State`], so one set
//! can be used for several axes. [`Pid::retune`] changes the gains in operation by bumpless transfer.

use crate::error::{ConfigError, Problem, require_finite, require_not_negative, require_positive};
use crate::filter::FLOOR;
use crate::math::{saturate, saturate_symmetric};

/// Integration rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Integration {
    /// Forward (Euler): the error of this tick enters the output of the next one.
    #[default]
    Forward,
    /// Trapezoidal (Tustin): half of this tick's error enters this tick's output.
    Trapezoidal,
}

/// Anti-windup: what keeps the integral from growing while the output is limited.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum AntiWindup {
    /// Back-calculation: the integral moves by (achieved - demanded) h/Tt.
    BackCalculation {
        /// Tracking time Tt in s, at least one period (a shorter one is raised to it). `None`: sqrt(Ti Td),
        /// or Ti when Td = 0.
        tracking_time_s: Option<f32>,
    },
    /// Conditional integration: the integral is held while the error would move it further into the
    /// limit.
    ConditionalIntegration,
}

impl Default for AntiWindup {
    fn default() -> Self {
        Self::BackCalculation { tracking_time_s: None }
    }
}

/// Configuration of a [`Pid`]. [`Config::proportional`] is the preset to fill in.
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
    /// Integration rule.
    pub integration: Integration,
    /// Anti-windup.
    pub anti_windup: AntiWindup,
}

impl Config {
    /// A proportional controller of the given gain and symmetric output limit; b = 1, c = 0, N = 10, forward
    /// integration, back-calculation, integral limited to four times the output limit.
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

/// Precomputed coefficients of one controller at a fixed rate. See the [module](self) for the equations.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pid {
    /// Proportional and derivative part of the output per set-point and per measurement.
    setpoint_gain: f32,
    measurement_gain: f32,
    /// a, (1 - a) g c and (1 - a) g of the derivative's memory.
    memory_decay: f32,
    memory_setpoint: f32,
    memory_measurement: f32,
    integral_gain: f32,
    tracking: Tracking,
    integral_limit: f32,
    output_min: f32,
    output_max: f32,
}

/// [`AntiWindup`] with its coefficient.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Tracking {
    /// h/Tt.
    BackCalculation(f32),
    ConditionalIntegration,
}

/// State of one controller.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    integral: f32,
    /// m of the derivative; `None` before the first step, which takes no derivative.
    memory: Option<f32>,
    demanded: f32,
    /// The integral with the error of the last step, before anti-windup.
    pending: f32,
}

impl State {
    /// Zero integral; the first step takes no derivative.
    #[must_use]
    pub const fn new() -> Self {
        Self { integral: 0.0, memory: None, demanded: 0.0, pending: 0.0 }
    }

    /// Zero integral; the next step takes no derivative.
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

impl Pid {
    /// Checks the configuration for a fixed period in s and precomputes coefficients.
    ///
    /// # Errors
    /// Names the first field that is not finite, not positive where it must be, or in the wrong order; `gain`
    /// is inconsistent when a coefficient overflows.
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
            return Err(ConfigError::new("output_min", Problem::WrongOrder("output_max")));
        }
        let integral_limit = require_positive("integral_limit", config.integral_limit)?;
        let integral_gain = match config.integral_time_s {
            Some(ti) => k * h / require_positive("integral_time_s", ti)?,
            None => 0.0,
        };
        let tracking = match config.anti_windup {
            AntiWindup::BackCalculation { tracking_time_s } => {
                let tracking_time = match (tracking_time_s, config.integral_time_s) {
                    (Some(tt), _) => require_positive("tracking_time_s", tt)?,
                    (None, Some(ti)) if td > 0.0 => libm::sqrtf(ti * td),
                    (None, Some(ti)) => ti,
                    (None, None) => h,
                };
                // Without an integral there is no tracking.
                let active = config.integral_time_s.is_some();
                Tracking::BackCalculation(match (active, tracking_time > h) {
                    (false, _) => 0.0,
                    (true, false) => 1.0,
                    (true, true) => h / tracking_time,
                })
            }
            AntiWindup::ConditionalIntegration => Tracking::ConditionalIntegration,
        };
        // The trapezoidal sum is the forward sum plus half of this tick's increment.
        let immediate_gain = match config.integration {
            Integration::Forward => 0.0,
            Integration::Trapezoidal => 0.5 * integral_gain,
        };
        let filter_time = td + n * h;
        let derivative_gain = k * td * n / filter_time;
        let one_minus_decay = n * h / filter_time;
        let pid = Self {
            setpoint_gain: k * b + immediate_gain + derivative_gain * c,
            measurement_gain: k + immediate_gain + derivative_gain,
            memory_decay: td / filter_time,
            memory_setpoint: one_minus_decay * derivative_gain * c,
            memory_measurement: one_minus_decay * derivative_gain,
            integral_gain,
            tracking,
            integral_limit,
            output_min,
            output_max,
        };
        let coefficients = [pid.setpoint_gain, pid.measurement_gain, pid.memory_setpoint, pid.integral_gain];
        if coefficients.iter().all(|x| x.is_finite()) {
            Ok(pid)
        } else {
            Err(ConfigError::new("gain", Problem::Inconsistent("gives coefficients that are not finite")))
        }
    }

    /// One tick: the limited output for set-point, measurement and feed-forward (output units). Call
    /// [`Pid::achieved`] afterwards. If an input is not finite, the last output and the state are held.
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
        let memory = state.memory.unwrap_or_else(|| self.steady_memory(setpoint, measurement));
        let demanded = self.demand(memory, state.integral, setpoint, measurement, feed_forward);
        state.pending = state.integral;
        if demanded.is_finite() {
            let memory = FLOOR + self.memory_decay * memory - self.memory_setpoint * setpoint
                + self.memory_measurement * measurement;
            // After an overflow the next step takes no derivative.
            state.memory = memory.is_finite().then_some(memory);
            state.pending += self.integral_gain * (setpoint - measurement);
            state.demanded = demanded;
        }
        saturate(state.demanded, self.output_min, self.output_max)
    }

    /// v of the equations.
    #[inline]
    fn demand(&self, memory: f32, integral: f32, setpoint: f32, measurement: f32, feed_forward: f32) -> f32 {
        memory + integral + feed_forward + self.setpoint_gain * setpoint - self.measurement_gain * measurement
    }

    /// The derivative's memory at constant inputs: -g x.
    fn steady_memory(&self, setpoint: f32, measurement: f32) -> f32 {
        (self.memory_measurement * measurement - self.memory_setpoint * setpoint) / (1.0 - self.memory_decay)
    }

    /// Ends the tick: the integral grows by the error of the last [`Pid::step`], with anti-windup by the
    /// difference between the `achieved` output and the demanded one. One that is not finite counts as
    /// achieved in full. A second call for the same step replaces the first.
    ///
    /// ```
    /// use aplomb::pid::{Config, Pid, State};
    /// let pid = Pid::new(&Config { integral_time_s: Some(0.5), ..Config::proportional(2.0, 1.0) }, 0.01).unwrap();
    /// let mut state = State::new();
    /// // 2 are demanded, 1 is the limit: to K h/Ti e = 0.04, h/Tt (1 - 2) = -0.02 are added.
    /// let output = pid.step(&mut state, 1.0, 0.0, 0.0);
    /// pid.achieved(&mut state, output);
    /// assert!((output - 1.0).abs() < 1e-6 && (state.integral() - 0.02).abs() < 1e-6);
    /// ```
    #[inline]
    pub fn achieved(&self, state: &mut State, achieved: f32) {
        let shortfall = achieved - state.demanded;
        let shortfall = if shortfall.is_finite() { shortfall } else { 0.0 };
        let growth = state.pending - state.integral;
        let integral = match self.tracking {
            Tracking::BackCalculation(gain) => state.pending + gain * shortfall,
            Tracking::ConditionalIntegration if shortfall * growth < 0.0 => state.integral,
            Tracking::ConditionalIntegration => state.pending,
        };
        state.integral = saturate_symmetric(integral, self.integral_limit);
    }

    /// Changes the gains by bumpless transfer: `state`, so far run by `old`, continues with `self`, and a
    /// step with these inputs gives the output that `old` would have given, as far as the integral limit
    /// allows. `feed_forward_change` is the feed-forward of the new gains less that of the old ones. The
    /// filtered derivative is carried over in units of the derivative. An input that is not finite leaves the
    /// state unchanged.
    ///
    /// Source: K. J. Astrom, T. Hagglund, Advanced PID Control (ISA, 2006), chapter 13 (bumpless parameter
    /// changes).
    ///
    /// ```
    /// use aplomb::pid::{Config, Pid, State};
    /// let config = Config { integral_time_s: Some(0.5), ..Config::proportional(2.0, 10.0) };
    /// let old = Pid::new(&config, 0.01).unwrap();
    /// let new = Pid::new(&Config { gain: 5.0, ..config }, 0.01).unwrap();
    /// let mut state = State::new();
    /// let before = old.step(&mut state, 1.0, 0.4, 0.0);
    /// new.retune(&mut state, &old, 1.0, 0.4, 0.0);
    /// assert!((new.step(&mut state, 1.0, 0.4, 0.0) - before).abs() < 1e-6);
    /// ```
    pub fn retune(
        &self,
        state: &mut State,
        old: &Self,
        setpoint: f32,
        measurement: f32,
        feed_forward_change: f32,
    ) {
        let old_steady = old.steady_memory(setpoint, measurement);
        let old_memory = state.memory.unwrap_or(old_steady);
        let gain = |pid: &Self| pid.memory_measurement / (1.0 - pid.memory_decay);
        let ratio = if gain(old) > 0.0 { gain(self) / gain(old) } else { 0.0 };
        let memory = self.steady_memory(setpoint, measurement) + ratio * (old_memory - old_steady);
        let integral = old.demand(old_memory, state.integral, setpoint, measurement, 0.0)
            - self.demand(memory, 0.0, setpoint, measurement, feed_forward_change);
        if integral.is_finite() && memory.is_finite() {
            state.memory = Some(memory);
            state.integral = saturate_symmetric(integral, self.integral_limit);
            state.pending = state.integral;
        }
    }
}

#[cfg(test)]
mod tests;
