//! The whole controller: one step from samples and a command to motor commands.
//!
//! ```text
//!  Sensors --> estimate --> State -+
//!  Command --> guard --> pilot ----+-> outer loops -> attitude -> rate -> mix -> thrust curve --> MotorCommands
//!                                           ^                     ^       |
//!                                           '------ achieved -----'-------'
//! ```
//!
//! Estimation, guard, sticks, gyro filters, rate controller and mixer run on every tick; the attitude stage
//! on every `attitude_divider`-th and the outer loops on every `velocity_divider`-th, counted from tick 0,
//! outer loops first; and both on the tick on which they take over. Between two ticks of the attitude stage
//! the rate set-point moves along its derivative.
//!
//! [`FlightController::step`] is the wiring and nothing else. Every part in it is public: to replace one,
//! copy its lines; the project's `examples/own_rate_controller.rs` does so with the rate controller.
//!
//! Degraded operation: without a valid position, velocity and position demands level the craft; without a
//! valid height, a climb demand becomes a vertical acceleration and no height is held; without a barometer
//! the air density is that of the configuration.

pub(crate) mod attitude_stage;
mod config;
pub mod derive;
mod divider;
mod excitation;
mod gyro_filters;
mod notches;
pub(crate) mod outer_loops;
mod state;

pub use attitude_stage::{AttitudeOutput, AttitudeStage, AttitudeStageState};
pub use config::Config;
pub use derive::Airframe;
pub use divider::Divider;
pub use excitation::Excitation;
pub use gyro_filters::{GyroFilters, GyroFiltersState};
pub use notches::{NotchConfig, RotorNotches, RotorNotchesState};
pub use outer_loops::{OuterLoops, OuterOutput, OuterState, ThrustDirection};
pub use state::ControllerState;

use crate::control::rate::{self, RateController};
use crate::error::Part;
use crate::frames::{Body, Vector, World};
use crate::guard::{self, Guard, GuardInput, GuardParameters, Motors, Phase};
use crate::math::{Libm, Math};
use crate::mix::{QuadMixer, ThrustCurve, Wrench};
use crate::pilot::{Pilot, PilotParameters};
use crate::record::Record;
use crate::{
    Achieved, Command, ConfigError, Demand, MotorCommand, Rotors, STANDARD_GRAVITY_M_S2, Sensors, estimate,
};

/// The whole controller. `M` computes the square roots, `N` is the number of inertial sensors, `P` that of
/// barometers.
///
/// ```
/// use aplomb::{Command, FlightController, ImuSample, MotorCommand, Rotors, Sensors, Spin, frames::Vector};
/// use aplomb::{flight::{Airframe, Config}, mix::Geometry};
/// let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012), 6.5);
/// let mut controller: FlightController = FlightController::new(&Config::for_airframe(&airframe)?)?;
/// let imu = ImuSample::from_rates(Vector::ZERO, Vector::new(0.0, 0.0, -9.8), 1e-3);
/// let commands = controller.step(&Sensors::from_imu(imu), &Command::IDLE);
/// assert_eq!(commands, Rotors::splat(MotorCommand::STOPPED));
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FlightController<M: Math = Libm, const N: usize = 1, const P: usize = 1> {
    estimator: estimate::Estimator<M, N, P>,
    guard: Guard,
    pilot: Pilot<M>,
    velocity_divider: Divider,
    outer_loops: OuterLoops<M>,
    attitude_divider: Divider,
    attitude: AttitudeStage<M>,
    gyro_filters: GyroFilters<M>,
    rate: RateController,
    mixer: QuadMixer,
    thrust_curve: ThrustCurve<M>,
    configured_air_density_kg_m3: f32,
    idle_command: MotorCommand,
    period_s: f32,
    period_us: u32,
    imu_age_us: u32,
    record: Record,
}

/// Phase, arming blockers and what is not followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Status {
    /// Phase of the guard, with its reason.
    pub phase: Phase,
    /// Conditions that block arming.
    pub arming_blockers: guard::ArmingBlockers,
    /// Why the demand is not followed, apart from landing and stopping: see [`guard::State::hold_reason`].
    pub hold_reason: Option<guard::Reason>,
    /// The position cannot be held: at the tilt limit while the distance grows.
    pub cannot_hold_position: bool,
}

impl<M: Math, const N: usize, const P: usize> FlightController<M, N, P> {
    const ONE_TO_THREE: () = assert!(N >= 1 && N <= 3, "one to three inertial sensors");

