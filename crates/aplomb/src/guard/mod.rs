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
//! `cut_motors` wins in every state. Motors never start by themselves: after power-up and after every stop the arm
//! command must first be seen off.

mod arming;

pub use arming::Refusals;

use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::math::Math;
use crate::{Command, Demand, Sticks, VerticalDemand, estimate};

/// What the guard is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Largest tilt in rad at which the motors may be armed.
    pub arming_tilt_rad: f32,
    /// Largest body rate in rad/s at which the motors may be armed.
    pub arming_rate_rad_s: f32,
    /// Stick deflection, 0 to 1, below which a stick counts as centred for arming.
    pub arming_stick: f32,
    /// Age in s up to which the last inertial sample is flown on; older ones stop the motors.
    pub imu_hold_s: f32,
    /// Age in s of a command from which the link counts as lost: place and height are held.
    pub link_hold_s: f32,
    /// Age in s of a command from which the craft lands; above `link_hold_s`.
    pub link_land_s: f32,
    /// Battery voltage in V below which the craft lands; 0 switches this off.
    pub low_battery_v: f32,
    /// How long in s the voltage must stay below.
    pub low_battery_s: f32,
    /// Tilt in rad that counts as tipped over when the craft does not move.
    pub tip_over_tilt_rad: f32,
    /// How long in s it must stay so.
    pub tip_over_s: f32,
    /// Share of the weight, 0 to 1: on the ground the thrust falls below it when asked to descend.
    pub landed_thrust_share: f32,
    /// Climb in m/s, either way, below which the craft counts as at rest.
    pub landed_climb_m_s: f32,
    /// How long in s both must hold.
    pub landed_s: f32,
}

/// Why the guard lands or stops.
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
        still_ticks: u32,
    },
    /// Coming down.
    Landing {
        /// Why.
        reason: Reason,
        /// Ticks in a row that looked like standing on the ground.
        still_ticks: u32,
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
pub struct Verdict {
    /// The demand to fly.
    pub demand: Demand,
    /// What the motors may do.
    pub motors: Motors,
    /// The loops must start afresh on this tick.
    pub fresh: bool,
}

/// What the guard judges by, apart from the command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Situation<'a> {
    /// The estimate.
    pub motion: &'a estimate::State,
    /// Age in ticks of the freshest inertial sample that is a number.
    pub imu_age_ticks: u16,
    /// Filtered battery voltage in V, if it is measured.
    pub voltage_v: Option<f32>,
    /// Total thrust in N given on the last tick.
    pub thrust_n: f32,
}

/// The guard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guard {
    config: Config,
    cos_arming: f32,
    cos_tip_over: f32,
    landed_thrust_n: f32,
    imu_hold: u16,
    link_hold: u16,
    link_land: u16,
    low_battery: u32,
    tip_over: u32,
    landed: u32,
}

/// State of the guard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    phase: Phase,
    /// The arm command has been seen off since power-up or the last stop.
    arm_seen_off: bool,
    low_battery_ticks: u32,
    tipped_ticks: u32,
    refusals: Refusals,
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

    /// What stood against arming on the last tick that asked for it.
    #[must_use]
    pub const fn refusals(&self) -> Refusals {
        self.refusals
    }
}

/// A time as a number of ticks, rounded down, at least 1.
fn ticks(time_s: f32, period_s: f32) -> u32 {
    ((time_s / period_s) as u32).max(1)
}

