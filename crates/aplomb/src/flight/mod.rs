//! All of it wired: one step from samples and a command to motor commands.
//!
//! ```text
//!  Sensors --> estimate --> State -+
//!  Command --> guard --------------+-> position -> velocity -> attitude -> rate -> mix --> MotorCommands
//!                                                               ^                  |
//!                                                               '---- achieved ----'
//! ```
//!
//! Estimation, rate loop and mixer run on every tick; the attitude loop on every `attitude_divider`-th and the velocity,
//! position and vertical loops on every `velocity_divider`-th, counted from tick 0, outer loops first.
//!
//! What degrades: without a known place, velocity and position demands level the craft; without a known height, the
//! climb demand moves the thrust about the hover thrust and nothing is held.

mod config;
mod derive;
mod notches;
mod outer;
mod pointing;
mod schedule;
mod turning;

pub use config::Config;
pub use derive::Airframe;
pub use notches::NotchConfig;

use crate::error::Part;
use crate::frames::{Attitude, Body, Vector, World};
use crate::guard::{self, Guard, GuardInput, Motors, Phase};
use crate::math::{Libm, Math};
use crate::record::Record;
use crate::{
    Achieved, Command, ConfigError, Limited, MotorCommand, Rotors, STANDARD_GRAVITY_M_S2, Sensors, estimate,
};
use outer::Outer;
use pointing::Pointing;
use schedule::{Due, Schedule};
use turning::Turning;

/// The whole controller. `M` gives the square roots, `N` is the number of inertial sensors, `P` that of barometers.
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
pub struct FlightController<M: Math = Libm, const N: usize = 1, const P: usize = 1> {
    estimator: estimate::Estimator<M, N, P>,
    guard: Guard,
    outer: Outer<M>,
    pointing: Pointing<M>,
    turning: Turning<M>,
    schedule: Schedule,
    period_us: u32,
    imu_age_us: u32,
    tick: u32,
}

/// What the craft is doing and whether it can do what is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Status {
    /// Phase of the guard, with its reason.
    pub phase: Phase,
    /// What stands against arming.
    pub arming_blockers: guard::ArmingBlockers,
    /// Why the demand is not followed, apart from landing and stopping: see [`guard::State::hold_reason`].
    pub hold_reason: Option<guard::Reason>,
    /// The place cannot be held: at the tilt limit while the distance grows.
    pub cannot_hold_position: bool,
}

impl<M: Math, const N: usize, const P: usize> FlightController<M, N, P> {
    const ONE_TO_THREE: () = assert!(N >= 1 && N <= 3, "one to three inertial sensors");

