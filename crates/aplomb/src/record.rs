//! The record of one tick, of fixed size. [`crate::recorder`] keeps a ring of them.

use crate::flight::attitude_stage::AttitudeOutput;
use crate::flight::outer_loops::OuterOutput;
use crate::frames::{Attitude, Body, Vector};
use crate::guard::{ArmingBlockers, Phase};
use crate::mix::Wrench;
use crate::{Achieved, Demand, MotorCommand, Rotors, Sticks, estimate};

/// The signals of one tick, from the estimate to the motor commands, in the order in which the tick computes
/// them.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Record {
    /// Number of the tick; starts at 0 and wraps.
    pub tick: u32,
    /// The estimate.
    pub estimate: estimate::State,
    /// Phase of the guard.
    pub phase: Phase,
    /// Conditions that blocked arming.
    pub arming_blockers: ArmingBlockers,
    /// The demand after guard and sticks.
    pub demand: Demand,
    /// Output of the outer loops on their last tick.
    pub outer: OuterOutput,
    /// Output of the attitude stage, with the rate set-point of this tick.
    pub attitude: AttitudeOutput,
    /// Body rate in rad/s after the gyro filters.
    pub rate_rad_s: Vector<Body>,
    /// Torque and thrust demanded of the mixer.
    pub wrench: Wrench,
    /// Torque, thrust and acceleration after all limits.
    pub achieved: Achieved,
    /// Thrust allocated to each rotor in N.
    pub thrust_n: Rotors<f32>,
    /// Commands to the motors.
    pub commands: Rotors<MotorCommand>,
}

impl Record {
    /// Before the first tick.
    #[must_use]
    pub fn new() -> Self {
        Self {
            tick: 0,
            estimate: estimate::State::default(),
            phase: Phase::Disarmed,
            arming_blockers: ArmingBlockers::default(),
            demand: Demand::Sticks(Sticks::CENTRED),
            outer: OuterOutput::HOVER,
            attitude: AttitudeOutput::rates(Vector::ZERO, 0.0, Attitude::LEVEL),
            rate_rad_s: Vector::ZERO,
            wrench: Wrench::default(),
            achieved: Achieved::default(),
            thrust_n: Rotors::default(),
            commands: Rotors::default(),
        }
    }
}

impl Default for Record {
    fn default() -> Self {
        Self::new()
    }
}
