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
use aplomb::flight::{AttitudeStage, Config, Divider, GyroFilters, OuterLoops};
use aplomb::frames::{Body, Heading, Vector};
use aplomb::mix::{QuadMixer, ThrustCurve, Wrench};
use aplomb::record::Record;
use aplomb::{
    Achieved, Command, ConfigError, Demand, FlightController, HeadingDemand, Libm, MotorCommand, Rotors,
    Sensors, Tilt, VerticalDemand,
};
use aplomb_craft::glam::DVec3;
use aplomb_craft::{AirConfig, Plant, Start, sensors};
use aplomb_flight::exchange;
use aplomb_harness::input;

/// The part that replaces `control::rate::RateController`.
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

/// The controller, from its public parts. For a flight that starts in the air, without arming and without
/// sticks: a craft that is to fly needs `guard` and `pilot`, as in `FlightController`.
struct OwnController {
    estimator: Estimator<Libm, 1>,
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
    record: Record,
}

impl OwnController {
    fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = 1.0 / config.tick_hz;
        Ok(Self {
            estimator: Estimator::new(&config.estimate, period_s)?,
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
            record: Record::new(),
        })
    }

    fn step(&mut self, sensors: &Sensors, demand: &Demand) -> Rotors<MotorCommand> {
        let motion = self.estimator.step(sensors, true);
        if let Some(battery) = sensors.battery {
            self.thrust_curve.observe(battery.voltage_v);
        }
        let air_density_kg_m3 = motion.air_density_kg_m3.unwrap_or(self.configured_air_density_kg_m3);
        self.thrust_curve.set_air_density(air_density_kg_m3);
        let record = &mut self.record;
        let speed_rad_s = sensors.rotor_speed_rad_s.as_ref();
        record.rate_rad_s = self.gyro_filters.step(motion.rate_rad_s, speed_rad_s, &record.thrust_n);
        if self.velocity_divider.is_due() {
            record.outer = self.outer_loops.step(demand, false, &motion, &record.achieved);
        }
        if self.attitude_divider.is_due() {
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
}

/// Figures of one flight.
struct Figures {
    settling_s: f64,
    overshoot_percent: f64,
    disturbed_deg: f64,
}

/// Hover to 10 s, until the attitude estimate has settled; a roll step of 20 deg to 12 s, level again, and a
/// torque about the roll axis from 15 to 15.5 s.
fn fly(
    config: &Config,
    mut step: impl FnMut(&Sensors, &Demand) -> Rotors<MotorCommand>,
) -> Result<Figures, Box<dyn std::error::Error>> {
    let tick_s = f64::from(1.0 / config.tick_hz);
    let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
    // Ideal sensors: the controllers are compared, not the estimates.
    let mut craft = input::demo_craft()?.config;
    craft.sensors = sensors::Config::ideal();
    let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 1, tick_s)?;
    let hover = plant.truth().motor_command.front_left as f32;
    let mut pending = Rotors::splat(MotorCommand::saturating(hover));
    let mut figures = Figures { settling_s: 0.0, overshoot_percent: 0.0, disturbed_deg: 0.0 };
    for tick in 0..17_000 {
        let time_s = f64::from(tick) * tick_s;
        let roll_rad = if (10.0..12.0).contains(&time_s) { 20f32.to_radians() } else { 0.0 };
        let demand = Demand::Tilt {
            tilt: Tilt::from_roll_pitch::<Libm>(roll_rad, 0.0),
            heading: HeadingDemand::Hold(Heading::NORTH),
            vertical: VerticalDemand::Climb(0.0),
        };
        let commands = step(&exchange::sensors(&plant.sense(), tick_s), &demand);
        let push_nm = if (15.0..15.5).contains(&time_s) { 0.1 } else { 0.0 };
        plant.push(DVec3::ZERO, DVec3::new(push_nm, 0.0, 0.0));
        plant.advance(exchange::commands(pending));
        pending = commands;
        let q = plant.truth().attitude;
        let roll_deg =
            (2.0 * (q.w * q.x + q.y * q.z)).atan2(1.0 - 2.0 * (q.x * q.x + q.y * q.y)).to_degrees();
        if (10.0..12.0).contains(&time_s) {
            if (roll_deg - 20.0).abs() > 2.0 {
                figures.settling_s = time_s + tick_s - 10.0;
            }
            figures.overshoot_percent = figures.overshoot_percent.max(5.0 * (roll_deg - 20.0));
        }
        if time_s >= 15.0 {
            figures.disturbed_deg = figures.disturbed_deg.max(roll_deg.abs());
        }
    }
    Ok(figures)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let config = input::demo_controller()?;
    let mut pid: FlightController = FlightController::new(&config)?;
    pid.resume_in_flight();
    let mut own = OwnController::new(&config)?;
    let flights = [
        ("PID", fly(&config, |sensors, demand| pid.step(sensors, &Command::fly(*demand)))?),
        ("state observer", fly(&config, |sensors, demand| own.step(sensors, demand))?),
    ];
    println!("rate controller   settling s   overshoot %   roll under 0.1 N m, deg");
    for (name, figures) in &flights {
        let Figures { settling_s, overshoot_percent, disturbed_deg } = figures;
        println!("{name:16}  {settling_s:10.3}   {overshoot_percent:11.1}   {disturbed_deg:23.2}");
        assert!(*settling_s < 0.3 && *overshoot_percent < 10.0, "{name} does not settle");
        assert!(*disturbed_deg < 6.0, "{name} does not reject the torque");
    }
    Ok(())
}