    /// Builds every part.
    ///
    /// # Errors
    /// Names the first field that is refused, with its part. A sensor count other than 1 to 3 does not
    /// compile.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let () = Self::ONE_TO_THREE;
        config.check()?;
        let period_s = 1.0 / config.tick_hz;
        let guard_parameters = GuardParameters {
            weight_n: config.thrust.mass_kg * STANDARD_GRAVITY_M_S2,
            empty_v: config.thrust_curve.lowest_voltage_v,
            landing_speed_m_s: config.pilot.landing_speed_m_s,
        };
        let pilot_parameters = PilotParameters {
            min_thrust_n: config.thrust.min_thrust_n,
            hover_thrust_n: config.thrust.mass_kg * STANDARD_GRAVITY_M_S2,
            max_thrust_n: config.thrust.max_thrust_n,
        };
        let thrust_curve = ThrustCurve::new(&config.thrust_curve, period_s)
            .map_err(|error| error.within(Part::ThrustCurve))?;
        Ok(Self {
            estimator: estimate::Estimator::new(&config.estimate, period_s)
                .map_err(|error| error.within(Part::Estimate))?,
            guard: Guard::new(&config.guard, &guard_parameters, period_s)
                .map_err(|error| error.within(Part::Guard))?,
            velocity_divider: Divider::new(config.velocity_divider),
            outer_loops: OuterLoops::new(config)?,
            pilot: Pilot::new(&config.pilot, &pilot_parameters).map_err(|error| error.within(Part::Pilot))?,
            attitude_divider: Divider::new(config.attitude_divider),
            attitude: AttitudeStage::new(config)?,
            gyro_filters: GyroFilters::new(config)?,
            rate: RateController::new(&config.rate, period_s).map_err(|error| error.within(Part::Rate))?,
            mixer: QuadMixer::new(&config.mix).map_err(|error| error.within(Part::Mix))?,
            thrust_curve,
            configured_air_density_kg_m3: config.air_density_kg_m3,
            idle_command: MotorCommand::saturating(config.idle_command),
            period_s,
            period_us: (1e6 * period_s + 0.5) as u32,
            imu_age_us: u32::MAX,
            record: Record::new(),
        })
    }

    /// One tick. It cannot fail: for any input the commands are numbers from 0 to 1.
    pub fn step(&mut self, sensors: &Sensors<N, P>, command: &Command) -> Rotors<MotorCommand> {
        self.step_excited(sensors, command, &mut ())
    }

    /// [`FlightController::step`] with an excitation of its loops. The record has the signals before the
    /// addition.
    pub fn step_excited(
        &mut self,
        sensors: &Sensors<N, P>,
        command: &Command,
        excitation: &mut impl Excitation,
    ) -> Rotors<MotorCommand> {
        let motion = self.estimator.step(sensors, self.guard.state().phase().is_armed());
        if let Some(battery) = sensors.battery {
            self.thrust_curve.observe(battery.voltage_v);
        }
        let air_density_kg_m3 = motion.air_density_kg_m3.unwrap_or(self.configured_air_density_kg_m3);
        self.thrust_curve.set_air_density(air_density_kg_m3);
        self.imu_age_us = if motion.imu_usable { 0 } else { self.imu_age_us.saturating_add(self.period_us) };
        let input = GuardInput {
            imu_age_us: self.imu_age_us,
            voltage_v: self.thrust_curve.voltage_v(),
            thrust_n: self.record.achieved.thrust_n,
        };
        let decision = self.guard.step(command, &motion, &input);
        if decision.reset_controllers {
            self.reset_controllers();
        }
        let outer_is_due = self.velocity_divider.is_due();
        let attitude_is_due = self.attitude_divider.is_due();
        let record = &mut self.record;
        record.tick = record.tick.wrapping_add(1);
        record.estimate = motion;
        (record.phase, record.arming_blockers) =
            (self.guard.state().phase(), self.guard.state().arming_blockers());
        record.rate_rad_s =
            self.gyro_filters.step(motion.rate_rad_s, sensors.rotor_speed_rad_s.as_ref(), &record.thrust_n);
        if decision.motors != Motors::Running {
            record.demand = decision.demand;
            return self.rest(decision.motors);
        }

        let demand = self.pilot.step(&decision.demand, &motion);
        // On the tick on which the loops take over they all run.
        let starts = decision.reset_controllers || demand.is_rates() != record.demand.is_rates();
        record.demand = demand;
        if outer_is_due || starts {
            let landing = matches!(decision.demand, Demand::Land);
            record.outer = self.outer_loops.step(&demand, landing, &motion, &record.achieved);
        }
        if let Demand::Rates { rate_rad_s, thrust_n } = demand {
            self.attitude.reset();
            record.attitude = AttitudeOutput::rates(rate_rad_s, thrust_n, motion.attitude);
        } else if attitude_is_due || starts {
            record.attitude = self.attitude.step(&record.outer, &motion, record.rate_rad_s);
        } else {
            record.attitude.rate_setpoint = record.attitude.rate_setpoint.after(self.period_s);
        }
        let mut rate_setpoint = record.attitude.rate_setpoint;
        excitation.rate_setpoint(&mut rate_setpoint.rate_rad_s);
        let torque_nm = self.rate.step(&rate_setpoint, record.rate_rad_s);
        record.wrench = Wrench { torque_nm, thrust_n: record.attitude.thrust_n };
        let mut demand = record.wrench;
        excitation.demand(&mut demand);
        let mut allocation = self.mixer.allocate(&demand, self.thrust_curve.ceiling_n());
        excitation.achieved(&mut allocation.achieved);
        self.rate.achieved(allocation.achieved.torque_nm);
        record.thrust_n = allocation.thrust_n;
        record.achieved = Achieved {
            torque_nm: allocation.achieved.torque_nm,
            thrust_n: allocation.achieved.thrust_n,
            acceleration_m_s2: record.outer.acceleration_m_s2,
            limited: allocation.limited | record.outer.limited | record.attitude.limited,
        };
        record.commands =
            record.thrust_n.map(|thrust_n| self.thrust_curve.command(thrust_n, self.idle_command));
        record.commands
    }

    /// All motors stopped or at the idle command; the controllers do not run.
    fn rest(&mut self, motors: Motors) -> Rotors<MotorCommand> {
        let command = if motors == Motors::Idle { self.idle_command } else { MotorCommand::STOPPED };
        let thrust_n = Rotors::splat(self.thrust_curve.thrust_n(command));
        self.record = Record {
            outer: OuterOutput::HOVER,
            attitude: AttitudeOutput::rates(Vector::ZERO, 0.0, self.record.estimate.attitude),
            wrench: Wrench::default(),
            achieved: Achieved { thrust_n: thrust_n.sum(), ..Achieved::default() },
            thrust_n,
            commands: Rotors::splat(command),
            ..self.record
        };
        self.record.commands
    }

    /// The controllers start on this tick.
    fn reset_controllers(&mut self) {
        self.pilot.reset();
        self.outer_loops.reset();
        self.attitude.reset();
        self.rate.reset();
    }

    /// Changes the gains of the rate controller in flight by bumpless transfer: see
    /// [`RateController::retune`].
    ///
    /// # Errors
    /// Names the field that is refused, with its part.
    pub fn retune_rate(&mut self, config: &rate::Config) -> Result<(), ConfigError> {
        let Record { attitude, rate_rad_s, .. } = &self.record;
        self.rate
            .retune(config, &attitude.rate_setpoint, *rate_rad_s)
            .map_err(|error| error.within(Part::Rate))
    }

    /// Continues to fly without arming: after a restart in the air, or when a simulation starts there. The
    /// estimator and the filters start from their next samples.
    pub fn resume_in_flight(&mut self) {
        self.guard.set_state(guard::State::in_flight());
        self.imu_age_us = 0;
        self.gyro_filters.reset();
        self.velocity_divider.reset();
        self.attitude_divider.reset();
        self.reset_controllers();
    }

    /// The signals of the last tick.
    #[must_use]
    pub const fn record(&self) -> &Record {
        &self.record
    }

    /// The estimate of the last tick.
    #[must_use]
    pub const fn motion(&self) -> &estimate::State {
        &self.record.estimate
    }

    /// The estimator, to set the home pressure or to re-initialise the attitude.
    pub const fn estimator_mut(&mut self) -> &mut estimate::Estimator<M, N, P> {
        &mut self.estimator
    }

    /// Phase, arming blockers and what is not followed.
    #[must_use]
    pub const fn status(&self) -> Status {
        Status {
            phase: self.guard.state().phase(),
            arming_blockers: self.guard.state().arming_blockers(),
            hold_reason: self.guard.state().hold_reason(),
            cannot_hold_position: self.record.outer.cannot_hold_position,
        }
    }

    /// Delay in s of a slow signal through the gyro filters: see [`GyroFilters::delay_s`].
    #[must_use]
    pub fn gyro_delay_s(&self) -> f32 {
        self.gyro_filters.delay_s()
    }

    /// Integrals of the rate controller in rad/s2.
    #[must_use]
    pub fn rate_integral_rad_s2(&self) -> Vector<Body> {
        self.rate.integral_rad_s2()
    }

    /// Integrals of the velocity and of the vertical controller in m/s2, world axes: see
    /// [`OuterLoops::integral_m_s2`].
    #[must_use]
    pub const fn acceleration_integral_m_s2(&self) -> Vector<World> {
        self.outer_loops.integral_m_s2()
    }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod wiring_tests;
