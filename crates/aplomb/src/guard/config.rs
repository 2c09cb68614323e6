//! Configuration of the guard.

use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};

/// Longest time in s: one hour, whose microseconds fit 32 bits (up to 4294 s).
const LONGEST_TIME_S: f32 = 3600.0;

/// Configuration of a [`Guard`](super::Guard). No time may exceed 3,600 s.
///
/// [`crate::flight::Config::for_airframe`] derives all of it.
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
    /// Age in s up to which the last inertial sample is held; an older one stops the motors.
    pub imu_hold_s: f32,
    /// Age in s of a command beyond which the link counts as lost: position and height are held.
    pub link_hold_s: f32,
    /// Age in s of a command beyond which the craft lands; above `link_hold_s`.
    pub link_land_s: f32,
    /// Battery voltage in V below which the craft lands; it lands earlier when the pack is predicted to be
    /// empty before touchdown. 0 disables both.
    pub low_battery_v: f32,
    /// Time in s for which the battery must be low.
    pub low_battery_s: f32,
    /// Tilt in rad beyond which a craft that neither rotates (0.5 rad/s) nor moves vertically
    /// (`landed_climb_m_s`) counts as tipped over.
    pub tip_over_tilt_rad: f32,
    /// Time in s for which this must hold.
    pub tip_over_s: f32,
    /// Thrust over weight, 0 to 1, below which the ground carries the craft when a descent is commanded.
    pub landed_thrust_share: f32,
    /// Vertical speed in m/s, up or down, below which the craft counts as stationary.
    pub landed_climb_m_s: f32,
    /// Time in s for which both must hold.
    pub landed_s: f32,
}

impl Config {
    /// Checks every field.
    pub(super) fn check(&self) -> Result<(), ConfigError> {
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
            return Err(ConfigError::new("link_hold_s", Problem::WrongOrder("link_land_s")));
        }
        require_not_negative("low_battery_v", self.low_battery_v)?;
        require_positive("low_battery_s", self.low_battery_s)?;
        require_positive("tip_over_s", self.tip_over_s)?;
        require_positive("landed_thrust_share", self.landed_thrust_share)?;
        require_within("landed_thrust_share", self.landed_thrust_share, 0.0, 1.0)?;
        require_positive("landed_climb_m_s", self.landed_climb_m_s)?;
        require_positive("landed_s", self.landed_s)?;
        for (field, time_s) in [
            ("imu_hold_s", self.imu_hold_s),
            ("link_land_s", self.link_land_s),
            ("low_battery_s", self.low_battery_s),
            ("tip_over_s", self.tip_over_s),
            ("landed_s", self.landed_s),
        ] {
            require_within(field, time_s, 0.0, LONGEST_TIME_S)?;
        }
        Ok(())
    }
}
