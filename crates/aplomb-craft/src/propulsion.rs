//! The four rotors: inflow, speeds, and load on the body.

use crate::config::Config;
use crate::fault::{Condition, HEALTHY};
use crate::ground_effect::{GroundEffect, Hubs};
use crate::lanes::{each, sum};
use crate::motor::{Motor, SpeedChange};
use crate::propeller::map::Local;
use crate::rotor::{Backwards, Propeller};
use crate::{ROTORS, Rotors};
use glam::{DMat3, DVec3};

/// Force and torque of the rotors at one instant.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Load {
    pub(crate) thrust_n: f64,
    pub(crate) torque_nm: DVec3,
    pub(crate) momentum: f64,
}

/// Derivatives of thrust, roll and pitch torque by the axial velocity of the craft (down, m/s) and its roll
/// and pitch rate (rad/s) around the last update of the inflow: a symmetric matrix, and that point.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Inflow {
    from: DVec3,
    down: DVec3,
    roll: DVec3,
    pitch: DVec3,
}

impl Inflow {
    /// `load` corrected for the velocity `down_m_s` through the air and the body rate `rate_rad_s`.
    #[inline(always)]
    pub(crate) fn correct(&self, load: &Load, down_m_s: f64, rate_rad_s: DVec3) -> Load {
        let off = DVec3::new(down_m_s, rate_rad_s.x, rate_rad_s.y) - self.from;
        let change = self.down * off.x + self.roll * off.y + self.pitch * off.z;
        Load {
            thrust_n: load.thrust_n + change.x,
            torque_nm: load.torque_nm + DVec3::new(change.y, change.z, 0.0),
            momentum: load.momentum,
        }
    }
}

/// Air at the rotors.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Medium {
    /// Density over that at sea level.
    pub(crate) density_ratio: f64,
    /// Kinematic viscosity at sea level over the actual one.
    pub(crate) reynolds_ratio: f64,
}

/// Motors and propellers.
#[derive(Clone, Debug)]
pub(crate) struct Propulsion {
    motor: Motor,
    propeller: Propeller,
    thrust_n_s2: f64,
    torque_nm_s2: f64,
    /// Positions of the rotors: x, y, z.
    arms: [[f64; ROTORS]; 3],
    spin: [f64; ROTORS],
    speeds: [f64; ROTORS],
    local: Local<4>,
    inflow: Inflow,
    ground_effect: Option<GroundEffect>,
    tick_s: f64,
    per_tick_s: f64,
    /// Only with a rotor fault.
    damage: Option<Box<Damage>>,
}

/// Rotors with faults.
#[derive(Clone, Debug)]
struct Damage {
    conditions: [Condition; ROTORS],
    /// Rotors with reversed rotation.
    backwards: [bool; ROTORS],
    propeller: Backwards,
}

/// One tick of the rotors: the load in its middle, with the mean angular acceleration, and the speeds at its
/// end.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RotorStep {
    pub(crate) middle: Load,
    /// Reaction torque of the mean angular acceleration about body z (N m).
    pub(crate) reaction_nm: f64,
    speed_change: SpeedChange,
}

impl Propulsion {
    pub(crate) fn new(config: &Config, speeds: [f64; ROTORS], tick_s: f64) -> Self {
        let arms = config.arms.into_array();
        Propulsion {
            motor: Motor::new(&config.rotor, tick_s),
            propeller: Propeller::new(&config.rotor),
            thrust_n_s2: config.rotor.thrust_n_s2,
            torque_nm_s2: config.rotor.torque_nm_s2,
            arms: [arms.map(|arm| arm.x_m), arms.map(|arm| arm.y_m), arms.map(|arm| arm.z_m)],
            spin: arms.map(|arm| f64::from(arm.spin.reaction())),
            speeds,
            local: Local::REST,
            inflow: Inflow::default(),
            ground_effect: config.ground_effect.as_ref().map(GroundEffect::new),
            tick_s,
            per_tick_s: 1.0 / tick_s,
            damage: None,
        }
    }

    #[inline]
    pub(crate) fn speeds(&self) -> &[f64; ROTORS] {
        &self.speeds
    }

    pub(crate) fn set_speeds(&mut self, speeds: [f64; ROTORS]) {
        self.speeds = speeds;
    }

