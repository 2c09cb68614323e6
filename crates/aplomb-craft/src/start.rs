//! Initial conditions of a flight.

use crate::body::State;
use crate::error::{ConfigError, Reason, all_finite, fail, finite, within};
use crate::mount::Mount;
use glam::{DQuat, DVec3};

/// Initial conditions of a flight. The default is stationary on the ground at home, nose north, rotors
/// stopped.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Start {
    /// Airborne; otherwise stationary on the landing gear, where only position and heading apply.
    pub airborne: bool,
    /// Airborne with stopped rotors, instead of the speeds in hover.
    pub rotors_stopped: bool,
    /// Height above home (m).
    pub height_m: f64,
    /// North of home (m).
    pub north_m: f64,
    /// East of home (m).
    pub east_m: f64,
    /// Heading, clockwise from north (rad).
    pub heading_rad: f64,
    /// Pitch, nose up (rad).
    pub pitch_rad: f64,
    /// Roll, right side down (rad).
    pub roll_rad: f64,
    /// Velocity, north-east-down (m/s).
    pub velocity_m_s: [f64; 3],
    /// Body rate (rad/s).
    pub body_rate_rad_s: [f64; 3],
    /// Constraint of the motion. A test stand holds the craft in the air at the start position.
    pub mount: Mount,
}

impl Start {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        within("start.height_m", self.height_m, 0.0, 1e4)?;
        within("start.north_m", self.north_m, -1e6, 1e6)?;
        within("start.east_m", self.east_m, -1e6, 1e6)?;
        self.mount.check()?;
        if matches!(self.mount, Mount::Stand(_)) && !self.airborne {
            return fail("start.airborne", Reason::StandOnGround);
        }
        finite("start.heading_rad", self.heading_rad)?;
        finite("start.pitch_rad", self.pitch_rad)?;
        finite("start.roll_rad", self.roll_rad)?;
        all_finite("start.velocity_m_s", &self.velocity_m_s)?;
        all_finite("start.body_rate_rad_s", &self.body_rate_rad_s)
    }

    pub(crate) fn state(&self) -> State {
        let half_turn = |axis: DVec3, angle: f64| {
            let (s, c) = libm::sincos(0.5 * angle);
            DQuat::from_xyzw(axis.x * s, axis.y * s, axis.z * s, c)
        };
        let heading = half_turn(DVec3::Z, self.heading_rad);
        if !self.airborne {
            let position_m = DVec3::new(self.north_m, self.east_m, 0.0);
            return State { position_m, attitude: heading, ..State::REST };
        }
        State {
            position_m: DVec3::new(self.north_m, self.east_m, -self.height_m),
            velocity_m_s: DVec3::from_array(self.velocity_m_s),
            attitude: heading * half_turn(DVec3::Y, self.pitch_rad) * half_turn(DVec3::X, self.roll_rad),
            rate_rad_s: DVec3::from_array(self.body_rate_rad_s),
        }
    }
}
