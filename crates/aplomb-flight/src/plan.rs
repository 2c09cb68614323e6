//! Flight plans: commands, air, disturbances, faults and checks.

use aplomb::frames::Heading;
use aplomb::{Command, Demand, HeadingDemand, PositionSetpoint, VerticalDemand};
use aplomb_craft::{AirConfig, Fault, Mount};

use crate::check::Check;
use crate::signal::Signal;
use crate::words;

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
    /// A hover at `height_m` above home in still air, heading north, for `duration_s`; without checks.
    #[must_use]
    pub fn hover(name: &str, height_m: f64, duration_s: f64) -> Self {
        let hold = Demand::Position {
            setpoint: PositionSetpoint::default(),
            heading: HeadingDemand::Hold(Heading::NORTH),
            vertical: VerticalDemand::Height(height_m as f32),
        };
        Self {
            name: name.to_owned(),
            title: name.to_owned(),
            purpose: String::new(),
            duration_s,
            seed: 1,
            start: Start::Hover { height_m },
            mount: Mount::Free,
            heading_deg: 0.0,
            camera_elevation_deg: 0.0,
            air: AirConfig::default(),
            pushes: Vec::new(),
            faults: Vec::new(),
            commands: vec![TimedCommand { at_s: 0.0, command: Command::fly(hold) }],
            checks: Vec::new(),
        }
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
        let mut sentences = vec![words::air(&self.air)];
        sentences.extend(words::mount(&self.mount));
        if !self.faults.is_empty() {
            let faults: Vec<String> = self.faults.iter().map(words::fault).collect();
            sentences.push(format!("Faults: {}.", faults.join("; ")));
        }
        sentences.join(" ")
    }
}

/// A command and the time from which it is active.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimedCommand {
    /// Time from the start of the flight in s.
    pub at_s: f64,
    /// The command at that time.
    pub command: Command,
}

impl TimedCommand {
    /// The command at `time_s`: a set-point of position or velocity moves on with its velocity and
    /// acceleration.
    #[must_use]
    pub fn at(&self, time_s: f64) -> Command {
        Command { demand: moved(self.command.demand, time_s - self.at_s), ..self.command }
    }
}

/// `demand` as it is `time_s` later.
fn moved(mut demand: Demand, time_s: f64) -> Demand {
    let time_s = time_s as f32;
    match &mut demand {
        Demand::Position { setpoint, .. } => {
            setpoint.position_m +=
                setpoint.velocity_m_s * time_s + setpoint.acceleration_m_s2 * (0.5 * time_s * time_s);
            setpoint.velocity_m_s += setpoint.acceleration_m_s2 * time_s;
        }
        Demand::Velocity { setpoint, .. } => setpoint.velocity_m_s += setpoint.acceleration_m_s2 * time_s,
        _ => {}
    }
    demand
}
