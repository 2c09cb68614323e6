//! All of it wired: one step from samples and a command to motor commands.
//!
//! ```text
//!  Sensors --> estimate --> State -+
//!  Command --> guard --------------+-> position -> velocity -> attitude -> rate -> mix --> MotorCommands
//!                                                               ^                  |
//!                                                               '---- achieved ----'
//! ```
//!
//! Estimation, rate loop and mixer run on every tick; the attitude loop on every `attitude_every`-th and the velocity,
//! position and vertical loops on every `velocity_every`-th, counted from tick 0, outer loops first.
//!
//! What degrades: without a known place, velocity and position demands level the craft; without a known height, the
//! climb demand moves the thrust about the hover thrust and nothing is held.

mod config;
mod derive;
mod outer;

pub use config::Config;
pub use derive::Airframe;

use crate::control::attitude::AttitudeLoop;
use crate::control::rate::{self, RateLoop, SetPoint};
use crate::control::thrust_vector::{Aim, ThrustVector};
use crate::frames::{Attitude, Body, Vector};
use crate::guard::{self, Guard, Motors, Phase, Situation};
use crate::math::{Libm, Math, saturate};
use crate::mix::{Mixer, Supply, ThrustCurve, Wrench};
use crate::record::Record;
use crate::{
    Achieved, Command, ConfigError, Demand, HeadingDemand, Limited, MotorCommand, Rotors,
    STANDARD_GRAVITY_M_S2, Sensors, control, estimate,
};
use outer::Outer;

/// The whole controller. `M` gives the square roots, `N` is the number of inertial sensors.
///
/// ```
/// use aplomb::{Command, FlightController, ImuSample, MotorCommand, Rotors, Sensors, Spin, frames::Vector};
/// use aplomb::{flight::{Airframe, Config}, mix::Geometry};
/// let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012), 6.5);
/// let mut controller: FlightController = FlightController::new(&Config::for_airframe(&airframe)?)?;
/// let imu = ImuSample { accel_m_s2: Vector::new(0.0, 0.0, -9.8), ..ImuSample::default() };
/// let commands = controller.step(&Sensors::from_imu(imu), &Command::IDLE);
/// assert_eq!(commands, Rotors::splat(MotorCommand::STOPPED));
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Debug)]
pub struct FlightController<M: Math = Libm, const N: usize = 1> {
    estimator: estimate::Estimator<M, N>,
    guard: Guard,
    guard_state: guard::State,
    outer: Outer<M>,
    attitude: AttitudeLoop<M>,
    attitude_state: control::attitude::State,
    rate: RateLoop,
    rate_state: rate::State,
    thrust: ThrustVector<M>,
    mixer: Mixer,
    curve: ThrustCurve<M>,
    supply: Supply,
    battery_seen: bool,
    least: f32,
    attitude_every: u16,
    velocity_every: u16,
    attitude_count: u16,
    velocity_count: u16,
    imu_age_ticks: u16,
    plan: Plan,
    record: Record,
}

/// What the slower loops left for the faster ones.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Plan {
    aim: Aim,
    lean: Option<outer::Leaning>,
    heading: HeadingDemand,
    setpoint: SetPoint,
    total_n: f32,
}

impl Plan {
    const REST: Self = Self {
        aim: Aim::HOVER,
        lean: None,
        heading: HeadingDemand::Rate(0.0),
        setpoint: SetPoint {
            rate_rad_s: Vector::ZERO,
            slope_rad_s2: Vector::ZERO,
            drive_rad_s2: Vector::ZERO,
        },
        total_n: 0.0,
    };
}

/// What the craft is doing and whether it can do what is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Status {
    /// Phase of the guard, with its reason.
    pub phase: Phase,
    /// What stands against arming.
    pub refusals: guard::Refusals,
    /// The place cannot be held: at the tilt limit while the distance grows.
    pub carried_off: bool,
}

impl<M: Math, const N: usize> FlightController<M, N> {
    const ONE_TO_THREE: () = assert!(N >= 1 && N <= 3, "one to three inertial sensors");

