//! Camera on a three-axis gimbal; joints from the outside: yaw, roll, pitch.
//!
//! The camera is a rigid body with its centre of rotation at the intersection of three joints; the rings are
//! massless. R is the rotation from camera to base, `R = Rz(yaw) Rx(roll) Ry(pitch)`. The joint axes in
//! camera axes are the columns of
//!
//! ```text
//! A = [ (-sin p cos r, sin r, cos p cos r)   (cos p, 0, sin p)   (0, 1, 0) ]        (yaw, roll, pitch)
//! ```
//!
//! The joint rates are `A^-1 (w - R^T w_base)`. The rings are massless, so by virtual work the joint torques
//! t exert the torque T on the camera with `A^T T = t`:
//!
//! ```text
//! J dw/dt = T + m c x f - w x J w
//! ```
//!
//! c is the offset of the centre of mass from the intersection of the joints, f the specific force there.
//! Each t is the motor torque, limited to `stall (1 -+ rate/no-load speed)`, less viscous and Coulomb
//! friction, and the torque of the end stop. The reaction on the craft is neglected: the camera's inertia is
//! about a hundredth of the craft's.

use crate::error::{ConfigError, not_negative, positive, within};
use crate::lanes::{larger, smaller};
use crate::random::{Source, Stream};
use core::f64::consts::PI;
use glam::{DMat3, DQuat, DVec3};

/// Integration steps per tick, because friction and stops are stiff. The joint axes are constant over the
/// tick.
const STEPS: usize = 2;
/// Joint rate at which Coulomb friction reaches half of its value (rad/s): r/(|r| + this) replaces the sign
/// of r.
const STICTION_RAD_S: f64 = 0.01;
/// Natural frequency of the camera at an end stop (rad/s), critically damped.
const STOP_RAD_S: f64 = 150.0;
/// Length of the command history.
const HISTORY: usize = 128;

/// Parameters of the gimbal and its camera.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Moments of inertia of the camera about its own axes: along the line of sight, to its right, down (kg
    /// m2).
    pub inertia_kg_m2: [f64; 3],
    /// Mass of the camera times the offset of its centre of mass from the intersection of the joints, camera
    /// axes (kg m).
    pub imbalance_kg_m: [f64; 3],
    /// Travel to either side: yaw, roll, pitch (rad). Roll at most 80 deg: at 90 deg two axes coincide.
    pub travel_rad: [f64; 3],
    /// Stall torque of each motor (N m).
    pub stall_torque_nm: f64,
    /// No-load speed of each motor (rad/s).
    pub no_load_speed_rad_s: f64,
    /// Viscous friction of a joint (N m s).
    pub viscous_friction_nm_s: f64,
    /// Coulomb friction of a joint (N m).
    pub coulomb_friction_nm: f64,
    /// Delay from the gyro sample to the motor torque (s), rounded to ticks, at most 127 of them.
    pub delay_s: f64,
    /// White noise of the camera's gyro (rad/s/sqrt(Hz)).
    pub gyro_noise: f64,
    /// Constant bias of the camera's gyro: uniform within plus and minus this on each axis (rad/s).
    pub gyro_bias_rad_s: f64,
    /// Horizontal field of view (rad).
    pub field_of_view_rad: f64,
    /// Image width in pixels.
    pub width_px: u32,
}

impl Config {
    /// A 90 g camera with 4000 pixels over 60 deg. Plausible for the size; not that of a product.
    #[must_use]
    pub fn small_camera() -> Self {
        let deg = PI / 180.0;
        Self {
            inertia_kg_m2: [6e-5, 7e-5, 6e-5],
            imbalance_kg_m: [2e-5, 2e-5, 2e-5],
            travel_rad: [120.0 * deg, 40.0 * deg, 60.0 * deg],
            stall_torque_nm: 0.05,
            no_load_speed_rad_s: 15.0,
            viscous_friction_nm_s: 1e-4,
            coulomb_friction_nm: 2e-4,
            delay_s: 0.006,
            gyro_noise: 0.007 * deg,
            gyro_bias_rad_s: 0.2 * deg,
            field_of_view_rad: 60.0 * deg,
            width_px: 4000,
        }
    }

