//! Flight files: commands, air, disturbances, faults and checks.

use aplomb_craft::Mount;
use aplomb_craft::air::{AirConfig, ROUGHNESS_M, WindStep};
use aplomb_craft::dryden::Turbulence;
use aplomb_craft::gust::{Form, Gust};
use aplomb_flight::FlightPlan;
use aplomb_flight::plan::{Push, Start, TimedCommand};
use schemars::JsonSchema;
use serde::Deserialize;

use super::check::CheckEntry;
use super::command::{CommandEntry, Standing};
use super::document::Document;
use super::fault::FaultEntry;
use super::mount::{StandTable, TetherTable};
use super::problem::InputError;

/// Reads a flight from `text`; `path` names it in messages, `name` in results.
pub fn flight(path: &str, name: &str, text: &str) -> Result<FlightPlan, InputError> {
    let document = Document::parse(path, text)?;
    let plan = document.read::<FlightFile>().and_then(|file| file.check(&document, name));
    if plan.as_ref().is_some_and(|plan| plan.checks.is_empty()) && document.is_clean() {
        let help = Some("add at least one [[check]]: a flight without a check has no verdict");
        document.refuse_at("title", "this flight has no check", help);
    }
    document.finish(plan)
}

/// As [`flight`], for a flight that is judged elsewhere: it needs no check.
pub fn unjudged_flight(path: &str, name: &str, text: &str) -> Result<FlightPlan, InputError> {
    let document = Document::parse(path, text)?;
    let plan = document.read::<FlightFile>().and_then(|file| file.check(&document, name));
    document.finish(plan)
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
/// Longest flight: half an hour, for the memory of its trace.
const LONGEST_S: f64 = 1800.0;

impl FlightFile {
    fn check(self, document: &Document<'_>, name: &str) -> Option<FlightPlan> {
        document.require_one_line("title", &self.title);
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