impl Guard {
    /// Checks and folds the configuration for a tick in s and the weight in N.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive, out of range or in the wrong order.
    pub fn new<M: Math>(config: &Config, weight_n: f32, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        require_positive("weight_n", weight_n)?;
        for (field, angle) in
            [("arming_tilt_rad", config.arming_tilt_rad), ("tip_over_tilt_rad", config.tip_over_tilt_rad)]
        {
            require_positive(field, angle)?;
            require_within(field, angle, 0.0, 3.0)?;
        }
        require_positive("arming_rate_rad_s", config.arming_rate_rad_s)?;
        require_positive("arming_stick", config.arming_stick)?;
        require_within("arming_stick", config.arming_stick, 0.0, 1.0)?;
        require_not_negative("imu_hold_s", config.imu_hold_s)?;
        require_positive("link_hold_s", config.link_hold_s)?;
        require_positive("link_land_s", config.link_land_s)?;
        if config.link_hold_s >= config.link_land_s {
            return Err(ConfigError::new("link_hold_s", Problem::WrongOrder));
        }
        // Ages are 16-bit ticks.
        require_within("link_land_s", config.link_land_s, 0.0, 60_000.0 * period_s)?;
        require_within("imu_hold_s", config.imu_hold_s, 0.0, 60_000.0 * period_s)?;
        require_not_negative("low_battery_v", config.low_battery_v)?;
        require_positive("low_battery_s", config.low_battery_s)?;
        require_positive("tip_over_s", config.tip_over_s)?;
        require_positive("landed_thrust_share", config.landed_thrust_share)?;
        require_within("landed_thrust_share", config.landed_thrust_share, 0.0, 1.0)?;
        require_positive("landed_climb_m_s", config.landed_climb_m_s)?;
        require_positive("landed_s", config.landed_s)?;
        let age = |time_s: f32| (time_s / period_s) as u16;
        Ok(Self {
            config: *config,
            cos_arming: M::cos(config.arming_tilt_rad),
            cos_tip_over: M::cos(config.tip_over_tilt_rad),
            landed_thrust_n: config.landed_thrust_share * weight_n,
            imu_hold: age(config.imu_hold_s),
            link_hold: age(config.link_hold_s),
            link_land: age(config.link_land_s),
            low_battery: ticks(config.low_battery_s, period_s),
            tip_over: ticks(config.tip_over_s, period_s),
            landed: ticks(config.landed_s, period_s),
        })
    }

    /// One tick.
    #[must_use]
    pub fn step(&self, state: &mut State, command: &Command, situation: &Situation<'_>) -> Verdict {
        let was = state.phase;
        self.count(state, situation);
        if !command.arm {
            state.arm_seen_off = true;
        }
        state.phase = self.next(state, command, situation);
        if matches!(state.phase, Phase::Stopped { .. }) && !matches!(was, Phase::Stopped { .. }) {
            state.arm_seen_off = !command.arm;
        }
        let motors = match state.phase {
            Phase::Disarmed | Phase::Stopped { .. } => Motors::Stopped,
            Phase::OnGround => Motors::Idle,
            Phase::Flying { .. } | Phase::Landing { .. } => Motors::Running,
        };
        let flew = was.is_flying();
        Verdict {
            demand: self.demand(state.phase, command),
            motors,
            fresh: motors == Motors::Running && !flew,
        }
    }

    /// The phase after this tick.
    fn next(&self, state: &mut State, command: &Command, situation: &Situation<'_>) -> Phase {
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
            Phase::OnGround => self.after_ground(command, situation),
            Phase::Flying { still_ticks } => self.after_flying(state, still_ticks, command, situation),
            Phase::Landing { reason, still_ticks } => {
                self.after_landing(state, reason, still_ticks, command, situation)
            }
            Phase::Stopped { .. } if !command.arm => Phase::Disarmed,
            Phase::Stopped { reason } => stopped(reason),
        }
    }

    fn after_disarmed(&self, state: &mut State, command: &Command, situation: &Situation<'_>) -> Phase {
        if !command.arm {
            state.refusals = Refusals::default();
            return Phase::Disarmed;
        }
        state.refusals = self.refusals(state, command, situation);
        if state.refusals.any() { Phase::Disarmed } else { Phase::OnGround }
    }

    fn after_ground(&self, command: &Command, situation: &Situation<'_>) -> Phase {
        if !command.arm || command.age_ticks > self.link_land {
            Phase::Disarmed
        } else if command.age_ticks <= self.link_hold && asks_to_rise(&command.demand, situation) {
            Phase::Flying { still_ticks: 0 }
        } else {
            Phase::OnGround
        }
    }

    fn after_flying(
        &self,
        state: &State,
        still_ticks: u32,
        command: &Command,
        situation: &Situation<'_>,
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
        still_ticks: u32,
        command: &Command,
        situation: &Situation<'_>,
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
        if state.low_battery_ticks >= self.low_battery {
            Some(Reason::BatteryLow)
        } else if command.age_ticks > self.link_land {
            Some(Reason::LinkLost)
        } else if !command.arm || matches!(command.demand, Demand::Land) {
            Some(Reason::Asked)
        } else {
            None
        }
    }

    /// The demand to fly in a phase: what was commanded, unless the link is lost or the command is no number.
    fn demand(&self, phase: Phase, command: &Command) -> Demand {
        if matches!(phase, Phase::Landing { .. }) {
            Demand::Land
        } else if command.age_ticks > self.link_hold || !is_finite(&command.demand) {
            Demand::Sticks(Sticks::CENTRED)
        } else {
            command.demand
        }
    }

    /// Ticks in a row that looked like standing on the ground.
    fn still(&self, ticks: u32, situation: &Situation<'_>) -> u32 {
        let still = situation.thrust_n < self.landed_thrust_n
            && situation.motion.velocity_m_s.z().abs() < self.config.landed_climb_m_s;
        if still { ticks.saturating_add(1) } else { 0 }
    }

    fn count(&self, state: &mut State, situation: &Situation<'_>) {
        let low = situation.voltage_v.is_some_and(|voltage| voltage < self.config.low_battery_v);
        state.low_battery_ticks = if low { state.low_battery_ticks.saturating_add(1) } else { 0 };
        let motion = situation.motion;
        // Upset in flight the craft falls or turns; lying on its back it does neither.
        let at_rest = motion.velocity_m_s.z().abs() < self.config.landed_climb_m_s
            && motion.rate_rad_s.norm_squared() < 0.25;
        let tipped = motion.attitude.cos_tilt() < self.cos_tip_over && at_rest;
        state.tipped_ticks = if tipped { state.tipped_ticks.saturating_add(1) } else { 0 };
    }
}

