//! Body rate to torque.
//!
//! Three controllers ask for angular acceleration; the inertia turns it into torque:
//!
//! ```text
//! alpha = PID(rate set-point, filtered gyro) + drive          tau = J alpha + w x (J w)
//! ```
//!
//! The gain of a controller is the loop's crossover in rad/s, since from angular acceleration to rate the craft is an
//! integrator. The derivative, on the filtered measurement, is there to cancel the rotors' lag. What the mixer
//! achieved comes back as torque and keeps the integrals from winding up.
//!
//! Yaw torque is the rotors' drag torque plus the reaction to their speeding up, `2 kQ w dw + Jr d(dw)/dt`: it leads the
//! drag by the zero `1 + T s` with `T = Jr/(2 kQ w)`, often many times the rotor lag. Left alone, that zero multiplies the
//! gain at high frequency by T/lag and the yaw axis swings from stop to stop; the first-order lag `1/(1 + T s)` on the yaw
//! torque cancels it.
//!
//! Sources: Euler's equation of a rigid body for the torque; the controllers as in [`crate::pid`]; the zero is the rotor's
//! equation of motion, linearised (derived here). Margins of the derived gains, roll, pitch and yaw, measured through this
//! step: 13 dB, 63 deg or more with the loop alone (`tests/margins.rs`).

pub use super::inertia::Inertia;

use super::inertia::Tensor;
use crate::error::{ConfigError, Part, require_positive, require_within};
use crate::filter::{Biquad, BiquadState, LowPass, LowPassState};
use crate::frames::{Body, Vector};
use crate::pid;

/// Longest believable lead of the rotors' reaction in s. `T = Jr w/(2 Q)`: an 18 in rotor with 5e-4 kg m2 that hovers at
/// 250 rad/s and 0.15 N m has 0.4 s; five times that is a mistake.
const LONGEST_REACTION_LEAD_S: f32 = 2.0;

/// One axis.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Axis {
    /// Crossover of the loop, and so its gain, in rad/s; above 0.
    pub crossover_rad_s: f32,
    /// Integral time in s; above 0.
    pub integral_time_s: f32,
    /// Derivative time in s, at least 0; cancels a rotor lag of `derivative_time_s (1 + 1/derivative_filter_ratio)`.
    pub derivative_time_s: f32,
    /// Largest angular acceleration asked for, in rad/s2; above 0.
    pub acceleration_limit_rad_s2: f32,
}

/// What the rate loop is built from.
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
    /// Cut-off of the second-order low-pass on the gyro in Hz; below half the tick rate.
    pub gyro_cutoff_hz: f32,
    /// Inertia of the craft.
    pub inertia: Inertia,
    /// Adds the gyroscopic torque w x (J w).
    pub gyroscopic: bool,
    /// How far in s the reaction of the rotors' acceleration makes yaw torque lead their drag torque, 0 to 2; 0 for rotors
    /// without inertia.
    pub reaction_time_constant_s: f32,
}

/// What the rate loop is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct SetPoint {
    /// Body rate in rad/s.
    pub rate_rad_s: Vector<Body>,
    /// How that rate changes, in rad/s2. It also cancels what the derivative on the measurement would take off.
    pub setpoint_derivative_rad_s2: Vector<Body>,
    /// Angular acceleration commanded of the rotors ahead of the feedback, in rad/s2. With a rotor lag tau it is
    /// slope + tau d(slope)/dt.
    pub feed_forward_rad_s2: Vector<Body>,
}

/// The rate loop, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateController {
    axes: [pid::Pid; 3],
    derivative_gain: Vector<Body>,
    gyro: Biquad,
    inertia: Tensor,
    inverse: Tensor,
    gyroscopic: bool,
    reaction: Option<LowPass>,
    period_s: f32,
}

/// State of the rate loop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    axes: [pid::State; 3],
    gyro: [BiquadState; 3],
    reaction: LowPassState,
    /// What the last step asked for, in N m and in rad/s2.
    asked_nm: Vector<Body>,
    asked_rad_s2: Vector<Body>,
}

impl State {
    /// No integral, filters at rest.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The filtered body rate of the last step in rad/s.
    #[must_use]
    pub const fn rate_rad_s(&self) -> Vector<Body> {
        let [x, y, z] = &self.gyro;
        Vector::new(x.output(), y.output(), z.output())
    }

    /// The torque of the last step in N m.
    #[must_use]
    pub const fn asked_nm(&self) -> Vector<Body> {
        self.asked_nm
    }

