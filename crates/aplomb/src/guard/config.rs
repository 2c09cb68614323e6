//! What the guard is built from.

use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};

/// What the guard is built from. No time may be longer than 60,000 ticks.
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
    /// Battery voltage in V below which the craft lands in any case; it lands earlier when the pack would be empty before it
    /// is down. 0 switches both off.
    pub low_battery_v: f32,
    /// How long in s it must be so.
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

impl Config {
    /// Checks every field for a tick in s.
    pub(super) fn check(&self, period_s: f32) -> Result<(), ConfigError> {
        for (field, angle) in
            [("arming_tilt_rad", self.arming_tilt_rad), ("tip_over_tilt_rad", self.tip_over_tilt_rad)]
        {
            require_positive(field, angle)?;
            require_within(field, angle, 0.0, 3.0)?;
        }
        require_positive("arming_rate_rad_s", self.arming_rate_rad_s)?;
        require_positive("arming_stick", self.arming_stick)?;
        require_within("arming_stick", self.arming_stick, 0.0, 1.0)?;
        require_not_negative("imu_hold_s", self.imu_hold_s)?;
        require_positive("link_hold_s", self.link_hold_s)?;
        require_positive("link_land_s", self.link_land_s)?;
        if self.link_hold_s >= self.link_land_s {
            return Err(ConfigError::new("link_hold_s", Problem::WrongOrder));
        }
        require_not_negative("low_battery_v", self.low_battery_v)?;
        require_positive("low_battery_s", self.low_battery_s)?;
        require_positive("tip_over_s", self.tip_over_s)?;
        require_positive("landed_thrust_share", self.landed_thrust_share)?;
        require_within("landed_thrust_share", self.landed_thrust_share, 0.0, 1.0)?;
        require_positive("landed_climb_m_s", self.landed_climb_m_s)?;
        require_positive("landed_s", self.landed_s)?;
        // Ages and times are counted in 16 bits.
        for (field, time_s) in [
            ("imu_hold_s", self.imu_hold_s),
            ("link_land_s", self.link_land_s),
            ("low_battery_s", self.low_battery_s),
            ("tip_over_s", self.tip_over_s),
            ("landed_s", self.landed_s),
        ] {
            require_within(field, time_s, 0.0, 60_000.0 * period_s)?;
        }
        Ok(())
    }
}