/// A height this far (m) above the present one, or a climb above this (m/s), asks to take off.
const RISE: f32 = 0.2;
/// Stick deflection that asks to take off.
const RISE_STICK: f32 = 0.2;

fn asks_to_rise(demand: &Demand, situation: &Situation<'_>) -> bool {
    let vertical = |vertical: &VerticalDemand| match vertical {
        VerticalDemand::Height(height) => *height > RISE - situation.motion.position_m.z(),
        VerticalDemand::Climb(climb) => *climb > RISE,
    };
    match demand {
        Demand::Rates { thrust_n, .. } => *thrust_n > 0.0,
        Demand::Tilt { vertical: v, .. }
        | Demand::Velocity { vertical: v, .. }
        | Demand::Position { vertical: v, .. } => vertical(v),
        Demand::Sticks(sticks) => sticks.climb > RISE_STICK,
        Demand::Land => false,
    }
}

fn asks_to_descend(demand: &Demand) -> bool {
    match demand {
        Demand::Tilt { vertical, .. }
        | Demand::Velocity { vertical, .. }
        | Demand::Position { vertical, .. } => {
            matches!(vertical, VerticalDemand::Climb(climb) if *climb < -RISE)
        }
        Demand::Sticks(sticks) => sticks.climb < -RISE_STICK,
        Demand::Rates { .. } | Demand::Land => false,
    }
}

fn is_finite(demand: &Demand) -> bool {
    use crate::HeadingDemand;
    let heading = |heading: &HeadingDemand| match heading {
        HeadingDemand::Hold(heading) => (heading.north() + heading.east()).is_finite(),
        HeadingDemand::Rate(rate) => rate.is_finite(),
    };
    let vertical = |vertical: &VerticalDemand| match vertical {
        VerticalDemand::Height(x) | VerticalDemand::Climb(x) => x.is_finite(),
    };
    match demand {
        Demand::Rates { rate_rad_s, thrust_n } => rate_rad_s.is_finite() && thrust_n.is_finite(),
        Demand::Tilt { lean, heading: h, vertical: v } => {
            (lean.forward + lean.right).is_finite() && heading(h) && vertical(v)
        }
        Demand::Velocity { velocity_m_s: x, heading: h, vertical: v }
        | Demand::Position { position_m: x, heading: h, vertical: v } => {
            (x.x() + x.y()).is_finite() && heading(h) && vertical(v)
        }
        // A stick that is no number counts as centred.
        Demand::Sticks(_) | Demand::Land => true,
    }
}

#[cfg(test)]
mod tests;
