//! Body rate to torque.
//!
//! Three PID controllers give an angular acceleration; times the inertia it is a torque:
//!
//! ```text
//! alpha = PID(rate set-point, rate) + feed-forward + K Td d(set-point)/dt          tau = J alpha + w x (J w)
//! ```
//!
//! The gain K of a controller is the loop's crossover in rad/s, since from angular acceleration to rate the
//! craft is an integrator. The derivative acts on the measured rate and cancels the rotors' first-order lag;
//! its part due to a changing set-point is added back by the term K Td. The torque that the mixer achieved
//! comes back by [`RateController::achieved`] for anti-windup.
//!
//! Yaw torque is the rotors' drag torque plus the reaction to their acceleration, `2 kQ w dw + Jr d(dw)/dt`:
//! relative to the drag torque it has the zero `1 + T s` with `T = Jr/(2 kQ w)`, often many times the rotors'
//! time constant. Without compensation that zero multiplies the gain at high frequency by T over the time
//! constant, and the yaw axis oscillates between its limits; the first-order lag `1/(1 + T s)` on the yaw
//! torque cancels it.
//!
//! Sources: Euler's equation of a rigid body for the torque; the controllers as in [`crate::pid`]; the zero
//! is the rotor's equation of motion, linearised (derived here). Margins of the derived gains about roll,
//! pitch and yaw, measured through this step: at least 13 dB and 64 deg with the loop alone
//! (`tests/margins.rs`).

pub use super::inertia::Inertia;

use super::inertia::Tensor;
use crate::error::{ConfigError, Part, Problem, require_positive, require_within};
use crate::filter::{LowPass, LowPassState};
use crate::frames::{Body, Vector};
use crate::pid;

const FIXED_IN_FLIGHT: &str = "cannot change in flight";

/// Longest plausible time constant of the rotors' reaction in s. `T = Jr w/(2 Q)`: an 18 in rotor with 5e-4
/// kg m2 that hovers at 250 rad/s and 0.15 N m has 0.4 s; a larger value than five times that is refused.
const LONGEST_REACTION_S: f32 = 2.0;

/// One axis.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Axis {
    /// Crossover of the loop, and so its gain, in rad/s; above 0.
    pub crossover_rad_s: f32,
    /// Integral time in s; above 0.
    pub integral_time_s: f32,
    /// Derivative time in s, at least 0; cancels a rotor time constant of
    /// `derivative_time_s (1 + 1/derivative_filter_ratio)`.
    pub derivative_time_s: f32,
    /// Largest angular acceleration demanded, in rad/s2; above 0.
    pub acceleration_limit_rad_s2: f32,
}

/// Configuration of a [`RateController`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Roll axis.
    pub roll: Axis,
    /// Pitch axis.
    pub pitch: Axis,
    /// Yaw axis.
    pub yaw: Axis,
    /// Ratio of the derivative time to its filter's time constant, 2 to 20.
    pub derivative_filter_ratio: f32,
    /// Inertia of the craft.
    pub inertia: Inertia,
    /// Adds the gyroscopic torque w x (J w).
    pub gyroscopic: bool,
    /// Time constant T in s of the zero that the rotors' reaction adds to the yaw torque, 0 to 2; 0 for
    /// rotors without inertia.
    pub reaction_time_constant_s: f32,
}

/// Set-point of the rate controller.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct RateSetpoint {
    /// Body rate in rad/s.
    pub rate_rad_s: Vector<Body>,
    /// Time derivative of that rate in rad/s2. It cancels what the derivative on the measurement would
    /// subtract.
    pub setpoint_derivative_rad_s2: Vector<Body>,
    /// Angular acceleration in rad/s2 that is added to the feedback. With a rotor time constant tau it is
    /// the derivative of the rate plus tau times its own derivative.
    pub feed_forward_rad_s2: Vector<Body>,
}

impl RateSetpoint {
    /// A constant rate in rad/s.
    #[must_use]
    pub fn constant(rate_rad_s: Vector<Body>) -> Self {
        Self { rate_rad_s, ..Self::default() }
    }

    /// The set-point `time_s` later: the rate moved along its derivative.
    ///
    /// ```
    /// use aplomb::{control::rate::RateSetpoint, frames::Vector};
    /// let derivative = Vector::new(5.0, 0.0, 0.0);
    /// let setpoint = RateSetpoint { setpoint_derivative_rad_s2: derivative, ..RateSetpoint::default() };
    /// assert!((setpoint.after(1e-3).rate_rad_s.x() - 0.005).abs() < 1e-9);
    /// ```
    #[inline]
    #[must_use]
    pub fn after(self, time_s: f32) -> Self {
        Self { rate_rad_s: self.rate_rad_s + self.setpoint_derivative_rad_s2 * time_s, ..self }
    }
}

/// The rate controller.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RateController {
    axes: [pid::Pid; 3],
    derivative_gain: Vector<Body>,
    inertia: Tensor,
    inverse: Tensor,
    gyroscopic: bool,
    reaction: Option<LowPass>,
    period_s: f32,
    state: State,
}

