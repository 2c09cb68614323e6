//! The guard: arming, stale or impossible inputs, a lost link, a low battery, tipping over, landing. It is the only
//! place that may override a command.
//!
//! ```text
//!              arm, nothing refuses               asked to rise
//!   Disarmed ------------------------> OnGround ------------------> Flying
//!      ^                                 |  ^                        |  ^
//!      |             arm off             |  |  pushed down, at rest  |  |  link back, or no
//!      |<--------------------------------'  '------------------------'  |  longer asked to land
//!      |                                                                |
//!      |   arm off      Stopped <------------------------ Landing <----'  Land, arm off, link lost, battery low
//!      '---------------    ^     on the ground               |
//!                          '---- cut, tipped over, no inertial sample: from every state but Disarmed
//! ```
//!
//! `cut_motors` wins in every state. Motors never start by themselves: after power-up, after every stop, after a link lost
//! on the ground and after a cut the arm command must first be seen off. A low battery keeps an armed craft on the ground.
//!
//! Why the craft lands or was stopped stands in its [`Phase`]; why it holds place and height in place of the demand in
//! [`State::held`]; what stands against arming in [`ArmingBlockers`]. Each transition, what must not cause it, and ten minutes of
//! rough flight without a false alarm are tested beside the code.

mod arming;
mod battery;
mod config;
mod demand;

pub use arming::ArmingBlockers;
pub use config::Config;

use crate::error::{ConfigError, require_not_negative, require_positive};
use crate::math::Math;
use crate::{Command, Demand, Sticks, estimate};
use battery::Battery;
use demand::{asks_to_descend, asks_to_rise, is_finite};

/// Why the guard lands, stops or flies something else than the command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[non_exhaustive]
pub enum Reason {
    /// The command said so: land, or arm off in flight.
    Asked,
    /// No command arrived for too long.
    LinkLost,
    /// The battery is low.
    BatteryLow,
    /// The motors were cut.
    Cut,
    /// Lying on the side or the back.
    TippedOver,
    /// No inertial sample arrived for too long.
    ImuLost,
    /// The demand holds a value that is not finite.
    NotANumber,
}

/// What the craft is doing, with the state that belongs to it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Phase {
    /// Motors stopped.
    #[default]
    Disarmed,
    /// Armed, motors at their least, waiting to be asked to rise.
    OnGround,
    /// Flying as commanded.
    Flying {
        /// Ticks in a row that looked like standing on the ground.
        still_ticks: u16,
    },
    /// Coming down.
    Landing {
        /// Why.
        reason: Reason,
        /// Ticks in a row that looked like standing on the ground.
        still_ticks: u16,
    },
    /// Motors stopped until the arm command has been off.
    Stopped {
        /// Why.
        reason: Reason,
    },
}

impl Phase {
    /// The motors may turn.
    #[inline]
    #[must_use]
    pub const fn is_armed(self) -> bool {
        !matches!(self, Self::Disarmed | Self::Stopped { .. })
    }

    /// The motors follow the loops.
    #[inline]
    #[must_use]
    pub const fn is_flying(self) -> bool {
        matches!(self, Self::Flying { .. } | Self::Landing { .. })
    }
}

/// What the motors may do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Motors {
    /// Stand still.
    #[default]
    Stopped,
    /// Turn at the least command.
    Idle,
    /// Follow the loops.
    Running,
}

/// What the guard lets through.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct GuardDecision<'a> {
    /// The demand to fly.
    pub demand: &'a Demand,
    /// What the motors may do.
    pub motors: Motors,
    /// The loops must start afresh on this tick.
    pub reset_controllers: bool,
}

/// What the guard judges by, apart from the command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GuardInput<'a> {
    /// The estimate.
    pub motion: &'a estimate::State,
    /// Age in ticks of the freshest inertial sample that is a number.
    pub imu_age_ticks: u16,
    /// Filtered battery voltage in V, if it is measured.
    pub voltage_v: Option<f32>,
    /// Total thrust in N given on the last tick.
    pub thrust_n: f32,
}

/// What the guard must know of the craft besides its configuration.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GuardParameters {
    /// Weight in N; above 0.
    pub weight_n: f32,
    /// Battery voltage in V under load at which the pack is empty; at least 0.
    pub empty_v: f32,
    /// Descent in m/s when landing, as a positive number.
    pub landing_speed_m_s: f32,
}

