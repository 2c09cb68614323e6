//! The rate loop wired: body rates and thrust to motor commands, on every tick.

use super::Config;
use super::notches::Notches;
use crate::control::rate::{self, RateController, SetPoint};
use crate::error::Part;
use crate::frames::{Body, Vector};
use crate::guard::Motors;
use crate::mix::{Mixed, Mixer, Supply, ThrustCurve, Wrench};
use crate::{ConfigError, MotorCommand, Rotors, STANDARD_GRAVITY_M_S2, Sensors};

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turning {
    notches: Option<Notches>,
    rate: RateController,
    state: rate::State,
    setpoint: SetPoint,
    thrust_n: f32,
    mixer: Mixer,
    mixed: Mixed,
    curve: ThrustCurve,
    supply: Supply,
    battery_seen: bool,
    least: MotorCommand,
    motors: Motors,
}

impl Turning {
    pub(super) fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = 1.0 / config.tick_hz;
        let curve = ThrustCurve::new(&config.thrust_curve, period_s)
            .map_err(|error| error.within(Part::ThrustCurve))?;
        let hover_n = 0.25 * config.thrust.mass_kg * STANDARD_GRAVITY_M_S2;
        let notches = Notches::new(&config.notch, hover_n, config.attitude.rotor_time_constant_s, period_s)
            .map_err(|error| error.within(Part::Notch))?;
        Ok(Self {
            notches,
            rate: RateController::new(&config.rate, period_s).map_err(|error| error.within(Part::Rate))?,
            state: rate::State::new(),
            setpoint: SetPoint::default(),
            thrust_n: 0.0,
            mixer: Mixer::new(&config.mix).map_err(|error| error.within(Part::Mix))?,
            mixed: Mixed::default(),
            supply: curve.supply(config.air_density_kg_m3),
            curve,
            battery_seen: false,
            least: MotorCommand::saturating(config.idle_command),
            motors: Motors::Stopped,
        })
    }

    /// Takes the battery in.
    #[inline]
    pub(super) fn observe<const N: usize, const P: usize>(&mut self, sensors: &Sensors<N, P>) {
        if let Some(battery) = sensors.battery {
            self.curve.observe(&mut self.supply, battery.voltage_v);
            self.battery_seen |= battery.voltage_v.is_finite();
        }
    }

    /// Forgets the past; the filters start at the `present` rate.
    pub(super) fn restart(&mut self, present_rad_s: Vector<Body>) {
        self.state = rate::State::new();
        if let Some(notches) = &mut self.notches {
            notches.settle(present_rad_s);
        }
    }

    /// A new set-point, and the total thrust in N that goes with it.
    #[inline]
    pub(super) const fn ask(&mut self, (setpoint, thrust_n): (SetPoint, f32)) {
        self.setpoint = setpoint;
        self.thrust_n = thrust_n;
    }

    /// The set-point goes on along its slope for a tick.
    #[inline]
    pub(super) fn carry_on(&mut self) {
        self.rate.advance(&mut self.setpoint);
    }

    /// The motor commands for this tick; `reported_rad_s` are the speeds of the rotors, where they are measured.
    #[inline]
    pub(super) fn run(
        &mut self,
        gyro_rad_s: Vector<Body>,
        reported_rad_s: Option<&Rotors<f32>>,
    ) -> Rotors<MotorCommand> {
        let gyro_rad_s = match &mut self.notches {
            Some(notches) => notches.step(gyro_rad_s, reported_rad_s, &self.mixed.thrust_n),
            None => gyro_rad_s,
        };
        let torque_nm = self.rate.step(&mut self.state, &self.setpoint, gyro_rad_s);
        self.mixed = self.mixer.mix(Wrench { torque_nm, thrust_n: self.thrust_n });
        self.rate.achieved(&mut self.state, self.mixed.given.torque_nm);
        self.motors = Motors::Running;
        self.running_commands()
    }

    /// All motors at one command, the loop waiting: the least one, or stopped.
    pub(super) fn rest(&mut self, motors: Motors) -> Rotors<MotorCommand> {
        self.setpoint = SetPoint::default();
        self.motors = motors;
        let command = self.resting_command();
        let thrust_n = Rotors::splat(self.curve.thrust_n(command, &self.supply));
        let given = Wrench { torque_nm: Vector::ZERO, thrust_n: thrust_n.sum() };
        self.mixed = Mixed { thrust_n, given, ..Mixed::default() };
        Rotors::splat(command)
    }

    /// Body rate in rad/s after the filters on the gyro's way.
    #[inline]
    pub(super) const fn rate_rad_s(&self) -> Vector<Body> {
        self.state.rate_rad_s()
    }

    /// Delay of a slow signal on the gyro's way to the rate loop, in s.
    pub(super) fn gyro_delay_s(&self) -> f32 {
        self.rate.gyro_delay_s() + self.notches.as_ref().map_or(0.0, Notches::delay_s)
    }

    /// Integrals of the rate loop in rad/s2.
    pub(super) fn integral_rad_s2(&self) -> Vector<Body> {
        self.state.integral_rad_s2()
    }

    /// Body rate asked for.
    pub(super) const fn setpoint(&self) -> SetPoint {
        self.setpoint
    }

    /// Torque and thrust asked of the mixer.
    pub(super) fn wrench(&self) -> Wrench {
        match self.motors {
            Motors::Running => Wrench { torque_nm: self.state.asked_nm(), thrust_n: self.thrust_n },
            Motors::Idle | Motors::Stopped => Wrench::default(),
        }
    }

    /// What the mixer gave.
    #[inline]
    pub(super) const fn mixed(&self) -> &Mixed {
        &self.mixed
    }

    /// The commands of this tick.
    pub(super) fn commands(&self) -> Rotors<MotorCommand> {
        match self.motors {
            Motors::Running => self.running_commands(),
            Motors::Idle | Motors::Stopped => Rotors::splat(self.resting_command()),
        }
    }

    #[inline]
    fn running_commands(&self) -> Rotors<MotorCommand> {
        self.mixed.thrust_n.map(|thrust_n| self.curve.command(thrust_n, &self.supply, self.least))
    }

    fn resting_command(&self) -> MotorCommand {
        if self.motors == Motors::Idle { self.least } else { MotorCommand::STOPPED }
    }

    /// Battery voltage in V, if it is measured.
    #[inline]
    pub(super) fn voltage_v(&self) -> Option<f32> {
        self.battery_seen.then(|| self.supply.voltage_v())
    }
}
