//! One flight in closed loop: the control crate on the simulated craft.
//!
//! Time is discrete with the controller's tick: see [`ClosedLoop`].
//!
//! A flight that starts in hover has a warm-up, which is not evaluated: the craft stands still, arms, climbs
//! to the starting height and settles in the air of the first instant. So estimator states and integrals
//! start settled.

use aplomb::{Command, FlightController, HeadingDemand, MotorCommand, VerticalDemand, flight, frames};
use aplomb_craft::{AirConfig, Config, Fault, Rotors, glam::DVec3};

use crate::camera::StabilisedCamera;
pub use crate::error::FlyError;
use crate::plan::{FlightPlan, Start};
use crate::trace::{Row, Trace};
use crate::{ClosedLoop, Controller, Plant, sample};

/// Ticks from one trace row to the next. It is no multiple of the dividers of the slower loops, so that rows
/// sample all phases of them.
pub const ROW_TICKS: i64 = 4;

/// Warm-up: time stationary on the ground, in s.
const REST_S: f64 = 4.0;
/// Warm-up: last part of [`REST_S`], in s, in which the motors are armed with centred sticks.
const ARM_S: f64 = 1.0;
/// Warm-up: time to settle after the climb, in s. Over 40 seeds no figure of the demo differs from that after
/// 20 s by more than its scatter; after 6 s the position has not settled.
const SETTLE_S: f64 = 8.0;

/// Longest warm-up, in s.
pub const LONGEST_WARM_UP_S: f64 = 900.0;

/// Result of a flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Flown {
    /// Seed of all its random numbers.
    pub seed: u64,
    /// Trace from time 0 on; without the warm-up.
    pub trace: Trace,
    /// Digest of the bits of all motor commands, warm-up included (FNV-1a, 64 bit).
    pub digest: u64,
    /// Simulated time in s, warm-up included.
    pub simulated_s: f64,
}

/// Flies `plan` with the flight controller under `settings` on `craft`; all random numbers come from `seed`.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly(
    craft: &Config,
    settings: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    fly_as::<FlightController, aplomb_craft::Plant>(craft, settings, plan, seed)
}

/// [`fly`] with another controller `C` or craft `P`.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly_as<C: Controller, P: Plant>(
    craft: &Config,
    settings: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    recorded::<C, P>((craft, Rotors::splat(1.0)), settings, plan, seed)
}

/// [`fly_as`] with unequal motors: `motor_share` is the actual over the nominal speed of each motor.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly_uneven<C: Controller, P: Plant>(
    craft: &Config,
    motor_share: Rotors<f64>,
    settings: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    recorded::<C, P>((craft, motor_share), settings, plan, seed)
}

fn recorded<C: Controller, P: Plant>(
    craft: (&Config, Rotors<f64>),
    settings: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
) -> Result<Flown, FlyError> {
    let period_s = ROW_TICKS as f64 / f64::from(settings.tick_hz);
    let mut rows = Vec::with_capacity((plan.duration_s / period_s) as usize + 2);
    let ended = watched::<C, P>(craft, settings, plan, seed, |tick| {
        if tick.from_start >= 0 && tick.from_start % ROW_TICKS == 0 {
            let row = sample::row(tick.time_s, &tick.plant.truth(), tick.controller.record());
            rows.push(Row { camera: tick.camera.map(StabilisedCamera::row), ..row });
        }
    })?;
    let Ended { digest, simulated_s } = ended;
    Ok(Flown { seed, trace: Trace { period_s, rows }, digest, simulated_s })
}

/// One tick of a flight, after the controller step and before the integration of the craft.
#[derive(Debug)]
pub struct Tick<'a, C = FlightController, P = aplomb_craft::Plant> {
    /// Ticks since the start of the flight; negative in the warm-up.
    pub from_start: i64,
    /// Time since the start of the flight in s.
    pub time_s: f64,
    /// Samples that the controller received.
    pub sensors: &'a aplomb::Sensors,
    /// Command that it received.
    pub command: &'a Command,
    /// Motor commands that it returned.
    pub motors: Rotors<MotorCommand>,
    /// The controller after this tick.
    pub controller: &'a C,
    /// The craft at this tick.
    pub plant: &'a P,
    /// The camera at this tick, where one is fitted.
    pub camera: Option<&'a StabilisedCamera>,
}

/// Totals of a flight without a trace.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ended {
    /// As in [`Flown`].
    pub digest: u64,
    /// As in [`Flown`].
    pub simulated_s: f64,
}

/// [`fly`] without a trace. `watch` is called on every tick, warm-up included.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn fly_watched(
    craft: &Config,
    settings: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
    watch: impl FnMut(&Tick<'_>),
) -> Result<Ended, FlyError> {
    watched((craft, Rotors::splat(1.0)), settings, plan, seed, watch)
}