    /// Builds every part.
    ///
    /// # Errors
    /// Names the first field that cannot fly. A sensor count other than 1 to 3 does not compile.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let () = Self::ONE_TO_THREE;
        config.check()?;
        let period_s = 1.0 / config.tick_hz;
        let thrust = ThrustVector::new(&config.thrust).map_err(|error| error.within("thrust"))?;
        let curve =
            ThrustCurve::new(&config.thrust_curve, period_s).map_err(|error| error.within("thrust_curve"))?;
        let weight_n = config.thrust.mass_kg * STANDARD_GRAVITY_M_S2;
        let attitude_period_s = period_s * f32::from(config.attitude_every);
        Ok(Self {
            estimator: estimate::Estimator::new(&config.estimate, period_s)
                .map_err(|error| error.within("estimate"))?,
            guard: Guard::new::<M>(&config.guard, weight_n, period_s)
                .map_err(|error| error.within("guard"))?,
            guard_state: guard::State::new(),
            outer: Outer::new(config, &thrust)?,
            attitude: AttitudeLoop::new(&config.attitude, attitude_period_s)
                .map_err(|error| error.within("attitude"))?,
            attitude_state: control::attitude::State::new(),
            rate: RateLoop::new(&config.rate, period_s).map_err(|error| error.within("rate"))?,
            rate_state: rate::State::new(),
            thrust,
            mixer: Mixer::new(&config.mix).map_err(|error| error.within("mix"))?,
            supply: curve.supply(config.air_density_kg_m3),
            curve,
            battery_seen: false,
            least: config.least_command,
            attitude_every: config.attitude_every,
            velocity_every: config.velocity_every,
            attitude_count: 0,
            velocity_count: 0,
            imu_age_ticks: u16::MAX,
            plan: Plan::REST,
            record: Record::new(),
        })
    }

    /// One tick. Never fails: whatever comes in, the commands are numbers from 0 to 1.
    pub fn step(&mut self, sensors: &Sensors<N>, command: &Command) -> Rotors<MotorCommand> {
        let armed = !matches!(self.guard_state.phase(), Phase::Disarmed | Phase::Stopped { .. });
        let motion = self.estimator.step(sensors, armed);
        self.imu_age_ticks = if motion.imu_usable { 0 } else { self.imu_age_ticks.saturating_add(1) };
        if let Some(battery) = sensors.battery {
            self.curve.observe(&mut self.supply, battery.voltage_v);
            self.battery_seen |= battery.voltage_v.is_finite();
        }
        let verdict = self.guard.step(
            &mut self.guard_state,
            command,
            &Situation {
                motion: &motion,
                imu_age_ticks: self.imu_age_ticks,
                voltage_v: self.battery_seen.then(|| self.supply.voltage_v()),
                thrust_n: self.record.achieved.thrust_n,
            },
        );
        self.record.estimate = motion;
        self.record.phase = self.guard_state.phase();
        self.record.refusals = self.guard_state.refusals();
        if verdict.fresh {
            self.start_loops();
        }
        let commands = match verdict.motors {
            Motors::Running => self.run(&motion, &verdict.demand, verdict.fresh),
            Motors::Idle => self.rest(verdict.demand, self.least),
            Motors::Stopped => self.rest(verdict.demand, 0.0),
        };
        self.count();
        commands
    }

    /// The loops, outer to inner.
    fn run(&mut self, motion: &estimate::State, demand: &Demand, fresh: bool) -> Rotors<MotorCommand> {
        if self.velocity_count == 0 || fresh {
            self.outer.step(demand, motion, &self.thrust, &mut self.plan, &mut self.record);
        }
        if self.attitude_count == 0 || fresh {
            self.point(motion);
        } else {
            self.plan.setpoint = self.rate.advanced(self.plan.setpoint);
        }
        let torque_nm = self.rate.step(&mut self.rate_state, &self.plan.setpoint, motion.rate_rad_s);
        let wrench = Wrench { torque_nm, thrust_n: self.plan.total_n };
        let mixed = self.mixer.mix(wrench);
        self.rate.achieved(&mut self.rate_state, mixed.given.torque_nm);
        let commands = mixed.thrust_n.map(|thrust_n| {
            MotorCommand::saturating(saturate(
                self.curve.command(thrust_n, &self.supply).get(),
                self.least,
                1.0,
            ))
        });
        let Limited { roll_pitch, thrust, yaw, .. } = mixed.limited;
        let limited = Limited { roll_pitch, thrust, yaw, ..self.record.achieved.limited };
        let acceleration_m_s2 = self.plan.aim.acceleration_m_s2;
        self.record.achieved = Achieved { acceleration_m_s2, limited, ..mixed.achieved() };
        self.record.rate_setpoint = self.plan.setpoint;
        self.record.wrench = wrench;
        self.record.thrust_n = mixed.thrust_n;
        self.record.commands = commands;
        commands
    }

    /// The attitude loop, or the body rates of a rate demand.
    fn point(&mut self, motion: &estimate::State) {
        if let Demand::Rates { rate_rad_s, thrust_n } = self.record.demand {
            self.attitude_state = control::attitude::State::new();
            self.plan.setpoint = SetPoint { rate_rad_s, ..SetPoint::default() };
            self.plan.total_n = thrust_n;
            self.record.attitude_setpoint = motion.attitude;
            self.record.attitude_reference = motion.attitude;
            self.record.achieved.limited = Limited::default();
            return;
        }
        let control::attitude::Turn { heading, limited } =
            self.attitude.turn(&mut self.attitude_state, self.plan.heading, motion.attitude);
        self.record.achieved.limited.heading_rate = limited;
        let down = match self.plan.lean {
            Some(leaning) => leaning.down(heading),
            None => self.plan.aim.down,
        };
        let target = self.attitude.target(&self.attitude_state, down, heading);
        let rate = self.rate_state.rate_rad_s();
        let output = self.attitude.step(&mut self.attitude_state, target, motion.attitude, rate);
        self.plan.setpoint = output.setpoint;
        self.record.achieved.limited.body_rate = output.limited;
        self.plan.total_n = self.thrust.total_n(self.plan.aim.up_m_s2, motion.attitude.cos_tilt());
        self.record.attitude_setpoint = target;
        self.record.attitude_reference = output.reference;
    }

    /// All motors at one command, loops waiting.
    fn rest(&mut self, demand: Demand, command: f32) -> Rotors<MotorCommand> {
        let commands = Rotors::splat(MotorCommand::saturating(command));
        let record = &mut self.record;
        record.demand = demand;
        record.thrust_n = commands.map(|command| self.curve.thrust_n(command, &self.supply));
        record.achieved = Achieved { thrust_n: record.thrust_n.sum(), ..Achieved::default() };
        record.wrench = Wrench::default();
        record.rate_setpoint = SetPoint::default();
        record.attitude_setpoint = record.estimate.attitude;
        record.attitude_reference = record.estimate.attitude;
        record.position_setpoint_m = None;
        record.height_setpoint_m = None;
        record.velocity_setpoint_m_s = Vector::ZERO;
        record.carried_off = false;
        record.commands = commands;
        commands
    }

    fn start_loops(&mut self) {
        self.rate_state = rate::State::new();
        self.attitude_state = control::attitude::State::new();
        self.outer.restart();
        self.plan = Plan::REST;
    }

    fn count(&mut self) {
        let next = |count: u16, every: u16| {
            if count.saturating_add(1) < every { count.saturating_add(1) } else { 0 }
        };
        self.attitude_count = next(self.attitude_count, self.attitude_every);
        self.velocity_count = next(self.velocity_count, self.velocity_every);
        self.record.tick = self.record.tick.wrapping_add(1);
    }

    /// Goes on flying without arming: after a restart in the air, or when a simulation starts there. The estimator
    /// starts from its next samples.
    pub fn resume_in_flight(&mut self) {
        self.guard_state = guard::State::in_flight();
        self.imu_age_ticks = 0;
        self.start_loops();
        self.attitude_count = 0;
        self.velocity_count = 0;
    }

    /// What happened on the last tick.
    #[must_use]
    pub const fn record(&self) -> &Record {
        &self.record
    }

    /// The estimate of the last tick.
    #[must_use]
    pub const fn state(&self) -> &estimate::State {
        &self.record.estimate
    }

    /// The estimator, for what must be told to it: home pressure, a re-seed.
    pub const fn estimator_mut(&mut self) -> &mut estimate::Estimator<M, N> {
        &mut self.estimator
    }

    /// What the craft is doing and whether it can do what is asked.
    #[must_use]
    pub const fn status(&self) -> Status {
        Status {
            phase: self.record.phase,
            refusals: self.record.refusals,
            carried_off: self.record.carried_off,
        }
    }

    /// Integrals of the rate loop in rad/s2.
    #[must_use]
    pub fn rate_integral_rad_s2(&self) -> Vector<Body> {
        self.rate_state.integral_rad_s2()
    }

    /// The attitude asked for.
    #[must_use]
    pub const fn attitude_setpoint(&self) -> Attitude {
        self.record.attitude_setpoint
    }
}

#[cfg(test)]
mod tests;
