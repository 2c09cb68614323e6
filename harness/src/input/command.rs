//! `[[command]]`: a command to the controller and its time.

use aplomb::frames::{Heading, Horizontal, Vector};
use aplomb::{
    Command, Demand, HeadingDemand, Libm, PositionSetpoint, Sticks, Tilt, VelocitySetpoint, VerticalDemand,
};
use schemars::JsonSchema;
use serde::Deserialize;

use aplomb_flight::plan::TimedCommand;

use super::document::Document;

/// `[[command]]` as written in the file. It has at most one demand. Parts that an entry omits keep their
/// value.
#[derive(Deserialize, JsonSchema)]
pub(super) struct CommandEntry {
    pub(super) at_s: f64,
    sticks: Option<SticksTable>,
    position_m: Option<NorthEast>,
    velocity_m_s: Option<NorthEast>,
    acceleration_m_s2: Option<NorthEast>,
    tilt_deg: Option<RollPitch>,
    rates_deg_s: Option<RollPitchYaw>,
    thrust_n: Option<f64>,
    land: Option<bool>,
    cut_motors: Option<bool>,
    arm: Option<bool>,
    height_m: Option<f64>,
    climb_m_s: Option<f64>,
    heading_deg: Option<f64>,
    heading_rate_deg_s: Option<f64>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct SticksTable {
    roll: Option<f64>,
    pitch: Option<f64>,
    yaw: Option<f64>,
    climb: Option<f64>,
    mode: Option<StickMode>,
}

/// What the roll, pitch and climb sticks command.
#[derive(Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum StickMode {
    /// Tilt and climb.
    #[default]
    Tilt,
    /// Body rates and thrust.
    Rate,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct NorthEast {
    north: f64,
    east: f64,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct RollPitch {
    roll: Option<f64>,
    pitch: Option<f64>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct RollPitchYaw {
    roll: Option<f64>,
    pitch: Option<f64>,
    yaw: Option<f64>,
}

/// The active command. An entry changes only the parts that it contains.
#[derive(Clone, Copy)]
pub(super) struct Standing {
    action: Action,
    heading: HeadingDemand,
    vertical: VerticalDemand,
    arm: bool,
    cut_motors: bool,
}

#[derive(Clone, Copy)]
enum Action {
    Sticks(Sticks, StickMode),
    Position(PositionSetpoint),
    Velocity(VelocitySetpoint),
    Tilt(Tilt),
    Rates([f32; 3], f32),
    Land,
}

impl Standing {
    /// On the ground, disarmed, sticks centred.
    pub(super) fn on_ground(heading_deg: f64) -> Self {
        Self {
            action: Action::Sticks(Sticks::CENTRED, StickMode::Tilt),
            heading: HeadingDemand::Hold(heading(heading_deg)),
            vertical: VerticalDemand::Climb(0.0),
            arm: false,
            cut_motors: false,
        }
    }

    /// Armed, position set-point above home.
    pub(super) fn hovering(heading_deg: f64, height_m: f64) -> Self {
        Self {
            action: Action::Position(PositionSetpoint::default()),
            vertical: VerticalDemand::Height(height_m as f32),
            arm: true,
            ..Self::on_ground(heading_deg)
        }
    }

    /// Moves its set-point on by `time_s`.
    pub(super) fn advance(&mut self, time_s: f64) {
        match (TimedCommand { at_s: 0.0, command: self.command() }).at(time_s).demand {
            Demand::Position { setpoint, .. } => self.action = Action::Position(setpoint),
            Demand::Velocity { setpoint, .. } => self.action = Action::Velocity(setpoint),
            _ => {}
        }
    }

    pub(super) fn command(&self) -> Command {
        let Self { heading, vertical, .. } = *self;
        let demand = match self.action {
            Action::Sticks(sticks, StickMode::Tilt) => Demand::Sticks(sticks),
            Action::Sticks(sticks, StickMode::Rate) => Demand::RateSticks(sticks),
            Action::Position(setpoint) => Demand::Position { setpoint, heading, vertical },
            Action::Velocity(setpoint) => Demand::Velocity { setpoint, heading, vertical },
            Action::Tilt(tilt) => Demand::Tilt { tilt, heading, vertical },
            Action::Rates([x, y, z], thrust_n) => {
                Demand::Rates { rate_rad_s: Vector::new(x, y, z), thrust_n }
            }
            Action::Land => Demand::Land,
        };
        Command { demand, arm: self.arm, cut_motors: self.cut_motors, age_us: 0 }
    }
}

fn horizontal(v: NorthEast) -> Horizontal {
    Horizontal::new(v.north as f32, v.east as f32)
}

fn heading(deg: f64) -> Heading {
    Heading::from_rad::<Libm>(deg.to_radians() as f32)
}

impl CommandEntry {
    /// Validates the entry at `path` and applies it to the active command.
    pub(super) fn check(&self, document: &Document<'_>, path: &str, standing: &mut Standing) {
        let demands = self.demands(document, path);
        if demands.len() > 1 {
            let reason = format!("one command sets one thing, not {}", demands.join(" and "));
            document.refuse_at(path, reason, Some("write a second [[command]]"));
        }
        self.check_companions(document, path);
        if let Some(action) = self.action() {
            standing.action = action;
            standing.arm = true;
            standing.cut_motors = false;
        }
        if let Some(height_m) = self.height_m {
            standing.vertical = VerticalDemand::Height(height_m as f32);
        }
        if let Some(climb_m_s) = self.climb_m_s {
            standing.vertical = VerticalDemand::Climb(climb_m_s as f32);
        }
        if let Some(heading_deg) = self.heading_deg {
            standing.heading = HeadingDemand::Hold(heading(heading_deg));
        }
        if let Some(rate_deg_s) = self.heading_rate_deg_s {
            standing.heading = HeadingDemand::Rate(rate_deg_s.to_radians() as f32);
        }
        if let Some(cut) = self.cut_motors {
            standing.cut_motors = cut;
            standing.arm &= !cut;
        }
        if let Some(arm) = self.arm {
            standing.arm = arm;
        }
    }

    fn demands(&self, document: &Document<'_>, path: &str) -> Vec<&'static str> {
        for (key, value) in [("land", self.land), ("cut_motors", self.cut_motors)] {
            if value == Some(false) {
                let help = Some("omit it, or add the next command");
                document.refuse_at(&format!("{path}.{key}"), format!("`{key}` can only be true"), help);
            }
        }
        let given = [
            ("sticks", self.sticks.is_some()),
            ("position_m", self.position_m.is_some()),
            ("velocity_m_s", self.velocity_m_s.is_some() && self.position_m.is_none()),
            ("tilt_deg", self.tilt_deg.is_some()),
            ("rates_deg_s", self.rates_deg_s.is_some()),
            ("land", self.land.is_some()),
            ("cut_motors", self.cut_motors.is_some()),
        ];
        given.into_iter().filter_map(|(key, given)| given.then_some(key)).collect()
    }

    /// Refuses keys that need or exclude one another.
    fn check_companions(&self, document: &Document<'_>, path: &str) {
        let refuse = |key: &str, reason: &str| document.refuse_at(&format!("{path}.{key}"), reason, None);
        let setpoints = [
            ("height_m", self.height_m.is_some()),
            ("climb_m_s", self.climb_m_s.is_some()),
            ("heading_deg", self.heading_deg.is_some()),
            ("heading_rate_deg_s", self.heading_rate_deg_s.is_some()),
        ];
        let excludes_setpoints = self.sticks.is_some() || self.rates_deg_s.is_some() || self.land.is_some();
        for (key, _) in setpoints.iter().filter(|(_, given)| *given && excludes_setpoints) {
            refuse(key, "has no meaning beside `sticks`, `rates_deg_s` or `land`");
        }
        if self.height_m.is_some() && self.climb_m_s.is_some() {
            refuse("climb_m_s", "give either `height_m` or `climb_m_s`");
        }
        if self.heading_deg.is_some() && self.heading_rate_deg_s.is_some() {
            refuse("heading_rate_deg_s", "give either `heading_deg` or `heading_rate_deg_s`");
        }
        if self.acceleration_m_s2.is_some() && self.position_m.is_none() && self.velocity_m_s.is_none() {
            refuse("acceleration_m_s2", "goes with `position_m` or `velocity_m_s` only");
        }
        match (self.rates_deg_s.is_some(), self.thrust_n) {
            (true, None) => {
                refuse("rates_deg_s", "body rates need `thrust_n`, the total thrust, beside them")
            }
            (false, Some(_)) => refuse("thrust_n", "goes with `rates_deg_s` only"),
            _ => {}
        }
        if let Some(thrust_n) = self.thrust_n {
            document.require_within(&format!("{path}.thrust_n"), thrust_n, 0.0, f64::INFINITY);
        }
        if let Some(RollPitch { roll, pitch }) = self.tilt_deg {
            for (axis, angle) in [("roll", roll), ("pitch", pitch)] {
                document.require_within(
                    &format!("{path}.tilt_deg.{axis}"),
                    angle.unwrap_or(0.0),
                    -80.0,
                    80.0,
                );
            }
        }
        if let Some(SticksTable { roll, pitch, yaw, climb, .. }) = self.sticks {
            for (axis, stick) in [("roll", roll), ("pitch", pitch), ("yaw", yaw), ("climb", climb)] {
                document.require_within(&format!("{path}.sticks.{axis}"), stick.unwrap_or(0.0), -1.0, 1.0);
            }
        }
    }

    fn action(&self) -> Option<Action> {
        let part = |value: Option<f64>| value.unwrap_or(0.0) as f32;
        let radians = |value: Option<f64>| value.unwrap_or(0.0).to_radians() as f32;
        if let Some(SticksTable { roll, pitch, yaw, climb, mode }) = self.sticks {
            let sticks = Sticks { roll: part(roll), pitch: part(pitch), yaw: part(yaw), climb: part(climb) };
            return Some(Action::Sticks(sticks, mode.unwrap_or_default()));
        }
        if let Some(RollPitch { roll, pitch }) = self.tilt_deg {
            return Some(Action::Tilt(Tilt::from_roll_pitch::<Libm>(radians(roll), radians(pitch))));
        }
        if let Some(RollPitchYaw { roll, pitch, yaw }) = self.rates_deg_s {
            return Some(Action::Rates([radians(roll), radians(pitch), radians(yaw)], part(self.thrust_n)));
        }
        let motion = VelocitySetpoint {
            velocity_m_s: self.velocity_m_s.map_or(Horizontal::ZERO, horizontal),
            acceleration_m_s2: self.acceleration_m_s2.map_or(Horizontal::ZERO, horizontal),
        };
        if let Some(position_m) = self.position_m {
            let VelocitySetpoint { velocity_m_s, acceleration_m_s2 } = motion;
            let position_m = horizontal(position_m);
            return Some(Action::Position(PositionSetpoint { position_m, velocity_m_s, acceleration_m_s2 }));
        }
        self.velocity_m_s.map(|_| Action::Velocity(motion)).or(self.land.map(|_| Action::Land))
    }
}
