//! A controller on the simulated craft in steady flight, with additions at the breaks of its loops.
//!
//! The additions at the demands on the mixer and at the rate set-points are made by the controller's own tap
//! ([`Excitation`]); those at the outer loops are made to the commanded set-point. The rest of a tick is as
//! in [`aplomb_flight::ClosedLoop`].

use aplomb::flight::Excitation;
use aplomb::frames::{Body, Vector};
use aplomb::mix::Wrench;
use aplomb::record::Record;
use aplomb::{
    Command, Demand, HeadingDemand, MotorCommand, PositionSetpoint, VelocitySetpoint, VerticalDemand, flight,
    frames,
};
use aplomb_craft::{Config, Plant, Start, glam::DVec3};

use super::point::Point;
use crate::linear::{BREAKS, Break, Linearisable, Mode};
use aplomb_flight::exchange;
use aplomb_flight::fly::FlyError;

/// Times on the ground, of it armed, for settling after the climb, and for settling at speed, in s.
const GROUND_S: f64 = 4.0;
const ARMED_S: f64 = 1.0;
const SETTLE_S: f64 = 20.0;
const SPEED_UP_S: f64 = 20.0;
/// Height in m at which margins are measured, clear of the ground.
const HEIGHT_M: f64 = 10.0;

/// Time of a hover without the loops in s.
const HOVER_S: f64 = 8.0;
/// Largest body rate and vertical speed of a steady flight without noise.
const SETTLED_RAD_S: f64 = 1e-2;
const SETTLED_M_S: f64 = 2e-2;

/// What is added at each break on one tick, in the order of [`Break::ALL`]: torques in N m, thrust in N,
/// rates in rad/s, accelerations in m/s2; at the velocity and climb set-points through the position and the
/// height commanded, in m.
pub(crate) type Added = [f64; BREAKS];

/// The tap of the controller for [`Added`].
struct Tap<'a>(&'a Added);

impl Tap<'_> {
    fn vector(&self, first: Break) -> Vector<Body> {
        let from = first.index();
        Vector::new(self.0[from] as f32, self.0[from + 1] as f32, self.0[from + 2] as f32)
    }
}

impl Excitation for Tap<'_> {
    fn rate_setpoint(&mut self, rad_s: &mut Vector<Body>) {
        *rad_s += self.vector(Break::RollRate);
    }

    fn demand(&mut self, demand: &mut Wrench) {
        demand.torque_nm += self.vector(Break::RollTorque);
        demand.thrust_n += self.0[Break::Thrust.index()] as f32;
    }

    fn achieved(&mut self, achieved: &mut Wrench) {
        achieved.torque_nm -= self.vector(Break::RollTorque);
        achieved.thrust_n -= self.0[Break::Thrust.index()] as f32;
    }
}

/// A craft in steady flight.
#[derive(Clone, Debug)]
pub(crate) struct SteadyFlight<C> {
    pub(crate) plant: Plant,
    pub(crate) controller: C,
    pub(crate) pending: aplomb::Rotors<MotorCommand>,
    pub(crate) tick_s: f64,
    pub(crate) mode: Mode,
    speed_m_s: f64,
    /// Position commanded: north, east and height.
    commanded_m: [f64; 3],
    saturated: bool,
}

impl<C: Linearisable> SteadyFlight<C> {
    /// Takes off and settles at the operating point.
    pub(crate) fn at(
        craft: &Config,
        settings: &flight::Config,
        point: &Point,
        seed: u64,
    ) -> Result<Self, FlyError> {
        let tick_s = 1.0 / f64::from(settings.tick_hz);
        let mut flight = Self {
            plant: Plant::new(&point.craft(craft), &point.air(), &Start::default(), seed, tick_s)?,
            controller: C::new(settings)?,
            pending: aplomb::Rotors::splat(MotorCommand::STOPPED),
            tick_s,
            mode: point.mode,
            speed_m_s: point.speed_m_s(settings),
            commanded_m: [0.0, 0.0, HEIGHT_M],
            saturated: false,
        };
        let arming = Command::fly(Demand::Sticks(aplomb::Sticks::CENTRED));
        flight.run(GROUND_S - ARMED_S, &Command::IDLE);
        flight.run(ARMED_S, &arming);
        let climb_s = HEIGHT_M / f64::from(settings.vertical.climb_limit_m_s).min(1.0);
        let hold = Self { mode: Mode::Position, ..flight.clone() }.command(&[0.0; BREAKS]);
        flight.run(climb_s + SETTLE_S, &hold);
        if point.mode != Mode::Position {
            flight.run(SPEED_UP_S, &flight.command(&[0.0; BREAKS]));
        }
        flight.saturated = false;
        Ok(flight)
    }

    /// A hover of the craft under constant commands, with the controller running beside it: the loops are not
    /// closed, so that an unstable controller can be linearised.
    pub(crate) fn hovering(
        craft: &Config,
        settings: &flight::Config,
        point: &Point,
    ) -> Result<Self, FlyError> {
        let tick_s = 1.0 / f64::from(settings.tick_hz);
        let start = Start { airborne: true, height_m: HEIGHT_M, ..Start::default() };
        let plant = Plant::new(&point.craft(craft), &point.air(), &start, 0, tick_s)?;
        let hover = plant.truth().motor_command;
        let mut flight = Self {
            plant,
            controller: C::new(settings)?,
            pending: hover.map(|share| MotorCommand::saturating(share as f32)),
            tick_s,
            mode: point.mode,
            speed_m_s: 0.0,
            commanded_m: [0.0, 0.0, HEIGHT_M],
            saturated: false,
        };
        flight.controller.resume_in_flight();
        for _ in 0..libm::round(HOVER_S / tick_s) as u64 {
            flight.control(&flight.command(&[0.0; BREAKS]), &[0.0; BREAKS]);
            flight.plant.advance(hover);
            // Without a pressure at home the height counts from where the estimate began.
            let estimate = flight.controller.record().estimate.position_m.to_array().map(f64::from);
            flight.commanded_m = [estimate[0], estimate[1], -estimate[2]];
        }
        Ok(flight)
    }

