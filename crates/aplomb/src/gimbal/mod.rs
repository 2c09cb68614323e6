//! Three-axis camera stabiliser: keeps the line of sight on its heading and elevation and the horizon level, within the
//! travel of the joints.
//!
//! The camera has a gyroscope of its own; the joints (yaw outside, roll, pitch inside) tell their angles. One step:
//!
//! ```text
//! C      camera's attitude: its own gyro, drawn to (craft's attitude)(turn of the joints) in `correction_time_s`
//! target craft's attitude x joints(wanted attitude), each joint held within its travel
//! e      half the skew part of C^T target: the sine of the error, camera axes
//! r      k_a e, limited: the rate wanted
//! T      J (k_r (r - w) + integral of k_r/T_i (r - w)),   joints' torques t = A^T T, limited
//! ```
//!
//! So with the delay d from gyro to torque, the loop broken at the torque is
//! `k_r/s (1 + 1/(T_i s)) (1 + k_a/s) e^(-d s)`, and the craft's own turning reaches the camera only through friction. The
//! absolute level is no better than the craft's attitude estimate: both are drawn together.
//!
//! Not covered: friction is left to the integral; a target that turns is followed with the lag of the angle loop.

mod joint;

use core::marker::PhantomData;

use glam::{Mat3, Quat, Vec3};

use crate::error::{ConfigError, require_positive, require_within};
use crate::frames::{Attitude, Camera, Heading, Vector};
use crate::math::{Libm, Math, saturate_symmetric};

pub use joint::{Angle, Joints};

/// What the stabiliser is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Steps per second, 100 to 8000.
    pub tick_hz: f32,
    /// Moments of inertia of the camera in kg m2: along the line of sight, to its right, down.
    pub inertia_kg_m2: [f32; 3],
    /// Travel of each joint to either side that is used, in rad: yaw and pitch below 3.1, roll below 1.4.
    pub travel_rad: Joints<f32>,
    /// Largest torque of a motor in N m.
    pub torque_limit_nm: f32,
    /// Gain of the rate loop, k_r, and its crossover, in rad/s.
    pub rate_crossover_rad_s: f32,
    /// Integral time of the rate loop, T_i, in s.
    pub integral_time_s: f32,
    /// Gain of the angle loop, k_a, in 1/s.
    pub angle_crossover_rad_s: f32,
    /// Largest rate that the angle loop asks for, in rad/s.
    pub rate_limit_rad_s: f32,
    /// Time constant in s in which the camera's attitude is drawn to that of craft and joints.
    pub correction_time_s: f32,
}

impl Config {
    /// Derives the gains from the delay in s between a sample of the camera's gyro and its torque, at `tick_hz`.
    ///
    /// The crossover puts 23 deg of phase into delay and half a tick; the integral, which has to follow the dry
    /// friction of the joints, costs 11 deg, and the angle loop 11 deg: 45 deg are left.
    ///
    /// ```
    /// use aplomb::gimbal::{Config, Joints};
    /// let travel = Joints { yaw: 2.0, roll: 0.6, pitch: 1.0 };
    /// let config = Config::for_camera([6e-5, 7e-5, 6e-5], travel, 0.05, 0.006, 1000.0)?;
    /// assert!((config.rate_crossover_rad_s - 61.5).abs() < 0.1);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names a value that is not finite, not positive or out of its range.
    pub fn for_camera(
        inertia_kg_m2: [f32; 3],
        travel_rad: Joints<f32>,
        torque_limit_nm: f32,
        delay_s: f32,
        tick_hz: f32,
    ) -> Result<Self, ConfigError> {
        require_within("delay_s", delay_s, 0.0, 0.1)?;
        require_within("tick_hz", tick_hz, 100.0, 8000.0)?;
        let crossover = 0.4 / (delay_s + 0.5 / tick_hz);
        let config = Self {
            tick_hz,
            inertia_kg_m2,
            travel_rad,
            torque_limit_nm,
            rate_crossover_rad_s: crossover,
            integral_time_s: 5.0 / crossover,
            angle_crossover_rad_s: 0.2 * crossover,
            // A turn by the whole travel takes a second or two.
            rate_limit_rad_s: 2.0,
            // Slow against anything that the camera's gyro tells better than the joints.
            correction_time_s: 1.0,
        };
        config.check()?;
        Ok(config)
    }

