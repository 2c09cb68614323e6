//! Steady flight (trim): tilt, rotor speeds and commands without acceleration.
//!
//! Solved by Newton's method on the forces of the plant: six unknowns (two components of the tilt, four rotor
//! speeds), six equations (force and torque).

use crate::air::{Air, AirConfig};
use crate::battery::{self, Battery, Terminals};
use crate::body::{Body, State};
use crate::config::Config;
use crate::drag::Drag;
use crate::error::{ConfigError, Reason, fail};
use crate::forces::Forces;
use crate::ground::Ground;
use crate::hover::Hover;
use crate::motor::Motor;
use crate::propulsion::Propulsion;
use crate::{ROTORS, Rotors};
use glam::{DMat3, DQuat, DVec3};

/// A steady flight with the nose north.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steady {
    /// Tilt of the body axis from the vertical (rad).
    pub tilt_rad: f64,
    /// Thrust of each rotor (N).
    pub thrust_n: Rotors<f64>,
    /// Speed of each rotor (rad/s).
    pub rotor_speed_rad_s: Rotors<f64>,
    /// Motor commands; above 1 if the battery voltage is too low.
    pub command: Rotors<f64>,
    /// Battery under this load.
    pub battery: Terminals,
}

/// Iteration limit of Newton's method; about five iterations are needed.
const ROUNDS: usize = 60;
/// Rotor speeds at which the iteration starts, over those in hover: the next one if one does not converge.
const STARTS: [f64; 3] = [1.0, 2.0, 4.0];

impl Steady {
    /// Steady flight at `velocity_m_s` (north-east-down) through still air at `height_m` above home.
    ///
    /// ```
    /// use aplomb_craft::{AirConfig, Config, Steady, glam::DVec3};
    /// let craft = Config::weir_gauge();
    /// let hover = Steady::find(&craft, &AirConfig::default(), 20.0, DVec3::ZERO)?;
    /// assert!(hover.tilt_rad < 1e-9 && (hover.thrust_n.sum() - 1.2 * 9.80665).abs() < 1e-6);
    /// // At 10 m/s it is tilted forward.
    /// let tilted = Steady::find(&craft, &AirConfig::default(), 20.0, DVec3::new(10.0, 0.0, 0.0))?;
    /// assert!(tilted.tilt_rad > 0.2);
    /// # Ok::<(), aplomb_craft::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// An invalid craft, or no such flight: `NoTrim` if the forces do not balance, `CannotHover` if the
    /// battery cannot supply the power.
    pub fn find(
        config: &Config,
        air: &AirConfig,
        height_m: f64,
        velocity_m_s: DVec3,
    ) -> Result<Steady, ConfigError> {
        const TICK_S: f64 = 0.001;
        config.check(TICK_S)?;
        air.check()?;
        let weight_n = config.mass_kg * air.gravity_m_s2;
        let still = AirConfig {
            winds: Vec::new(),
            u20_m_s: None,
            gusts: Vec::new(),
            turbulence: None,
            ..air.clone()
        };
        let air = Air::new(&still, height_m, TICK_S, 0);
        let battery = Battery::new(&config.battery, TICK_S);
        let speeds = Hover::find(config, &battery, &air.medium(), weight_n)?.speeds;
        let mut balance = Balance {
            propulsion: Propulsion::new(config, speeds, TICK_S),
            forces: Forces {
                body: Body::new(config.mass_kg, config.inertia(), still.gravity_m_s2),
                rope: None,
                drag: Drag::new(&config.drag, config.mass_kg, still.gravity_m_s2),
                ground: Ground::new(&config.ground, config.hubs(), config.mass_kg),
                push_n: DVec3::ZERO,
                push_nm: DVec3::ZERO,
            },
            air,
            state: State { position_m: DVec3::new(0.0, 0.0, -height_m), velocity_m_s, ..State::REST },
            weight_n,
        };
        // In a fast climb the rotors turn up to several times as fast as in hover, where Newton's method does
        // not find them.
        let solve = |factor: f64| {
            let [a, b, c, d] = speeds.map(|speed| factor * speed);
            balance.solve([0.0, 0.0, a, b, c, d])
        };
        let Some(found) = STARTS.into_iter().find_map(solve) else {
            return fail("arms", Reason::NoTrim);
        };
        balance.missing(&found);
        let ratio = balance.air.density_ratio();
        let torques = balance.propulsion.torque_nm(ratio);
        let speeds = *balance.propulsion.speeds();
        let motor = Motor::new(&config.rotor, TICK_S);
        let fed: [(f64, f64); ROTORS] = core::array::from_fn(|i| motor.steady(speeds[i], torques[i]));
        let power_w: f64 = fed.iter().map(|(volts, amps)| volts * amps).sum();
        let Some(voltage_v) = battery.voltage_at_power(power_w) else {
            return fail("rotor", Reason::CannotHover);
        };
        Ok(Steady {
            tilt_rad: libm::hypot(found[0], found[1]),
            thrust_n: Rotors::from_array(balance.propulsion.thrust_n(ratio)),
            rotor_speed_rad_s: Rotors::from_array(speeds),
            command: Rotors::from_array(fed.map(|(volts, _)| volts / voltage_v)),
            battery: Terminals {
                voltage_v,
                current_a: power_w / voltage_v + config.battery.base_current_a,
                state_of_charge: config.battery.state_of_charge,
            },
        })
    }