    /// Shift of the image centre in pixels per degree of rotation.
    ///
    /// `width / (2 tan(view/2)) pi/180`, for an image without distortion.
    ///
    /// ```
    /// let gimbal = aplomb_craft::gimbal::Config::small_camera();
    /// assert!((gimbal.pixels_per_deg() - 60.46).abs() < 0.01);
    /// ```
    #[must_use]
    pub fn pixels_per_deg(&self) -> f64 {
        f64::from(self.width_px) / (2.0 * libm::tan(0.5 * self.field_of_view_rad)) * PI / 180.0
    }

    /// Checks every field; `tick_s` is the control period.
    ///
    /// # Errors
    /// Names the first field that cannot be simulated.
    pub fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        for moment in self.inertia_kg_m2 {
            positive("gimbal.inertia_kg_m2", moment)?;
        }
        for offset in self.imbalance_kg_m {
            within("gimbal.imbalance_kg_m", offset, -1.0, 1.0)?;
        }
        let [yaw, roll, pitch] = self.travel_rad;
        within("gimbal.travel_rad", yaw, 0.01, 0.97 * PI)?;
        within("gimbal.travel_rad", roll, 0.01, 80.0 * PI / 180.0)?;
        within("gimbal.travel_rad", pitch, 0.01, 0.97 * PI)?;
        positive("gimbal.stall_torque_nm", self.stall_torque_nm)?;
        positive("gimbal.no_load_speed_rad_s", self.no_load_speed_rad_s)?;
        not_negative("gimbal.viscous_friction_nm_s", self.viscous_friction_nm_s)?;
        not_negative("gimbal.coulomb_friction_nm", self.coulomb_friction_nm)?;
        within("gimbal.delay_s", self.delay_s, 0.0, (HISTORY as f64 - 0.6) * tick_s)?;
        not_negative("gimbal.gyro_noise", self.gyro_noise)?;
        not_negative("gimbal.gyro_bias_rad_s", self.gyro_bias_rad_s)?;
        within("gimbal.field_of_view_rad", self.field_of_view_rad, 0.01, 0.97 * PI)?;
        within("gimbal.width_px", f64::from(self.width_px), 1.0, 1e6)
    }
}

/// Motion of the base, the frame that carries the gimbal, at one tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BaseMotion {
    /// Attitude, body to world.
    pub attitude: DQuat,
    /// Body rate (rad/s).
    pub rate_rad_s: DVec3,
    /// Specific force at the gimbal, world axes (m/s2).
    pub specific_force_m_s2: DVec3,
}

/// Samples of the sensors of the gimbal.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Readings {
    /// Rate of the camera about its own axes (rad/s).
    pub gyro_rad_s: DVec3,
    /// Joints: yaw, roll, pitch.
    pub joints: [Joint; 3],
}

/// Angle of a joint as sine and cosine, the output of a magnetic angle sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Joint {
    /// Sine of the angle.
    pub sine: f64,
    /// Cosine of the angle.
    pub cosine: f64,
}

impl Joint {
    /// The angle (rad).
    #[must_use]
    pub fn angle_rad(self) -> f64 {
        libm::atan2(self.sine, self.cosine)
    }
}

impl Default for Joint {
    /// Angle zero.
    fn default() -> Self {
        Self { sine: 0.0, cosine: 1.0 }
    }
}

/// Simulated gimbal with its camera.
#[derive(Clone, Debug)]
pub struct Gimbal {
    config: Config,
    tick_s: f64,
    attitude: DQuat,
    rate: DVec3,
    /// Rotation from camera to base at the tick, and the joint angles.
    camera_to_base: DMat3,
    joints: [Joint; 3],
    /// Cosines of the travel.
    travel_cosine: [f64; 3],
    per_inertia: DVec3,
    /// Stall torque over no-load speed (N m s).
    stall_nm_s: f64,
    queue: [[f64; 3]; HISTORY],
    next: usize,
    delay_ticks: usize,
    noise: Stream,
    noise_rad_s: f64,
    offset: DVec3,
    readings: Readings,
}

