//! Response of the demanded wrench to the estimated motion: all loops of the controller, each on its own
//! clock.

use aplomb::control::{attitude, rate};
use aplomb::flight;
use aplomb_craft::glam::{DMat3, DVec3};

use super::actuators::ModelThrust;
use super::body::MOTION;
use super::matrix::{C64, Matrix, ZERO, product, sum, zeros};
use super::trim::{Trim, attitude_from_down};
use super::wind::Wind;
use super::{Break, Clock, Mode};

/// The controller about a steady flight.
#[derive(Clone, Debug)]
pub(super) struct Control {
    config: flight::Config,
    mode: Mode,
    attitude: DMat3,
    /// Rotation of the attitude set-point in body axes, per change of the acceleration set-point.
    rotation_per_acceleration: DMat3,
    wind: Option<Wind>,
    /// Demanded thrust in N, and cosine of the tilt.
    thrust_n: f64,
    cos_tilt: f64,
    /// Speed of each rotor (rad/s): centre of the notches.
    speed_rad_s: [f64; 4],
}

/// Frequency responses of the controller: of each stage to the motion and to the previous stage.
#[derive(Clone, Debug)]
pub(super) struct Responses {
    velocity_by_motion: Matrix<3, MOTION>,
    acceleration_by_motion: Matrix<3, MOTION>,
    acceleration_by_velocity: [C64; 3],
    rate_by_motion: Matrix<3, MOTION>,
    rate_by_acceleration: Matrix<3, 3>,
    wrench_by_motion: Matrix<4, MOTION>,
    wrench_by_rate: Matrix<4, 3>,
    wrench_by_acceleration: Matrix<4, 3>,
}

/// Step of the finite differences of the attitude set-point, as a share of the acceleration.
const STEP: f64 = 1e-5;

impl Control {
    pub(super) fn new(config: &flight::Config, trim: &Trim, mode: Mode) -> Self {
        let down = trim.attitude.z_axis;
        let cos_tilt = down.z;
        // Demanded thrust in this flight, by the thrust curve of the controller.
        let thrust_n: f64 =
            trim.command.iter().map(|&command| ModelThrust::at(config, command, trim).thrust_n).sum();
        let up = thrust_n * cos_tilt / f64::from(config.thrust.mass_kg);
        let down_m_s2 = down * (up / cos_tilt);
        let rotation_per_acceleration = if mode == Mode::Tilt {
            DMat3::ZERO
        } else {
            // The down axis of the set-point is along gravity minus acceleration.
            let rotation = |axis: DVec3| {
                let half = |side: f64| attitude_from_down(down_m_s2 - axis * (side * STEP * up), DVec3::X);
                rotation_between(half(-1.0), half(1.0)) / (2.0 * STEP * up)
            };
            DMat3::from_cols(rotation(DVec3::X), rotation(DVec3::Y), rotation(DVec3::Z))
        };
        Self {
            config: *config,
            mode,
            attitude: trim.attitude,
            rotation_per_acceleration,
            wind: if mode == Mode::Tilt { None } else { Wind::new(config, trim) },
            thrust_n,
            cos_tilt,
            speed_rad_s: trim.speed_rad_s,
        }
    }

    pub(super) fn at(&self, tick: &Clock) -> Responses {
        let mut responses = Responses {
            velocity_by_motion: zeros(),
            acceleration_by_motion: zeros(),
            acceleration_by_velocity: [ZERO; 3],
            rate_by_motion: zeros(),
            rate_by_acceleration: zeros(),
            wrench_by_motion: zeros(),
            wrench_by_rate: zeros(),
            wrench_by_acceleration: zeros(),
        };
        self.outer_loops(tick, &mut responses);
        self.attitude_loop(tick, &mut responses);
        self.rate_loop(tick, &mut responses);
        responses
    }

