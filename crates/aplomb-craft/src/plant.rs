//! The simulated craft, advanced by one control period at a time.

use crate::air::{Air, AirConfig};
use crate::battery::Battery;
use crate::body::{Body, BodyLoad, Slope, Stage, State, Wrench};
use crate::config::Config;
use crate::drag::Drag;
use crate::error::{ConfigError, Reason, fail, within};
use crate::fault::{Fault, Faults, Sensor, What};
use crate::forces::Forces;
use crate::gimbal::BaseMotion;
use crate::ground::Ground;
use crate::hover::Hover;
use crate::mount::{Bearing, Mount, Rope};
use crate::propulsion::Propulsion;
use crate::sensors::barometer::Barometer;
use crate::sensors::gnss::Gnss;
use crate::sensors::imu::{Imu, Motion, Sample};
use crate::sensors::magnetometer::Magnetometer;
use crate::sensors::{BatteryReading, Readings};
use crate::speed_controller::SpeedControllers;
use crate::start::Start;
use crate::truth::Truth;
use crate::vibration::Vibration;
use crate::{ROTORS, Rotors};
use glam::{DMat3, DVec3};

/// Cosine of the tilt beyond which a craft on the ground counts as tipped over.
const TIPPED_OVER_COSINE: f64 = 0.5;

/// Simulated craft in its air.
///
/// One [`Plant::advance`] is one tick: the speed controllers process the command, the rotor speeds are
/// advanced, the body takes one Runge-Kutta step, then the inflow of the rotors and the sensors are updated.
/// Within the step the forces of rotors and air are linear in body axes, through their values at the start
/// and in the middle, which is of second order in the tick. Motion, ground contact and tether are of fourth
/// order. Battery values are those under the load of the last tick. All sensors sample the state at the tick.
#[derive(Clone, Debug)]
pub struct Plant {
    tick_s: f64,
    tick: u64,
    forces: Forces,
    state: State,
    propulsion: Propulsion,
    in_force: Rotors<f64>,
    controllers: SpeedControllers,
    battery: Battery,
    air: Air,
    touching: bool,
    /// At the tick: rotation matrix, body load, accelerations.
    rotation: DMat3,
    body_load: BodyLoad,
    slope: Slope,
    /// Reaction torque of the rotors' angular acceleration contained in both (N m).
    reaction_nm: f64,
    per_weight: f64,
    fitted: Fitted,
    readings: Readings,
    /// Only with faults.
    faults: Option<Box<Faults>>,
    /// Only on a test stand.
    bearing: Option<Box<Bearing>>,
}

/// Fitted sensors.
#[derive(Clone, Debug)]
struct Fitted {
    imu: Option<(Imu, DVec3)>,
    vibration: Option<Vibration>,
    barometer: Option<Barometer>,
    gnss: Option<Gnss>,
    magnetometer: Option<Magnetometer>,
}

impl Fitted {
    fn carries(&self, sensor: Sensor) -> bool {
        match sensor {
            Sensor::Imu | Sensor::Gyro | Sensor::Accelerometer => self.imu.is_some(),
            Sensor::Barometer => self.barometer.is_some(),
            Sensor::Gnss => self.gnss.is_some(),
            Sensor::Magnetometer => self.magnetometer.is_some(),
        }
    }
}

