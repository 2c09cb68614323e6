//! One flight in closed loop: the control crate on the simulated craft.
//!
//! Time runs in ticks of the controller. On tick k the craft is sensed, the controller computes, and the craft moves on to
//! tick k+1 under the command computed on tick k-1: the computation takes one tick, as the contract has it, and the speed
//! controller's own delay comes on top inside the craft.
//!
//! A flight that starts in hover is preceded by a lead-in that nobody judges: the craft rests, arms, climbs to the starting
//! height and settles in the air of the flight's first instant, so that estimates and integrals start as they would in life.

use aplomb::{Command, FlightController, HeadingDemand, MotorCommand, VerticalDemand, flight, frames};
use aplomb_craft::{AirConfig, Config, Fault, Plant, Rotors, glam::DVec3};

use crate::camera::StabilisedCamera;
use crate::exchange;
use crate::input::flight::{FlightPlan, Start};
use crate::sample;
use crate::trace::{Row, Trace};

/// Time between rows of a trace in ticks. No multiple of the dividers of the slower loops, so that rows fall on all their
/// phases.
const ROW_TICKS: i64 = 4;

/// Lead-in: rest on the ground, in s.
const REST_S: f64 = 4.0;
/// Lead-in: the end of the rest, in s, in which the motors are armed with the sticks centred, as the guard wants it.
const ARM_S: f64 = 1.0;
/// Lead-in: time to settle after the climb, in s. No figure of the demo's flights over 40 seeds differs from that after 20 s by
/// more than it scatters; after 6 s the place is not settled yet.
const SETTLE_S: f64 = 8.0;

/// A flight that was flown.
#[derive(Clone, Debug, PartialEq)]
pub struct Flown {
    /// The seed of all its random numbers.
    pub seed: u64,
    /// What happened, from the flight's time 0 on.
    pub trace: Trace,
    /// Digest of the bits of every motor command since the start of the lead-in (FNV-1a, 64 bit).
    pub digest: u64,
    /// Simulated time in s, lead-in included.
    pub simulated_s: f64,
}

/// Why a flight could not be flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FlyError {
    /// The craft or its air was refused.
    Craft(aplomb_craft::ConfigError),
    /// The controller was refused.
    Controller(aplomb::ConfigError),
}

impl std::fmt::Display for FlyError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Craft(error) => write!(f, "craft: {error}"),
            Self::Controller(error) => write!(f, "controller: {error}"),
        }
    }
}

impl std::error::Error for FlyError {}

impl From<aplomb_craft::ConfigError> for FlyError {
    fn from(error: aplomb_craft::ConfigError) -> Self {
        Self::Craft(error)
    }
}

impl From<aplomb::ConfigError> for FlyError {
    fn from(error: aplomb::ConfigError) -> Self {
        Self::Controller(error)
    }
}

/// Flies `plan` with `controller` on `craft`; all random numbers come from `seed`.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly(
    craft: &Config,
    controller: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    fly_with::<aplomb::Libm>(craft, controller, plan, seed)
}

/// [`fly`] with scalar functions `M` in the controller.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly_with<M: aplomb::Math>(
    craft: &Config,
    controller: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    recorded::<M>((craft, Rotors::splat(1.0)), controller, plan, seed)
}

/// [`fly`] with motors that are not alike: `motor_share` is the share of the nominal speed that each makes of its command.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly_uneven(
    craft: &Config,
    motor_share: Rotors<f64>,
    controller: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    recorded::<aplomb::Libm>((craft, motor_share), controller, plan, seed)
}