    /// A thousandth of the weight pushes from now on, at a tenth of an arm: in a perfectly symmetrical craft,
    /// numbers that are exactly zero would hide how the code goes on beside them.
    pub(crate) fn push_a_little(&mut self, craft: &Config) {
        let force_n = 1e-3 * craft.mass_kg * aplomb_craft::gravity::STANDARD_M_S2;
        let torque_nm = 0.1 * force_n * libm::hypot(craft.arms.front_left.x_m, craft.arms.front_left.y_m);
        self.plant.push(
            DVec3::new(force_n, 0.7 * force_n, 0.0),
            DVec3::new(torque_nm, 0.8 * torque_nm, 0.2 * torque_nm),
        );
    }

    /// Flies on for some seconds.
    pub(crate) fn settle(&mut self, duration_s: f64) {
        self.run(duration_s, &self.command(&[0.0; BREAKS]));
    }

    fn run(&mut self, duration_s: f64, command: &Command) {
        for _ in 0..libm::round(duration_s / self.tick_s) as u64 {
            self.tick(command, &[0.0; BREAKS]);
        }
    }

    /// One tick of steady flight with additions.
    pub(crate) fn step(&mut self, added: &Added) -> Record {
        self.tick(&self.command(added), added)
    }

    fn tick(&mut self, command: &Command, added: &Added) -> Record {
        let commands = self.control(command, added);
        self.plant.advance(exchange::commands(self.pending));
        self.pending = commands;
        let record = *self.controller.record();
        let limited = record.achieved.limited;
        self.saturated |= limited.roll_pitch || limited.thrust || limited.yaw;
        record
    }

    /// The controller's part of a tick.
    pub(crate) fn control(&mut self, command: &Command, added: &Added) -> aplomb::Rotors<MotorCommand> {
        let sensors = exchange::sensors(&self.plant.sense(), self.tick_s);
        self.controller.step_excited(&sensors, command, &mut Tap(added))
    }

    /// A motor or the mixer has saturated since the flight became steady.
    pub(crate) const fn saturated(&self) -> bool {
        self.saturated
    }

    /// In the air, within the height range, and upright.
    pub(crate) fn is_steady(&self) -> bool {
        let truth = self.plant.truth();
        !truth.on_ground && truth.tilt_rad() < 1.0 && (truth.height_m() - HEIGHT_M).abs() < 0.5 * HEIGHT_M
    }

    /// It flies steadily, and no motion of the loops is left.
    pub(crate) fn has_settled(&self) -> bool {
        let truth = self.plant.truth();
        self.is_steady()
            && truth.body_rate_rad_s.length() < SETTLED_RAD_S
            && truth.velocity_m_s.z.abs() < SETTLED_M_S
    }

    /// The command of the mode with additions to its set-points.
    pub(crate) fn command(&self, added: &Added) -> Command {
        let at = |broken: Break| added[broken.index()];
        let pair = |north: f64, east: f64| frames::Horizontal::new(north as f32, east as f32);
        let heading = HeadingDemand::Hold(frames::Heading::NORTH);
        let [north_m, east_m, height_m] = self.commanded_m;
        let vertical = VerticalDemand::Height((height_m + at(Break::Climb)) as f32);
        let acceleration_m_s2 = pair(at(Break::NorthAcceleration), at(Break::EastAcceleration));
        let (north, east) = (north_m + at(Break::NorthVelocity), east_m + at(Break::EastVelocity));
        Command::fly(match self.mode {
            Mode::Tilt => Demand::Tilt { tilt: aplomb::Tilt::LEVEL, heading, vertical },
            Mode::Velocity => {
                let velocity_m_s = pair(self.speed_m_s, 0.0);
                Demand::Velocity {
                    setpoint: VelocitySetpoint { velocity_m_s, acceleration_m_s2 },
                    heading,
                    vertical,
                }
            }
            Mode::Position => {
                let setpoint =
                    PositionSetpoint { acceleration_m_s2, ..PositionSetpoint::at(pair(north, east)) };
                Demand::Position { setpoint, heading, vertical }
            }
        })
    }
}

/// The signals at the breaks before the additions, in the order of [`Break::ALL`]; the acceleration demand
/// contains its addition. Where the position or the height set-point is added to, the estimate returns.
pub(crate) fn signals(record: &Record) -> [f64; BREAKS] {
    let torque = record.wrench.torque_nm;
    let rate = record.attitude.rate_setpoint.rate_rad_s;
    let acceleration = record.outer.acceleration_m_s2;
    let position = record.estimate.position_m;
    [
        torque.x(),
        torque.y(),
        torque.z(),
        record.wrench.thrust_n,
        rate.x(),
        rate.y(),
        rate.z(),
        acceleration.x(),
        acceleration.y(),
        -position.x(),
        -position.y(),
        position.z(),
    ]
    .map(f64::from)
}