impl Gimbal {
    /// A camera stationary relative to its base, with the line of sight along the nose.
    ///
    /// # Errors
    /// Names the first field that cannot be simulated.
    pub fn new(config: &Config, base: &BaseMotion, seed: u64, tick_s: f64) -> Result<Self, ConfigError> {
        config.check(tick_s)?;
        let mut noise = Stream::new(seed, Source::CameraGyro);
        let offset =
            DVec3::new(noise.uniform_symmetric(), noise.uniform_symmetric(), noise.uniform_symmetric());
        let mut mount = Self {
            config: *config,
            tick_s,
            attitude: base.attitude,
            rate: base.rate_rad_s,
            camera_to_base: DMat3::IDENTITY,
            joints: [Joint::default(); 3],
            travel_cosine: config.travel_rad.map(libm::cos),
            per_inertia: DVec3::from_array(config.inertia_kg_m2).recip(),
            stall_nm_s: config.stall_torque_nm / config.no_load_speed_rad_s,
            queue: [[0.0; 3]; HISTORY],
            next: 0,
            delay_ticks: libm::floor(config.delay_s / tick_s + 0.5) as usize,
            noise,
            noise_rad_s: config.gyro_noise / libm::sqrt(tick_s),
            offset: offset * config.gyro_bias_rad_s,
            readings: Readings::default(),
        };
        mount.measure();
        Ok(mount)
    }

    /// Samples of the current tick.
    #[must_use]
    pub fn sense(&self) -> Readings {
        self.readings
    }

    /// Attitude of the camera, camera to world. Its forward axis is the line of sight.
    #[must_use]
    pub fn attitude(&self) -> DQuat {
        self.attitude
    }

    /// Rate of the camera about its own axes (rad/s).
    #[must_use]
    pub fn rate_rad_s(&self) -> DVec3 {
        self.rate
    }

    /// Whether any joint is at the end of its travel.
    #[must_use]
    pub fn at_stop(&self) -> bool {
        self.joints.iter().zip(self.travel_cosine).any(|(joint, travel)| joint.cosine <= travel)
    }

    /// Advances by one tick. `base` is the motion at its end; `torque_nm` (yaw, roll, pitch) acts after the
    /// delay. NaN counts as 0.
    pub fn advance(&mut self, torque_nm: [f64; 3], base: &BaseMotion) {
        self.queue[self.next] = torque_nm.map(|torque| if torque.is_finite() { torque } else { 0.0 });
        let motors = self.queue[(self.next + HISTORY - self.delay_ticks) % HISTORY];
        self.next = (self.next + 1) % HISTORY;
        let to_joints = to_joints(&self.joints);
        let frame_rate = self.camera_to_base.transpose() * base.rate_rad_s;
        let specific_force = DMat3::from_quat(self.attitude).transpose() * base.specific_force_m_s2;
        let imbalance = DVec3::from_array(self.config.imbalance_kg_m).cross(specific_force);
        for _ in 0..STEPS {
            let joint_rate = (to_joints * (self.rate - frame_rate)).to_array();
            let torques = core::array::from_fn(|i| self.joint_torque(i, motors[i], joint_rate[i]));
            self.step(to_joints.transpose() * DVec3::from_array(torques) + imbalance);
        }
        self.attitude = self.attitude.normalize();
        self.camera_to_base = DMat3::from_quat(base.attitude.conjugate() * self.attitude);
        self.joints = joints(&self.camera_to_base);
        self.measure();
    }

    /// One step of semi-implicit Euler: the rate, then the attitude with the new rate.
    #[inline]
    fn step(&mut self, torque_nm: DVec3) {
        let step_s = self.tick_s / STEPS as f64;
        let inertia = DVec3::from_array(self.config.inertia_kg_m2);
        let gyroscopic = self.rate.cross(inertia * self.rate);
        self.rate += (torque_nm - gyroscopic) * self.per_inertia * step_s;
        let half = self.rate * (0.5 * step_s);
        self.attitude = self.attitude + self.attitude * DQuat::from_xyzw(half.x, half.y, half.z, 0.0);
    }

