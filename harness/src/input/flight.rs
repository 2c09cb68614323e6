//! Flight files: commands, air, disturbances, faults and checks.

use aplomb::Command;
use aplomb_craft::air::{AirConfig, ROUGHNESS_M, WindStep};
use aplomb_craft::dryden::Turbulence;
use aplomb_craft::gust::{Form, Gust};
use aplomb_craft::{Fault, Mount};
use schemars::JsonSchema;
use serde::Deserialize;

use super::check::{Check, CheckEntry};
use super::command::{CommandEntry, Standing, TimedCommand};
use super::document::Document;
use super::fault::{self, FaultEntry};
use super::mount::{self, StandTable, TetherTable};
use super::problem::InputError;
use super::signal::Signal;

/// A flight.
#[derive(Clone, Debug, PartialEq)]
pub struct FlightPlan {
    /// Name: that of the file, without folder and extension.
    pub name: String,
    /// Title on screen.
    pub title: String,
    /// Purpose, in one sentence.
    pub purpose: String,
    /// Length in s.
    pub duration_s: f64,
    /// Default seed of all random numbers.
    pub seed: u64,
    /// Initial state.
    pub start: Start,
    /// Stand or tether.
    pub mount: Mount,
    /// Heading at the start in deg, clockwise from north.
    pub heading_deg: f64,
    /// Elevation of the camera's line of sight in deg, where a camera is fitted.
    pub camera_elevation_deg: f64,
    /// Site and air.
    pub air: AirConfig,
    /// External forces and torques.
    pub pushes: Vec<Push>,
    /// Faults, with times from the start of the flight.
    pub faults: Vec<Fault>,
    /// Commands in order of time; the first is at 0 s.
    pub commands: Vec<TimedCommand>,
    /// Checks.
    pub checks: Vec<Check>,
}

/// Initial state of a flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// Stationary on the ground at home, motors stopped.
    Ground,
    /// Above home, after a warm-up that is not evaluated: stationary, take-off, settling in the air of the
    /// first instant.
    Hover {
        /// Height above home in m.
        height_m: f64,
    },
    /// On a test stand above home, level, motors stopped.
    Stand {
        /// Height above home in m.
        height_m: f64,
    },
}

/// An external force and torque on the craft for a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Push {
    /// Start in s.
    pub at_s: f64,
    /// End in s.
    pub until_s: f64,
    /// Torque about the body axes in N m: roll right, pitch nose up, yaw nose right.
    pub torque_nm: [f64; 3],
    /// Force at the centre of mass in N: north, east, up.
    pub force_n: [f64; 3],
}

impl FlightPlan {
    /// Reads a flight from `text`; `path` names it in messages, `name` in results.
    pub fn from_text(path: &str, name: &str, text: &str) -> Result<Self, InputError> {
        let document = Document::parse(path, text)?;
        let plan = document.read::<FlightFile>().and_then(|file| file.check(&document, name));
        if plan.as_ref().is_some_and(|plan| plan.checks.is_empty()) && document.is_clean() {
            let help = Some("add at least one [[check]]: a flight without a check has no verdict");
            document.refuse_at("title", "this flight has no check", help);
        }
        document.finish(plan)
    }

    /// As [`FlightPlan::from_text`], for a flight that is judged elsewhere: it needs no check.
    pub fn from_unjudged_text(path: &str, name: &str, text: &str) -> Result<Self, InputError> {
        let document = Document::parse(path, text)?;
        let plan = document.read::<FlightFile>().and_then(|file| file.check(&document, name));
        document.finish(plan)
    }

    /// The active command at `time_s`.
    #[must_use]
    pub fn command_at(&self, time_s: f64) -> Command {
        let begun = self.commands.partition_point(|timed| timed.at_s <= time_s);
        self.commands[..begun].last().map_or(Command::IDLE, |timed| timed.at(time_s))
    }

    /// External force in N (north, east, up) and torque in N m (roll, pitch, yaw) at `time_s`.
    #[must_use]
    pub fn push_at(&self, time_s: f64) -> ([f64; 3], [f64; 3]) {
        let (mut force_n, mut torque_nm) = ([0.0; 3], [0.0; 3]);
        for push in self.pushes.iter().filter(|push| push.at_s <= time_s && time_s < push.until_s) {
            for axis in 0..3 {
                force_n[axis] += push.force_n[axis];
                torque_nm[axis] += push.torque_nm[axis];
            }
        }
        (force_n, torque_nm)
    }
}