    fn check(&self) -> Result<(), ConfigError> {
        require_within("tick_hz", self.tick_hz, 100.0, 8000.0)?;
        for moment in self.inertia_kg_m2 {
            require_positive("inertia_kg_m2", moment)?;
        }
        for (travel, most) in
            [(self.travel_rad.yaw, 3.1), (self.travel_rad.roll, 1.4), (self.travel_rad.pitch, 3.1)]
        {
            require_positive("travel_rad", travel)?;
            require_within("travel_rad", travel, 0.0, most)?;
        }
        require_positive("torque_limit_nm", self.torque_limit_nm)?;
        require_positive("rate_crossover_rad_s", self.rate_crossover_rad_s)?;
        require_within("rate_crossover_rad_s", self.rate_crossover_rad_s, 0.0, 0.5 * self.tick_hz)?;
        require_positive("integral_time_s", self.integral_time_s)?;
        require_positive("angle_crossover_rad_s", self.angle_crossover_rad_s)?;
        require_within("angle_crossover_rad_s", self.angle_crossover_rad_s, 0.0, self.rate_crossover_rad_s)?;
        require_positive("rate_limit_rad_s", self.rate_limit_rad_s)?;
        require_within("correction_time_s", self.correction_time_s, 10.0 / self.tick_hz, 100.0)?;
        Ok(())
    }
}

/// What the mount's sensors say.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Readings {
    /// Rate of the camera in rad/s: along the line of sight, to its right, down.
    pub gyro_rad_s: Vector<Camera>,
    /// Angles of the joints.
    pub joints: Joints<Angle>,
}

/// Where the camera shall look; its horizon is kept level.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct LineOfSight {
    /// Heading.
    pub heading: Heading,
    /// Elevation above the horizon, within +-90 deg.
    pub elevation: Angle,
}

impl LineOfSight {
    /// Attitude, camera to world: forward along the line of sight, right horizontal.
    fn attitude(&self) -> Mat3 {
        let (north, east) = (self.heading.north(), self.heading.east());
        let (sine, cosine) = (self.elevation.sine(), self.elevation.cosine());
        Mat3::from_cols(
            Vec3::new(cosine * north, cosine * east, -sine),
            Vec3::new(-east, north, 0.0),
            Vec3::new(sine * north, sine * east, cosine),
        )
    }
}

/// What goes to the mount.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Output {
    /// Torque of each motor in N m.
    pub torque_nm: Joints<f32>,
    /// A torque was cut.
    pub torque_limited: bool,
    /// The line of sight cannot be had within the travel; the nearest one is aimed at, joint by joint.
    pub travel_limited: bool,
}

/// State of the stabiliser.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct State {
    camera: Option<Quat>,
    integral: Vec3,
    offset: Vec3,
}

/// The stabiliser, folded.
///
/// ```
/// use aplomb::frames::{Attitude, Heading, Vector};
/// use aplomb::gimbal::{Angle, Config, Gimbal, Joints, LineOfSight, Readings, State};
/// let travel = Joints { yaw: 2.0, roll: 0.6, pitch: 1.0 };
/// let gimbal: Gimbal = Gimbal::new(&Config::for_camera([6e-5, 7e-5, 6e-5], travel, 0.05, 0.006, 1000.0)?)?;
/// // The craft is level and the camera along its nose; wanted is 0.1 rad further down. The pitch motor pushes it there.
/// let readings = Readings { gyro_rad_s: Vector::ZERO, joints: Joints::default() };
/// let wanted = LineOfSight { heading: Heading::NORTH, elevation: Angle::from_rad::<aplomb::Libm>(-0.1) };
/// let torque_nm = gimbal.step(&mut State::default(), &readings, Attitude::LEVEL, &wanted).torque_nm;
/// // -J (k_r + k_r T/T_i) k_a sin(0.1): the integral's first step of T = 1 ms is in it, with T_i = 5/k_r.
/// assert!((torque_nm.pitch / (-7e-5 * 61.54 * (1.0 + 1e-3 * 61.54 / 5.0) * 12.31 * 0.0998) - 1.0).abs() < 1e-3);
/// assert_eq!((torque_nm.yaw, torque_nm.roll), (0.0, 0.0));
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gimbal<M = Libm> {
    inertia: Vec3,
    travel: Joints<Angle>,
    torque_limit: f32,
    rate_gain: f32,
    integral_step: f32,
    angle_gain: f32,
    rate_limit: f32,
    correction: f32,
    offset_step: f32,
    period_s: f32,
    math: PhantomData<M>,
}

