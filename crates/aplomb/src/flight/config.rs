//! The configuration of the whole controller.

use super::NotchConfig;
use crate::error::{ConfigError, Problem, require_positive, require_within};
use crate::{control, estimate, guard, mix, pilot};

/// Model of the craft and settings of every part. [`Config::for_airframe`] derives all of it from a few
/// parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Ticks per second, 100 to 8000: estimation, rate loop and mixer.
    pub tick_hz: f32,
    /// The attitude loop runs on every n-th tick; at least 1.
    pub attitude_divider: u16,
    /// The velocity, position and vertical loops run on every n-th tick; a multiple of `attitude_divider`.
    pub velocity_divider: u16,
    /// Least motor command while armed, 0 to 0.5.
    pub idle_command: f32,
    /// Density of the air in kg/m3 while no barometer has given one, 0.3 to 2: see [`estimate::AirDensity`].
    pub air_density_kg_m3: f32,
    /// Pole of the low-pass on the feed-forward of the estimated wind, over the crossover of the velocity
    /// loop, 0 to 0.2; 0: no feed-forward. Without [`estimate::Config::rotor_drag_per_s`] there is none.
    pub wind_share: f32,
    /// Delay in s of the inertial sensor's own filter, 0 to 0.02: the attitude that is controlled is
    /// predicted over it. That of a second-order Butterworth low-pass is sqrt(2)/(2 pi f), f its cut-off.
    pub imu_delay_s: f32,
    /// Cut-off of the second-order low-pass on the body rate in Hz; below half the tick rate.
    pub gyro_cutoff_hz: f32,
    /// Geometry, thrust range and saturation.
    pub mix: mix::Config,
    /// Thrust of a rotor to motor command.
    pub thrust_curve: mix::ThrustCurveConfig,
    /// Estimators.
    pub estimate: estimate::Config,
    /// Notches on the body rate.
    pub notch: NotchConfig,
    /// Rate controller, with the inertia.
    pub rate: control::rate::Config,
    /// Attitude controller.
    pub attitude: control::attitude::Config,
    /// Mass, tilt limit and thrust range.
    pub thrust: control::thrust_vector::Config,
    /// Vertical controller.
    pub vertical: control::vertical::Config,
    /// Velocity controller.
    pub velocity: control::velocity::Config,
    /// Position controller.
    pub position: control::position::Config,
    /// Sticks.
    pub pilot: pilot::Config,
    /// Guard.
    pub guard: guard::Config,
}

impl Config {
    /// Checks the fields of this structure itself.
    pub(super) fn check(&self) -> Result<(), ConfigError> {
        require_positive("tick_hz", self.tick_hz)?;
        require_within("tick_hz", self.tick_hz, 100.0, 8000.0)?;
        if self.attitude_divider == 0 {
            return Err(ConfigError::new("attitude_divider", Problem::NotPositive));
        }
        if self.velocity_divider == 0 {
            return Err(ConfigError::new("velocity_divider", Problem::NotPositive));
        }
        if self.velocity_divider.checked_rem(self.attitude_divider) != Some(0) {
            return Err(ConfigError::new(
                "velocity_divider",
                Problem::Inconsistent("is no multiple of `attitude_divider`"),
            ));
        }
        require_within("idle_command", self.idle_command, 0.0, 0.5)?;
        require_within("air_density_kg_m3", self.air_density_kg_m3, 0.3, 2.0)?;
        require_within("wind_share", self.wind_share, 0.0, 0.2)?;
        require_within("imu_delay_s", self.imu_delay_s, 0.0, 0.02)?;
        Ok(())
    }
}