    #[inline]
    pub(crate) fn inflow(&self) -> &Inflow {
        &self.inflow
    }

    pub(crate) fn thrust_n(&self, density_ratio: f64) -> [f64; ROTORS] {
        self.local.thrust.map(|thrust| self.thrust_n_s2 * density_ratio * thrust)
    }

    pub(crate) fn torque_nm(&self, density_ratio: f64) -> [f64; ROTORS] {
        self.local.torque.map(|torque| self.torque_nm_s2 * density_ratio * torque)
    }

    /// Total thrust (N).
    #[inline]
    pub(crate) fn whole_thrust_n(&self, density_ratio: f64) -> f64 {
        self.thrust_n_s2 * density_ratio * sum(|i| self.local.thrust[i])
    }

    /// kT in the actual air (N s2).
    #[inline]
    pub(crate) fn thrust_per_square(&self, density_ratio: f64) -> f64 {
        self.thrust_n_s2 * density_ratio
    }

    /// Hub heights of a craft whose centre of mass is `clearance_m` above the ground, if ground effect
    /// applies.
    #[inline]
    pub(crate) fn hubs(&self, clearance_m: f64, rotation: &DMat3) -> Hubs {
        self.ground_effect.and_then(|effect| effect.hubs(clearance_m, rotation, &self.arms))
    }

    /// Updates the inflow for a velocity `air` through the air (body axes, m/s), with ground effect at
    /// `hubs`, if any.
    #[inline]
    pub(crate) fn update_inflow(&mut self, air: DVec3, rate: DVec3, medium: &Medium, hubs: &Hubs) {
        let [x, y, _] = &self.arms;
        let edgewise = air.x * air.x + air.y * air.y;
        // Upward velocity through the rotor plane, from translation and rotation of the craft.
        let axial = each(|i| rate.y * x[i] - rate.x * y[i] - air.z);
        let reynolds_ratio = medium.reynolds_ratio;
        self.local = self.propeller.local(axial, edgewise, self.speeds, reynolds_ratio);
        if let Some(damage) = &self.damage {
            damage.apply(&mut self.local, |propeller| {
                propeller.local(axial, edgewise, self.speeds, reynolds_ratio)
            });
        }
        let thrust = self.thrust_n_s2 * medium.density_ratio;
        if let (Some(effect), Some(heights)) = (&self.ground_effect, hubs) {
            for (i, &height_m) in heights.iter().enumerate() {
                let free_n = thrust * self.local.thrust[i];
                self.local.lift(i, effect.ratio(height_m, edgewise, free_n, medium.density_ratio));
            }
        }
        let gain = each(|i| thrust * self.local.thrust_per_axial[i]);
        let (gain_x, gain_y) = (each(|i| gain[i] * x[i]), each(|i| gain[i] * y[i]));
        let (down, along, across) = (sum(|i| gain[i]), sum(|i| gain_x[i]), sum(|i| gain_y[i]));
        let mixed = sum(|i| gain_x[i] * y[i]);
        // Thrust by (down, p, q): -(1, y, -x) of each gain; roll torque -y, pitch torque x of that.
        self.inflow = Inflow {
            from: DVec3::new(air.z, rate.x, rate.y),
            down: DVec3::new(-down, across, -along),
            roll: DVec3::new(-across, sum(|i| gain_y[i] * y[i]), -mixed),
            pitch: DVec3::new(along, -mixed, sum(|i| gain_x[i] * x[i])),
        };
    }

    /// Load at the angular acceleration `acceleration` (rad/s2) of the rotors.
    #[inline]
    pub(crate) fn load(&self, acceleration: &[f64; ROTORS], density_ratio: f64) -> Load {
        self.load_of(&self.local.thrust, &self.local.torque, &self.speeds, acceleration, density_ratio)
    }

    /// Reaction torque of the rotors' angular acceleration (rad/s2) about body z (N m).
    #[inline]
    pub(crate) fn reaction_nm(&self, acceleration: &[f64; ROTORS]) -> f64 {
        self.motor.inertia_kg_m2() * sum(|i| self.spin[i] * acceleration[i])
    }