impl<M: Math> Gimbal<M> {
    /// Checks the configuration and folds it.
    ///
    /// # Errors
    /// Names the first field that is not finite, not positive or out of its range.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        config.check()?;
        let period_s = 1.0 / config.tick_hz;
        let correction = period_s / config.correction_time_s;
        let angle = |rad: f32| Angle::from_rad::<M>(rad);
        let Joints { yaw, roll, pitch } = config.travel_rad;
        Ok(Self {
            inertia: Vec3::from_array(config.inertia_kg_m2),
            travel: Joints { yaw: angle(yaw), roll: angle(roll), pitch: angle(pitch) },
            torque_limit: config.torque_limit_nm,
            rate_gain: config.rate_crossover_rad_s,
            integral_step: config.rate_crossover_rad_s * period_s / config.integral_time_s,
            angle_gain: config.angle_crossover_rad_s,
            rate_limit: config.rate_limit_rad_s,
            correction,
            // Critically damped: a pair of poles at twice the correction time.
            offset_step: 0.25 * correction / config.correction_time_s,
            period_s,
            math: PhantomData,
        })
    }

    /// One step. `craft` is the craft's attitude, estimated at the readings' tick.
    ///
    /// A reading that is not finite gives no torque and leaves the state as it was.
    #[must_use]
    pub fn step(
        &self,
        state: &mut State,
        readings: &Readings,
        craft: Attitude,
        wanted: &LineOfSight,
    ) -> Output {
        let gyro = readings.gyro_rad_s.glam();
        if !(gyro.is_finite() && readings.joints.is_finite()) {
            return Output::default();
        }
        let [w, x, y, z] = craft.wxyz();
        let craft = Mat3::from_quat(Quat::from_xyzw(x, y, z, w));
        let rate = gyro - state.offset;
        let camera = self.camera(state, rate, &(craft * readings.joints.turn()));
        let (target, travel_limited) = self.target(&craft, &wanted.attitude(), readings);

        let wanted_rate = (half_skew(&(camera.transpose() * target)) * self.angle_gain)
            .clamp(Vec3::splat(-self.rate_limit), Vec3::splat(self.rate_limit));
        let error = wanted_rate - rate;
        let integral = state.integral + error * self.integral_step;
        let torque = self.inertia * (error * self.rate_gain + integral);
        let asked = readings.joints.torques(torque);
        let limit = self.torque_limit;
        let given = Joints {
            yaw: saturate_symmetric(asked.yaw, limit),
            roll: saturate_symmetric(asked.roll, limit),
            pitch: saturate_symmetric(asked.pitch, limit),
        };
        let torque_limited = given != asked;
        if !torque_limited {
            state.integral = integral;
        }
        Output { torque_nm: given, torque_limited, travel_limited }
    }

    /// The camera's attitude: moved by its own rate, drawn to `told` by craft and joints.
    fn camera(&self, state: &mut State, rate: Vec3, told: &Mat3) -> Mat3 {
        let before = state.camera.unwrap_or_else(|| Quat::from_mat3(told));
        let off = half_skew(&(Mat3::from_quat(before).transpose() * *told));
        let turn = (rate * self.period_s + off * self.correction) * 0.5;
        let moved = before + before * Quat::from_xyzw(turn.x, turn.y, turn.z, 0.0);
        let moved = moved * (1.0 / M::sqrt(moved.length_squared()));
        state.camera = Some(moved);
        state.offset -= off * self.offset_step;
        Mat3::from_quat(moved)
    }

    /// The attitude to have, within the travel; where the joints cannot tell, the one there is.
    fn target(&self, craft: &Mat3, wanted: &Mat3, readings: &Readings) -> (Mat3, bool) {
        match Joints::of_turn::<M>(&(craft.transpose() * *wanted)) {
            Some(joints) => match joints.within(&self.travel) {
                (_, false) => (*wanted, false),
                (held, true) => (*craft * held.turn(), true),
            },
            None => (*craft * readings.joints.turn(), true),
        }
    }
}

/// Axis times sine of the turn `m`.
fn half_skew(m: &Mat3) -> Vec3 {
    0.5 * Vec3::new(m.y_axis.z - m.z_axis.y, m.z_axis.x - m.x_axis.z, m.x_axis.y - m.y_axis.x)
}

#[cfg(test)]
mod tests;
