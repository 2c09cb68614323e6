//! The four rotors together: what flows through them, how fast they turn, and what they do to the body.

use crate::body::State;
use crate::config::Config;
use crate::fault::{Condition, SOUND};
use crate::ground_effect::{GroundEffect, Hubs};
use crate::motor::{Course, Motor};
use crate::propeller::map::Local;
use crate::rotor::{Backwards, Propeller};
use crate::rotors::Rotors;
use glam::{DQuat, DVec3};

/// The rotors' share in force and torque at one instant.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Load {
    pub(crate) thrust_n: f64,
    pub(crate) torque_nm: DVec3,
    pub(crate) momentum: f64,
}

/// How thrust, roll and pitch torque change as the craft moves along its axis (down, m/s) and rolls and pitches (rad/s), from
/// where the rotors' flow was last looked up: a symmetric matrix, and that place.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Inflow {
    from: DVec3,
    down: DVec3,
    roll: DVec3,
    pitch: DVec3,
}

impl Inflow {
    /// Change of (thrust, roll torque, pitch torque) at the speed `down_m_s` through the air and the body rate `rate_rad_s`.
    #[inline]
    pub(crate) fn change(&self, down_m_s: f64, rate_rad_s: DVec3) -> DVec3 {
        let off = DVec3::new(down_m_s, rate_rad_s.x, rate_rad_s.y) - self.from;
        self.down * off.x + self.roll * off.y + self.pitch * off.z
    }
}

/// The air that the rotors turn in.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Medium {
    /// Density over that at sea level.
    pub(crate) density_ratio: f64,
    /// Kinematic viscosity at sea level over that at hand.
    pub(crate) reynolds_ratio: f64,
}

/// Motors and propellers.
#[derive(Clone, Debug)]
pub(crate) struct Propulsion {
    motor: Motor,
    propeller: Propeller,
    thrust_n_s2: f64,
    torque_nm_s2: f64,
    pub(crate) arms: [DVec3; 4],
    spin: [f64; 4],
    speeds: [f64; 4],
    locals: [Local; 4],
    inflow: Inflow,
    ground_effect: Option<GroundEffect>,
    tick_s: f64,
    /// Only where a rotor has a fault.
    damage: Option<Box<Damage>>,
}

/// Rotors that are not all sound.
#[derive(Clone, Debug)]
struct Damage {
    conditions: [Condition; 4],
    /// Which ones turn the wrong way now.
    backwards: [bool; 4],
    propeller: Backwards,
}

/// One tick of the rotors: loads in its middle and at its end, and where it ends.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Turn {
    pub(crate) middle: Load,
    pub(crate) end: Load,
    courses: [Course; 4],
}

impl Turn {
    /// How fast the rotors' speeds change at the start (rad/s2).
    #[inline]
    pub(crate) fn start_rad_s2(&self) -> [f64; 4] {
        self.courses.map(|course| course.start_rad_s2)
    }
}

impl Propulsion {
    pub(crate) fn new(config: &Config, speeds: [f64; 4], tick_s: f64) -> Self {
        Propulsion {
            motor: Motor::new(&config.rotor, tick_s),
            propeller: Propeller::new(&config.rotor),
            thrust_n_s2: config.rotor.thrust_n_s2,
            torque_nm_s2: config.rotor.torque_nm_s2,
            arms: config.arms.to_array().map(|arm| DVec3::new(arm.x_m, arm.y_m, arm.z_m)),
            spin: config.arms.to_array().map(|arm| arm.spin.sign()),
            speeds,
            locals: [Local::default(); 4],
            inflow: Inflow::default(),
            ground_effect: config.ground_effect.as_ref().map(GroundEffect::new),
            tick_s,
            damage: None,
        }
    }

    #[inline]
    pub(crate) fn speeds(&self) -> &[f64; 4] {
        &self.speeds
    }

    pub(crate) fn set_speeds(&mut self, speeds: [f64; 4]) {
        self.speeds = speeds;
    }