    /// Position and velocity to acceleration, on the slow clock.
    fn outer_loops(&self, tick: &Clock, out: &mut Responses) {
        let slow = tick.every(usize::from(self.config.velocity_divider));
        // The integral acts from the next step on.
        let pi =
            |gain: f32, time_s: f32| f64::from(gain) * (1.0 + slow.delay * slow.summed() / f64::from(time_s));
        let (velocity, vertical) = (&self.config.velocity, &self.config.vertical);
        let horizontal = pi(velocity.crossover_rad_s, velocity.integral_time_s);
        let climb = pi(vertical.climb_crossover_rad_s, vertical.climb_integral_time_s);
        for axis in 0..3 {
            let (controller, position_gain) = match (axis, self.mode) {
                (2, _) => (climb, f64::from(vertical.height_crossover_rad_s)),
                (_, Mode::Position) => (horizontal, f64::from(self.config.position.crossover_rad_s)),
                (_, Mode::Velocity) => (horizontal, 0.0),
                (_, Mode::Tilt) => (ZERO, 0.0),
            };
            // The deceleration of the velocity ramp is fed forward.
            let forward = if axis == 2 { 0.0 } else { position_gain };
            out.velocity_by_motion[axis][9 + axis] = C64::new(-position_gain, 0.0);
            out.acceleration_by_velocity[axis] = controller;
            out.acceleration_by_motion[axis][9 + axis] = -controller * position_gain;
            out.acceleration_by_motion[axis][6 + axis] = -controller - forward;
        }
        if let Some(wind) = &self.wind {
            out.acceleration_by_motion = sum(&out.acceleration_by_motion, &wind.at(tick, &slow));
        }
    }

    /// Attitude to rate set-point, and acceleration through the reference model to rate set-point and thrust,
    /// on the clock of the attitude controller, held between its steps.
    fn attitude_loop(&self, tick: &Clock, out: &mut Responses) {
        let every = usize::from(self.config.attitude_divider);
        let clock = tick.every(every);
        let hold = tick.held(every);
        let held = clock.held(usize::from(self.config.velocity_divider / self.config.attitude_divider));
        let config = &self.config.attitude;
        let parts = [&config.tilt, &config.tilt, &config.heading];
        for (axis, part) in parts.into_iter().enumerate() {
            let gain = f64::from(part.crossover_rad_s);
            out.rate_by_motion[axis][3 + axis] = -gain * hold;
            let reference = Reference::new(config, part, &clock);
            let axes = self.rate_axis(axis);
            let derivative = f64::from(axes.crossover_rad_s * axes.derivative_time_s);
            let rate = hold * (reference.rate + gain * reference.angle)
                + tick.ramped(every) * reference.acceleration;
            let forward = hold * (reference.feed_forward + derivative * reference.acceleration);
            for from in 0..3 {
                let rotation = held * self.rotation_per_acceleration.col(from)[axis];
                out.rate_by_acceleration[axis][from] = rate * rotation;
                let torque = self.torque_per_acceleration(tick, axis);
                (0..3).for_each(|i| out.wrench_by_acceleration[i][from] += torque[i] * forward * rotation);
            }
        }
        // Thrust = m up/cos(tilt).
        let per_up = f64::from(self.config.thrust.mass_kg) / self.cos_tilt;
        out.wrench_by_acceleration[3][2] = -per_up * hold * held;
        for axis in 0..3 {
            let unit = DVec3::AXES[axis];
            let cosine = (self.attitude * unit.cross(DVec3::Z)).z;
            out.wrench_by_motion[3][3 + axis] = -self.thrust_n / self.cos_tilt * cosine * hold;
        }
    }

