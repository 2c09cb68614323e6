//! Signals of a flight that checks refer to. Each key ends in its unit.

use serde::Deserialize;

/// Declares the signals: key in files, name on screen, unit.
macro_rules! signals {
    ($($(#[doc = $doc:literal])+ $name:ident = $key:literal, $words:literal, $unit:literal;)+) => {
        /// A quantity of the flight over time. Errors are truth minus set-point; estimate errors are estimate
        /// minus truth.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        pub enum Signal {
            $($(#[doc = $doc])+ #[serde(rename = $key)] $name,)+
        }

        impl Signal {
            /// All signals.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];

            /// Name in flight files.
            #[must_use]
            pub const fn key(self) -> &'static str {
                match self { $(Self::$name => $key),+ }
            }

            /// Name on screen.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self { $(Self::$name => $words),+ }
            }

            /// Unit on screen; empty for a flag and for a motor command.
            #[must_use]
            pub const fn unit(self) -> &'static str {
                match self { $(Self::$name => $unit),+ }
            }

            /// One line that explains the signal, for lists.
            #[must_use]
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$name => concat!($($doc),+)),+ }
            }
        }
    };
}

signals! {
    /// Height above home.
    Height = "height_m", "height", "m";
    /// Height minus its set-point.
    HeightError = "height_error_m", "height error", "m";
    /// Estimated minus true height.
    HeightEstimateError = "height_estimate_error_m", "height estimate error", "m";
    /// Climb rate, up positive.
    Climb = "climb_m_s", "climb rate", "m/s";
    /// Climb rate minus its set-point.
    ClimbError = "climb_error_m_s", "climb rate error", "m/s";
    /// Position north of home.
    North = "north_m", "position north of home", "m";
    /// Position east of home.
    East = "east_m", "position east of home", "m";
    /// Horizontal distance from home.
    DistanceFromHome = "distance_from_home_m", "distance from home", "m";
    /// Tracking error: horizontal distance of the true position from the set-point.
    PositionError = "position_error_m", "position error", "m";
    /// Position error relative to the GNSS solution without its white noise: horizontal distance of the true
    /// position plus the correlated GNSS error from the set-point. It leaves out the error that no controller
    /// can see.
    PositionErrorToGnss = "position_error_to_gnss_m", "position error relative to GNSS", "m";
    /// North component of the position error relative to the GNSS solution.
    NorthErrorToGnss = "north_error_to_gnss_m", "position error relative to GNSS, north", "m";
    /// East component of the position error relative to the GNSS solution.
    EastErrorToGnss = "east_error_to_gnss_m", "position error relative to GNSS, east", "m";
    /// Horizontal distance between the estimated and the true position.
    PositionEstimateError = "position_estimate_error_m", "position estimate error", "m";
    /// Horizontal speed over ground.
    GroundSpeed = "ground_speed_m_s", "ground speed", "m/s";
    /// Magnitude of the horizontal velocity error.
    GroundVelocityError = "ground_velocity_error_m_s", "ground velocity error", "m/s";
    /// Horizontal airspeed.
    Airspeed = "airspeed_m_s", "airspeed", "m/s";
    /// Roll, right positive.
    Roll = "roll_deg", "roll", "deg";
    /// Pitch, nose up positive.
    Pitch = "pitch_deg", "pitch", "deg";
    /// Angle of the thrust axis from the vertical.
    Tilt = "tilt_deg", "tilt", "deg";
    /// Roll minus its set-point.
    RollError = "roll_error_deg", "roll error", "deg";
    /// Pitch minus its set-point.
    PitchError = "pitch_error_deg", "pitch error", "deg";
    /// Heading, clockwise from north, unwrapped from the start.
    Heading = "heading_deg", "heading", "deg";
    /// Heading minus its set-point, -180 to 180.
    HeadingError = "heading_error_deg", "heading error", "deg";
    /// Estimated minus true heading, -180 to 180.
    HeadingEstimateError = "heading_estimate_error_deg", "heading estimate error", "deg";
    /// Angle between the estimated and the true vertical.
    TiltEstimateError = "tilt_estimate_error_deg", "tilt estimate error", "deg";
    /// Roll rate, right positive.
    RollRate = "roll_rate_deg_s", "roll rate", "deg/s";
    /// Pitch rate, nose up positive.
    PitchRate = "pitch_rate_deg_s", "pitch rate", "deg/s";
    /// Yaw rate, nose right positive.
    YawRate = "yaw_rate_deg_s", "yaw rate", "deg/s";
    /// Mean of the four motor commands.
    MotorCommand = "motor_command_percent", "motor command", "%";
    /// Motor commands minus their mean over the window, all four: `rms` is the noise of the commands.
    MotorCommandNoise = "motor_command_noise_percent", "motor command noise", "%";
    /// Total thrust.
    Thrust = "thrust_n", "thrust", "N";
    /// Mean rotor speed.
    RotorSpeed = "rotor_rpm", "rotor speed", "rpm";
    /// Mean speed of the front pair minus that of the rear pair.
    FrontMinusRear = "front_minus_rear_rpm", "front minus rear rotor speed", "rpm";
    /// Mean speed of the left pair minus that of the right pair.
    LeftMinusRight = "left_minus_right_rpm", "left minus right rotor speed", "rpm";
    /// Mean speed of the counter-clockwise pair minus that of the clockwise pair.
    CounterClockwiseMinusClockwise = "counter_clockwise_minus_clockwise_rpm",
        "counter-clockwise minus clockwise rotor speed", "rpm";
    /// Range of the rotors' mean speeds over the window (fastest minus slowest), over the mean of all four.
    RotorSpeedRange = "rotor_rpm_range_percent", "range of the mean rotor speeds", "%";
    /// Battery voltage.
    BatteryVoltage = "battery_v", "battery voltage", "V";
    /// Battery current.
    BatteryCurrent = "battery_a", "battery current", "A";
    /// Attitude error of the camera: roll error and elevation error combined.
    CameraLevelError = "camera_level_error_deg", "camera level error", "deg";
    /// Motion of the camera's line of sight above 0.3 Hz, elevation and heading combined: what blurs the
    /// image.
    LineOfSightMotion = "line_of_sight_motion_deg", "motion of the line of sight", "deg";
    /// The same for a camera fixed to the frame.
    FrameMotion = "frame_motion_deg", "motion of the frame", "deg";
    /// The motors are armed.
    Armed = "armed", "armed", "";
    /// The craft touches the ground.
    OnGround = "on_ground", "on the ground", "";
    /// The tilt limit is active.
    AtTiltLimit = "at_tilt_limit", "at the tilt limit", "";
    /// Roll/pitch saturation: the mixer allocates less roll or pitch torque than demanded.
    RollPitchSaturated = "roll_pitch_saturated", "roll/pitch saturation", "";
    /// Thrust saturation: the mixer allocates another thrust than demanded.
    ThrustSaturated = "thrust_saturated", "thrust saturation", "";
    /// Yaw saturation: the mixer allocates less yaw torque than demanded.
    YawSaturated = "yaw_saturated", "yaw saturation", "";
    /// The controller cannot hold position against the wind.
    CannotHoldPosition = "cannot_hold_position", "cannot hold position", "";
}

