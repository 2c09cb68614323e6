//! A rate controller of your own in the tick: the lines of `FlightController::step` with one part replaced.
//!
//! The replacement is an extended state observer (J. Han, From PID to active disturbance rejection control,
//! IEEE Trans. Industrial Electronics 56(3), 2009; poles by one bandwidth: Z. Gao, Scaling and
//! bandwidth-parameterization based controller tuning, ACC 2003). For each axis, with the angular
//! acceleration u that was achieved, the rotors' time constant tau and the measured rate w:
//!
//! ```text
//! a' = (u - a)/tau,    z' = a + d + 2 o (w - z),    d' = o^2 (w - z)
//! u  = feed-forward + k (r + tau r' - z - tau (a + d)) - d
//! ```
//!
//! a is the acceleration that the rotors give, z the estimated rate, d the estimated disturbance in rad/s2, o
//! the bandwidth of the observer and k that of the loop.
//!
//! Both controllers fly a roll step of 20 deg on the simulated craft, then a disturbance torque of 0.1 N m
//! acts for half a second.
//!
//! `cargo run --release --example own_rate_controller`

use aplomb::control::rate::RateSetpoint;
use aplomb::estimate::Estimator;
use aplomb::filter::{LowPass, LowPassState};
use aplomb::flight::{AttitudeOutput, AttitudeStage, Config, Divider, GyroFilters, OuterLoops};
use aplomb::frames::{Body, Vector};
use aplomb::guard::{Guard, GuardInput, GuardParameters, Motors};
use aplomb::mix::{QuadMixer, ThrustCurve, Wrench};
use aplomb::pilot::{Pilot, PilotParameters};
use aplomb::record::Record;
use aplomb::{
    Achieved, Command, ConfigError, Demand, Libm, MotorCommand, Rotors, STANDARD_GRAVITY_M_S2, Sensors,
};
use aplomb_craft::Plant;
use aplomb_flight::Controller;
use aplomb_flight::limit::Outcome;
use aplomb_harness::input::Folder;
use aplomb_study::number::figure;
use aplomb_study::verify::judge;

/// Number of seeds of each flight.
const SEEDS: u32 = 2;

/// The part that replaces `control::rate::RateController`.
#[derive(Clone)]
struct ObserverRateController {
    inertia_kg_m2: Vector<Body>,
    bandwidth_rad_s: Vector<Body>,
    observer_rad_s: f32,
    rotor_time_constant_s: f32,
    period_s: f32,
    /// Cancels the zero that the rotors' reaction adds to the yaw torque, as in the crate's own controller.
    yaw_lag: LowPass,
    yaw_state: LowPassState,
    /// Demand of the last step: angular acceleration and torque.
    demand: (Vector<Body>, Vector<Body>),
    acceleration: Vector<Body>,
    rate: Vector<Body>,
    disturbance: Vector<Body>,
}

impl ObserverRateController {
    fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let (rate, inertia) = (&config.rate, &config.rate.inertia);
        Ok(Self {
            inertia_kg_m2: Vector::new(inertia.roll_kg_m2, inertia.pitch_kg_m2, inertia.yaw_kg_m2),
            bandwidth_rad_s: Vector::new(
                rate.roll.crossover_rad_s,
                rate.pitch.crossover_rad_s,
                rate.yaw.crossover_rad_s,
            ),
            observer_rad_s: 2.0 * rate.roll.crossover_rad_s,
            rotor_time_constant_s: config.attitude.rotor_time_constant_s,
            period_s,
            yaw_lag: LowPass::from_time_constant(rate.reaction_time_constant_s, period_s)?,
            yaw_state: LowPassState::default(),
            demand: (Vector::ZERO, Vector::ZERO),
            acceleration: Vector::ZERO,
            rate: Vector::ZERO,
            disturbance: Vector::ZERO,
        })
    }

    fn reset(&mut self) {
        self.yaw_state = LowPassState::default();
        self.demand = (Vector::ZERO, Vector::ZERO);
        (self.acceleration, self.rate, self.disturbance) = (Vector::ZERO, Vector::ZERO, Vector::ZERO);
    }

    fn step(&mut self, setpoint: &RateSetpoint, rate_rad_s: Vector<Body>) -> Vector<Body> {
        let (h, o, tau) = (self.period_s, self.observer_rad_s, self.rotor_time_constant_s);
        let innovation = rate_rad_s - self.rate;
        let derivative = self.acceleration + self.disturbance;
        self.rate += (derivative + innovation * (2.0 * o)) * h;
        self.disturbance += innovation * (o * o * h);
        let error =
            setpoint.rate_rad_s + setpoint.setpoint_derivative_rad_s2 * tau - self.rate - derivative * tau;
        let acceleration =
            setpoint.feed_forward_rad_s2 + error.scale(self.bandwidth_rad_s) - self.disturbance;
        let torque = acceleration.scale(self.inertia_kg_m2);
        let torque_nm =
            Vector::new(torque.x(), torque.y(), self.yaw_lag.step(&mut self.yaw_state, torque.z()));
        self.demand = (acceleration, torque_nm);
        torque_nm
    }

    fn achieved(&mut self, torque_nm: Vector<Body>) {
        let (acceleration, demanded_nm) = self.demand;
        let [roll, pitch, yaw] = self.inertia_kg_m2.to_array();
        let per_inertia = Vector::new(1.0 / roll, 1.0 / pitch, 1.0 / yaw);
        let achieved = acceleration + (torque_nm - demanded_nm).scale(per_inertia);
        self.acceleration += (achieved - self.acceleration) * (self.period_s / self.rotor_time_constant_s);
    }
}

