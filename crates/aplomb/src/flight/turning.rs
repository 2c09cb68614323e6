//! The rate loop wired: body rates and thrust to motor commands, on every tick.

use super::Config;
use super::notches::Notches;
use crate::control::rate::{self, RateController, SetPoint};
use crate::error::Part;
use crate::frames::{Body, Vector};
use crate::guard::Motors;
use crate::math::Math;
use crate::mix::{Allocation, QuadMixer, ThrustCurve, Wrench};
use crate::{ConfigError, MotorCommand, Rotors, STANDARD_GRAVITY_M_S2, Sensors};

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turning<M: Math> {
    notches: Option<Notches>,
    rate: RateController,
    state: rate::State,
    setpoint: SetPoint,
    thrust_n: f32,
    mixer: QuadMixer,
    allocation: Allocation,
    curve: ThrustCurve<M>,
    least: MotorCommand,
    motors: Motors,
}

impl<M: Math> Turning<M> {
    pub(super) fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = 1.0 / config.tick_hz;
        let mut curve = ThrustCurve::new(&config.thrust_curve, period_s)
            .map_err(|error| error.within(Part::ThrustCurve))?;
        curve.set_air_density(config.air_density_kg_m3);
        let hover_n = 0.25 * config.thrust.mass_kg * STANDARD_GRAVITY_M_S2;
        let notches = Notches::new(&config.notch, hover_n, config.attitude.rotor_time_constant_s, period_s)
            .map_err(|error| error.within(Part::Notch))?;
        Ok(Self {
            notches,
            rate: RateController::new(&config.rate, period_s).map_err(|error| error.within(Part::Rate))?,
            state: rate::State::new(),
            setpoint: SetPoint::default(),
            thrust_n: 0.0,
            mixer: QuadMixer::new(&config.mix).map_err(|error| error.within(Part::Mix))?,
            allocation: Allocation::default(),
            curve,
            least: MotorCommand::saturating(config.idle_command),
            motors: Motors::Stopped,
        })
    }

    /// Takes the battery in.
    #[inline]
    pub(super) fn observe<const N: usize, const P: usize>(&mut self, sensors: &Sensors<N, P>) {
        if let Some(battery) = sensors.battery {
            self.curve.observe(battery.voltage_v);
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
            Some(notches) => notches.step(gyro_rad_s, reported_rad_s, &self.allocation.thrust_n),
            None => gyro_rad_s,
        };
        let torque_nm = self.rate.step(&mut self.state, &self.setpoint, gyro_rad_s);
        let demand = Wrench { torque_nm, thrust_n: self.thrust_n };
        self.allocation = self.mixer.allocate(&demand, self.curve.ceiling_n());
        self.rate.achieved(&mut self.state, self.allocation.achieved.torque_nm);
        self.motors = Motors::Running;
        self.running_commands()
    }

    /// All motors at one command, the loop waiting: the least one, or stopped.
    pub(super) fn rest(&mut self, motors: Motors) -> Rotors<MotorCommand> {
        self.setpoint = SetPoint::default();
        self.motors = motors;
        let command = self.resting_command();
        let thrust_n = Rotors::splat(self.curve.thrust_n(command));
        let achieved = Wrench { torque_nm: Vector::ZERO, thrust_n: thrust_n.sum() };
        self.allocation = Allocation { thrust_n, achieved, ..Allocation::default() };
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

    /// What the mixer allocated.
    #[inline]
    pub(super) const fn allocation(&self) -> &Allocation {
        &self.allocation
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
        self.allocation.thrust_n.map(|thrust_n| self.curve.command(thrust_n, self.least))
    }

    fn resting_command(&self) -> MotorCommand {
        if self.motors == Motors::Idle { self.least } else { MotorCommand::STOPPED }
    }

    /// Battery voltage in V, if it is measured.
    #[inline]
    pub(super) const fn voltage_v(&self) -> Option<f32> {
        self.curve.voltage_v()
    }
}
