//! Conditions that block arming.

use super::demand::{is_finite, is_take_off_demand};
use super::{Guard, GuardInput};
use crate::{Command, Demand, Sticks, estimate};

/// Conditions that block arming; the motors can be armed when none is set.
///
/// ```
/// use aplomb::guard::ArmingBlockers;
/// assert!(!ArmingBlockers::NONE.any());
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct ArmingBlockers {
    /// The arm command has not been off since power-up or the last stop.
    pub arm_not_seen_off: bool,
    /// A stick is deflected (climb may be down), or the demand is one to take off or is not finite.
    pub sticks: bool,
    /// Tilt above `arming_tilt_rad`.
    pub tilted: bool,
    /// Body rate above `arming_rate_rad_s`.
    pub moving: bool,
    /// No inertial sample within its hold time, or no attitude yet.
    pub sensors: bool,
    /// Battery voltage below `low_battery_v`.
    pub battery: bool,
    /// Command older than `link_hold_s`.
    pub link: bool,
}

impl ArmingBlockers {
    /// No blocker.
    pub const NONE: Self = Self {
        arm_not_seen_off: false,
        sticks: false,
        tilted: false,
        moving: false,
        sensors: false,
        battery: false,
        link: false,
    };

    /// At least one is set.
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
        arm_seen_off: bool,
        command: &Command,
        estimate: &estimate::State,
        input: &GuardInput,
    ) -> ArmingBlockers {
        // Comparisons are written so that NaN blocks arming.
        let level = estimate.attitude.cos_tilt() >= self.cos_arming;
        let slow = estimate.rate_rad_s.norm_squared() <= self.arming_rate_rad_s * self.arming_rate_rad_s;
        let quiet = match command.demand {
            Demand::Sticks(sticks) | Demand::RateSticks(sticks) => self.are_centred(&sticks),
            demand => is_finite(&demand) && !is_take_off_demand(&demand, estimate),
        };
        ArmingBlockers {
            arm_not_seen_off: !arm_seen_off,
            sticks: !quiet,
            tilted: !level,
            moving: !slow,
            sensors: input.imu_age_us > self.imu_hold_us || !estimate.attitude_valid,
            battery: !self.battery.may_arm(input.voltage_v),
            link: command.age_us > self.link_hold_us,
        }
    }

    /// Roll, pitch and yaw are centred, climb is centred or down.
    fn are_centred(&self, sticks: &Sticks) -> bool {
        let centred = |stick: f32| stick.abs() < self.arming_stick;
        centred(sticks.roll)
            && centred(sticks.pitch)
            && centred(sticks.yaw)
            && sticks.climb < self.arming_stick
    }
}