/// The lines of `FlightController`, from its public parts, with one of them replaced.
#[derive(Clone)]
struct OwnController {
    estimator: Estimator<Libm, 1>,
    guard: Guard,
    pilot: Pilot<Libm>,
    velocity_divider: Divider,
    outer_loops: OuterLoops<Libm>,
    attitude_divider: Divider,
    attitude: AttitudeStage<Libm>,
    gyro_filters: GyroFilters<Libm>,
    rate: ObserverRateController,
    mixer: QuadMixer,
    thrust_curve: ThrustCurve<Libm>,
    configured_air_density_kg_m3: f32,
    idle_command: MotorCommand,
    period_s: f32,
    imu_age_us: u32,
    record: Record,
}

impl Controller for OwnController {
    fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = 1.0 / config.tick_hz;
        let weight_n = config.thrust.mass_kg * STANDARD_GRAVITY_M_S2;
        let guard_parameters = GuardParameters {
            weight_n,
            empty_v: config.thrust_curve.lowest_voltage_v,
            landing_speed_m_s: config.pilot.landing_speed_m_s,
        };
        let pilot_parameters = PilotParameters {
            min_thrust_n: config.thrust.min_thrust_n,
            hover_thrust_n: weight_n,
            max_thrust_n: config.thrust.max_thrust_n,
        };
        Ok(Self {
            estimator: Estimator::new(&config.estimate, period_s)?,
            guard: Guard::new(&config.guard, &guard_parameters, period_s)?,
            pilot: Pilot::new(&config.pilot, &pilot_parameters)?,
            velocity_divider: Divider::new(config.velocity_divider),
            outer_loops: OuterLoops::new(config)?,
            attitude_divider: Divider::new(config.attitude_divider),
            attitude: AttitudeStage::new(config)?,
            gyro_filters: GyroFilters::new(config)?,
            rate: ObserverRateController::new(config, period_s)?,
            mixer: QuadMixer::new(&config.mix)?,
            thrust_curve: ThrustCurve::new(&config.thrust_curve, period_s)?,
            configured_air_density_kg_m3: config.air_density_kg_m3,
            idle_command: MotorCommand::saturating(config.idle_command),
            period_s,
            imu_age_us: u32::MAX,
            record: Record::new(),
        })
    }

    fn step(&mut self, sensors: &Sensors, command: &Command) -> Rotors<MotorCommand> {
        let motion = self.estimator.step(sensors, self.guard.state().phase().is_armed());
        if let Some(battery) = sensors.battery {
            self.thrust_curve.observe(battery.voltage_v);
        }
        let air_density_kg_m3 = motion.air_density_kg_m3.unwrap_or(self.configured_air_density_kg_m3);
        self.thrust_curve.set_air_density(air_density_kg_m3);
        let period_us = (1e6 * self.period_s) as u32;
        self.imu_age_us = if motion.imu_usable { 0 } else { self.imu_age_us.saturating_add(period_us) };
        let input = GuardInput {
            imu_age_us: self.imu_age_us,
            voltage_v: self.thrust_curve.voltage_v(),
            thrust_n: self.record.achieved.thrust_n,
        };
        let decision = self.guard.step(command, &motion, &input);
        if decision.reset_controllers {
            self.pilot.reset();
            self.outer_loops.reset();
            self.attitude.reset();
            self.rate.reset();
        }
        let outer_is_due = self.velocity_divider.is_due();
        let attitude_is_due = self.attitude_divider.is_due();
        let record = &mut self.record;
        record.estimate = motion;
        record.phase = self.guard.state().phase();
        record.rate_rad_s =
            self.gyro_filters.step(motion.rate_rad_s, sensors.rotor_speed_rad_s.as_ref(), &record.thrust_n);
        if decision.motors != Motors::Running {
            let idle = decision.motors == Motors::Idle;
            let command = if idle { self.idle_command } else { MotorCommand::STOPPED };
            record.thrust_n = Rotors::splat(self.thrust_curve.thrust_n(command));
            record.achieved = Achieved { thrust_n: record.thrust_n.sum(), ..Achieved::default() };
            record.commands = Rotors::splat(command);
            return record.commands;
        }
        let demand = self.pilot.step(&decision.demand, &motion);
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
        let torque_nm = self.rate.step(&record.attitude.rate_setpoint, record.rate_rad_s);
        record.wrench = Wrench { torque_nm, thrust_n: record.attitude.thrust_n };
        let allocation = self.mixer.allocate(&record.wrench, self.thrust_curve.ceiling_n());
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

    fn record(&self) -> &Record {
        &self.record
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = Folder::demo().map_err(|errors| errors[0].to_string())?;
    let standard = judge(&folder.subject, SEEDS, &|| ())?;
    let own = judge(&folder.subject.flown_by::<OwnController, Plant>(), SEEDS, &|| ())?;
    println!("{:26}{:44}{:>10}{:>10}", "flight", "figure", "PID", "observer");
    for (a, b) in standard.items.iter().zip(&own.items) {
        let of_attitude = a.flight.starts_with("probe-") || a.flight == "roll-step";
        if of_attitude {
            let text: String = a.id.chars().take(42).collect();
            println!(
                "{:26}{text:44}{:>10}{:>10}  {}",
                a.flight,
                figure(a.measured),
                figure(b.measured),
                a.unit
            );
        }
    }
    for (name, judgement) in [("PID", &standard), ("observer", &own)] {
        // The margins of the linear model are those of the settings: they do not know the own law.
        let flown = judgement.items.iter().filter(|item| !item.flight.starts_with("margins-"));
        let (pass, count) = flown
            .fold((0, 0), |(pass, count), item| (pass + u32::from(item.outcome == Outcome::Pass), count + 1));
        println!("{name}: {pass} of {count} figures of the flights pass");
        assert_eq!(pass, count, "{name} fails");
    }
    Ok(())
}