impl Plant {
    /// Creates the craft in its air at the start. `tick_s` is the control period, 0.1 ms to 5 ms. All noise
    /// comes from `seed`.
    ///
    /// # Errors
    ///
    /// Names the first invalid field. An airborne start requires hover: thrusts that balance the weight
    /// without torque, and a battery that can supply them.
    pub fn new(
        config: &Config,
        air: &AirConfig,
        start: &Start,
        seed: u64,
        tick_s: f64,
    ) -> Result<Plant, ConfigError> {
        within("tick_s", tick_s, 1e-4, 5e-3)?;
        config.check(tick_s)?;
        air.check()?;
        start.check()?;
        let gravity = air.gravity_m_s2;
        let state = start.state();
        let mut battery = Battery::new(&config.battery, tick_s);
        let air = Air::new(air, -state.position_m.z, tick_s, seed);
        let (mut speeds, mut in_force) = ([0.0; ROTORS], Rotors::splat(0.0));
        if start.airborne && !start.rotors_stopped {
            let hover = Hover::find(config, &battery, &air.medium(), config.mass_kg * gravity)?;
            (speeds, in_force) = (hover.speeds, hover.command);
            battery.load(|_| (hover.current_a, 0.0));
        }
        let propulsion = Propulsion::new(config, speeds, tick_s);
        let forces = Forces {
            body: Body::new(config.mass_kg, config.inertia(), gravity),
            drag: Drag::new(&config.drag, config.mass_kg, gravity),
            ground: Ground::new(&config.ground, config.hubs(), config.mass_kg),
            push_n: DVec3::ZERO,
            push_nm: DVec3::ZERO,
            rope: match &start.mount {
                Mount::Tether(tether) => Some(Rope::new(tether, config.mass_kg)),
                Mount::Free | Mount::Stand(_) => None,
            },
        };
        let bearing = match &start.mount {
            Mount::Stand(stand) => {
                Some(Box::new(Bearing::new(stand, config.mass_kg, &config.inertia(), &state)))
            }
            Mount::Free | Mount::Tether(_) => None,
        };
        let state = bearing.as_ref().map_or(state, |bearing| bearing.held(&state));
        let sensors = &config.sensors;
        let fitted = Fitted {
            imu: sensors.imu.map(|imu| (Imu::new(&imu, tick_s, seed), DVec3::from_array(imu.position_m))),
            vibration: Vibration::new(config, config.inertia(), tick_s, seed),
            barometer: sensors.barometer.map(|barometer| Barometer::new(&barometer, tick_s, seed)),
            gnss: sensors.gnss.map(|gnss| Gnss::new(&gnss, tick_s, seed)),
            magnetometer: sensors
                .magnetometer
                .map(|magnetometer| Magnetometer::new(&magnetometer, tick_s, seed)),
        };
        let slope = forces.body.slope(&state, &Wrench::default());
        let weight = config.mass_kg * crate::gravity::STANDARD_M_S2;
        let mut plant = Plant {
            tick_s,
            tick: 0,
            forces,
            state,
            propulsion,
            in_force,
            controllers: SpeedControllers::new(&config.speed_controller, tick_s, in_force),
            battery,
            air,
            touching: false,
            rotation: DMat3::IDENTITY,
            body_load: BodyLoad::default(),
            slope,
            reaction_nm: 0.0,
            per_weight: 1.0 / weight,
            fitted,
            readings: Readings::default(),
            faults: None,
            bearing,
        };
        plant.update_derivatives(&[0.0; ROTORS]);
        let motion = plant.motion(Sample::default());
        if let Some((imu, _)) = &mut plant.fitted.imu {
            imu.start(&motion);
        }
        plant.measure(Sample::default());
        Ok(plant)
    }

    /// The same craft with faults, which apply in the given order.
    ///
    /// ```
    /// use aplomb_craft::fault::{Fault, Sensor, SensorFault, What};
    /// use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start};
    /// let outage = What::Sensor(Sensor::Imu, SensorFault::DroppedOut);
    /// let fault = Fault { from_s: 0.001, until_s: 0.002, what: outage };
    /// let plant = Plant::new(&Config::weir_gauge(), &AirConfig::default(), &Start::default(), 1, 0.001)?;
    /// let mut plant = plant.with_faults(&[fault])?;
    /// plant.advance(Rotors::splat(0.0));
    /// assert!(plant.sense().imu.is_none());
    /// plant.advance(Rotors::splat(0.0));
    /// assert!(plant.sense().imu.is_some());
    /// # Ok::<(), aplomb_craft::ConfigError>(())
    /// ```
    ///
    /// # Errors
    ///
    /// An invalid fault, or a fault of a sensor that is not fitted.
    pub fn with_faults(mut self, faults: &[Fault]) -> Result<Plant, ConfigError> {
        for fault in faults {
            fault.check()?;
            if let What::Sensor(sensor, _) = fault.what
                && !self.fitted.carries(sensor)
            {
                return fail("fault.sensor", Reason::NotFitted);
            }
        }
        if !faults.is_empty() {
            let mut faults = Box::new(Faults::new(faults, self.tick_s));
            faults.sensors.iter_mut().for_each(|wrapper| wrapper.pass(self.tick, &mut self.readings));
            self.faults = Some(faults);
        }
        Ok(self)
    }

    /// Samples of the current tick.
    #[inline]
    pub fn sense(&mut self) -> Readings {
        self.readings
    }

