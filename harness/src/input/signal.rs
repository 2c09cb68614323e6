//! What can be expected of a flight: the closed list of signals. The name of each carries its unit.

use schemars::JsonSchema;
use serde::Deserialize;

/// Declares the signals with their key in files, the words on screen and the unit.
macro_rules! signals {
    ($($(#[doc = $doc:literal])+ $name:ident = $key:literal, $words:literal, $unit:literal;)+) => {
        /// A quantity of the flight over time. Errors are truth less set-point, unless the name says estimate: those are
        /// estimate less truth.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize, JsonSchema)]
        #[non_exhaustive]
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
    /// Height less the height aimed at.
    HeightError = "height_error_m", "height error", "m";
    /// Estimated height less the true one.
    HeightEstimateError = "height_estimate_error_m", "height estimate error", "m";
    /// Climb, up positive.
    Climb = "climb_m_s", "climb", "m/s";
    /// Climb less the climb aimed at.
    ClimbError = "climb_error_m_s", "climb error", "m/s";
    /// Place north of home.
    North = "north_m", "place north of home", "m";
    /// Place east of home.
    East = "east_m", "place east of home", "m";
    /// Horizontal distance from home.
    DistanceFromHome = "distance_from_home_m", "distance from home", "m";
    /// Horizontal distance from the place aimed at.
    PositionError = "position_error_m", "place error", "m";
    /// Horizontal distance between the place aimed at and the place as a receiver without white noise would report it
    /// (truth plus its slowly varying error): what the control makes of the receiver it has.
    PositionErrorToGnss = "position_error_to_gnss_m", "place error of the control", "m";
    /// North part of the place error of the control.
    NorthErrorToGnss = "north_error_to_gnss_m", "place error of the control, north", "m";
    /// East part of the place error of the control.
    EastErrorToGnss = "east_error_to_gnss_m", "place error of the control, east", "m";
    /// Horizontal distance between the estimated and the true place.
    PositionEstimateError = "position_estimate_error_m", "place estimate error", "m";
    /// Horizontal speed over ground.
    GroundSpeed = "ground_speed_m_s", "ground speed", "m/s";
    /// Size of the horizontal velocity error.
    GroundVelocityError = "ground_velocity_error_m_s", "ground velocity error", "m/s";
    /// Horizontal speed of the air past the craft.
    Airspeed = "airspeed_m_s", "airspeed", "m/s";
    /// Roll, right positive.
    Roll = "roll_deg", "roll", "deg";
    /// Pitch, nose up positive.
    Pitch = "pitch_deg", "pitch", "deg";
    /// Angle of the thrust axis from the vertical.
    Tilt = "tilt_deg", "tilt", "deg";
    /// Roll less the roll aimed at.
    RollError = "roll_error_deg", "roll error", "deg";
    /// Pitch less the pitch aimed at.
    PitchError = "pitch_error_deg", "pitch error", "deg";
    /// Heading, clockwise from north, counted on through full turns from the start.
    Heading = "heading_deg", "heading", "deg";
    /// Heading less the heading aimed at, -180 to 180.
    HeadingError = "heading_error_deg", "heading error", "deg";
    /// Heading estimate less the true heading, -180 to 180.
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
    /// Motor commands less their mean over the window, all four: with `rms` the noise of the commands.
    MotorCommandNoise = "motor_command_noise_percent", "motor command noise", "%";
    /// Total thrust.
    Thrust = "thrust_n", "thrust", "N";
    /// Mean rotor speed.
    RotorSpeed = "rotor_rpm", "rotor speed", "rpm";
    /// Mean speed of the front pair less that of the rear pair.
    FrontMinusRear = "front_minus_rear_rpm", "front less rear rotor speed", "rpm";
    /// Mean speed of the left pair less that of the right pair.
    LeftMinusRight = "left_minus_right_rpm", "left less right rotor speed", "rpm";
    /// Mean speed of the counter-clockwise pair less that of the clockwise pair.
    CounterClockwiseMinusClockwise = "counter_clockwise_minus_clockwise_rpm",
        "counter-clockwise less clockwise rotor speed", "rpm";
    /// Over the window, the fastest rotor's mean speed less the slowest's, over the mean of all four.
    RotorSpread = "rotor_rpm_spread_percent", "spread of the mean rotor speeds", "%";
    /// Battery voltage.
    BatteryVoltage = "battery_v", "battery voltage", "V";
    /// Battery current.
    BatteryCurrent = "battery_a", "battery current", "A";
    /// Angle by which the camera's picture is off level and off its elevation, roll and elevation together.
    CameraLevelError = "camera_level_error_deg", "camera level error", "deg";
    /// Motion of the camera's line of sight above 0.3 Hz, elevation and heading together: what blurs the picture.
    LineOfSightMotion = "line_of_sight_motion_deg", "motion of the line of sight", "deg";
    /// The same for a camera that is fixed to the frame.
    FrameMotion = "frame_motion_deg", "motion of the frame", "deg";
    /// The motors may turn.
    Armed = "armed", "armed", "";
    /// The feet touch the ground.
    OnGround = "on_ground", "on the ground", "";
    /// The tilt limit cuts the demand.
    AtTiltLimit = "at_tilt_limit", "at the tilt limit", "";
    /// The mixer cuts the roll or pitch torque.
    RollPitchCut = "roll_pitch_cut", "roll or pitch torque cut", "";
    /// The mixer moves the thrust.
    ThrustCut = "thrust_cut", "thrust cut", "";
    /// The mixer cuts the yaw torque.
    YawCut = "yaw_cut", "yaw torque cut", "";
    /// The controller says that it cannot hold the place against the wind.
    CannotHoldPosition = "cannot_hold_position", "said to be carried off", "";
}

impl Signal {
    /// True for the signals that are either so or not; only their share of time can be expected.
    #[must_use]
    pub const fn is_flag(self) -> bool {
        matches!(
            self,
            Self::Armed
                | Self::OnGround
                | Self::AtTiltLimit
                | Self::RollPitchCut
                | Self::ThrustCut
                | Self::YawCut
                | Self::CannotHoldPosition
        )
    }

    /// True for the signals that go after a set-point of their own, so that an overshoot has a meaning.
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

    /// True for the signals that are one figure for a whole window rather than one per instant.
    #[must_use]
    pub const fn is_of_window(self) -> bool {
        matches!(self, Self::RotorSpread)
    }

    /// True for the signals that are taken from the camera in its mount.
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
                    assert!(signal.key().replace("_spread", "").contains(suffix), "{signal:?}")
                }
                None => assert!(signal.is_flag() && signal.unit().is_empty(), "{signal:?}"),
            }
            assert!(signal.meaning().ends_with('.'), "{signal:?}");
        }
    }

    #[test]
    fn list_for_readers_is_this_list() {
        let listed = include_str!("../../demo/FILES.md")
            .split_once("| signal | meaning |\n| --- | --- |\n")
            .unwrap()
            .1;
        let listed = listed.split("\n\n").next().unwrap().trim_end();
        let rows: Vec<_> = Signal::ALL
            .iter()
            .map(|signal| format!("| `{}` | {} |", signal.key(), signal.meaning().trim()))
            .collect();
        assert_eq!(listed, rows.join("\n"));
    }
}