    /// Torque of joint `i` on the camera.
    fn joint_torque(&self, i: usize, motor_nm: f64, rate: f64) -> f64 {
        let Config { stall_torque_nm, viscous_friction_nm_s, coulomb_friction_nm, travel_rad, .. } =
            self.config;
        let lost = rate * self.stall_nm_s;
        let (low, high) = (smaller(-stall_torque_nm - lost, 0.0), larger(stall_torque_nm - lost, 0.0));
        let driven = larger(smaller(motor_nm, high), low);
        let joint = self.joints[i];
        let stop = if joint.cosine > self.travel_cosine[i] {
            0.0
        } else {
            let angle = joint.angle_rad();
            let past = angle - angle.min(travel_rad[i]).max(-travel_rad[i]);
            (STOP_RAD_S * STOP_RAD_S * past + 2.0 * STOP_RAD_S * rate) / self.per_inertia.max_element()
        };
        driven
            - viscous_friction_nm_s * rate
            - coulomb_friction_nm * rate / (rate.abs() + STICTION_RAD_S)
            - stop
    }

    fn measure(&mut self) {
        let white = DVec3::new(self.noise.normal(), self.noise.normal(), self.noise.normal());
        self.readings =
            Readings { gyro_rad_s: self.rate + self.offset + white * self.noise_rad_s, joints: self.joints };
    }
}

/// Joint angles of a rotation from camera to base: yaw, roll, pitch.
fn joints(camera_to_base: &DMat3) -> [Joint; 3] {
    let sine = camera_to_base.y_axis.z;
    // The travel keeps roll away from a quarter turn, where yaw and pitch are degenerate.
    let cosine = libm::sqrt((1.0 - sine * sine).max(1e-9));
    let across = 1.0 / cosine;
    let over = |sine: f64, cosine: f64| Joint { sine: sine * across, cosine: cosine * across };
    [
        over(-camera_to_base.y_axis.x, camera_to_base.y_axis.y),
        Joint { sine, cosine },
        over(-camera_to_base.x_axis.z, camera_to_base.z_axis.z),
    ]
}