    #[inline(always)]
    fn load_of(
        &self,
        thrust: &[f64; ROTORS],
        torque: &[f64; ROTORS],
        speeds: &[f64; ROTORS],
        acceleration: &[f64; ROTORS],
        density_ratio: f64,
    ) -> Load {
        let (kt, kq) = (self.thrust_n_s2 * density_ratio, self.torque_nm_s2 * density_ratio);
        let inertia = self.motor.inertia_kg_m2();
        let [x, y, _] = &self.arms;
        Load {
            thrust_n: kt * sum(|i| thrust[i]),
            torque_nm: DVec3::new(
                -kt * sum(|i| y[i] * thrust[i]),
                kt * sum(|i| x[i] * thrust[i]),
                sum(|i| self.spin[i] * (kq * torque[i] + inertia * acceleration[i])),
            ),
            // A counter-clockwise rotor (s = +1) has negative rate about body z.
            momentum: -inertia * sum(|i| self.spin[i] * speeds[i]),
        }
    }

    /// Computes one tick under the given voltages.
    #[inline]
    pub(crate) fn step(&self, volts: &[f64; ROTORS], density_ratio: f64) -> RotorStep {
        let (kq, local) = (self.torque_nm_s2 * density_ratio, &self.local);
        let mut speed_change = self.motor.speed_change(
            volts,
            &self.speeds,
            &each(|i| kq * local.torque[i]),
            &each(|i| kq * local.torque_per_speed[i]),
        );
        if let Some(damage) = &self.damage {
            for i in (0..ROTORS).filter(|&i| damage.halts(i)) {
                speed_change.halt(i, self.speeds[i], self.tick_s);
            }
        }
        let (faster, mean_rad_s2) = (&speed_change.middle, each(|i| speed_change.end[i] * self.per_tick_s));
        let middle = self.load_of(
            &local.thrust_at(faster),
            &local.torque_at(faster),
            &each(|i| self.speeds[i] + 0.5 * speed_change.end[i]),
            &mean_rad_s2,
            density_ratio,
        );
        RotorStep { middle, reaction_nm: self.reaction_nm(&mean_rad_s2), speed_change }
    }

    /// Sets the conditions of the rotors.
    pub(crate) fn damage(&mut self, conditions: Rotors<Condition>) {
        let damage = self.damage.get_or_insert_with(|| {
            let propeller = self.propeller.backwards();
            Box::new(Damage { conditions: [HEALTHY; ROTORS], backwards: [false; ROTORS], propeller })
        });
        damage.conditions = conditions.into_array();
    }

    /// Applies the speeds at the end of the tick; returns the angular acceleration there (rad/s2).
    #[inline]
    pub(crate) fn commit(&mut self, rotor_step: &RotorStep) -> [f64; ROTORS] {
        for i in 0..ROTORS {
            self.speeds[i] += rotor_step.speed_change.end[i];
        }
        if let Some(damage) = &mut self.damage {
            for i in 0..ROTORS {
                if damage.conditions[i].reversed != damage.backwards[i] {
                    damage.backwards[i] = !damage.backwards[i];
                    self.spin[i] = -self.spin[i];
                }
            }
        }
        rotor_step.speed_change.end_rad_s2
    }

    /// Current of the motors from a battery at `voltage_v` under the given commands, and its derivative by
    /// the voltage (A, A/V).
    #[inline]
    pub(crate) fn draw(&self, commands: &[f64; ROTORS], voltage_v: f64) -> (f64, f64) {
        let volts = each(|i| commands[i] * voltage_v);
        let [current, slope] = self.motor.draw(&volts, &self.speeds);
        let drawn_a = sum(|i| commands[i] * current[i]);
        (drawn_a, sum(|i| commands[i] * commands[i] * slope[i]))
    }
}

impl Damage {
    /// Applies the faults to the values of healthy propellers; `turned` gives those of reversed rotation.
    #[cold]
    fn apply(&self, local: &mut Local<4>, turned: impl Fn(&Backwards) -> Local<4>) {
        for i in 0..ROTORS {
            if self.backwards[i] {
                local.take(i, &turned(&self.propeller));
            }
            local.lift(i, self.conditions[i].effect);
            local.drag(i, self.conditions[i].effect);
        }
    }

    /// Whether a rotor is stopped by a fault, or must stop before it reverses.
    fn halts(&self, i: usize) -> bool {
        self.conditions[i].seized || self.conditions[i].reversed != self.backwards[i]
    }
}