    /// Builds every part.
    ///
    /// # Errors
    /// Names the first field that cannot fly. A sensor count other than 1 to 3 does not compile.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let () = Self::ONE_TO_THREE;
        config.check()?;
        let period_s = 1.0 / config.tick_hz;
        let craft = guard::GuardParameters {
            weight_n: config.thrust.mass_kg * STANDARD_GRAVITY_M_S2,
            empty_v: config.thrust_curve.lowest_voltage_v,
            landing_speed_m_s: config.pilot.landing_speed_m_s,
        };
        Ok(Self {
            estimator: estimate::Estimator::new(&config.estimate, period_s)
                .map_err(|error| error.within(Part::Estimate))?,
            guard: Guard::new(&config.guard, &craft, period_s).map_err(|error| error.within(Part::Guard))?,
            outer: Outer::new(config)?,
            pointing: Pointing::new(config)?,
            turning: Turning::new(config)?,
            schedule: Schedule::new(config.attitude_divider, config.velocity_divider),
            period_us: (1e6 * period_s + 0.5) as u32,
            imu_age_us: u32::MAX,
            tick: 0,
        })
    }

    /// One tick. Never fails: whatever comes in, the commands are numbers from 0 to 1.
    pub fn step(&mut self, sensors: &Sensors<N, P>, command: &Command) -> Rotors<MotorCommand> {
        let motion = &self.estimator.step(sensors, self.guard.state().phase().is_armed());
        self.imu_age_us = if motion.imu_usable { 0 } else { self.imu_age_us.saturating_add(self.period_us) };
        self.turning.observe(sensors);
        let decision = self.guard.step(
            command,
            motion,
            &GuardInput {
                imu_age_us: self.imu_age_us,
                voltage_v: self.turning.voltage_v(),
                thrust_n: self.turning.allocation().achieved.thrust_n,
            },
        );
        if decision.reset_controllers {
            self.outer.restart();
            self.pointing.restart(motion.attitude);
            self.turning.restart(motion.rate_rad_s);
        }
        let commands = if decision.motors == Motors::Running {
            let demand = self.outer.without_rate_sticks(decision.demand);
            let (outer, pointing, turning) = (&mut self.outer, &mut self.pointing, &mut self.turning);
            let due = self.schedule.due(decision.reset_controllers, false);
            if due.has(Due::CLIMB) {
                outer.climb(&demand, motion, turning.allocation());
            }
            if due.has(Due::LEAN) {
                outer.lean(motion, turning.allocation());
            }
            if due.has(Due::TARGET) {
                pointing.aim(outer, motion);
            }
            if due.has(Due::REFERENCE) {
                pointing.lead(motion, turning.rate_rad_s());
            }
            if due.has(Due::ATTITUDE) {
                turning.ask(pointing.follow(outer, &demand, motion, turning.rate_rad_s()));
            } else {
                turning.carry_on();
            }
            turning.run(motion.rate_rad_s, sensors.rotor_speed_rad_s.as_ref())
        } else {
            self.outer.rest(decision.demand);
            self.pointing.restart(motion.attitude);
            self.turning.rest(decision.motors)
        };
        self.schedule.advance();
        self.tick = self.tick.wrapping_add(1);
        commands
    }

    /// Goes on flying without arming: after a restart in the air, or when a simulation starts there. The estimator
    /// starts from its next samples.
    pub fn resume_in_flight(&mut self) {
        self.guard.set_state(guard::State::in_flight());
        self.imu_age_us = 0;
        self.outer.restart();
        self.pointing.restart(self.state().attitude);
        self.turning.restart(self.estimator.state().rate_rad_s);
        self.schedule.restart();
    }

    /// What happened on the last tick, put together from the parts.
    #[must_use]
    pub fn record(&self) -> Record {
        let allocation = self.turning.allocation();
        let Limited { roll_pitch, thrust, yaw, .. } = allocation.limited;
        let limited = self.pointing.limited(self.outer.limited());
        Record {
            tick: self.tick,
            phase: self.guard.state().phase(),
            arming_blockers: self.guard.state().arming_blockers(),
            estimate: self.estimator.state(),
            demand: *self.outer.demand(),
            position_setpoint_m: self.outer.position_m().filter(|_| self.guard.state().phase().is_flying()),
            height_setpoint_m: self.outer.height_m(),
            velocity_setpoint_m_s: self.outer.velocity_m_s(),
            wind_feed_forward_m_s2: self.outer.wind_feed_forward_m_s2(),
            attitude_setpoint: self.pointing.target(),
            attitude_reference: self.pointing.reference(),
            rate_setpoint: self.turning.setpoint(),
            wrench: self.turning.wrench(),
            achieved: Achieved {
                torque_nm: allocation.achieved.torque_nm,
                thrust_n: allocation.achieved.thrust_n,
                acceleration_m_s2: self.outer.acceleration_m_s2(),
                limited: Limited { roll_pitch, thrust, yaw, ..limited },
            },
            thrust_n: allocation.thrust_n,
            commands: self.turning.commands(),
            cannot_hold_position: self.outer.is_carried_off(),
        }
    }

    /// The estimate of the last tick.
    #[must_use]
    pub fn state(&self) -> estimate::State {
        self.estimator.state()
    }

    /// The estimator, for what must be told to it: home pressure, a re-seed.
    pub const fn estimator_mut(&mut self) -> &mut estimate::Estimator<M, N, P> {
        &mut self.estimator
    }

    /// What the craft is doing and whether it can do what is asked.
    #[must_use]
    pub const fn status(&self) -> Status {
        Status {
            phase: self.guard.state().phase(),
            arming_blockers: self.guard.state().arming_blockers(),
            hold_reason: self.guard.state().hold_reason(),
            cannot_hold_position: self.outer.is_carried_off(),
        }
    }

    /// Delay in s of a slow signal on the gyro's way to the rate loop: h/(sqrt 2 tan(pi f h)) of the low-pass and
    /// h tan(pi B h)/(1 - cos(w h)) of each rotor's notch, where it stands now.
    #[must_use]
    pub fn gyro_delay_s(&self) -> f32 {
        self.turning.gyro_delay_s()
    }

    /// Integrals of the rate loop in rad/s2.
    #[must_use]
    pub fn rate_integral_rad_s2(&self) -> Vector<Body> {
        self.turning.integral_rad_s2()
    }

    /// Integrals of the velocity and of the vertical loop in m/s2, world axes: what standing still takes beyond the weight and
    /// the wind that is fed forward.
    #[must_use]
    pub const fn acceleration_integral_m_s2(&self) -> Vector<World> {
        self.outer.integral_m_s2()
    }

    /// The attitude asked for.
    #[must_use]
    pub const fn attitude_setpoint(&self) -> Attitude {
        self.pointing.target()
    }
}

#[cfg(test)]
mod tests;