    /// Advances by one tick with `command` at the speed controllers. Each command is clamped to 0..1; NaN
    /// counts as 0.
    pub fn advance(&mut self, command: Rotors<f64>) {
        self.air.update_height(-self.state.position_m.z);
        let command = if self.faults.is_some() { self.apply_rotor_faults(command) } else { command };
        self.in_force = self.controllers.advance(command);
        let command = self.in_force.into_array();
        self.battery.load(|voltage| self.propulsion.draw(&command, voltage));
        let voltage = self.battery.terminals().voltage_v;
        let volts = command.map(|share| share * voltage);
        let rotor_step = self.propulsion.step(&volts, self.air.density_ratio());
        let before = *self.propulsion.speeds();

        let wind_before = self.air.wind_m_s();
        self.air.advance((self.tick + 1) as f64 * self.tick_s);
        let (wind_m_s, density_kg_m3) = (0.5 * (wind_before + self.air.wind_m_s()), self.air.density_kg_m3());
        let (forces, inflow) = (&self.forces, self.propulsion.inflow());
        // The angular acceleration of the rotors changes stepwise with the command.
        let jump_nm = rotor_step.reaction_nm - self.reaction_nm;
        let start = self.body_load.with_yaw(jump_nm);
        let mut slope = self.slope;
        slope.angular_acceleration += forces.body.yaw_acceleration(jump_nm);
        let ahead = self.state.extrapolated(&slope, 0.5 * self.tick_s);
        let rotation = DMat3::from_quat(ahead.attitude);
        let air = rotation.transpose() * (ahead.velocity_m_s - wind_m_s);
        let load = inflow.correct(&rotor_step.middle, air.z, ahead.rate_rad_s);
        let middle = forces.body_load(ahead.rate_rad_s, &rotation, air, density_kg_m3, &load);
        let wrench = |stage, state: &State| {
            let body_load = if stage == Stage::End { middle.extrapolated_from(&start) } else { middle };
            forces.wrench(state, &DMat3::from_quat(state.attitude), &body_load)
        };
        // Twice the distance at the present speed, to allow for acceleration within the tick.
        let reach_m = 2.0 * self.tick_s * self.state.velocity_m_s.z.abs();
        self.state = match &self.bearing {
            None if forces.may_hold(&self.state, reach_m) => {
                forces.body.step_from(&self.state, slope, self.tick_s, wrench)
            }
            None => forces.body.step_without_contact(&self.state, &slope, self.tick_s, &start, &middle),
            Some(bearing) => {
                let slope = self.slope_under(&forces.wrench(&self.state, &self.rotation, &start));
                bearing.step_from(&forces.body, &self.state, slope, self.tick_s, wrench)
            }
        };
        self.tick += 1;

        let acceleration = self.propulsion.commit(&rotor_step);
        self.battery.advance();
        self.update_derivatives(&acceleration);
        let per_square = self.propulsion.thrust_per_square(self.air.density_ratio());
        let vibration = match &mut self.fitted.vibration {
            Some(vibration) if vibration.shakes() => {
                vibration.advance(&before, self.propulsion.speeds(), per_square)
            }
            Some(_) | None => Sample::default(),
        };
        self.measure(vibration);
    }

    /// Sets an external force (world axes) and torque (body axes) at the centre of mass, constant until the
    /// next call, from the next tick on. Non-finite values count as zero.
    pub fn push(&mut self, force_n_world: DVec3, torque_nm_body: DVec3) {
        let finite = |v: DVec3| if v.is_finite() { v } else { DVec3::ZERO };
        self.forces.push_n = finite(force_n_world);
        self.forces.push_nm = finite(torque_nm_body);
    }

    /// True state at the current tick.
    pub fn truth(&self) -> Truth {
        let ratio = self.air.density_ratio();
        let wind_m_s = self.air.wind_m_s();
        let air = self.state.velocity_m_s - wind_m_s;
        let attitude = self.state.attitude;
        let upright = 1.0 - 2.0 * (attitude.x * attitude.x + attitude.y * attitude.y);
        Truth {
            time_s: self.tick as f64 * self.tick_s,
            position_m: self.state.position_m,
            velocity_m_s: self.state.velocity_m_s,
            acceleration_m_s2: self.slope.acceleration,
            attitude,
            body_rate_rad_s: self.state.rate_rad_s,
            body_acceleration_rad_s2: self.slope.angular_acceleration,
            rotor_speed_rad_s: Rotors::from_array(*self.propulsion.speeds()),
            thrust_n: Rotors::from_array(self.propulsion.thrust_n(ratio)),
            torque_nm: Rotors::from_array(self.propulsion.torque_nm(ratio)),
            motor_command: self.in_force,
            wind_m_s,
            airspeed_m_s: libm::sqrt(air.length_squared()),
            density_kg_m3: self.air.density_kg_m3(),
            battery: self.battery.terminals(),
            on_ground: self.touching,
            tipped_over: self.touching && upright < TIPPED_OVER_COSINE,
            gnss_errors: self.fitted.gnss.as_ref().map_or_else(Default::default, Gnss::errors),
            imu_bias: self.fitted.imu.as_ref().map_or_else(Sample::default, |(imu, _)| imu.bias()),
        }
    }

    /// Motion of the frame at the current tick, the base of a gimbal at the centre of mass.
    #[inline]
    pub fn base_motion(&self) -> BaseMotion {
        BaseMotion {
            attitude: self.state.attitude,
            rate_rad_s: self.state.rate_rad_s,
            specific_force_m_s2: self.slope.acceleration - self.forces.body.gravity(),
        }
    }

