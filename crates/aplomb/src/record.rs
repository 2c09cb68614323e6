//! The record of one tick, of fixed size. [`crate::recorder`] keeps a ring of them.

use crate::control::rate;
use crate::frames::{Attitude, Vector, World};
use crate::guard::{ArmingBlockers, Phase};
use crate::mix::Wrench;
use crate::{Achieved, Demand, MotorCommand, Rotors, estimate};

/// Everything about one tick that is worth knowing afterwards.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Record {
    /// Number of the tick; starts at 0 and wraps.
    pub tick: u32,
    /// What the craft was doing.
    pub phase: Phase,
    /// What stood against arming.
    pub arming_blockers: ArmingBlockers,
    /// The estimate.
    pub estimate: estimate::State,
    /// The demand after guard and sticks.
    pub demand: Demand,
    /// Place asked for in m from home, while a place is held.
    pub position_setpoint_m: Option<Vector<World>>,
    /// Height asked for in m above home, while a height is held.
    pub height_setpoint_m: Option<f32>,
    /// Velocity asked for in m/s; the horizontal part only while velocity or place is controlled.
    pub velocity_setpoint_m_s: Vector<World>,
    /// Acceleration in m/s2 that is fed forward against the estimated wind.
    pub wind_feed_forward_m_s2: Vector<World>,
    /// Attitude asked for.
    pub attitude_setpoint: Attitude,
    /// Attitude of the reference on its way there.
    pub attitude_reference: Attitude,
    /// Body rate asked for, with its feed-forward.
    pub rate_setpoint: rate::SetPoint,
    /// Torque and thrust asked of the mixer.
    pub wrench: Wrench,
    /// What the mixer and the limits left of it.
    pub achieved: Achieved,
    /// Thrust of each rotor in N.
    pub thrust_n: Rotors<f32>,
    /// Commands to the motors.
    pub commands: Rotors<MotorCommand>,
    /// The place cannot be held: at the tilt limit while the distance grows.
    pub cannot_hold_position: bool,
}

impl Record {
    /// Before the first tick.
    #[must_use]
    pub fn new() -> Self {
        Self {
            tick: 0,
            phase: Phase::Disarmed,
            arming_blockers: ArmingBlockers::default(),
            estimate: estimate::State::default(),
            demand: Demand::Land,
            position_setpoint_m: None,
            height_setpoint_m: None,
            velocity_setpoint_m_s: Vector::ZERO,
            wind_feed_forward_m_s2: Vector::ZERO,
            attitude_setpoint: Attitude::LEVEL,
            attitude_reference: Attitude::LEVEL,
            rate_setpoint: rate::SetPoint::default(),
            wrench: Wrench::default(),
            achieved: Achieved::default(),
            thrust_n: Rotors::default(),
            commands: Rotors::default(),
            cannot_hold_position: false,
        }
    }
}

impl Default for Record {
    fn default() -> Self {
        Self::new()
    }
}
