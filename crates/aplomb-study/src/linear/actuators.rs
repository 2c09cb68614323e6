//! Response of the rotors' wrench to the demanded wrench.

use aplomb::estimate::AirDensity;
use aplomb::flight;
use aplomb_craft::Config;

use super::Clock;
use super::matrix::{C64, Matrix, inverse, product, zeros};
use super::trim::{HEIGHT_M, Trim};

/// Mixer, thrust curve, delays of tick and speed controller, battery, motors and propellers, each rotor about
/// its trim.
#[derive(Clone, Debug)]
pub(super) struct Actuators {
    /// Wrench to thrusts in the controller's model.
    mix: Matrix<4, 4>,
    rotors: [Rotor; 4],
    inertia_kg_m2: f64,
    /// Torque per ampere of the motors (N m/A) and resistance of their windings (ohm).
    torque_constant_nm_a: f64,
    winding_ohm: f64,
    delay_ticks: usize,
    resistance_ohm: f64,
    voltage_v: f64,
    /// Gain of the controller's voltage filter; 0 while the voltage is outside the range of its model.
    voltage_filter: f64,
}

/// One rotor about its trim.
#[derive(Clone, Copy, Debug)]
struct Rotor {
    x_m: f64,
    y_m: f64,
    spin: f64,
    command: f64,
    current_a: f64,
    /// d command/d demanded thrust (1/N).
    command_per_n: f64,
    /// d steady speed/d motor voltage (rad/s/V).
    speed_per_v: f64,
    /// d thrust/d speed (N s), d torque/d speed (N m s).
    thrust_per_speed: f64,
    torque_per_speed: f64,
    /// Time constant of the speed (s).
    lag_s: f64,
}

impl Actuators {
    pub(super) fn new(craft: &Config, controller: &flight::Config, trim: &Trim, tick_s: f64) -> Self {
        let curve = &controller.thrust_curve;
        let motor = &craft.rotor;
        let (kt, ratio) = (motor.torque_constant_nm_a(), trim.density_ratio);
        let arms = craft.arms.into_array();
        let air = trim.attitude.transpose() * trim.velocity_m_s;
        let (axial, edgewise) = (-air.z, libm::hypot(air.x, air.y));
        let rotors = std::array::from_fn(|i| {
            let (speed, command) = (trim.speed_rad_s[i], trim.command[i]);
            // Differences over 2 rad/s.
            let slope = |of: &dyn Fn(f64) -> f64| 0.5 * (of(speed + 1.0) - of(speed - 1.0));
            let torque_nm = |speed| motor.torque_in_flow_nm(axial, edgewise, speed, ratio);
            let torque_per_speed = slope(&torque_nm);
            Rotor {
                x_m: arms[i].x_m,
                y_m: arms[i].y_m,
                spin: f64::from(arms[i].spin.reaction()),
                command,
                current_a: torque_nm(speed) / kt + motor.no_load_current_a,
                command_per_n: ModelThrust::at(controller, command, trim).command_per_n,
                speed_per_v: 1.0 / (kt + motor.resistance_ohm / kt * torque_per_speed),
                thrust_per_speed: slope(&|speed| motor.thrust_in_flow_n(axial, edgewise, speed, ratio)),
                torque_per_speed,
                lag_s: motor.inertia_kg_m2 / (torque_per_speed + kt * kt / motor.resistance_ohm),
            }
        });
        let filter_s = f64::from(curve.voltage_filter_s);
        Self {
            mix: controller_allocation(controller).map(|row| row.map(C64::from)),
            rotors,
            inertia_kg_m2: motor.inertia_kg_m2,
            torque_constant_nm_a: kt,
            winding_ohm: motor.resistance_ohm,
            // One tick for the computation, plus the delay of the speed controller.
            delay_ticks: 1 + libm::round(craft.speed_controller.delay_s / tick_s) as usize,
            resistance_ohm: craft.battery.resistance_ohm,
            voltage_v: trim.voltage_v,
            voltage_filter: if clamped_voltage_v(controller, trim.voltage_v) == trim.voltage_v {
                tick_s / (filter_s + tick_s)
            } else {
                0.0
            },
        }
    }

    /// Demanded wrench to the wrench on the body.
    pub(super) fn wrench(&self, at: &Clock) -> Matrix<4, 4> {
        let speeds = product(&self.speeds(at), &self.mix);
        let mut effect: Matrix<4, 4> = zeros();
        for (i, rotor) in self.rotors.iter().enumerate() {
            let thrust = C64::new(rotor.thrust_per_speed, 0.0);
            effect[0][i] = -rotor.y_m * thrust;
            effect[1][i] = rotor.x_m * thrust;
            effect[2][i] = rotor.spin * (rotor.torque_per_speed + self.inertia_kg_m2 * at.s);
            effect[3][i] = thrust;
        }
        product(&effect, &speeds)
    }

