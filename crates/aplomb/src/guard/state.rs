//! State of the guard: the phases, the data of each, and the transitions.

use super::{ArmingBlockers, battery};
use crate::Command;

/// Why the guard lands, stops the motors or replaces the demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Reason {
    /// The command: land, or arm off in flight.
    Commanded,
    /// The command is older than allowed.
    LinkLost,
    /// The battery is low.
    BatteryLow,
    /// `cut_motors` was commanded.
    Cut,
    /// The craft lies on its side or back.
    TippedOver,
    /// The inertial samples are older than allowed.
    ImuLost,
    /// The demand holds a value that is not finite.
    NotANumber,
}

/// Phase of a flight.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Phase {
    /// Motors stopped.
    #[default]
    Disarmed,
    /// Armed, motors at the idle command, until a demand to take off.
    OnGround,
    /// Flying as commanded.
    Flying,
    /// Descending to the ground.
    Landing {
        /// Why.
        reason: Reason,
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

    /// The motors follow the controllers.
    #[inline]
    #[must_use]
    pub const fn is_flying(self) -> bool {
        matches!(self, Self::Flying | Self::Landing { .. })
    }
}

/// State of a [`Guard`](super::Guard), to save and restore.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    pub(super) mode: Mode,
    pub(super) battery: battery::State,
    /// Ticks in a row that met the tip-over condition.
    pub(super) tipped_ticks: u32,
    pub(super) hold_reason: Option<Reason>,
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
        Self { mode: Mode::take_off(), ..Self::default() }
    }

    /// Phase of the flight.
    #[must_use]
    pub const fn phase(&self) -> Phase {
        match self.mode {
            Mode::Disarmed { .. } => Phase::Disarmed,
            Mode::OnGround => Phase::OnGround,
            Mode::Flying { .. } => Phase::Flying,
            Mode::Landing { reason, .. } => Phase::Landing { reason },
            Mode::Stopped { reason } => Phase::Stopped { reason },
        }
    }

    /// Why centred sticks replaced the demand on the last tick: link late, demand not finite, or battery too
    /// low to take off. The reasons of landing and stopping are in the [`Phase`].
    #[must_use]
    pub const fn hold_reason(&self) -> Option<Reason> {
        self.hold_reason
    }

    /// What blocked arming on the last tick on which it was commanded; none once armed.
    #[must_use]
    pub const fn arming_blockers(&self) -> ArmingBlockers {
        match self.mode {
            Mode::Disarmed { blockers, .. } => blockers,
            _ => ArmingBlockers::NONE,
        }
    }
}

/// A phase with its own data, which ends with the phase.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(super) enum Mode {
    Disarmed {
        /// The arm command was off at least once since power-up or the last stop.
        arm_seen_off: bool,
        blockers: ArmingBlockers,
    },
    OnGround,
    Flying {
        /// Ticks in a row that met the landed condition.
        landed_ticks: u32,
    },
    Landing {
        reason: Reason,
        /// Ticks in a row that met the landed condition.
        landed_ticks: u32,
    },
    Stopped {
        reason: Reason,
    },
}

impl Default for Mode {
    fn default() -> Self {
        Self::Disarmed { arm_seen_off: false, blockers: ArmingBlockers::NONE }
    }
}

/// The transitions, one function per arrow of the diagram in the [module](super) documentation.
impl Mode {
    /// Disarmed -> on ground.
    pub(super) const fn arm() -> Self {
        Self::OnGround
    }

    /// On ground or stopped -> disarmed. A commanded arm must first be off for one tick.
    pub(super) const fn disarm(command: &Command) -> Self {
        Self::Disarmed { arm_seen_off: !command.arm, blockers: ArmingBlockers::NONE }
    }

    /// On ground -> flying.
    pub(super) const fn take_off() -> Self {
        Self::Flying { landed_ticks: 0 }
    }

    /// Flying -> on ground.
    pub(super) const fn touch_down() -> Self {
        Self::OnGround
    }

    /// Flying -> landing.
    pub(super) const fn land(reason: Reason) -> Self {
        Self::Landing { reason, landed_ticks: 0 }
    }

    /// Landing -> flying.
    pub(super) const fn abort_landing() -> Self {
        Self::Flying { landed_ticks: 0 }
    }

    /// Every armed phase -> stopped.
    pub(super) const fn stop(reason: Reason) -> Self {
        Self::Stopped { reason }
    }
}