fn recorded<M: aplomb::Math>(
    craft: (&Config, Rotors<f64>),
    controller: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    let period_s = ROW_TICKS as f64 / f64::from(controller.tick_hz);
    let mut rows = Vec::with_capacity((plan.duration_s / period_s) as usize + 2);
    let ended = watched::<M>(craft, controller, plan, seed, |tick| {
        if tick.from_start >= 0 && tick.from_start % ROW_TICKS == 0 {
            let row = sample::row(tick.time_s, &tick.plant.truth(), &tick.controller.record());
            rows.push(Row { camera: tick.camera.map(StabilisedCamera::row), ..row });
        }
    })?;
    let Ended { digest, simulated_s } = ended;
    Ok(Flown { seed, trace: Trace { period_s, rows }, digest, simulated_s })
}

/// One tick of a flight, when its commands have been computed and the craft has not moved on yet.
#[derive(Debug)]
pub struct Tick<'a, M: aplomb::Math> {
    /// Ticks since the start of the flight; negative in the lead-in.
    pub from_start: i64,
    /// Time since the start of the flight in s.
    pub time_s: f64,
    /// What the controller was shown.
    pub sensors: &'a aplomb::Sensors,
    /// What it was told.
    pub command: &'a Command,
    /// What it answered.
    pub motors: aplomb::Rotors<MotorCommand>,
    /// The controller after this tick.
    pub controller: &'a FlightController<M>,
    /// The craft at this tick.
    pub plant: &'a Plant,
    /// The camera at this tick, where one is fitted.
    pub camera: Option<&'a StabilisedCamera<M>>,
}

/// How a watched flight ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ended {
    /// As in [`Flown`].
    pub digest: u64,
    /// As in [`Flown`].
    pub simulated_s: f64,
}

/// Flies without keeping anything: `watch` is shown every tick, those of the lead-in included.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly_watched<M: aplomb::Math>(
    craft: &Config,
    controller: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
    watch: impl FnMut(&Tick<'_, M>),
) -> Result<Ended, FlyError> {
    watched((craft, Rotors::splat(1.0)), controller, plan, seed, watch)
}