    /// Rate and its set-point to torque, on each tick.
    fn rate_loop(&self, tick: &Clock, out: &mut Responses) {
        let low_pass = low_pass(f64::from(self.config.gyro_cutoff_hz), tick);
        let gyro = self
            .speed_rad_s
            .iter()
            .fold(low_pass, |gyro, &speed| gyro * notch(&self.config.notch, speed, tick));
        let ratio = f64::from(self.config.rate.derivative_filter_ratio);
        for axis in 0..3 {
            let config = self.rate_axis(axis);
            let gain = f64::from(config.crossover_rad_s);
            let integral = tick.delay * tick.summed() / f64::from(config.integral_time_s);
            let (time, h) = (f64::from(config.derivative_time_s), tick.tick_s);
            let scale = time + ratio * h;
            let derivative = time * ratio / scale * (1.0 - tick.delay) / (1.0 - time / scale * tick.delay);
            let torque = self.torque_per_acceleration(tick, axis);
            for (i, torque) in torque.into_iter().enumerate() {
                out.wrench_by_rate[i][axis] = torque * gain * (1.0 + integral);
                out.wrench_by_motion[i][axis] -= torque * gain * (1.0 + integral + derivative) * gyro;
            }
        }
    }

    fn rate_axis(&self, axis: usize) -> &rate::Axis {
        let config = &self.config.rate;
        [&config.roll, &config.pitch, &config.yaw][axis]
    }

    /// Torques per angular acceleration about one axis: inertia of the controller's model, and the lag of the
    /// yaw torque.
    fn torque_per_acceleration(&self, tick: &Clock, axis: usize) -> [C64; 3] {
        let inertia = &self.config.rate.inertia;
        let (xy, xz, yz) =
            (-inertia.forward_right_kg_m2, -inertia.forward_down_kg_m2, -inertia.right_down_kg_m2);
        let column =
            [[inertia.roll_kg_m2, xy, xz], [xy, inertia.pitch_kg_m2, yz], [xz, yz, inertia.yaw_kg_m2]][axis];
        let lead_s = f64::from(self.config.rate.reaction_time_constant_s);
        let yaw = if lead_s > 0.0 {
            let share = -libm::expm1(-tick.tick_s / lead_s);
            share / (1.0 - (1.0 - share) * tick.delay)
        } else {
            C64::new(1.0, 0.0)
        };
        [f64::from(column[0]).into(), f64::from(column[1]).into(), f64::from(column[2]) * yaw]
    }
}

impl Responses {
    /// Motion to wrench with all loops closed, with the sign of a loop transfer function (negative feedback).
    pub(super) fn wrench(&self) -> Matrix<4, MOTION> {
        let rate =
            sum(&self.rate_by_motion, &product(&self.rate_by_acceleration, &self.acceleration_by_motion));
        let inner = sum(&self.wrench_by_motion, &product(&self.wrench_by_rate, &rate));
        let outer = product(&self.wrench_by_acceleration, &self.acceleration_by_motion);
        sum(&inner, &outer).map(|row| row.map(|x| -x))
    }

    /// At a break: motion to the signal (negative feedback), and the signal to the wrench.
    pub(super) fn tap(&self, broken: Break) -> ([C64; MOTION], [C64; 4]) {
        let back = |row: [C64; MOTION]| row.map(|x| -x);
        let by_acceleration =
            sum(&self.wrench_by_acceleration, &product(&self.wrench_by_rate, &self.rate_by_acceleration));
        let demand = |axis: usize| {
            let mut column = [ZERO; 4];
            column[axis] = C64::new(1.0, 0.0);
            (self.wrench()[axis], column)
        };
        let rate = |axis: usize| {
            let row =
                sum(&self.rate_by_motion, &product(&self.rate_by_acceleration, &self.acceleration_by_motion));
            (back(row[axis]), self.wrench_by_rate.map(|row| row[axis]))
        };
        let acceleration =
            |axis: usize| (back(self.acceleration_by_motion[axis]), by_acceleration.map(|row| row[axis]));
        let velocity = |axis: usize| {
            let column = by_acceleration.map(|row| row[axis] * self.acceleration_by_velocity[axis]);
            (back(self.velocity_by_motion[axis]), column)
        };
        match broken {
            Break::RollTorque => demand(0),
            Break::PitchTorque => demand(1),
            Break::YawTorque => demand(2),
            Break::Thrust => demand(3),
            Break::RollRate => rate(0),
            Break::PitchRate => rate(1),
            Break::YawRate => rate(2),
            Break::NorthAcceleration => acceleration(0),
            Break::EastAcceleration => acceleration(1),
            Break::NorthVelocity => velocity(0),
            Break::EastVelocity => velocity(1),
            Break::Climb => velocity(2),
        }
    }
}

