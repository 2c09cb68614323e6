//! What stands against arming.

use super::demand::{asks_to_rise, is_finite};
use super::{Guard, GuardInput, State};
use crate::{Command, Demand};

/// Everything that stands against arming; nothing set means the motors may be armed.
///
/// ```
/// use aplomb::guard::ArmingBlockers;
/// assert!(!ArmingBlockers::default().any());
/// assert!(ArmingBlockers { tilted: true, ..ArmingBlockers::default() }.any());
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ArmingBlockers {
    /// The arm command has not been off since power-up or the last stop.
    pub arm_not_seen_off: bool,
    /// A stick is deflected (climb may be down), or a demand already asks to rise.
    pub sticks: bool,
    /// The craft is tilted.
    pub tilted: bool,
    /// The craft is turning.
    pub moving: bool,
    /// No fresh inertial sample, or no attitude yet.
    pub sensors: bool,
    /// The battery is low.
    pub battery: bool,
    /// The command is stale.
    pub link: bool,
}

impl ArmingBlockers {
    /// At least one stands against arming.
    #[must_use]
    pub const fn any(&self) -> bool {
        self.arm_not_seen_off
            || self.sticks
            || self.tilted
            || self.moving
            || self.sensors
            || self.battery
            || self.link
    }
}

impl Guard {
    pub(super) fn arming_blockers(
        &self,
        state: &State,
        command: &Command,
        situation: &GuardInput<'_>,
    ) -> ArmingBlockers {
        let motion = situation.motion;
        let limit = self.arming_rate_rad_s;
        // Comparisons are written so that NaN refuses.
        let level = motion.attitude.cos_tilt() >= self.cos_arming;
        let steady = motion.rate_rad_s.norm_squared() <= limit * limit;
        let charged = self.battery.may_arm(situation.voltage_v);
        let sticks = match command.demand {
            Demand::Sticks(sticks) => {
                let centred = |stick: f32| stick.abs() < self.arming_stick;
                !(centred(sticks.roll)
                    && centred(sticks.pitch)
                    && centred(sticks.yaw)
                    && sticks.climb < self.arming_stick)
            }
            demand => !is_finite(&demand) || asks_to_rise(&demand, situation),
        };
        ArmingBlockers {
            arm_not_seen_off: !state.arm_seen_off,
            sticks,
            tilted: !level,
            moving: !steady,
            sensors: situation.imu_age_ticks > self.imu_hold || !motion.attitude_valid,
            battery: !charged,
            link: command.age_us > self.link_hold_us,
        }
    }
}