    #[inline]
    pub(crate) fn inflow(&self) -> &Inflow {
        &self.inflow
    }

    pub(crate) fn thrust_n(&self, density_ratio: f64) -> [f64; 4] {
        self.locals.map(|local| self.thrust_n_s2 * density_ratio * local.thrust)
    }

    pub(crate) fn torque_nm(&self, density_ratio: f64) -> [f64; 4] {
        self.locals.map(|local| self.torque_nm_s2 * density_ratio * local.torque)
    }

    /// kT in the present air (N s2).
    #[inline]
    pub(crate) fn thrust_per_square(&self, density_ratio: f64) -> f64 {
        self.thrust_n_s2 * density_ratio
    }

    /// Heights of the hubs of a craft whose centre of mass is `clearance_m` above the ground, where that counts.
    #[inline]
    pub(crate) fn hubs(&self, clearance_m: f64, attitude: DQuat) -> Hubs {
        self.ground_effect.and_then(|effect| effect.hubs(clearance_m, attitude, &self.arms))
    }

    /// Looks the rotors' flow up for a craft that moves with `air` (body axes, m/s) through the air, with the `hubs` near the
    /// ground or not.
    #[inline]
    pub(crate) fn look(&mut self, air: DVec3, rate: DVec3, medium: &Medium, hubs: &Hubs) {
        let thrust = self.thrust_n_s2 * medium.density_ratio;
        let (mut sum, mut x, mut y, mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        let edgewise = air.x * air.x + air.y * air.y;
        for i in 0..4 {
            let arm = self.arms[i];
            // Up through the hub's plane: the hub sinks by the craft's own motion and by its turning.
            let axial = -(air.z + rate.x * arm.y - rate.y * arm.x);
            let sound = self.propeller.local(axial, edgewise, self.speeds[i], medium.reynolds_ratio);
            let mut local = match &self.damage {
                None => sound,
                Some(damage) if !damage.backwards[i] => damage.conditions[i].of(sound),
                Some(damage) => {
                    let turned =
                        damage.propeller.local(axial, edgewise, self.speeds[i], medium.reynolds_ratio);
                    damage.conditions[i].of(turned)
                }
            };
            if let (Some(effect), Some(heights)) = (&self.ground_effect, hubs) {
                let free_n = thrust * local.thrust;
                local.lift(effect.ratio(heights[i], edgewise, free_n, medium.density_ratio));
            }
            let gain = thrust * local.thrust_per_axial;
            let (gain_x, gain_y) = (gain * arm.x, gain * arm.y);
            sum += gain;
            x += gain_x;
            y += gain_y;
            xx += gain_x * arm.x;
            xy += gain_x * arm.y;
            yy += gain_y * arm.y;
            self.locals[i] = local;
        }
        // Thrust by (down, p, q): -(1, y, -x) of each gain; roll torque -y, pitch torque x of that.
        self.inflow = Inflow {
            from: DVec3::new(air.z, rate.x, rate.y),
            down: DVec3::new(-sum, y, -x),
            roll: DVec3::new(-y, yy, -xy),
            pitch: DVec3::new(x, -xy, xx),
        };
    }

    /// Loads now, with every rotor changing its speed as `acceleration` says (rad/s2).
    #[inline]
    pub(crate) fn load(&self, acceleration: &[f64; 4], density_ratio: f64) -> Load {
        self.load_at(&[0.0; 4], acceleration, density_ratio)
    }

    /// What the rotors' own acceleration (rad/s2) does to the body about its z (N m).
    #[inline]
    pub(crate) fn reaction_nm(&self, acceleration: &[f64; 4]) -> f64 {
        let [a, b, c, d] = acceleration;
        let [p, q, r, s] = self.spin;
        self.motor.inertia_kg_m2() * ((p * a + q * b) + (r * c + s * d))
    }

    #[inline]
    fn load_at(&self, faster: &[f64; 4], acceleration: &[f64; 4], density_ratio: f64) -> Load {
        let (kt, kq) = (self.thrust_n_s2 * density_ratio, self.torque_nm_s2 * density_ratio);
        let inertia = self.motor.inertia_kg_m2();
        let mut load = Load::default();
        for i in 0..4 {
            let thrust = kt * self.locals[i].thrust_at(faster[i]);
            load.thrust_n += thrust;
            load.torque_nm.x -= self.arms[i].y * thrust;
            load.torque_nm.y += self.arms[i].x * thrust;
            let torque = kq * self.locals[i].torque_at(faster[i]);
            load.torque_nm.z += self.spin[i] * (torque + inertia * acceleration[i]);
            // A counter-clockwise rotor (s = +1) turns against body z.
            load.momentum -= self.spin[i] * inertia * (self.speeds[i] + faster[i]);
        }
        load
    }

    /// What the rotors do over a tick under these voltages.
    #[inline]
    pub(crate) fn turn(&self, volts: &[f64; 4], density_ratio: f64) -> Turn {
        let kq = self.torque_nm_s2 * density_ratio;
        let mut courses: [Course; 4] = core::array::from_fn(|i| {
            let local = &self.locals[i];
            self.motor.course(volts[i], self.speeds[i], kq * local.torque, kq * local.torque_per_speed)
        });
        if let Some(damage) = &self.damage {
            for i in (0..4).filter(|&i| damage.halts(i)) {
                courses[i] = Course::halt(self.speeds[i], self.tick_s);
            }
        }
        let load = |faster: [f64; 4]| {
            let acceleration = core::array::from_fn(|i| courses[i].acceleration(faster[i]));
            self.load_at(&faster, &acceleration, density_ratio)
        };
        let (middle, end) =
            (load(courses.map(|course| course.middle)), load(courses.map(|course| course.end)));
        Turn { middle, end, courses }
    }

    /// From now on the rotors are in these conditions.
    pub(crate) fn damage(&mut self, conditions: Rotors<Condition>) {
        let damage = self.damage.get_or_insert_with(|| {
            let propeller = self.propeller.backwards();
            Box::new(Damage { conditions: [SOUND; 4], backwards: [false; 4], propeller })
        });
        damage.conditions = conditions.to_array();
    }

    /// Takes the speeds at the end of the tick; returns how fast they change there (rad/s2).
    #[inline]
    pub(crate) fn finish(&mut self, turn: &Turn) -> [f64; 4] {
        for i in 0..4 {
            self.speeds[i] += turn.courses[i].end;
        }
        if let Some(damage) = &mut self.damage {
            for i in 0..4 {
                if damage.conditions[i].reversed != damage.backwards[i] {
                    damage.backwards[i] = !damage.backwards[i];
                    self.spin[i] = -self.spin[i];
                }
            }
        }
        turn.courses.map(|course| course.acceleration(course.end))
    }

    /// What the motors draw from a battery at `voltage_v` under these commands, and how that changes by the voltage
    /// (A, A/V).
    #[inline]
    pub(crate) fn draw(&self, commands: &[f64; 4], voltage_v: f64) -> (f64, f64) {
        let (mut drawn_a, mut per_volt) = (0.0, 0.0);
        for (command, speed) in commands.iter().zip(&self.speeds) {
            let (current, slope) = self.motor.draw(command * voltage_v, *speed);
            drawn_a += command * current;
            per_volt += command * command * slope;
        }
        (drawn_a, per_volt)
    }
}

impl Damage {
    /// Whether a rotor is held, or must stop before it turns the other way.
    fn halts(&self, i: usize) -> bool {
        self.conditions[i].seized || self.conditions[i].reversed != self.backwards[i]
    }
}

/// Velocity through the air in body axes.
#[inline]
pub(crate) fn air_in_body(state: &State, wind_m_s: DVec3) -> DVec3 {
    glam::DMat3::from_quat(state.attitude).transpose() * (state.velocity_m_s - wind_m_s)
}