    /// Updates the faults of the rotors; returns the commands after the faults.
    #[cold]
    fn apply_rotor_faults(&mut self, command: Rotors<f64>) -> Rotors<f64> {
        let Some(faults) = &mut self.faults else { return command };
        if let Some(conditions) = faults.rotors.change(self.tick) {
            self.propulsion.damage(conditions);
            if let Some(vibration) = &mut self.fitted.vibration {
                vibration.add_imbalance(conditions.map(|condition| condition.imbalance_kg_m));
            }
            self.update_inflow();
        }
        self.faults.as_mut().map_or(command, |faults| faults.rotors.pass(self.tick, command))
    }

    /// Updates the ground contact.
    #[inline]
    fn update_ground_contact(&mut self) {
        let state = &self.state;
        if self.forces.ground.near(state.position_m.z) {
            let ground = &mut self.forces.ground;
            self.touching = ground.update_contacts(
                state.position_m,
                state.velocity_m_s,
                &self.rotation,
                state.rate_rad_s,
            );
        } else if self.touching {
            self.forces.ground.release_contacts();
            self.touching = false;
        }
    }

    /// Updates the inflow of the rotors; returns the velocity through the air in body axes (m/s).
    #[inline]
    fn update_inflow(&mut self) -> DVec3 {
        let air = self.rotation.transpose() * (self.state.velocity_m_s - self.air.wind_m_s());
        let clearance_m = self.forces.ground.clearance_m(self.state.position_m.z);
        let hubs = self.propulsion.hubs(clearance_m, &self.rotation);
        self.propulsion.update_inflow(air, self.state.rate_rad_s, &self.air.medium(), &hubs);
        air
    }

    /// Updates loads and accelerations at the tick for the given angular acceleration of the rotors (rad/s2).
    #[inline]
    fn update_derivatives(&mut self, acceleration: &[f64; ROTORS]) {
        self.rotation = DMat3::from_quat(self.state.attitude);
        self.update_ground_contact();
        let air = self.update_inflow();
        let load = self.propulsion.load(acceleration, self.air.density_ratio());
        let (forces, rate) = (&self.forces, self.state.rate_rad_s);
        self.reaction_nm = self.propulsion.reaction_nm(acceleration);
        self.body_load = forces.body_load(rate, &self.rotation, air, self.air.density_kg_m3(), &load);
        self.slope = self.slope_under(&forces.wrench(&self.state, &self.rotation, &self.body_load));
    }

    #[inline]
    fn slope_under(&self, wrench: &Wrench) -> Slope {
        match &self.bearing {
            None => self.forces.body.slope(&self.state, wrench),
            Some(bearing) => bearing.slope(&self.forces.body, &self.state, wrench),
        }
    }

    /// Rate and specific force at the position of the inertial sensor.
    #[inline]
    fn motion(&self, vibration: Sample) -> Motion {
        let position = self.fitted.imu.as_ref().map_or(DVec3::ZERO, |(_, position)| *position);
        let rate = self.state.rate_rad_s;
        let specific_force = self.slope.acceleration - self.forces.body.gravity();
        let lever = self.slope.angular_acceleration.cross(position) + rate.cross(rate.cross(position));
        Motion { rate, specific_force: self.rotation.transpose() * specific_force + lever, vibration }
    }

    #[inline]
    fn measure(&mut self, vibration: Sample) {
        let motion = self.motion(vibration);
        let (tick, time_s) = (self.tick, self.tick as f64 * self.tick_s);
        let terminals = self.battery.terminals();
        let thrust_ratio = self.propulsion.whole_thrust_n(self.air.density_ratio()) * self.per_weight;
        let (state, air, ground) = (&self.state, &self.air, &self.forces.ground);
        let height_m = -state.position_m.z;
        let fitted = &mut self.fitted;
        self.readings = Readings {
            imu: fitted.imu.as_mut().map(|(imu, _)| imu.advance(&motion)),
            rotor_speed_rad_s: Rotors::from_array(*self.propulsion.speeds()),
            battery: BatteryReading { voltage_v: terminals.voltage_v, current_a: terminals.current_a },
            pressure_pa: fitted.barometer.as_mut().and_then(|barometer| {
                let clearance_m = ground.clearance_m(state.position_m.z);
                barometer.advance(tick, time_s, height_m, clearance_m, thrust_ratio, |height| {
                    air.pressure_pa(height)
                })
            }),
            gnss: fitted.gnss.as_mut().and_then(|gnss| gnss.advance(tick, state)),
            magnetic_field_ut: fitted
                .magnetometer
                .as_mut()
                .and_then(|magnetometer| magnetometer.advance(tick, state.attitude, terminals.current_a)),
        };
        if let Some(faults) = &mut self.faults {
            faults.sensors.iter_mut().for_each(|wrapper| wrapper.pass(tick, &mut self.readings));
        }
    }
}

mod state;
#[cfg(test)]
mod tests;