    /// The integral parts in rad/s2.
    #[must_use]
    pub fn integral_rad_s2(&self) -> Vector<Body> {
        let [x, y, z] = &self.axes;
        Vector::new(x.integral(), y.integral(), z.integral())
    }

    /// Forgets the integrals, keeps the filters.
    pub fn release(&mut self) {
        self.axes = [pid::State::new(); 3];
        self.reaction = LowPassState::default();
        self.asked_nm = Vector::ZERO;
        self.asked_rad_s2 = Vector::ZERO;
    }
}

impl RateController {
    /// Folds the gains for a period in s.
    ///
    /// ```
    /// use aplomb::{control::rate::{Axis, Config, Inertia, RateController, SetPoint, State}, frames::Vector};
    /// let axis = Axis {
    ///     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// };
    /// let config = Config {
    ///     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis },
    ///     derivative_filter_ratio: 8.0, gyro_cutoff_hz: 100.0,
    ///     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// };
    /// let turning = RateController::new(&config, 1e-3)?;
    /// let mistaken = Config { pitch: Axis { integral_time_s: 0.0, ..axis }, ..config };
    /// let refused = RateController::new(&mistaken, 1e-3).unwrap_err();
    /// assert_eq!(refused.to_string(), "pitch.integral_time_s must be greater than 0");
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite, not positive or out of range, with its part `roll`, `pitch`, `yaw` or
    /// `inertia`; `inertia` itself when it is not positive definite or breaks the triangle rule of a rigid body (no moment
    /// above the sum of the other two).
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
        require_within(
            "reaction_time_constant_s",
            config.reaction_time_constant_s,
            0.0,
            LONGEST_REACTION_LEAD_S,
        )?;
        let (inertia, inverse) = config.inertia.tensors()?;
        let gain = |axis: &Axis| axis.crossover_rad_s * axis.derivative_time_s;
        Ok(Self {
            axes: [
                axis(&config.roll).map_err(|error| error.within(Part::Roll))?,
                axis(&config.pitch).map_err(|error| error.within(Part::Pitch))?,
                axis(&config.yaw).map_err(|error| error.within(Part::Yaw))?,
            ],
            derivative_gain: Vector::new(gain(&config.roll), gain(&config.pitch), gain(&config.yaw)),
            gyro: Biquad::low_pass(config.gyro_cutoff_hz, period_s)
                .map_err(|error| ConfigError::new("gyro_cutoff_hz", error.problem))?,
            inertia,
            inverse,
            gyroscopic: config.gyroscopic,
            reaction: if config.reaction_time_constant_s > 0.0 {
                Some(LowPass::from_time_constant(config.reaction_time_constant_s, period_s)?)
            } else {
                None
            },
            period_s,
        })
    }

    /// Delay of a slow signal through the low-pass on the gyro, in s.
    #[must_use]
    pub const fn gyro_delay_s(&self) -> f32 {
        self.gyro.delay_s()
    }

    /// The torque in N m for a set-point and a gyro sample in rad/s. Call [`RateController::achieved`] afterwards. Samples
    /// that are not finite hold the last rate; a set-point that is not finite holds the last torque of its axis.
    ///
    /// ```
    /// # use aplomb::{control::rate::{Axis, Config, Inertia, RateController, SetPoint, State}, frames::Vector};
    /// # let axis = Axis {
    /// #     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// # };
    /// # let config = Config {
    /// #     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis },
    /// #     derivative_filter_ratio: 8.0, gyro_cutoff_hz: 100.0,
    /// #     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// # };
    /// # let turning = RateController::new(&config, 1e-3)?;
    /// let setpoint = SetPoint { rate_rad_s: Vector::new(1.0, 0.0, 0.0), ..SetPoint::default() };
    /// let torque_nm = turning.step(&mut State::new(), &setpoint, Vector::ZERO);
    /// // 30/s times 1 rad/s is 30 rad/s2; times 0.011 kg m2.
    /// assert!((torque_nm.x() - 0.33).abs() < 1e-6 && torque_nm.y().abs() < 1e-20);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline]
    #[must_use]
    pub fn step(&self, state: &mut State, setpoint: &SetPoint, gyro_rad_s: Vector<Body>) -> Vector<Body> {
        let [gx, gy, gz] = gyro_rad_s.to_array();
        let [fx, fy, fz] = &mut state.gyro;
        let (wx, wy, wz) = (self.gyro.step(fx, gx), self.gyro.step(fy, gy), self.gyro.step(fz, gz));
        let forward =
            setpoint.feed_forward_rad_s2 + setpoint.setpoint_derivative_rad_s2.scale(self.derivative_gain);
        let [rx, ry, rz] = setpoint.rate_rad_s.to_array();
        let [ax, ay, az] = &self.axes;
        let [sx, sy, sz] = &mut state.axes;
        state.asked_rad_s2 = Vector::new(
            ax.step(sx, rx, wx, forward.x()),
            ay.step(sy, ry, wy, forward.y()),
            az.step(sz, rz, wz, forward.z()),
        );
        let torque = self.inertia.times(state.asked_rad_s2) + self.gyroscopic_nm(Vector::new(wx, wy, wz));
        let yaw_nm = match &self.reaction {
            Some(lag) => lag.step(&mut state.reaction, torque.z()),
            None => torque.z(),
        };
        state.asked_nm = Vector::new(torque.x(), torque.y(), yaw_nm);
        state.asked_nm
    }

    /// Tells the integrals which torque in N m was achieved: they grow by the error and are led back by what the rotors were
    /// short of the demand. Without this call they stand still; a torque that is not finite counts as achieved in full.
    ///
    /// ```
    /// # use aplomb::{control::rate::{Axis, Config, Inertia, RateController, SetPoint, State}, frames::Vector};
    /// # let axis = Axis {
    /// #     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// # };
    /// # let config = Config {
    /// #     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis },
    /// #     derivative_filter_ratio: 8.0, gyro_cutoff_hz: 100.0,
    /// #     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// # };
    /// # let turning = RateController::new(&config, 1e-3)?;
    /// let setpoint = SetPoint { rate_rad_s: Vector::new(0.1, 0.1, 0.0), ..SetPoint::default() };
    /// let mut state = State::new();
    /// let asked = turning.step(&mut state, &setpoint, Vector::ZERO);
    /// // Roll is given in full: K h/Ti e = 30 * 1e-3/0.2 * 0.1. Of pitch nothing is: its integral is led back.
    /// turning.achieved(&mut state, Vector::new(asked.x(), 0.0, 0.0));
    /// assert!((state.integral_rad_s2().x() - 0.015).abs() < 1e-6 && state.integral_rad_s2().y() < 0.0);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline]
    pub fn achieved(&self, state: &mut State, torque_nm: Vector<Body>) {
        // Gyroscopic torque and reaction lag act on what is asked and on what is given alike: the difference is left.
        let short = self.inverse.times(torque_nm - state.asked_nm);
        let [x, y, z] = (state.asked_rad_s2 + short).to_array();
        let [ax, ay, az] = &self.axes;
        let [sx, sy, sz] = &mut state.axes;
        ax.achieved(sx, x);
        ay.achieved(sy, y);
        az.achieved(sz, z);
    }

    /// Moves the set-point on by one period: the rate along its slope.
    ///
    /// ```
    /// # use aplomb::{control::rate::{Axis, Config, Inertia, RateController, SetPoint, State}, frames::Vector};
    /// # let axis = Axis {
    /// #     crossover_rad_s: 30.0, integral_time_s: 0.2, derivative_time_s: 0.035, acceleration_limit_rad_s2: 200.0,
    /// # };
    /// # let config = Config {
    /// #     roll: axis, pitch: axis, yaw: Axis { crossover_rad_s: 10.0, ..axis },
    /// #     derivative_filter_ratio: 8.0, gyro_cutoff_hz: 100.0,
    /// #     inertia: Inertia::diagonal(0.011, 0.012, 0.021), gyroscopic: true, reaction_time_constant_s: 0.0,
    /// # };
    /// # let turning = RateController::new(&config, 1e-3)?;
    /// let mut setpoint = SetPoint { setpoint_derivative_rad_s2: Vector::new(5.0, 0.0, 0.0), ..SetPoint::default() };
    /// turning.advance(&mut setpoint);
    /// assert!((setpoint.rate_rad_s.x() - 0.005).abs() < 1e-9);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline]
    pub fn advance(&self, setpoint: &mut SetPoint) {
        setpoint.rate_rad_s += setpoint.setpoint_derivative_rad_s2 * self.period_s;
    }

    #[inline]
    fn gyroscopic_nm(&self, rate_rad_s: Vector<Body>) -> Vector<Body> {
        if self.gyroscopic { rate_rad_s.cross(self.inertia.times(rate_rad_s)) } else { Vector::ZERO }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;

    fn config(reaction_time_constant_s: f32) -> Config {
        let axis = Axis {
            crossover_rad_s: 30.0,
            integral_time_s: 0.2,
            derivative_time_s: 0.03,
            acceleration_limit_rad_s2: 200.0,
        };
        Config {
            roll: axis,
            pitch: axis,
            yaw: axis,
            derivative_filter_ratio: 8.0,
            gyro_cutoff_hz: 100.0,
            inertia: Inertia::diagonal(0.01, 0.01, 0.02),
            gyroscopic: true,
            reaction_time_constant_s,
        }
    }

    /// Torques over time for a step of 0.5 rad/s on every axis with a craft held still, all of it achieved.
    fn torques(reaction_time_constant_s: f32) -> std::vec::Vec<[f32; 3]> {
        let turning = RateController::new(&config(reaction_time_constant_s), 1e-3).unwrap();
        let mut state = State::new();
        let setpoint = SetPoint { rate_rad_s: Vector::new(0.5, 0.5, 0.5), ..SetPoint::default() };
        (0..1000)
            .map(|_| {
                let torque = turning.step(&mut state, &setpoint, Vector::ZERO);
                turning.achieved(&mut state, torque);
                torque.to_array()
            })
            .collect()
    }

    #[test]
    fn yaw_torque_is_lagged_by_the_reaction_lead_and_nothing_else_is() {
        let (bare, lagged) = (torques(0.0), torques(0.27));
        // y += (1 - exp(-h/T)) (x - y) on what the bare loop asks for.
        let gain = 1.0 - (-1e-3f32 / 0.27).exp();
        let mut y = 0.0f32;
        for (bare, lagged) in bare.iter().zip(&lagged) {
            y += gain * (bare[2] - y);
            assert!((lagged[2] - y).abs() < 1e-6, "{} {y}", lagged[2]);
            assert_eq!(bare[..2], lagged[..2]);
        }
        // The first torque is the gain's share of 30 * 0.5 rad/s2 times 0.02 kg m2; the twin without lead has it all.
        assert!((lagged[0][2] - gain * 0.3).abs() < 1e-6 && (bare[0][2] - 0.3).abs() < 1e-6);
    }

    #[test]
    fn reaction_lag_is_not_taken_for_saturation() {
        // Torque that the lag holds back is no torque that the rotors failed to give: the yaw integral grows as the others'.
        let turning = RateController::new(&config(0.27), 1e-3).unwrap();
        let setpoint = SetPoint { rate_rad_s: Vector::new(0.1, 0.1, 0.1), ..SetPoint::default() };
        let grown = |given: fn(Vector<Body>) -> Vector<Body>| {
            let mut state = State::new();
            for _ in 0..100 {
                let torque = turning.step(&mut state, &setpoint, Vector::ZERO);
                turning.achieved(&mut state, given(torque));
            }
            state.integral_rad_s2()
        };
        let full = grown(|torque| torque);
        // K h/Ti e a tick: 30 * 0.1/0.2 = 15 rad/s3.
        assert!((full.x() - 1.5).abs() < 1e-3 && (full.z() - full.x()).abs() < 1e-3, "{full:?}");
        // Twin: rotors that give no yaw torque at all.
        let short = grown(|torque| Vector::new(torque.x(), torque.y(), 0.0));
        assert!((short.x() - full.x()).abs() < 1e-6 && short.z() < 0.9 * full.z(), "{short:?}");
    }

    #[test]
    fn gyroscopic_torque_is_added_and_its_twin_asks_for_none() {
        // w x J w = (w_y w_z (J_z - J_y), w_z w_x (J_x - J_z), w_x w_y (J_y - J_x)); the set-point is the rate itself.
        let rate_rad_s = Vector::new(2.0, -1.0, 3.0);
        let torque = |gyroscopic| {
            let turning = RateController::new(&Config { gyroscopic, ..config(0.0) }, 1e-3).unwrap();
            let mut state = State::new();
            let setpoint = SetPoint { rate_rad_s, ..SetPoint::default() };
            let mut last = Vector::ZERO;
            for _ in 0..500 {
                last = turning.step(&mut state, &setpoint, rate_rad_s);
            }
            last
        };
        let expected = Vector::<Body>::new(-3.0 * 0.01, 6.0 * -0.01, 0.0);
        assert!((torque(true) - expected).norm_squared() < 1e-8, "{:?}", torque(true));
        assert!(torque(false).norm_squared() < 1e-8);
    }
}