impl FlightPlan {
    /// The signals of its checks.
    pub fn signals(&self) -> impl Iterator<Item = Signal> {
        self.checks.iter().map(|check| check.signal)
    }

    /// Description of air, mount and faults.
    #[must_use]
    pub fn conditions_words(&self) -> String {
        let mut sentences = vec![self.air_words()];
        sentences.extend(mount::words(&self.mount));
        if !self.faults.is_empty() {
            let faults: Vec<String> = self.faults.iter().map(fault::words).collect();
            sentences.push(format!("Faults: {}.", faults.join("; ")));
        }
        sentences.join(" ")
    }

    fn air_words(&self) -> String {
        let AirConfig { u20_m_s, u20_from_deg, winds, gusts, turbulence, .. } = &self.air;
        let mut parts = Vec::new();
        if let Some(u20) = u20_m_s {
            parts.push(format!("wind of {u20} m/s at 20 ft that grows with height, from {u20_from_deg} deg"));
        }
        for WindStep { at_s, from_deg, speed_m_s, .. } in winds {
            let when = if *at_s > 0.0 { format!("from {at_s} s on ") } else { String::new() };
            parts.push(format!("{when}wind of {speed_m_s} m/s from {from_deg} deg"));
        }
        for Gust { at_s, peak_m_s, length_m, from_deg, .. } in gusts {
            parts
                .push(format!("at {at_s} s a gust of {peak_m_s} m/s over {length_m} m, from {from_deg} deg"));
        }
        if let Some(Turbulence { u20_m_s }) = turbulence {
            parts.push(format!("turbulence as in a wind of {u20_m_s:.1} m/s at 20 ft"));
        }
        let words = if parts.is_empty() { "still air".to_owned() } else { parts.join("; ") };
        words[..1].to_uppercase() + &words[1..] + "."
    }
}

#[derive(Deserialize, JsonSchema)]
pub(crate) struct FlightFile {
    title: String,
    purpose: String,
    duration_s: f64,
    seed: Option<u64>,
    start: StartWord,
    height_m: Option<f64>,
    stand: Option<StandTable>,
    tether: Option<TetherTable>,
    heading_deg: Option<f64>,
    camera_elevation_deg: Option<f64>,
    air: Option<AirTable>,
    wind: Vec<WindEntry>,
    gust: Vec<GustEntry>,
    turbulence: Option<TurbulenceTable>,
    push: Vec<PushEntry>,
    fault: Vec<FaultEntry>,
    command: Vec<CommandEntry>,
    check: Vec<CheckEntry>,
}

