//! The controller on the simulated craft in steady flight, with an injected signal.
//!
//! A signal is added to the demands on the mixer outside the controller: its thrusts are added to the
//! allocated ones and converted by the thrust curve. So the measured controller is the one that flies, bit
//! for bit. The rest of a tick is as in [`aplomb_flight::fly`].

use aplomb::mix::ThrustCurve;
use aplomb::record::Record;
use aplomb::{
    Command, Demand, FlightController, HeadingDemand, MotorCommand, PositionSetpoint, VelocitySetpoint,
    VerticalDemand, flight, frames,
};
use aplomb_craft::{Config, Plant, Start};

use super::point::Point;
use crate::linear::{self, Mode};
use aplomb_flight::exchange;
use aplomb_flight::fly::FlyError;

/// Times on the ground, of it armed, for settling after the climb, and for settling at speed, in s.
const GROUND_S: f64 = 4.0;
const ARMED_S: f64 = 1.0;
const SETTLE_S: f64 = 20.0;
const SPEED_UP_S: f64 = 20.0;
/// Height in m at which margins are measured, clear of the ground.
const HEIGHT_M: f64 = 10.0;

/// Signal injected on one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Injected {
    /// Added to the demands on the mixer: torques in N m and thrust in N.
    pub wrench: [f64; 4],
    /// Added to the set-point of the mode: north, east (m or m/s) and height (m).
    pub setpoint: [f64; 3],
}

/// A craft in steady flight.
#[derive(Clone, Debug)]
pub(super) struct SteadyFlight {
    plant: Plant,
    controller: FlightController,
    pending: aplomb::Rotors<MotorCommand>,
    curve: ThrustCurve,
    shares: [[f64; 4]; 4],
    limits_n: (f32, f32),
    least: MotorCommand,
    tick_s: f64,
    mode: Mode,
    speed_m_s: f64,
    saturated: bool,
}

impl SteadyFlight {
    /// Takes off and settles at the operating point.
    pub(super) fn at(
        craft: &Config,
        controller: &flight::Config,
        point: &Point,
        seed: u64,
    ) -> Result<Self, FlyError> {
        let tick_s = 1.0 / f64::from(controller.tick_hz);
        let mut curve = ThrustCurve::new(&controller.thrust_curve, tick_s as f32)?;
        curve.set_air_density(controller.air_density_kg_m3);
        let mut flight = Self {
            plant: Plant::new(&point.craft(craft), &point.air(), &Start::default(), seed, tick_s)?,
            controller: FlightController::new(controller)?,
            pending: aplomb::Rotors::splat(MotorCommand::STOPPED),
            curve,
            shares: linear::controller_allocation(controller),
            limits_n: (controller.mix.min_thrust_n, controller.mix.max_thrust_n),
            least: MotorCommand::saturating(controller.idle_command),
            tick_s,
            mode: point.mode,
            speed_m_s: point.speed_m_s(controller),
            saturated: false,
        };
        let arming = Command::fly(Demand::Sticks(aplomb::Sticks::CENTRED));
        flight.run(GROUND_S - ARMED_S, &Command::IDLE);
        flight.run(ARMED_S, &arming);
        let climb_s = HEIGHT_M / f64::from(controller.vertical.climb_limit_m_s).min(1.0);
        flight.run(climb_s + SETTLE_S, &flight.hold());
        if point.mode != Mode::Position {
            flight.run(SPEED_UP_S, &flight.command(&[0.0; 3]));
        }
        flight.saturated = false;
        Ok(flight)
    }

    fn run(&mut self, duration_s: f64, command: &Command) {
        for _ in 0..libm::round(duration_s / self.tick_s) as u64 {
            self.tick(command, &[0.0; 4]);
        }
    }

    /// One tick of steady flight with an injection.
    pub(super) fn step(&mut self, added: &Injected) -> Record {
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
        if let Some(density_kg_m3) = record.estimate.air_density_kg_m3 {
            self.curve.set_air_density(density_kg_m3);
        }
        let commands = if wrench == &[0.0; 4] { commands } else { self.with_injection(&record, wrench) };
        self.plant.advance(exchange::commands(self.pending));
        self.pending = commands;
        let limited = record.achieved.limited;
        self.saturated |= limited.roll_pitch || limited.thrust || limited.yaw;
        record
    }

    /// The motor commands with an injection at the demands on the mixer.
    fn with_injection(&mut self, record: &Record, wrench: &[f64; 4]) -> aplomb::Rotors<MotorCommand> {
        let thrusts = record.thrust_n.into_array();
        let (low, high) = (self.limits_n.0, self.limits_n.1.min(self.curve.ceiling_n()));
        aplomb::Rotors::from_array(std::array::from_fn(|i| {
            let more: f64 = (0..4).map(|k| self.shares[i][k] * wrench[k]).sum();
            let thrust = (f64::from(thrusts[i]) + more) as f32;
            self.saturated |= !(low..=high).contains(&thrust);
            self.curve.command(thrust, self.least)
        }))
    }

    /// A motor or the mixer has saturated since the flight became steady.
    pub(super) const fn saturated(&self) -> bool {
        self.saturated
    }

    /// In the air, within the height range, and upright.
    pub(super) fn is_steady(&self) -> bool {
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
        let horizontal = |north: f64, east: f64| frames::Horizontal::new(north as f32, east as f32);
        Command::fly(match self.mode {
            Mode::Tilt => Demand::Tilt { tilt: aplomb::Tilt::LEVEL, heading, vertical },
            Mode::Velocity => {
                let setpoint = VelocitySetpoint::constant(horizontal(self.speed_m_s + north, east));
                Demand::Velocity { setpoint, heading, vertical }
            }
            Mode::Position => Demand::Position {
                setpoint: PositionSetpoint::at(horizontal(north, east)),
                heading,
                vertical,
            },
        })
    }
}