impl Signal {
    /// True for flags. Their only statistic is the share of the time.
    #[must_use]
    pub const fn is_flag(self) -> bool {
        matches!(
            self,
            Self::Armed
                | Self::OnGround
                | Self::AtTiltLimit
                | Self::RollPitchSaturated
                | Self::ThrustSaturated
                | Self::YawSaturated
                | Self::CannotHoldPosition
        )
    }

    /// True for signals with a set-point. Only they have an overshoot.
    #[must_use]
    pub const fn has_setpoint(self) -> bool {
        matches!(
            self,
            Self::Height
                | Self::Climb
                | Self::North
                | Self::East
                | Self::Roll
                | Self::Pitch
                | Self::Heading
                | Self::RollRate
                | Self::PitchRate
                | Self::YawRate
        )
    }

    /// True for signals with one figure per window instead of one per instant.
    #[must_use]
    pub const fn is_of_window(self) -> bool {
        matches!(self, Self::RotorSpeedRange)
    }

    /// True for signals of the stabilised camera.
    #[must_use]
    pub const fn is_of_camera(self) -> bool {
        matches!(self, Self::CameraLevelError | Self::LineOfSightMotion)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The part of a key that names the unit, for each unit on screen.
    const SUFFIXES: [(&str, &str); 9] = [
        ("m", "_m"),
        ("m/s", "_m_s"),
        ("deg", "_deg"),
        ("deg/s", "_deg_s"),
        ("%", "_percent"),
        ("N", "_n"),
        ("rpm", "_rpm"),
        ("V", "_v"),
        ("A", "_a"),
    ];

    #[test]
    fn key_of_every_signal_ends_in_its_unit_and_flags_have_none() {
        for signal in Signal::ALL {
            let suffix = SUFFIXES.iter().find(|(unit, _)| *unit == signal.unit());
            match suffix {
                Some((_, suffix)) => {
                    assert!(signal.key().replace("_range", "").contains(suffix), "{signal:?}")
                }
                None => assert!(signal.is_flag() && signal.unit().is_empty(), "{signal:?}"),
            }
            assert!(signal.meaning().ends_with('.'), "{signal:?}");
        }
    }
}