    /// Demanded thrusts to rotor speeds. The rotors are coupled through the battery voltage.
    fn speeds(&self, at: &Clock) -> Matrix<4, 4> {
        let follow = |rotor: &Rotor| at.lag(rotor.lag_s) * at.hold();
        let delay = at.ticks(self.delay_ticks);
        let filtered = self.voltage_filter / (1.0 - (1.0 - self.voltage_filter) * at.delay);
        // Change of the command and of the speed per volt of the battery.
        let command_per_v = |rotor: &Rotor| -delay * (rotor.command / self.voltage_v) * filtered;
        let speed_per_v = |rotor: &Rotor| {
            follow(rotor) * rotor.speed_per_v * (self.voltage_v * command_per_v(rotor) + rotor.command)
        };
        // Winding current (u V - Kt w)/R; battery current u times the winding current.
        let current = |rotor: &Rotor, command: C64, volts: f64, speed: C64| {
            let winding = (self.voltage_v * command + rotor.command * volts
                - self.torque_constant_nm_a * speed)
                / self.winding_ohm;
            rotor.current_a * command + rotor.command * winding
        };
        let sag: C64 =
            self.rotors.iter().map(|r| current(r, command_per_v(r), 1.0, speed_per_v(r))).sum::<C64>()
                * self.resistance_ohm;
        let own = self.rotors.map(|rotor| {
            let command = delay * rotor.command_per_n;
            (command, follow(&rotor) * rotor.speed_per_v * self.voltage_v * command)
        });
        let mut speeds: Matrix<4, 4> = zeros();
        for j in 0..4 {
            let volts =
                -self.resistance_ohm * current(&self.rotors[j], own[j].0, 0.0, own[j].1) / (1.0 + sag);
            for (row, rotor) in speeds.iter_mut().zip(&self.rotors) {
                row[j] = speed_per_v(rotor) * volts;
            }
            speeds[j][j] += own[j].1;
        }
        speeds
    }
}

/// The controller's thrust curve, c V = V_ref (alpha sqrt(s rho0/rho) + (1 - alpha) s), at one command.
#[derive(Clone, Copy, Debug)]
pub(super) struct ModelThrust {
    /// Thrust in N in the controller's model.
    pub(super) thrust_n: f64,
    /// d command/d thrust (1/N).
    pub(super) command_per_n: f64,
}

impl ModelThrust {
    pub(super) fn at(controller: &flight::Config, command: f64, trim: &Trim) -> Self {
        let curve = &controller.thrust_curve;
        let ratio = clamped_voltage_v(controller, trim.voltage_v) / f64::from(curve.reference_voltage_v);
        let (alpha, max_thrust_n) = (f64::from(curve.back_emf_share), f64::from(curve.max_thrust_n));
        let density = estimated_density_kg_m3(controller, trim);
        let beta = alpha * libm::sqrt(f64::from(aplomb::mix::REFERENCE_DENSITY_KG_M3) / density);
        let volts = command * ratio;
        let root = 2.0 * volts / (beta + libm::sqrt(beta * beta + 4.0 * (1.0 - alpha) * volts));
        Self {
            thrust_n: max_thrust_n * root * root,
            command_per_n: (0.5 * beta / root + (1.0 - alpha)) / (max_thrust_n * ratio),
        }
    }
}

/// Battery voltage limited to the range of the controller's model.
fn clamped_voltage_v(controller: &flight::Config, voltage_v: f64) -> f64 {
    let curve = &controller.thrust_curve;
    voltage_v.clamp(f64::from(curve.lowest_voltage_v), f64::from(curve.highest_voltage_v))
}

/// Density of the air that the controller's estimator gives at the trim's pressure and height.
fn estimated_density_kg_m3(controller: &flight::Config, trim: &Trim) -> f64 {
    let pressure_pa = trim.pressure_pa.map(|value| aplomb::Sample { value: value as f32, age_us: 0 });
    AirDensity::new(controller.estimate.vertical.home_temperature_k, 1.0 / controller.tick_hz)
        .ok()
        .and_then(|mut density| density.step(&[pressure_pa], HEIGHT_M as f32))
        .unwrap_or(controller.air_density_kg_m3)
        .into()
}

/// Wrench (three torques, thrust) to thrusts by the controller's geometry, one row per rotor.
pub(crate) fn controller_allocation(controller: &flight::Config) -> [[f64; 4]; 4] {
    let geometry = &controller.mix.geometry;
    let mut effect: Matrix<4, 4> = zeros();
    for (i, arm) in geometry.arms.into_array().iter().enumerate() {
        let reaction = f64::from(arm.spin.reaction() * geometry.torque_to_thrust_m);
        let column = [-f64::from(arm.y_m), f64::from(arm.x_m), reaction, 1.0];
        (0..4).for_each(|k| effect[k][i] = C64::new(column[k], 0.0));
    }
    inverse(effect).map(|row| row.map(|share| share.re))
}