/// The guard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guard {
    arming_rate_rad_s: f32,
    arming_stick: f32,
    landed_climb_m_s: f32,
    cos_arming: f32,
    cos_tip_over: f32,
    landed_thrust_n: f32,
    imu_hold: u16,
    link_hold_us: u32,
    link_land_us: u32,
    battery: Battery,
    tip_over: u16,
    landed: u16,
}

/// State of the guard.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    phase: Phase,
    /// The arm command has been seen off since power-up or the last stop.
    arm_seen_off: bool,
    battery: battery::State,
    tipped_ticks: u16,
    arming_blockers: ArmingBlockers,
    held: Option<Reason>,
}

impl State {
    /// Disarmed.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// In the air, motors running: for a restart in flight and for simulations that start there.
    #[must_use]
    pub fn in_flight() -> Self {
        Self { phase: Phase::Flying { still_ticks: 0 }, ..Self::default() }
    }

    /// What the craft is doing.
    #[must_use]
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// Why the last tick did not follow the demand, apart from landing and stopping, whose reason the phase holds: the link is
    /// late and place and height are held, the demand is no number and the same is done, or the battery is too low to take
    /// off.
    #[must_use]
    pub const fn held(&self) -> Option<Reason> {
        self.held
    }

    /// What stood against arming on the last tick that asked for it.
    #[must_use]
    pub const fn arming_blockers(&self) -> ArmingBlockers {
        self.arming_blockers
    }
}

/// A time as the nearest number of ticks, at least 1.
fn ticks(time_s: f32, period_s: f32) -> u16 {
    ((time_s / period_s + 0.5) as u16).max(1)
}