    /// Endurance of this flight (s), and the state of charge at its end: `reserve`, or more if the voltage is
    /// too low for the rotors before.
    ///
    /// ```
    /// use aplomb_craft::{AirConfig, Config, Steady, glam::DVec3};
    /// let craft = Config::weir_gauge();
    /// let hover = Steady::find(&craft, &AirConfig::default(), 20.0, DVec3::ZERO)?;
    /// let (time_s, charge) = hover.endurance(&craft.battery, 0.2);
    /// // Close to the charge over the initial current: 0.7 of 4 Ah.
    /// let even_s = 0.7 * 4.0 * 3600.0 / hover.battery.current_a;
    /// assert!(charge <= 0.2 && time_s < even_s && time_s > 0.8 * even_s);
    /// # Ok::<(), aplomb_craft::ConfigError>(())
    /// ```
    #[must_use]
    pub fn endurance(&self, battery: &battery::Config, reserve: f64) -> (f64, f64) {
        const TICK_S: f64 = 0.1;
        let motors_w = self.battery.voltage_v * (self.battery.current_a - battery.base_current_a);
        let needed_v = self.largest_command() * self.battery.voltage_v;
        let mut battery = Battery::new(battery, TICK_S);
        let mut time_s = 0.0;
        while battery.terminals().state_of_charge > reserve {
            let Some(voltage_v) =
                battery.voltage_at_power(motors_w).filter(|&voltage_v| voltage_v >= needed_v)
            else {
                break;
            };
            battery.load(|_| (motors_w / voltage_v, 0.0));
            battery.advance();
            time_s += TICK_S;
        }
        (time_s, battery.terminals().state_of_charge)
    }

    /// Largest of the four commands.
    #[must_use]
    pub fn largest_command(&self) -> f64 {
        self.command.iter().copied().fold(0.0, f64::max)
    }
}

struct Balance {
    propulsion: Propulsion,
    forces: Forces,
    air: Air,
    state: State,
    weight_n: f64,
}

impl Balance {
    /// Residuals: force over weight, and torque over weight times 1 m, at the given unknowns: tilt about
    /// north and east, rotor speeds.
    fn missing(&mut self, unknowns: &[f64; 6]) -> [f64; 6] {
        let [north, east, a, b, c, d] = *unknowns;
        self.state.attitude = DQuat::from_scaled_axis(DVec3::new(north, east, 0.0));
        self.propulsion.set_speeds([a, b, c, d]);
        let rotation = DMat3::from_quat(self.state.attitude);
        let air = rotation.transpose() * self.state.velocity_m_s;
        self.propulsion.update_inflow(air, DVec3::ZERO, &self.air.medium(), &None);
        let load = self.propulsion.load(&[0.0; ROTORS], self.air.density_ratio());
        let body_load = self.forces.body_load(DVec3::ZERO, &rotation, air, self.air.density_kg_m3(), &load);
        let wrench = self.forces.wrench(&self.state, &rotation, &body_load);
        let force = (wrench.force_n + DVec3::new(0.0, 0.0, self.weight_n)) / self.weight_n;
        let torque = wrench.torque_nm / self.weight_n;
        [force.x, force.y, force.z, torque.x, torque.y, torque.z]
    }

    fn solve(&mut self, mut unknowns: [f64; 6]) -> Option<[f64; 6]> {
        for _ in 0..ROUNDS {
            let off = self.missing(&unknowns);
            let mut rows = [[0.0; 7]; 6];
            for (row, value) in rows.iter_mut().zip(off) {
                row[6] = value;
            }
            for column in 0..6 {
                let step = if column < 2 { 1e-6 } else { 1e-4 * unknowns[column].abs().max(1.0) };
                let mut moved = unknowns;
                moved[column] += step;
                let up = self.missing(&moved);
                moved[column] -= 2.0 * step;
                let down = self.missing(&moved);
                for row in 0..6 {
                    rows[row][column] = (up[row] - down[row]) / (2.0 * step);
                }
            }
            let change = crate::config::solve(rows)?;
            // At most 0.3 rad or a fifth of the speed per iteration: far from the solution the linearisation
            // is poor.
            let share = (0..6).fold(1.0f64, |share, i| {
                let most = if i < 2 { 0.3 } else { 0.2 * unknowns[i].abs() };
                share.min(most / change[i].abs().max(1e-12))
            });
            for (unknown, change) in unknowns.iter_mut().zip(change) {
                *unknown -= share * change;
            }
            if off.iter().all(|value| value.abs() < 1e-10) {
                let upright = libm::hypot(unknowns[0], unknowns[1]) < core::f64::consts::FRAC_PI_2;
                return (upright && unknowns[2..].iter().all(|&speed| speed > 0.0)).then_some(unknowns);
            }
        }
        None
    }
}
