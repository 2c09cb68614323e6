//! Response of the estimated motion to the wrench.

use aplomb_craft::glam::{DMat3, DVec3};
use aplomb_craft::{Config, gravity};

use super::Clock;
use super::matrix::{C64, Matrix, complex, diagonal, inverse, product, scaled, sum, zeros};
use super::trim::Trim;

/// Rigid body with drag, and the inertial sensor.
///
/// About steady flight without rotation, with body rate w, small rotation p in body axes, velocity v and
/// position x in world axes:
///
/// ```text
/// J w' = tau - k w - w x h          p' = w          x' = v
/// m v' = R (F + p x F0)             F = -T e_z + D(u),   u = R'v - p x u0
/// ```
#[derive(Clone, Debug)]
pub(super) struct Body {
    inertia: DMat3,
    rotational_damping_nm_s: DMat3,
    attitude: DMat3,
    mass_kg: f64,
    /// Body force (N) and velocity through the air (m/s) in body axes.
    force_n: DVec3,
    airspeed_m_s: DVec3,
    /// Change of drag with that velocity, and with thrust.
    drag_n_s_m: DMat3,
    drag_per_thrust: DVec3,
    sensor_lag_s: f64,
    sensor_delay_ticks: usize,
}

/// Number of motion signals: rate, rotation, velocity, position, three each.
pub(super) const MOTION: usize = 12;

/// Linear coefficient per axis (N s/m) without its part that grows with thrust, and that part per newton
/// (s/m).
fn linear_drag(craft: &Config, gravity_m_s2: f64) -> (DVec3, DVec3) {
    let (rotor, body) =
        (DVec3::from_array(craft.drag.rotor_drag_per_s), DVec3::from_array(craft.drag.body_drag_n_s_m));
    if craft.drag.scaled_with_thrust && gravity_m_s2 > 0.0 {
        (body, rotor / gravity_m_s2)
    } else {
        (body + craft.mass_kg * rotor, DVec3::ZERO)
    }
}

/// Drag in body axes (N) at a velocity through the air.
pub(super) fn drag_n(
    craft: &Config,
    gravity_m_s2: f64,
    air_m_s: DVec3,
    density: f64,
    thrust_n: f64,
) -> DVec3 {
    let (constant, per_thrust) = linear_drag(craft, gravity_m_s2);
    let quadratic = 0.5 * density * DVec3::from_array(craft.drag.drag_area_m2);
    -(constant + per_thrust * thrust_n + quadratic * air_m_s.length()) * air_m_s
}

/// `v x`.
pub(super) fn cross(v: DVec3) -> DMat3 {
    DMat3::from_cols(v.cross(DVec3::X), v.cross(DVec3::Y), v.cross(DVec3::Z))
}

impl Body {
    pub(super) fn new(craft: &Config, trim: &Trim, tick_s: f64) -> Self {
        let airspeed_m_s = trim.attitude.transpose() * trim.velocity_m_s;
        let thrust_n = trim.total_n();
        let (constant, per_thrust) = linear_drag(craft, gravity::STANDARD_M_S2);
        let quadratic = 0.5 * trim.density_kg_m3 * DVec3::from_array(craft.drag.drag_area_m2);
        let speed = airspeed_m_s.length();
        // d(|u| u)/du = |u| 1 + u u'/|u|.
        let along = if speed > 0.0 { airspeed_m_s / speed } else { DVec3::ZERO };
        let outer = DMat3::from_cols(along * airspeed_m_s.x, along * airspeed_m_s.y, along * airspeed_m_s.z);
        let linear = DMat3::from_diagonal(constant + per_thrust * thrust_n + quadratic * speed);
        let drag_n_s_m = -(linear + DMat3::from_diagonal(quadratic) * outer);
        let drag = drag_n(craft, gravity::STANDARD_M_S2, airspeed_m_s, trim.density_kg_m3, thrust_n);
        let (heave_damping, rotational) = inflow(craft, trim);
        let imu = craft.sensors.imu;
        Self {
            inertia: DMat3::from_cols_array_2d(&craft.inertia_kg_m2),
            rotational_damping_nm_s: DMat3::from_diagonal(
                DVec3::from_array(craft.drag.rotational_damping_nm_s) + rotational,
            ) + gyroscopic(craft, trim),
            attitude: trim.attitude,
            mass_kg: craft.mass_kg,
            force_n: drag - DVec3::new(0.0, 0.0, thrust_n),
            airspeed_m_s,
            drag_n_s_m: drag_n_s_m
                + DMat3::from_cols(
                    DVec3::Z * heave_damping.x,
                    DVec3::Z * heave_damping.y,
                    DVec3::Z * heave_damping.z,
                ),
            drag_per_thrust: -per_thrust * airspeed_m_s,
            sensor_lag_s: imu.map_or(0.0, |imu| 1.0 / (std::f64::consts::TAU * imu.low_pass_hz)),
            sensor_delay_ticks: imu.map_or(0, |imu| libm::round(imu.delay_s / tick_s) as usize),
        }
    }