/// A^-1: from the camera's rate relative to the base, in camera axes, to joint rates.
fn to_joints(&[_, roll, pitch]: &[Joint; 3]) -> DMat3 {
    let across = 1.0 / roll.cosine;
    let (x, z) = (-pitch.sine * across, pitch.cosine * across);
    DMat3::from_cols(
        DVec3::new(x, pitch.cosine, -roll.sine * x),
        DVec3::Z,
        DVec3::new(z, pitch.sine, -roll.sine * z),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const TICK_S: f64 = 0.001;

    fn base(attitude: DQuat, rate_rad_s: DVec3) -> BaseMotion {
        BaseMotion { attitude, rate_rad_s, specific_force_m_s2: DVec3::new(0.0, 0.0, -9.81) }
    }

    fn frictionless() -> Config {
        Config {
            imbalance_kg_m: [0.0; 3],
            viscous_friction_nm_s: 0.0,
            coulomb_friction_nm: 0.0,
            gyro_noise: 0.0,
            gyro_bias_rad_s: 0.0,
            ..Config::small_camera()
        }
    }

    /// Moves the base in roll with 6 deg amplitude at 1 Hz for two seconds without motor torque; returns the
    /// largest rotation of the camera.
    fn largest_turn_rad(config: &Config) -> f64 {
        let level = base(DQuat::IDENTITY, DVec3::ZERO);
        let mut mount = Gimbal::new(config, &level, 1, TICK_S).unwrap();
        let mut largest: f64 = 0.0;
        for tick in 1..=2000 {
            let (sin, cos) = libm::sincos(2.0 * PI * f64::from(tick) * TICK_S);
            let roll = 0.1 * (1.0 - cos);
            let rate = DVec3::new(0.1 * 2.0 * PI * sin, 0.0, 0.0);
            mount.advance([0.0; 3], &base(DQuat::from_rotation_x(roll), rate));
            largest = largest.max(2.0 * libm::acos(mount.attitude().w.abs().min(1.0)));
        }
        largest
    }

    #[test]
    fn balanced_camera_without_friction_keeps_its_attitude_and_friction_rotates_it() {
        assert!(largest_turn_rad(&frictionless()) < 1e-7);
        let sticky = Config { viscous_friction_nm_s: 1e-4, ..frictionless() };
        assert!(largest_turn_rad(&sticky) > 0.05);
    }

    #[test]
    fn joint_angles_invert_the_rotation_and_axes_are_its_derivatives() {
        let angles = [0.7, -0.4, 0.9];
        let camera_to_base = |[yaw, roll, pitch]: [f64; 3]| {
            DQuat::from_rotation_z(yaw) * DQuat::from_rotation_x(roll) * DQuat::from_rotation_y(pitch)
        };
        let found = joints(&DMat3::from_quat(camera_to_base(angles))).map(Joint::angle_rad);
        assert!(found.iter().zip(angles).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}");
        let axes = to_joints(&joints(&DMat3::from_quat(camera_to_base(angles)))).inverse();
        for joint in 0..3 {
            let mut moved = angles;
            moved[joint] += 1e-6;
            let slope = (camera_to_base(angles).conjugate() * camera_to_base(moved)).to_scaled_axis() / 1e-6;
            assert!((slope - axes.col(joint)).length() < 1e-5, "{joint}: {slope}");
        }
    }

    #[test]
    fn pitch_torque_accelerates_the_camera_by_its_inertia() {
        let config = Config { delay_s: 0.0, ..frictionless() };
        let level = base(DQuat::IDENTITY, DVec3::ZERO);
        let mut mount = Gimbal::new(&config, &level, 1, TICK_S).unwrap();
        for _ in 0..100 {
            mount.advance([0.0, 0.0, 1e-4], &level);
        }
        // w = t T/J.
        let expected = 0.1 * 1e-4 / config.inertia_kg_m2[1];
        assert!((mount.rate_rad_s().y / expected - 1.0).abs() < 1e-9, "{}", mount.rate_rad_s());
        // The twin: the rotation lacks the command's delay.
        let mut late = Gimbal::new(&Config { delay_s: 0.006, ..config }, &level, 1, TICK_S).unwrap();
        for _ in 0..100 {
            late.advance([0.0, 0.0, 1e-4], &level);
        }
        assert!((late.rate_rad_s().y / (expected * 0.94) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn end_stop_limits_the_travel() {
        let config = Config { delay_s: 0.0, viscous_friction_nm_s: 1e-4, ..frictionless() };
        let level = base(DQuat::IDENTITY, DVec3::ZERO);
        let mut mount = Gimbal::new(&config, &level, 1, TICK_S).unwrap();
        for _ in 0..3000 {
            mount.advance([0.0, config.stall_torque_nm, 0.0], &level);
        }
        let roll = mount.sense().joints[1].angle_rad();
        assert!(mount.at_stop() && roll < config.travel_rad[1] + 0.06, "{roll}");
        assert!(mount.rate_rad_s().length() < 1e-3);
    }

    #[test]
    fn bad_fields_are_named() {
        type Set = fn(&mut Config, f64);
        let fields: [(&str, Set); 11] = [
            ("gimbal.inertia_kg_m2", |c, v| c.inertia_kg_m2[1] = v),
            ("gimbal.imbalance_kg_m", |c, v| c.imbalance_kg_m[0] = 3.0 * v),
            ("gimbal.travel_rad", |c, v| c.travel_rad[1] = v),
            ("gimbal.stall_torque_nm", |c, v| c.stall_torque_nm = v),
            ("gimbal.no_load_speed_rad_s", |c, v| c.no_load_speed_rad_s = v),
            ("gimbal.viscous_friction_nm_s", |c, v| c.viscous_friction_nm_s = v),
            ("gimbal.coulomb_friction_nm", |c, v| c.coulomb_friction_nm = v),
            ("gimbal.delay_s", |c, v| c.delay_s = v),
            ("gimbal.gyro_noise", |c, v| c.gyro_noise = v),
            ("gimbal.gyro_bias_rad_s", |c, v| c.gyro_bias_rad_s = v),
            ("gimbal.field_of_view_rad", |c, v| c.field_of_view_rad = v),
        ];
        for (name, set) in fields {
            for bad in [f64::NAN, f64::INFINITY, -1.0] {
                let mut config = Config::small_camera();
                set(&mut config, bad);
                assert_eq!(config.check(TICK_S).unwrap_err().field, name, "{bad}");
            }
        }
    }
}