/// Flies the craft with the share of the nominal speed that each motor makes of its command.
fn watched<M: aplomb::Math>(
    (craft, motor_share): (&Config, Rotors<f64>),
    config: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
    mut watch: impl FnMut(&Tick<'_, M>),
) -> Result<Ended, FlyError> {
    let tick_hz = config.tick_hz;
    let tick_s = 1.0 / f64::from(tick_hz);
    let ticks = |time_s: f64| libm::round(time_s / tick_s) as i64;
    // Refused before anything is made of its limits.
    let mut controller = FlightController::<M>::new(config)?;
    let lead_ticks = ticks(lead_s(plan, config));
    let lead_s = lead_ticks as f64 * tick_s;
    let mut plant = Plant::new(craft, &shifted(&plan.air, lead_s), &start(plan), seed, tick_s)?
        .with_faults(&later(&plan.faults, lead_s))?;
    let mut camera = match &craft.camera_mount {
        Some(mount) => {
            let elevation_deg = plan.camera_elevation_deg;
            Some(StabilisedCamera::<M>::new(mount, &plant.carrier(), elevation_deg, seed, tick_hz)?)
        }
        None => None,
    };
    let mut waiting = aplomb::Rotors::splat(MotorCommand::STOPPED);
    let mut digest = Digest::new();
    let mut pushed = ([0.0; 3], [0.0; 3]);
    let end = ticks(plan.duration_s);
    for from_start in -lead_ticks..=end {
        let time_s = from_start as f64 * tick_s;
        let sensors = exchange::sensors(&plant.sense(), tick_s);
        let command = command_at(plan, (lead_ticks + from_start) as f64 * tick_s, time_s);
        let motors = controller.step(&sensors, &command);
        digest.take(motors);
        watch(&Tick {
            from_start,
            time_s,
            sensors: &sensors,
            command: &command,
            motors,
            controller: &controller,
            plant: &plant,
            camera: camera.as_ref(),
        });
        if let Some(camera) = &mut camera {
            camera.step(&controller);
        }
        let push = plan.push_at(time_s);
        if push != pushed {
            let ([north, east, up], torque_nm) = push;
            plant.push(DVec3::new(north, east, -up), DVec3::from_array(torque_nm));
            pushed = push;
        }
        plant.advance(exchange::commands(waiting).zip(motor_share).map(|(command, share)| command * share));
        if let Some(camera) = &mut camera {
            camera.advance(&plant.carrier());
        }
        waiting = motors;
    }
    Ok(Ended { digest: digest.0, simulated_s: (lead_ticks + end + 1) as f64 * tick_s })
}

/// Where the craft is before the lead-in.
fn start(plan: &FlightPlan) -> aplomb_craft::Start {
    let ground = aplomb_craft::Start {
        heading_rad: plan.heading_deg.to_radians(),
        mount: plan.mount,
        ..aplomb_craft::Start::default()
    };
    match plan.start {
        Start::Ground | Start::Hover { .. } => ground,
        Start::Stand { height_m } => {
            aplomb_craft::Start { airborne: true, rotors_stopped: true, height_m, ..ground }
        }
    }
}

/// Length of the lead-in of `plan` in s, with a controller that climbs within its own limits; 0 for a start on the ground or
/// on a stand.
#[must_use]
pub fn lead_s(plan: &FlightPlan, controller: &flight::Config) -> f64 {
    match plan.start {
        Start::Ground | Start::Stand { .. } => 0.0,
        Start::Hover { height_m } => {
            let aplomb::control::vertical::Config { climb_limit_m_s, acceleration_m_s2, .. } =
                controller.vertical;
            let climb_s =
                height_m / f64::from(climb_limit_m_s) + f64::from(climb_limit_m_s / acceleration_m_s2);
            REST_S + libm::ceil(climb_s) + SETTLE_S
        }
    }
}

/// The command at a time counted from the start of the lead-in and one counted from the flight's start.
fn command_at(plan: &FlightPlan, from_lead_s: f64, time_s: f64) -> Command {
    if time_s >= 0.0 {
        return plan.command_at(time_s);
    }
    let height_m = match plan.start {
        Start::Hover { height_m } if from_lead_s >= REST_S => height_m,
        Start::Hover { .. } if from_lead_s >= REST_S - ARM_S => {
            return Command::fly(aplomb::Demand::Sticks(aplomb::Sticks::CENTRED));
        }
        _ => return Command::IDLE,
    };
    let heading = frames::Heading::from_rad::<aplomb::Libm>(plan.heading_deg.to_radians() as f32);
    Command::fly(aplomb::Demand::Position {
        position_m: frames::Vector::ZERO,
        heading: HeadingDemand::Hold(heading),
        vertical: VerticalDemand::Height(height_m as f32),
    })
}

/// The air of the flight, later by the lead-in; what blows at the start blows in the lead-in too.
fn shifted(air: &AirConfig, lead_s: f64) -> AirConfig {
    let mut air = air.clone();
    for wind in air.winds.iter_mut().filter(|wind| wind.at_s > 0.0) {
        wind.at_s += lead_s;
    }
    for gust in &mut air.gusts {
        gust.at_s += lead_s;
    }
    air
}

/// The faults of the flight, later by the lead-in.
fn later(faults: &[Fault], lead_s: f64) -> Vec<Fault> {
    let later =
        |fault: &Fault| Fault { from_s: fault.from_s + lead_s, until_s: fault.until_s + lead_s, ..*fault };
    faults.iter().map(later).collect()
}

/// FNV-1a with the parameters of its 64-bit variant (Fowler, Noll, Vo; RFC 9923), over words of 32 bits instead of bytes.
struct Digest(u64);

impl Digest {
    fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }

    fn take(&mut self, commands: aplomb::Rotors<MotorCommand>) {
        for command in commands.into_array() {
            self.0 = (self.0 ^ u64::from(command.get().to_bits())).wrapping_mul(0x0100_0000_01b3);
        }
    }
}