impl Guard {
    /// Checks and folds the configuration for a craft and a tick in s.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive, out of range or in the wrong order.
    ///
    /// ```
    /// use aplomb::{Libm, guard::{Config, GuardParameters, Guard}};
    /// let config = Config {
    ///     arming_tilt_rad: 0.26, arming_rate_rad_s: 0.35, arming_stick: 0.1, imu_hold_s: 0.04, link_hold_s: 3.0,
    ///     link_land_s: 0.5, low_battery_v: 13.0, low_battery_s: 3.0, tip_over_tilt_rad: 1.05, tip_over_s: 0.5,
    ///     landed_thrust_share: 0.5, landed_climb_m_s: 0.3, landed_s: 0.5,
    /// };
    /// let facts = GuardParameters { weight_n: 11.8, empty_v: 12.0, landing_speed_m_s: 0.7 };
    /// // Landing before holding makes no sense.
    /// assert_eq!(Guard::new::<Libm>(&config, &facts, 1e-3).unwrap_err().field, "link_hold_s");
    /// assert!(Guard::new::<Libm>(&Config { link_land_s: 6.0, ..config }, &facts, 1e-3).is_ok());
    /// ```
    pub fn new<M: Math>(
        config: &Config,
        facts: &GuardParameters,
        period_s: f32,
    ) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        require_positive("weight_n", facts.weight_n)?;
        require_not_negative("empty_v", facts.empty_v)?;
        require_positive("landing_speed_m_s", facts.landing_speed_m_s)?;
        config.check(period_s)?;
        let age_us = |time_s: f32| (time_s * 1e6 + 0.5) as u32;
        Ok(Self {
            arming_rate_rad_s: config.arming_rate_rad_s,
            arming_stick: config.arming_stick,
            landed_climb_m_s: config.landed_climb_m_s,
            cos_arming: M::cos(config.arming_tilt_rad),
            cos_tip_over: M::cos(config.tip_over_tilt_rad),
            landed_thrust_n: config.landed_thrust_share * facts.weight_n,
            imu_hold: (config.imu_hold_s / period_s + 0.5) as u16,
            link_hold_us: age_us(config.link_hold_s),
            link_land_us: age_us(config.link_land_s),
            battery: Battery::new(config, facts, period_s, ticks(config.low_battery_s, period_s)),
            tip_over: ticks(config.tip_over_s, period_s),
            landed: ticks(config.landed_s, period_s),
        })
    }

    /// One tick. Every input may be NaN: comparisons are written so that it refuses arming, keeps the demand from the loops
    /// and counts for neither a landing nor a tip-over.
    ///
    /// ```
    /// use aplomb::guard::{Config, GuardParameters, Guard, Motors, Phase, Reason, GuardInput, State};
    /// use aplomb::{Command, Demand, Libm, Sticks, estimate};
    /// let config = Config {
    ///     arming_tilt_rad: 0.26, arming_rate_rad_s: 0.35, arming_stick: 0.1, imu_hold_s: 0.04, link_hold_s: 0.5,
    ///     link_land_s: 3.0, low_battery_v: 13.0, low_battery_s: 3.0, tip_over_tilt_rad: 1.05, tip_over_s: 0.5,
    ///     landed_thrust_share: 0.7, landed_climb_m_s: 0.3, landed_s: 0.5,
    /// };
    /// let facts = GuardParameters { weight_n: 11.8, empty_v: 12.0, landing_speed_m_s: 0.7 };
    /// let guard = Guard::new::<Libm>(&config, &facts, 1e-3)?;
    /// let mut state = State::new();
    /// let motion = estimate::State { attitude_valid: true, ..estimate::State::default() };
    /// let seen = GuardInput { motion: &motion, imu_age_ticks: 0, voltage_v: Some(15.2), thrust_n: 11.8 };
    /// // Arm off, arm on with sticks centred, climb.
    /// assert_eq!(guard.step(&mut state, &Command::IDLE, &seen).motors, Motors::Stopped);
    /// let centred = Command::fly(Demand::Sticks(Sticks::CENTRED));
    /// assert_eq!(guard.step(&mut state, &centred, &seen).motors, Motors::Idle);
    /// let climb = Command::fly(Demand::Sticks(Sticks { climb: 0.6, ..Sticks::CENTRED }));
    /// assert_eq!(guard.step(&mut state, &climb, &seen).motors, Motors::Running);
    /// // 0.6 s without a command: place and height are held. 3.1 s: it lands.
    /// assert_eq!(guard.step(&mut state, &Command { age_us: 600_000, ..climb }, &seen).demand, &centred.demand);
    /// assert_eq!(state.held(), Some(Reason::LinkLost));
    /// assert_eq!(guard.step(&mut state, &Command { age_us: 3_100_000, ..climb }, &seen).demand, &Demand::Land);
    /// assert!(matches!(state.phase(), Phase::Landing { reason: Reason::LinkLost, .. }));
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step<'a>(
        &self,
        state: &mut State,
        command: &'a Command,
        situation: &GuardInput<'_>,
    ) -> GuardDecision<'a> {
        let was = state.phase;
        self.count(state, situation);
        if !command.arm {
            state.arm_seen_off = true;
        }
        state.phase = self.next(state, command, situation);
        if command.cut_motors || (was.is_armed() && !state.phase.is_armed()) {
            state.arm_seen_off = !command.arm;
        }
        let motors = match state.phase {
            Phase::Disarmed | Phase::Stopped { .. } => Motors::Stopped,
            Phase::OnGround => Motors::Idle,
            Phase::Flying { .. } | Phase::Landing { .. } => Motors::Running,
        };
        let flew = was.is_flying();
        let demand;
        (demand, state.held) = self.demand(state, command);
        GuardDecision { demand, motors, reset_controllers: motors == Motors::Running && !flew }
    }

    /// The phase after this tick.
    fn next(&self, state: &mut State, command: &Command, situation: &GuardInput<'_>) -> Phase {
        let stopped = |reason| Phase::Stopped { reason };
        if command.cut_motors {
            return match state.phase {
                Phase::Disarmed => Phase::Disarmed,
                Phase::Stopped { reason } => stopped(reason),
                _ => stopped(Reason::Cut),
            };
        }
        let turning = state.phase.is_armed();
        if turning && situation.imu_age_ticks > self.imu_hold {
            return stopped(Reason::ImuLost);
        }
        if turning && state.tipped_ticks >= self.tip_over {
            return stopped(Reason::TippedOver);
        }
        match state.phase {
            Phase::Disarmed => self.after_disarmed(state, command, situation),
            Phase::OnGround => self.after_ground(state, command, situation),
            Phase::Flying { still_ticks } => self.after_flying(state, still_ticks, command, situation),
            Phase::Landing { reason, still_ticks } => {
                self.after_landing(state, reason, still_ticks, command, situation)
            }
            Phase::Stopped { .. } if !command.arm => Phase::Disarmed,
            Phase::Stopped { reason } => stopped(reason),
        }
    }

    fn after_disarmed(&self, state: &mut State, command: &Command, situation: &GuardInput<'_>) -> Phase {
        if !command.arm {
            state.arming_blockers = ArmingBlockers::default();
            return Phase::Disarmed;
        }
        state.arming_blockers = self.arming_blockers(state, command, situation);
        if state.arming_blockers.any() { Phase::Disarmed } else { Phase::OnGround }
    }

    fn after_ground(&self, state: &State, command: &Command, situation: &GuardInput<'_>) -> Phase {
        let may_rise =
            command.age_us <= self.link_hold_us && !self.battery_low(state) && is_finite(&command.demand);
        if !command.arm || command.age_us > self.link_land_us {
            Phase::Disarmed
        } else if may_rise && asks_to_rise(&command.demand, situation) {
            Phase::Flying { still_ticks: 0 }
        } else {
            Phase::OnGround
        }
    }

    fn after_flying(
        &self,
        state: &State,
        still_ticks: u16,
        command: &Command,
        situation: &GuardInput<'_>,
    ) -> Phase {
        if let Some(reason) = self.must_land(state, command) {
            return Phase::Landing { reason, still_ticks: 0 };
        }
        let still_ticks = self.still(still_ticks, situation);
        if still_ticks >= self.landed && asks_to_descend(&command.demand) {
            Phase::OnGround
        } else {
            Phase::Flying { still_ticks }
        }
    }

    fn after_landing(
        &self,
        state: &State,
        reason: Reason,
        still_ticks: u16,
        command: &Command,
        situation: &GuardInput<'_>,
    ) -> Phase {
        let still_ticks = self.still(still_ticks, situation);
        if still_ticks >= self.landed {
            return Phase::Stopped { reason };
        }
        match self.must_land(state, command) {
            Some(reason) => Phase::Landing { reason, still_ticks },
            // A low battery does not recover because the load has gone.
            None if reason == Reason::BatteryLow => Phase::Landing { reason, still_ticks },
            None => Phase::Flying { still_ticks: 0 },
        }
    }

    /// Why the craft must come down now, gravest first.
    fn must_land(&self, state: &State, command: &Command) -> Option<Reason> {
        if self.battery_low(state) {
            Some(Reason::BatteryLow)
        } else if command.age_us > self.link_land_us {
            Some(Reason::LinkLost)
        } else if !command.arm || matches!(command.demand, Demand::Land) {
            Some(Reason::Asked)
        } else {
            None
        }
    }

    const fn battery_low(&self, state: &State) -> bool {
        self.battery.is_low(&state.battery)
    }

    /// The demand to fly in the phase reached, and why it is not the one commanded.
    fn demand<'a>(&self, state: &State, command: &'a Command) -> (&'a Demand, Option<Reason>) {
        let centred = &Demand::Sticks(Sticks::CENTRED);
        match state.phase {
            Phase::Landing { .. } => (&Demand::Land, None),
            Phase::OnGround if self.battery_low(state) => (centred, Some(Reason::BatteryLow)),
            _ if command.age_us > self.link_hold_us => (centred, Some(Reason::LinkLost)),
            _ if !is_finite(&command.demand) => (centred, Some(Reason::NotANumber)),
            _ => (&command.demand, None),
        }
    }

    /// Ticks in a row that looked like standing on the ground.
    fn still(&self, ticks: u16, situation: &GuardInput<'_>) -> u16 {
        let still = situation.thrust_n < self.landed_thrust_n
            && situation.motion.velocity_m_s.z().abs() < self.landed_climb_m_s;
        if still { ticks.saturating_add(1) } else { 0 }
    }

    fn count(&self, state: &mut State, situation: &GuardInput<'_>) {
        let motion = situation.motion;
        self.battery.watch(&mut state.battery, situation.voltage_v, motion);
        // Upset in flight the craft falls or turns; lying on its back it does neither.
        let tipped = motion.attitude.cos_tilt() < self.cos_tip_over
            && motion.velocity_m_s.z().abs() < self.landed_climb_m_s
            && motion.rate_rad_s.norm_squared() < 0.25;
        state.tipped_ticks = if tipped { state.tipped_ticks.saturating_add(1) } else { 0 };
    }
}

#[cfg(test)]
mod tests;