#[derive(Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum StartWord {
    Ground,
    Hover,
    Stand,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct AirTable {
    elevation_m: Option<f64>,
    temperature_offset_k: Option<f64>,
    u20_m_s: Option<f64>,
    from_deg: Option<f64>,
    roughness_m: Option<f64>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct WindEntry {
    at_s: Option<f64>,
    wind_m_s: f64,
    from_deg: f64,
    ramp_s: Option<f64>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct GustEntry {
    at_s: f64,
    peak_m_s: f64,
    length_m: f64,
    from_deg: f64,
    dies_down: Option<bool>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct TurbulenceTable {
    u20_m_s: Option<f64>,
    intensity: Option<Intensity>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum Intensity {
    Light,
    Moderate,
    Severe,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct PushEntry {
    at_s: f64,
    until_s: f64,
    torque_nm: Option<TorqueTable>,
    force_n: Option<ForceTable>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct TorqueTable {
    roll: Option<f64>,
    pitch: Option<f64>,
    yaw: Option<f64>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct ForceTable {
    north: Option<f64>,
    east: Option<f64>,
    up: Option<f64>,
}

/// Height of a stand, if none is given, in m.
const STAND_HEIGHT_M: f64 = 1.0;
/// Longest flight: an hour.
const LONGEST_S: f64 = 3600.0;

impl FlightFile {
    fn check(self, document: &Document<'_>, name: &str) -> Option<FlightPlan> {
        document.require_within("duration_s", self.duration_s, 0.1, LONGEST_S);
        // Times cannot be checked against an invalid duration.
        let duration_s = if document.is_clean() { self.duration_s } else { LONGEST_S };
        let heading_deg = document.require_within("heading_deg", self.heading_deg.unwrap_or(0.0), 0.0, 360.0);
        let start = self.start(document);
        let mount = self.mount(document);
        let air = self.air(document, duration_s);
        let pushes = self.push.iter().enumerate();
        let pushes =
            pushes.map(|(i, push)| push.check(document, &format!("push[{i}]"), duration_s)).collect();
        let faults = (self.fault.iter().enumerate())
            .filter_map(|(i, fault)| fault.check(document, &format!("fault[{i}]"), duration_s))
            .collect();
        let commands = self.commands(document, start, heading_deg, duration_s);
        let checks: Vec<_> = (self.check.into_iter().enumerate())
            .filter_map(|(i, entry)| entry.check(document, &format!("check[{i}]"), duration_s))
            .collect();
        Some(FlightPlan {
            name: name.to_owned(),
            title: self.title,
            purpose: self.purpose,
            duration_s,
            seed: self.seed.unwrap_or(1),
            start,
            mount,
            heading_deg,
            camera_elevation_deg: document.require_within(
                "camera_elevation_deg",
                self.camera_elevation_deg.unwrap_or(0.0),
                -90.0,
                90.0,
            ),
            air,
            pushes,
            faults,
            commands,
            checks,
        })
    }

    fn start(&self, document: &Document<'_>) -> Start {
        match (self.start, self.height_m) {
            (StartWord::Ground, None) => Start::Ground,
            (StartWord::Ground, Some(_)) => {
                document.refuse_at(
                    "height_m",
                    "a flight that starts on the ground has no height to start at",
                    None,
                );
                Start::Ground
            }
            (StartWord::Hover, Some(height_m)) => {
                Start::Hover { height_m: document.require_within("height_m", height_m, 0.5, 1000.0) }
            }
            (StartWord::Stand, height_m) => {
                let height_m = height_m.unwrap_or(STAND_HEIGHT_M);
                Start::Stand { height_m: document.require_within("height_m", height_m, 0.5, 1000.0) }
            }
            (StartWord::Hover, None) => {
                document.refuse_at("start", "a hover needs a height to start at", Some("add `height_m`"));
                Start::Ground
            }
        }
    }

    fn mount(&self, document: &Document<'_>) -> Mount {
        match (self.start, self.stand, self.tether) {
            (_, Some(_), Some(_)) => {
                document.refuse_at("tether", "a stand and a tether at once", Some("give one of them"));
                Mount::Free
            }
            (StartWord::Stand, Some(stand), None) => stand.check(document),
            (StartWord::Stand, None, _) => {
                let help = Some("add `[stand]` with its `axis`");
                document.refuse_at("start", "a start on a stand needs the stand", help);
                Mount::Free
            }
            (StartWord::Ground | StartWord::Hover, Some(_), None) => {
                let help = Some("set `start = \"stand\"`");
                document.refuse_at("stand", "`[stand]` needs a start on the stand", help);
                Mount::Free
            }
            (StartWord::Ground | StartWord::Hover, None, Some(tether)) => tether.check(document),
            (StartWord::Ground | StartWord::Hover, None, None) => Mount::Free,
        }
    }

    fn air(&self, document: &Document<'_>, duration_s: f64) -> AirConfig {
        let mut air = AirConfig::default();
        if let Some(table) = self.air {
            let elevation_m = table.elevation_m.unwrap_or(air.elevation_m);
            air.elevation_m = document.require_within("air.elevation_m", elevation_m, -500.0, 9000.0);
            let offset_k = table.temperature_offset_k.unwrap_or(air.temperature_offset_k);
            air.temperature_offset_k =
                document.require_within("air.temperature_offset_k", offset_k, -80.0, 60.0);
            air.u20_m_s = table.u20_m_s.map(|u20| document.require_within("air.u20_m_s", u20, 0.0, 60.0));
            air.u20_from_deg =
                document.require_within("air.from_deg", table.from_deg.unwrap_or(0.0), 0.0, 360.0);
            let roughness_m = table.roughness_m.unwrap_or(ROUGHNESS_M);
            air.roughness_m = document.require_within("air.roughness_m", roughness_m, 1e-6, 5.0);
            if table.u20_m_s.is_some() != table.from_deg.is_some() {
                let help = Some("give `u20_m_s` and `from_deg`, or neither");
                document.refuse_at("air", "a wind needs a speed and a direction", help);
            }
        }
        let mut last_s = 0.0;
        for (i, wind) in self.wind.iter().enumerate() {
            let at = |key: &str| format!("wind[{i}].{key}");
            let step = WindStep {
                at_s: document.require_within(&at("at_s"), wind.at_s.unwrap_or(0.0), last_s, duration_s),
                from_deg: document.require_within(&at("from_deg"), wind.from_deg, 0.0, 360.0),
                speed_m_s: document.require_within(&at("wind_m_s"), wind.wind_m_s, 0.0, 60.0),
                ramp_s: document.require_within(&at("ramp_s"), wind.ramp_s.unwrap_or(0.0), 0.0, duration_s),
            };
            last_s = step.at_s.max(last_s);
            air.winds.push(step);
        }
        for (i, gust) in self.gust.iter().enumerate() {
            let at = |key: &str| format!("gust[{i}].{key}");
            air.gusts.push(Gust {
                at_s: document.require_within(&at("at_s"), gust.at_s, 0.0, duration_s),
                peak_m_s: document.require_within(&at("peak_m_s"), gust.peak_m_s, 0.0, 60.0),
                length_m: document.require_positive(&at("length_m"), gust.length_m),
                from_deg: document.require_within(&at("from_deg"), gust.from_deg, 0.0, 360.0),
                form: if gust.dies_down == Some(true) { Form::Isolated } else { Form::Held },
            });
        }
        air.turbulence = self.turbulence.and_then(|turbulence| turbulence.check(document));
        air
    }

    fn commands(
        &self,
        document: &Document<'_>,
        start: Start,
        heading_deg: f64,
        duration_s: f64,
    ) -> Vec<TimedCommand> {
        let mut standing = match start {
            Start::Ground | Start::Stand { .. } => Standing::on_ground(heading_deg),
            Start::Hover { height_m } => Standing::hovering(heading_deg, height_m),
        };
        let mut commands = vec![TimedCommand { at_s: 0.0, command: standing.command() }];
        let mut last_s = 0.0;
        for (i, entry) in self.command.iter().enumerate() {
            let path = format!("command[{i}]");
            let at_s = entry.at_s;
            if at_s < last_s {
                let reason = format!("commands must stand in order of time: the one before is at {last_s} s");
                document.refuse_at(&format!("{path}.at_s"), reason, None);
            } else {
                document.require_within(&format!("{path}.at_s"), at_s, 0.0, duration_s);
                last_s = at_s;
            }
            standing.advance(at_s - commands.last().map_or(0.0, |last| last.at_s));
            entry.check(document, &path, &mut standing);
            commands.push(TimedCommand { at_s, command: standing.command() });
        }
        commands
    }
}

impl TurbulenceTable {
    fn check(self, document: &Document<'_>) -> Option<Turbulence> {
        match (self.u20_m_s, self.intensity) {
            (Some(u20), None) => {
                Some(Turbulence { u20_m_s: document.require_within("turbulence.u20_m_s", u20, 0.0, 60.0) })
            }
            (None, Some(Intensity::Light)) => Some(Turbulence::light()),
            (None, Some(Intensity::Moderate)) => Some(Turbulence::moderate()),
            (None, Some(Intensity::Severe)) => Some(Turbulence::severe()),
            (Some(_), Some(_)) | (None, None) => {
                let help = Some("give either `u20_m_s` or `intensity`");
                document.refuse_at("turbulence", "the strength of the turbulence must be given once", help);
                None
            }
        }
    }
}

impl PushEntry {
    fn check(&self, document: &Document<'_>, path: &str, duration_s: f64) -> Push {
        let at_s = document.require_within(&format!("{path}.at_s"), self.at_s, 0.0, duration_s);
        if self.until_s <= at_s {
            document.refuse_at(&format!("{path}.until_s"), "must be later than `at_s`", None);
        }
        if self.torque_nm.is_none() && self.force_n.is_none() {
            document.refuse_at(
                path,
                "a push needs a torque or a force",
                Some("add `torque_nm` or `force_n`"),
            );
        }
        let torque = self.torque_nm.map_or([None; 3], |torque| [torque.roll, torque.pitch, torque.yaw]);
        let force = self.force_n.map_or([None; 3], |force| [force.north, force.east, force.up]);
        let parts = |parts: [Option<f64>; 3]| parts.map(|part| part.unwrap_or(0.0));
        Push { at_s, until_s: self.until_s, torque_nm: parts(torque), force_n: parts(force) }
    }
}