/// State of a [`RateController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    axes: [pid::State; 3],
    reaction: LowPassState,
    /// Demand of the last step.
    torque_nm: Vector<Body>,
    acceleration_rad_s2: Vector<Body>,
}

impl RateController {
    /// Computes the coefficients for a period in s.
    ///
    /// ```
    /// use aplomb::{control::rate::{Axis, Config, Inertia, RateController}, frames::Vector};
    /// let axis = Axis {
    ///     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// };
    /// let config = Config {
    ///     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis }, derivative_filter_ratio: 8.0,
    ///     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// };
    /// assert!(RateController::new(&config, 1e-3).is_ok());
    /// let mistaken = Config { pitch: Axis { integral_time_s: 0.0, ..axis }, ..config };
    /// let error = RateController::new(&mistaken, 1e-3).unwrap_err();
    /// assert_eq!(error.to_string(), "pitch.integral_time_s must be greater than 0");
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite, not positive or out of range, with its part `roll`, `pitch`, `yaw`
    /// or `inertia`; `inertia` itself when it is not positive definite or breaks the triangle rule of a rigid
    /// body (no moment above the sum of the other two).
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        let axis = |axis: &Axis| {
            require_positive("crossover_rad_s", axis.crossover_rad_s)?;
            require_positive("integral_time_s", axis.integral_time_s)?;
            let limit = require_positive("acceleration_limit_rad_s2", axis.acceleration_limit_rad_s2)?;
            let tracking = crate::math::saturate(axis.integral_time_s, period_s, 0.5 * axis.integral_time_s);
            pid::Pid::new(
                &pid::Config {
                    integral_time_s: Some(axis.integral_time_s),
                    derivative_time_s: axis.derivative_time_s,
                    derivative_filter_ratio: config.derivative_filter_ratio,
                    integral_limit: limit,
                    anti_windup: pid::AntiWindup::BackCalculation { tracking_time_s: Some(tracking) },
                    ..pid::Config::proportional(axis.crossover_rad_s, limit)
                },
                period_s,
            )
            .map_err(|error| {
                if error.field == "gain" { ConfigError { field: "crossover_rad_s", ..error } } else { error }
            })
        };
        require_within("derivative_filter_ratio", config.derivative_filter_ratio, 2.0, 20.0)?;
        require_within("reaction_time_constant_s", config.reaction_time_constant_s, 0.0, LONGEST_REACTION_S)?;
        let (inertia, inverse) = config.inertia.tensors()?;
        let gain = |axis: &Axis| axis.crossover_rad_s * axis.derivative_time_s;
        Ok(Self {
            axes: [
                axis(&config.roll).map_err(|error| error.within(Part::Roll))?,
                axis(&config.pitch).map_err(|error| error.within(Part::Pitch))?,
                axis(&config.yaw).map_err(|error| error.within(Part::Yaw))?,
            ],
            derivative_gain: Vector::new(gain(&config.roll), gain(&config.pitch), gain(&config.yaw)),
            inertia,
            inverse,
            gyroscopic: config.gyroscopic,
            reaction: if config.reaction_time_constant_s > 0.0 {
                Some(LowPass::from_time_constant(config.reaction_time_constant_s, period_s)?)
            } else {
                None
            },
            period_s,
            state: State::default(),
        })
    }

    /// The torque in N m for a set-point and the filtered body rate in rad/s. Call
    /// [`RateController::achieved`] afterwards. A set-point or a rate that is not finite holds the last
    /// torque of its axis.
    ///
    /// ```
    /// # use aplomb::{control::rate::{Axis, Config, Inertia, RateController, RateSetpoint}, frames::Vector};
    /// # let axis = Axis {
    /// #     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// # };
    /// # let config = Config {
    /// #     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis }, derivative_filter_ratio: 8.0,
    /// #     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// # };
    /// let mut rate = RateController::new(&config, 1e-3)?;
    /// let torque_nm = rate.step(&RateSetpoint::constant(Vector::new(1.0, 0.0, 0.0)), Vector::ZERO);
    /// // 30/s times 1 rad/s is 30 rad/s2; times 0.011 kg m2.
    /// assert!((torque_nm.x() - 0.33).abs() < 1e-6 && torque_nm.y().abs() < 1e-20);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline]
    #[must_use]
    pub fn step(&mut self, setpoint: &RateSetpoint, rate_rad_s: Vector<Body>) -> Vector<Body> {
        let forward =
            setpoint.feed_forward_rad_s2 + setpoint.setpoint_derivative_rad_s2.scale(self.derivative_gain);
        let (demanded, measured) = (setpoint.rate_rad_s, rate_rad_s);
        let [roll, pitch, yaw] = &self.axes;
        let state = &mut self.state;
        let [roll_state, pitch_state, yaw_state] = &mut state.axes;
        state.acceleration_rad_s2 = Vector::new(
            roll.step(roll_state, demanded.x(), measured.x(), forward.x()),
            pitch.step(pitch_state, demanded.y(), measured.y(), forward.y()),
            yaw.step(yaw_state, demanded.z(), measured.z(), forward.z()),
        );
        let mut torque = self.inertia.times(state.acceleration_rad_s2);
        if self.gyroscopic && measured.is_finite() {
            torque += measured.cross(self.inertia.times(measured));
        }
        let yaw_nm = match &self.reaction {
            Some(lag) => lag.step(&mut state.reaction, torque.z()),
            None => torque.z(),
        };
        state.torque_nm = Vector::new(torque.x(), torque.y(), yaw_nm);
        state.torque_nm
    }

    /// Updates the integrals with the torque in N m that was achieved: they integrate the error, and
    /// back-calculation reduces them by the part of the demand that was not achieved. Without this call they
    /// are held; a torque that is not finite counts as achieved in full.
    ///
    /// ```
    /// # use aplomb::{control::rate::{Axis, Config, Inertia, RateController, RateSetpoint}, frames::Vector};
    /// # let axis = Axis {
    /// #     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// # };
    /// # let config = Config {
    /// #     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis }, derivative_filter_ratio: 8.0,
    /// #     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// # };
    /// let mut rate = RateController::new(&config, 1e-3)?;
    /// let demanded = rate.step(&RateSetpoint::constant(Vector::new(0.1, 0.1, 0.0)), Vector::ZERO);
    /// // Roll is achieved in full: K h/Ti e = 30 * 1e-3/0.2 * 0.1. Of pitch nothing is: its integral goes the other way.
    /// rate.achieved(Vector::new(demanded.x(), 0.0, 0.0));
    /// assert!((rate.integral_rad_s2().x() - 0.015).abs() < 1e-6 && rate.integral_rad_s2().y() < 0.0);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline]
    pub fn achieved(&mut self, torque_nm: Vector<Body>) {
        // Demanded and achieved torque both contain gyroscopic torque and reaction lag, which cancel in the
        // difference.
        let state = &mut self.state;
        let shortfall = self.inverse.times(torque_nm - state.torque_nm);
        let achieved = state.acceleration_rad_s2 + shortfall;
        let [roll, pitch, yaw] = &self.axes;
        let [roll_state, pitch_state, yaw_state] = &mut state.axes;
        roll.achieved(roll_state, achieved.x());
        pitch.achieved(pitch_state, achieved.y());
        yaw.achieved(yaw_state, achieved.z());
    }

    /// Changes the gains in flight by bumpless transfer ([`pid::Pid::retune`]): at this set-point and body
    /// rate in rad/s the torque stays what it was, as far as the integral limits allow. Inertia, gyroscopic
    /// torque and the rotors' reaction belong to the craft and stay.
    ///
    /// # Errors
    /// As [`RateController::new`]; also names `inertia`, `gyroscopic` or `reaction_time_constant_s` when it
    /// differs. The controller is then unchanged.
    ///
    /// ```
    /// # use aplomb::{control::rate::{Axis, Config, Inertia, RateController, RateSetpoint}, frames::Vector};
    /// # let axis = Axis {
    /// #     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// # };
    /// # let config = Config {
    /// #     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis }, derivative_filter_ratio: 8.0,
    /// #     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// # };
    /// let mut rate = RateController::new(&config, 1e-3)?;
    /// let setpoint = RateSetpoint::constant(Vector::new(1.0, 0.0, 0.0));
    /// let before = rate.step(&setpoint, Vector::ZERO);
    /// rate.retune(&Config { roll: Axis { crossover_rad_s: 20.0, ..axis }, ..config }, &setpoint, Vector::ZERO)?;
    /// assert!((rate.step(&setpoint, Vector::ZERO) - before).norm_squared() < 1e-12);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn retune(
        &mut self,
        config: &Config,
        setpoint: &RateSetpoint,
        rate_rad_s: Vector<Body>,
    ) -> Result<(), ConfigError> {
        let mut new = Self::new(config, self.period_s)?;
        for (field, same) in [
            ("inertia", new.inertia == self.inertia),
            ("gyroscopic", new.gyroscopic == self.gyroscopic),
            ("reaction_time_constant_s", new.reaction == self.reaction),
        ] {
            if !same {
                return Err(ConfigError::new(field, Problem::Inconsistent(FIXED_IN_FLIGHT)));
            }
        }
        new.state = self.state;
        let (r, y) = (setpoint.rate_rad_s.to_array(), rate_rad_s.to_array());
        let change =
            setpoint.setpoint_derivative_rad_s2.scale(new.derivative_gain - self.derivative_gain).to_array();
        let axes = new.axes.iter().zip(&self.axes).zip(&mut new.state.axes);
        for ((((pid, old), state), (r, y)), change) in axes.zip(r.into_iter().zip(y)).zip(change) {
            pid.retune(state, old, r, y, change);
        }
        *self = new;
        Ok(())
    }

    /// Sets integrals and derivatives to zero.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The integral parts in rad/s2.
    #[must_use]
    pub fn integral_rad_s2(&self) -> Vector<Body> {
        let [roll, pitch, yaw] = &self.state.axes;
        Vector::new(roll.integral(), pitch.integral(), yaw.integral())
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

#[cfg(test)]
mod tests;