/// Reference model of the attitude loop: angle before the step; rate, acceleration and feed-forward after it;
/// per rotation of the attitude set-point.
struct Reference {
    angle: C64,
    rate: C64,
    acceleration: C64,
    feed_forward: C64,
}

impl Reference {
    /// a' = j, w' = a, q' = w, semi-implicit, `j = k (r (setpoint - q) - w) - d a`, `feed_forward = a + lag
    /// j`.
    fn new(config: &attitude::Config, part: &attitude::Part, clock: &Clock) -> Self {
        let omega = f64::from(part.reference_bandwidth_rad_s);
        let sum_of_poles = 1.0 + 2.0 * f64::from(config.reference_damping);
        let (per_error, stiffness, damping) =
            (omega / sum_of_poles, omega * omega * sum_of_poles, omega * sum_of_poles);
        let lag_s = f64::from(config.rotor_time_constant_s).max(clock.tick_s);
        let (old, sum) = (clock.delay, clock.summed());
        let jerk_per_acceleration = 1.0 / sum;
        let acceleration = stiffness * per_error
            / (jerk_per_acceleration + old * (damping + stiffness * sum * (1.0 + per_error * sum)));
        let jerk = acceleration * jerk_per_acceleration;
        Self {
            angle: old * acceleration * sum * sum,
            rate: acceleration * sum,
            acceleration,
            feed_forward: old * acceleration + lag_s * jerk,
        }
    }
}

/// Second-order low-pass of the gyro: Butterworth by the bilinear transform, s = (1 - z^-1)/(1 + z^-1)/tan(pi
/// f T).
fn low_pass(cutoff_hz: f64, tick: &Clock) -> C64 {
    let warped =
        (1.0 - tick.delay) / (1.0 + tick.delay) / libm::tan(std::f64::consts::PI * cutoff_hz * tick.tick_s);
    1.0 / (1.0 + std::f64::consts::SQRT_2 * warped + warped * warped)
}

/// Notch of a rotor at a speed in rad/s: with g = 1/(1 + tan(pi B T)) and c = cos(w T),
/// g (1 - 2 c z^-1 + z^-2)/(1 - 2 g c z^-1 + (2 g - 1) z^-2). 1 without notches.
fn notch(config: &flight::NotchConfig, speed_rad_s: f64, tick: &Clock) -> C64 {
    if config.bandwidth_hz == 0.0 {
        return C64::new(1.0, 0.0);
    }
    let two_pi = std::f64::consts::TAU;
    let centre_hz = (speed_rad_s * f64::from(config.harmonic) / two_pi)
        .clamp(f64::from(config.lowest_hz), f64::from(config.highest_hz));
    let g = 1.0 / (1.0 + libm::tan(0.5 * two_pi * f64::from(config.bandwidth_hz) * tick.tick_s));
    let (c, z) = (libm::cos(two_pi * centre_hz * tick.tick_s), tick.delay);
    g * (1.0 - 2.0 * c * z + z * z) / (1.0 - 2.0 * g * c * z + (2.0 * g - 1.0) * z * z)
}

/// The small rotation from `a` to `b` in the axes of `a`.
fn rotation_between(a: DMat3, b: DMat3) -> DVec3 {
    let r = a.transpose() * b;
    0.5 * DVec3::new(r.y_axis.z - r.z_axis.y, r.z_axis.x - r.x_axis.z, r.x_axis.y - r.y_axis.x)
}