    /// Wrench (three torques in N m, thrust in N) to estimated motion.
    pub(super) fn motion(&self, at: &Clock) -> Matrix<MOTION, 4> {
        let s = at.s;
        let mut torque: Matrix<3, 4> = zeros();
        (0..3).for_each(|i| torque[i][i] = C64::new(1.0, 0.0));
        let rotational_dynamics =
            sum(&scaled(&complex(self.inertia), s), &complex(self.rotational_damping_nm_s));
        let rate = product(&inverse(rotational_dynamics), &torque);
        let rotation = scaled(&rate, 1.0 / s);
        // m s v = R (T (drag per thrust - e_z) + D (R'v - p x u0) + p x F0)
        let along = complex(self.attitude * self.drag_n_s_m * self.attitude.transpose());
        let mass = diagonal([s * self.mass_kg; 3]);
        let translational_dynamics = sum(&mass, &scaled(&along, C64::new(-1.0, 0.0)));
        let by_rotation = self.attitude * (self.drag_n_s_m * cross(self.airspeed_m_s) - cross(self.force_n));
        let mut push = product(&complex(by_rotation), &rotation);
        let lift = self.attitude * (self.drag_per_thrust - DVec3::Z);
        (0..3).for_each(|i| push[i][3] += lift[i]);
        let velocity = product(&inverse(translational_dynamics), &push);
        self.sensed(at, &rate, &velocity)
    }

    /// Gyro and accelerometer signals, integrated to attitude, velocity and position as in the estimators.
    fn sensed(&self, at: &Clock, rate: &Matrix<3, 4>, velocity: &Matrix<3, 4>) -> Matrix<MOTION, 4> {
        let sensor = at.lag(self.sensor_lag_s) * at.ticks(self.sensor_delay_ticks);
        let rate = scaled(rate, sensor);
        let rotation = scaled(&rate, at.summed());
        let velocity = scaled(velocity, sensor * at.s * at.summed());
        // Trapezoidal rule.
        let position = scaled(&velocity, 0.5 * (1.0 + at.delay) * at.summed());
        let mut motion = zeros();
        for i in 0..3 {
            (motion[i], motion[3 + i], motion[6 + i], motion[9 + i]) =
                (rate[i], rotation[i], velocity[i], position[i]);
        }
        motion
    }
}

/// Derivative of the down force by the velocity through the air (N s/m), and rotational damping about each
/// axis (N m s), for symmetric rotors.
fn inflow(craft: &Config, trim: &Trim) -> (DVec3, DVec3) {
    let air = trim.attitude.transpose() * trim.velocity_m_s;
    let (mut heave_damping, mut rotational) = (DVec3::ZERO, DVec3::ZERO);
    for (arm, speed) in craft.arms.into_array().iter().zip(trim.speed_rad_s) {
        let down = |axis: DVec3| {
            let force = |off: f64| {
                let air = air + axis * off;
                let edgewise = libm::hypot(air.x, air.y);
                -craft.rotor.thrust_in_flow_n(-air.z, edgewise, speed, trim.density_ratio)
            };
            (force(0.1) - force(-0.1)) / 0.2
        };
        let change = DVec3::new(down(DVec3::X), down(DVec3::Y), down(DVec3::Z));
        heave_damping += change;
        rotational -= DVec3::new(arm.y_m * arm.y_m, arm.x_m * arm.x_m, 0.0) * change.z;
    }
    (heave_damping, rotational)
}

/// Gyroscopic torque of the rotors on a rotating body: w x h, h along body z.
fn gyroscopic(craft: &Config, trim: &Trim) -> DMat3 {
    let arms = craft.arms.into_array();
    let momentum: f64 = (0..4)
        .map(|i| -f64::from(arms[i].spin.reaction()) * craft.rotor.inertia_kg_m2 * trim.speed_rad_s[i])
        .sum();
    // w x h = -h x w.
    -cross(DVec3::new(0.0, 0.0, momentum))
}
