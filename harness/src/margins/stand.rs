//! The running control code on the running craft, with a place to add a signal.
//!
//! Demands on the mixer are added to outside of the controller: the mixer and its thrust curve are undone for the added part
//! alone, so the controller that is measured is the one that flies, bit for bit. The rest of a tick is as in
//! [`crate::fly`].

use aplomb::mix::ThrustCurve;
use aplomb::record::Record;
use aplomb::{
    Command, Demand, FlightController, HeadingDemand, MotorCommand, PositionSetpoint, VelocitySetpoint,
    VerticalDemand, flight, frames,
};
use aplomb_craft::{Config, Plant, Start};

use super::point::Point;
use crate::exchange;
use crate::fly::FlyError;
use crate::linear::{self, Mode};

/// Rest on the ground, its end with the motors armed, climb and settling, and settling at speed, in s.
const REST_S: f64 = 4.0;
const ARMED_S: f64 = 1.0;
const SETTLE_S: f64 = 20.0;
const SPEED_UP_S: f64 = 20.0;
/// Height in m at which margins are measured, clear of the ground.
const HEIGHT_M: f64 = 10.0;

/// What is added to the loops on one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Added {
    /// Torques in N m and thrust in N, to the demands on the mixer.
    pub wrench: [f64; 4],
    /// To the set-point of the mode: north, east (m or m/s) and height (m).
    pub setpoint: [f64; 3],
}

/// A craft in steady flight.
#[derive(Clone, Debug)]
pub(super) struct Stand {
    plant: Plant,
    controller: FlightController,
    waiting: aplomb::Rotors<MotorCommand>,
    curve: ThrustCurve,
    shares: [[f64; 4]; 4],
    limits_n: (f32, f32),
    least: MotorCommand,
    tick_s: f64,
    mode: Mode,
    speed_m_s: f64,
    saturated: bool,
}

impl Stand {
    /// Takes off and settles at the point.
    pub(super) fn at(
        craft: &Config,
        controller: &flight::Config,
        point: &Point,
        seed: u64,
    ) -> Result<Self, FlyError> {
        let tick_s = 1.0 / f64::from(controller.tick_hz);
        let mut curve = ThrustCurve::new(&controller.thrust_curve, tick_s as f32)?;
        curve.set_air_density(controller.air_density_kg_m3);
        let mut stand = Self {
            plant: Plant::new(&point.craft(craft), &point.air(), &Start::default(), seed, tick_s)?,
            controller: FlightController::new(controller)?,
            waiting: aplomb::Rotors::splat(MotorCommand::STOPPED),
            curve,
            shares: linear::believed_mix(controller),
            limits_n: (controller.mix.min_thrust_n, controller.mix.max_thrust_n),
            least: MotorCommand::saturating(controller.idle_command),
            tick_s,
            mode: point.mode,
            speed_m_s: point.speed_m_s(controller),
            saturated: false,
        };
        let arming = Command::fly(Demand::Sticks(aplomb::Sticks::CENTRED));
        stand.run(REST_S - ARMED_S, &Command::IDLE);
        stand.run(ARMED_S, &arming);
        let climb_s = HEIGHT_M / f64::from(controller.vertical.climb_limit_m_s).min(1.0);
        stand.run(climb_s + SETTLE_S, &stand.hold());
        if point.mode != Mode::Position {
            stand.run(SPEED_UP_S, &stand.command(&[0.0; 3]));
        }
        stand.saturated = false;
        Ok(stand)
    }

    fn run(&mut self, duration_s: f64, command: &Command) {
        for _ in 0..libm::round(duration_s / self.tick_s) as u64 {
            self.tick(command, &[0.0; 4]);
        }
    }

    /// One tick of steady flight with something added.
    pub(super) fn step(&mut self, added: &Added) -> Record {
        let command = self.command(&added.setpoint);
        self.tick(&command, &added.wrench)
    }

    fn tick(&mut self, command: &Command, wrench: &[f64; 4]) -> Record {
        let sensors = exchange::sensors(&self.plant.sense(), self.tick_s);
        if let Some(battery) = sensors.battery {
            self.curve.observe(battery.voltage_v);
        }
        let commands = self.controller.step(&sensors, command);
        let record = *self.controller.record();
        let commands = if wrench == &[0.0; 4] { commands } else { self.shifted(&record, wrench) };
        self.plant.advance(exchange::commands(self.waiting));
        self.waiting = commands;
        let limited = record.achieved.limited;
        self.saturated |= limited.roll_pitch || limited.thrust || limited.yaw;
        record
    }

    /// The motor commands with something added to the demands on the mixer.
    fn shifted(&mut self, record: &Record, wrench: &[f64; 4]) -> aplomb::Rotors<MotorCommand> {
        let thrusts = record.thrust_n.into_array();
        let (low, high) = (self.limits_n.0, self.limits_n.1.min(self.curve.ceiling_n()));
        aplomb::Rotors::from_array(std::array::from_fn(|i| {
            let more: f64 = (0..4).map(|k| self.shares[i][k] * wrench[k]).sum();
            let thrust = (f64::from(thrusts[i]) + more) as f32;
            self.saturated |= !(low..=high).contains(&thrust);
            self.curve.command(thrust, self.least)
        }))
    }

    /// A motor or the mixer has met a limit since the flight became steady.
    pub(super) const fn saturated(&self) -> bool {
        self.saturated
    }

    /// Still where it should be: up, upright and under control.
    pub(super) fn flies(&self) -> bool {
        let truth = self.plant.truth();
        !truth.on_ground && truth.tilt_rad() < 1.0 && (truth.height_m() - HEIGHT_M).abs() < 0.5 * HEIGHT_M
    }

    fn hold(&self) -> Command {
        Command::fly(Demand::Position {
            setpoint: PositionSetpoint::default(),
            heading: HeadingDemand::Hold(frames::Heading::NORTH),
            vertical: VerticalDemand::Height(HEIGHT_M as f32),
        })
    }

    fn command(&self, more: &[f64; 3]) -> Command {
        let [north, east, height] = *more;
        let heading = HeadingDemand::Hold(frames::Heading::NORTH);
        let vertical = VerticalDemand::Height((HEIGHT_M + height) as f32);
        let flat = |north: f64, east: f64| frames::Horizontal::new(north as f32, east as f32);
        Command::fly(match self.mode {
            Mode::Tilt => Demand::Tilt { tilt: aplomb::Tilt::LEVEL, heading, vertical },
            Mode::Velocity => {
                let setpoint = VelocitySetpoint::constant(flat(self.speed_m_s + north, east));
                Demand::Velocity { setpoint, heading, vertical }
            }
            Mode::Position => {
                Demand::Position { setpoint: PositionSetpoint::at(flat(north, east)), heading, vertical }
            }
        })
    }
}