/// Flies the craft with the given actual over nominal speed of each motor.
fn watched<C: Controller, P: Plant>(
    (craft, motor_share): (&Config, Rotors<f64>),
    settings: &flight::Config,
    plan: &FlightPlan,
    seed: u64,
    mut watch: impl FnMut(&Tick<'_, C, P>),
) -> Result<Ended, FlyError> {
    let tick_hz = settings.tick_hz;
    let tick_s = 1.0 / f64::from(tick_hz);
    let ticks = |time_s: f64| libm::round(time_s / tick_s) as i64;
    // Invalid limits are rejected before the warm-up is computed from them.
    let controller = C::new(settings)?;
    let warm_up_s = warm_up_s(plan, settings);
    if warm_up_s > LONGEST_WARM_UP_S {
        return Err(FlyError::SlowClimb(warm_up_s));
    }
    let warm_up_ticks = ticks(warm_up_s);
    let warm_up_s = warm_up_ticks as f64 * tick_s;
    let air = shifted(&plan.air, warm_up_s);
    let plant = P::new(craft, &air, &start(plan), &later(&plan.faults, warm_up_s), seed, tick_s)?;
    let mut closed = ClosedLoop::new(controller, plant, tick_s).with_motor_share(motor_share);
    let mut camera = match &craft.gimbal {
        Some(mount) => {
            let base = closed.plant().base_motion();
            Some(StabilisedCamera::new(mount, &base, plan.camera_elevation_deg, seed, tick_hz)?)
        }
        None => None,
    };
    let mut digest = Digest::new();
    let mut pushed = ([0.0; 3], [0.0; 3]);
    let end = ticks(plan.duration_s);
    for from_start in -warm_up_ticks..=end {
        let time_s = from_start as f64 * tick_s;
        let command = command_at(plan, (warm_up_ticks + from_start) as f64 * tick_s, time_s);
        let (sensors, motors) = closed.step(&command);
        digest.take(motors);
        watch(&Tick {
            from_start,
            time_s,
            sensors: &sensors,
            command: &command,
            motors,
            controller: closed.controller(),
            plant: closed.plant(),
            camera: camera.as_ref(),
        });
        if let Some(camera) = &mut camera {
            camera.step(closed.controller().record());
        }
        let push = plan.push_at(time_s);
        if push != pushed {
            let ([north, east, up], torque_nm) = push;
            closed.plant_mut().push(DVec3::new(north, east, -up), DVec3::from_array(torque_nm));
            pushed = push;
        }
        closed.advance(motors);
        if let Some(camera) = &mut camera {
            camera.advance(&closed.plant().base_motion());
        }
    }
    Ok(Ended { digest: digest.0, simulated_s: (warm_up_ticks + end + 1) as f64 * tick_s })
}

/// State of the craft before the warm-up.
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

/// Length of the warm-up of `plan` in s; the climb takes as long as the controller's climb limits require. 0
/// for a start on the ground or on a stand.
#[must_use]
pub fn warm_up_s(plan: &FlightPlan, controller: &flight::Config) -> f64 {
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

/// The command at a time, counted from the start of the warm-up and from the start of the flight.
fn command_at(plan: &FlightPlan, from_warm_up_s: f64, time_s: f64) -> Command {
    if time_s >= 0.0 {
        return plan.command_at(time_s);
    }
    let height_m = match plan.start {
        Start::Hover { height_m } if from_warm_up_s >= REST_S => height_m,
        Start::Hover { .. } if from_warm_up_s >= REST_S - ARM_S => {
            return Command::fly(aplomb::Demand::Sticks(aplomb::Sticks::CENTRED));
        }
        _ => return Command::IDLE,
    };
    let heading = frames::Heading::from_rad::<aplomb::Libm>(plan.heading_deg.to_radians() as f32);
    Command::fly(aplomb::Demand::Position {
        setpoint: aplomb::PositionSetpoint::default(),
        heading: HeadingDemand::Hold(heading),
        vertical: VerticalDemand::Height(height_m as f32),
    })
}

/// The air of the flight, delayed by the warm-up. The wind at the start blows during the warm-up, too.
fn shifted(air: &AirConfig, warm_up_s: f64) -> AirConfig {
    let mut air = air.clone();
    for wind in air.winds.iter_mut().filter(|wind| wind.at_s > 0.0) {
        wind.at_s += warm_up_s;
    }
    for gust in &mut air.gusts {
        gust.at_s += warm_up_s;
    }
    air
}

/// The faults of the flight, delayed by the warm-up.
fn later(faults: &[Fault], warm_up_s: f64) -> Vec<Fault> {
    let later = |fault: &Fault| Fault {
        from_s: fault.from_s + warm_up_s,
        until_s: fault.until_s + warm_up_s,
        ..*fault
    };
    faults.iter().map(later).collect()
}

/// FNV-1a with the parameters of its 64-bit variant (Fowler, Noll, Vo; RFC 9923), over words of 32 bits
/// instead of bytes.
struct Digest(u64);

impl Digest {
    fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }

    fn take(&mut self, commands: Rotors<MotorCommand>) {
        for command in commands.into_array() {
            self.0 = (self.0 ^ u64::from(command.get().to_bits())).wrapping_mul(0x0100_0000_01b3);
        }
    }
}
