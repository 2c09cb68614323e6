//! Gimbal: three-axis camera stabiliser. It controls heading and elevation of the line of sight and levels
//! the horizon, within the travel of the joints.
//!
//! The camera has its own gyroscope; the joints (yaw outermost, then roll, pitch innermost) measure their
//! angles. One step:
//!
//! ```text
//! C       attitude of the camera: integrated gyro, corrected towards (attitude of the craft)(rotation of the joints)
//!         with the time constant correction_time_s, and the gyro bias with it
//! target  attitude of the craft x joints(commanded attitude), each joint limited to its travel
//! e       half the skew part of C^T target: sine of the error, camera axes
//! r       k_a e, limited: rate set-point
//! T       J (k_r (r - w) + integral of k_r/T_i (r - w)),   joint torques t = A^T T, limited
//! ```
//!
//! With the delay d from gyro to torque, the loop broken at the torque is
//! `k_r/s (1 + 1/(T_i s)) (1 + k_a/s) e^(-d s)`. The rotation of the craft disturbs the camera only by
//! friction. The absolute level is no better than the craft's attitude estimate. The cascade of angle and
//! rate loop and the complementary correction are textbook control (R. W. Beard, T. W. McLain, Small Unmanned
//! Aircraft, 2012, chapter 13 for the pointing gimbal); the gains are derived in [`Config::for_camera`].
//!
//! There is no friction model, so the integral compensates friction, and no feed-forward of a moving target,
//! so it is followed with the lag of the angle loop, 1/k_a.

mod joint;

use core::marker::PhantomData;

use glam::{Mat3, Quat, Vec3};

use crate::error::{ConfigError, require_positive, require_within};
use crate::frames::{Attitude, Camera, Heading, Vector};
use crate::math::{Libm, Math, saturate_symmetric};

pub use joint::{Angle, Joints};

/// Range of the period in s: that of [`crate::flight::Config::tick_hz`].
const SHORTEST_PERIOD_S: f32 = 1.0 / 8000.0;
const LONGEST_PERIOD_S: f32 = 1.0 / 100.0;

/// Configuration of a [`Gimbal`]. [`Config::for_camera`] derives the gains.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Moments of inertia of the camera in kg m2: along the line of sight, to its right, down.
    pub inertia_kg_m2: [f32; 3],
    /// Travel of each joint to either side in rad: yaw and pitch at most 3.1 (below a half turn), roll at
    /// most 1.4 (below 90 deg, where the axes of yaw and pitch coincide).
    pub travel_rad: Joints<f32>,
    /// Largest torque of a motor in N m.
    pub torque_limit_nm: f32,
    /// Gain of the rate loop, k_r, and its crossover, in rad/s.
    pub rate_crossover_rad_s: f32,
    /// Integral time of the rate loop, T_i, in s.
    pub integral_time_s: f32,
    /// Gain of the angle loop, k_a, in 1/s.
    pub angle_crossover_rad_s: f32,
    /// Largest rate set-point of the angle loop in rad/s.
    pub rate_limit_rad_s: f32,
    /// Time constant in s of the correction of the camera's attitude towards that of craft and joints; 10
    /// periods to 100 s.
    pub correction_time_s: f32,
}

impl Config {
    /// Derives the gains from the delay in s between a sample of the camera's gyro and its torque, for a step
    /// every `period_s`.
    ///
    /// The rate crossover puts 23 deg of phase into delay and half a period; the integral, which compensates
    /// the Coulomb friction of the joints, takes 11 deg, and the angle loop 11 deg: a phase margin of 45 deg
    /// is left.
    ///
    /// ```
    /// use aplomb::gimbal::{Config, Joints};
    /// let travel = Joints { yaw: 2.0, roll: 0.6, pitch: 1.0 };
    /// let config = Config::for_camera([6e-5, 7e-5, 6e-5], travel, 0.05, 0.006, 1e-3)?;
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
        period_s: f32,
    ) -> Result<Self, ConfigError> {
        require_within("delay_s", delay_s, 0.0, 0.1)?;
        require_within("period_s", period_s, SHORTEST_PERIOD_S, LONGEST_PERIOD_S)?;
        let crossover = 0.4 / (delay_s + 0.5 * period_s);
        let config = Self {
            inertia_kg_m2,
            travel_rad,
            torque_limit_nm,
            rate_crossover_rad_s: crossover,
            integral_time_s: 5.0 / crossover,
            angle_crossover_rad_s: 0.2 * crossover,
            // A travel of 2 rad in one second (common practice, no source).
            rate_limit_rad_s: 2.0,
            // Slow beside the gyro, fast beside the drift of its bias (common practice, no source).
            correction_time_s: 1.0,
        };
        config.check(period_s)?;
        Ok(config)
    }

    fn check(&self, period_s: f32) -> Result<(), ConfigError> {
        require_within("period_s", period_s, SHORTEST_PERIOD_S, LONGEST_PERIOD_S)?;
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
        require_within("rate_crossover_rad_s", self.rate_crossover_rad_s, 0.0, 0.5 / period_s)?;
        require_positive("integral_time_s", self.integral_time_s)?;
        require_positive("angle_crossover_rad_s", self.angle_crossover_rad_s)?;
        require_within("angle_crossover_rad_s", self.angle_crossover_rad_s, 0.0, self.rate_crossover_rad_s)?;
        require_positive("rate_limit_rad_s", self.rate_limit_rad_s)?;
        require_within("correction_time_s", self.correction_time_s, 10.0 * period_s, 100.0)?;
        Ok(())
    }
}

/// Inputs: measurements of the gimbal's sensors.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Readings {
    /// Rate of the camera in rad/s: along the line of sight, to its right, down.
    pub gyro_rad_s: Vector<Camera>,
    /// Angles of the joints.
    pub joints: Joints<Angle>,
}

/// Commanded line of sight, with a level horizon.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
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

/// Output: torques for the motors of the joints.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Output {
    /// Torque of each motor in N m.
    pub torque_nm: Joints<f32>,
    /// A torque was limited.
    pub torque_limited: bool,
    /// The line of sight is beyond the travel; the target is the nearest one within it, joint by joint.
    pub travel_limited: bool,
}

/// State of a [`Gimbal`], to save and restore.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    /// Attitude of the camera as a quaternion (x, y, z, w), camera to world; `None` before the first step.
    camera: Option<[f32; 4]>,
    /// Integral of the rate loop in rad/s2.
    integral_rad_s2: Vector<Camera>,
    gyro_bias_rad_s: Vector<Camera>,
}

impl State {
    /// Estimated bias of the camera's gyro in rad/s.
    #[must_use]
    pub const fn gyro_bias_rad_s(&self) -> Vector<Camera> {
        self.gyro_bias_rad_s
    }
}

/// The stabiliser. See the [module](self) for the equations.
///
/// ```
/// use aplomb::frames::{Attitude, Heading, Vector};
/// use aplomb::gimbal::{Angle, Config, Gimbal, Joints, LineOfSight, Readings};
/// let travel = Joints { yaw: 2.0, roll: 0.6, pitch: 1.0 };
/// let config = Config::for_camera([6e-5, 7e-5, 6e-5], travel, 0.05, 0.006, 1e-3)?;
/// let mut gimbal: Gimbal = Gimbal::new(&config, 1e-3)?;
/// // The craft is level and the camera along its nose; the commanded line of sight is 0.1 rad further down. The pitch motor
/// // rotates it there.
/// let readings = Readings { gyro_rad_s: Vector::ZERO, joints: Joints::default() };
/// let commanded = LineOfSight { heading: Heading::NORTH, elevation: Angle::from_rad::<aplomb::Libm>(-0.1) };
/// let torque_nm = gimbal.step(&readings, Attitude::LEVEL, &commanded).torque_nm;
/// // -J (k_r + k_r h/T_i) k_a sin(0.1), with the first increment of the integral: h = 1 ms, T_i = 5/k_r.
/// assert!((torque_nm.pitch / (-7e-5 * 61.54 * (1.0 + 1e-3 * 61.54 / 5.0) * 12.31 * 0.0998) - 1.0).abs() < 1e-3);
/// assert_eq!((torque_nm.yaw, torque_nm.roll), (0.0, 0.0));
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gimbal<M = Libm> {
    inertia_kg_m2: [f32; 3],
    travel: Joints<Angle>,
    torque_limit_nm: f32,
    rate_gain: f32,
    integral_gain: f32,
    angle_gain: f32,
    rate_limit_rad_s: f32,
    correction_gain: f32,
    bias_gain: f32,
    period_s: f32,
    state: State,
    math: PhantomData<M>,
}

impl<M: Math> Gimbal<M> {
    /// Checks the configuration for a step every `period_s`, 1/8000 to 1/100 s, and precomputes coefficients.
    ///
    /// # Errors
    /// Names the first field that is not finite, not positive or out of its range.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        config.check(period_s)?;
        let correction_gain = period_s / config.correction_time_s;
        let Joints { yaw, roll, pitch } = config.travel_rad;
        Ok(Self {
            inertia_kg_m2: config.inertia_kg_m2,
            travel: Joints {
                yaw: Angle::from_rad::<M>(yaw),
                roll: Angle::from_rad::<M>(roll),
                pitch: Angle::from_rad::<M>(pitch),
            },
            torque_limit_nm: config.torque_limit_nm,
            rate_gain: config.rate_crossover_rad_s,
            integral_gain: config.rate_crossover_rad_s * period_s / config.integral_time_s,
            angle_gain: config.angle_crossover_rad_s,
            rate_limit_rad_s: config.rate_limit_rad_s,
            correction_gain,
            // Critically damped: a pair of poles at twice the correction time.
            bias_gain: 0.25 * correction_gain / config.correction_time_s,
            period_s,
            state: State::default(),
            math: PhantomData,
        })
    }

    /// One step. `craft` is the attitude of the craft, estimated at the time of the readings.
    ///
    /// A reading that is not finite gives no torque and leaves the state unchanged. The integral is held
    /// while a torque is limited (anti-windup by conditional integration).
    pub fn step(&mut self, readings: &Readings, craft: Attitude, commanded: &LineOfSight) -> Output {
        let gyro = readings.gyro_rad_s.glam();
        if !(gyro.is_finite() && readings.joints.is_finite()) {
            return Output::default();
        }
        let [w, x, y, z] = craft.wxyz();
        let craft = Mat3::from_quat(Quat::from_xyzw(x, y, z, w));
        let rate = gyro - self.state.gyro_bias_rad_s.glam();
        let camera = self.estimate_camera(rate, &(craft * readings.joints.rotation()));
        let (target, travel_limited) = self.target(&craft, &commanded.attitude(), readings);

        let limit = Vec3::splat(self.rate_limit_rad_s);
        let rate_setpoint =
            (half_skew(&(camera.transpose() * target)) * self.angle_gain).clamp(-limit, limit);
        let error = rate_setpoint - rate;
        let integral = self.state.integral_rad_s2.glam() + error * self.integral_gain;
        let torque = Vec3::from_array(self.inertia_kg_m2) * (error * self.rate_gain + integral);
        let demanded = readings.joints.torques(torque);
        let limited = Joints {
            yaw: saturate_symmetric(demanded.yaw, self.torque_limit_nm),
            roll: saturate_symmetric(demanded.roll, self.torque_limit_nm),
            pitch: saturate_symmetric(demanded.pitch, self.torque_limit_nm),
        };
        let torque_limited = limited != demanded;
        if !torque_limited {
            self.state.integral_rad_s2 = Vector::from_glam(integral);
        }
        Output { torque_nm: limited, torque_limited, travel_limited }
    }

    /// Initialises the state, as before the first step.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The state after the last step.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }

    /// Attitude of the camera: integrated `rate`, corrected towards `measured`, which comes from craft and
    /// joints.
    fn estimate_camera(&mut self, rate: Vec3, measured: &Mat3) -> Mat3 {
        let before = self.state.camera.map_or_else(|| Quat::from_mat3(measured), Quat::from_array);
        let error = half_skew(&(Mat3::from_quat(before).transpose() * *measured));
        let half_angle = (rate * self.period_s + error * self.correction_gain) * 0.5;
        let after = before + before * Quat::from_xyzw(half_angle.x, half_angle.y, half_angle.z, 0.0);
        let after = after * (1.0 / M::sqrt(after.length_squared()));
        self.state.camera = Some(after.to_array());
        self.state.gyro_bias_rad_s =
            Vector::from_glam(self.state.gyro_bias_rad_s.glam() - error * self.bias_gain);
        Mat3::from_quat(after)
    }

    /// The attitude to reach, within the travel; the present one where the joint angles are undetermined.
    fn target(&self, craft: &Mat3, commanded: &Mat3, readings: &Readings) -> (Mat3, bool) {
        match Joints::from_rotation::<M>(&(craft.transpose() * *commanded)) {
            Some(joints) => match joints.within(&self.travel) {
                (_, false) => (*commanded, false),
                (limited, true) => (*craft * limited.rotation(), true),
            },
            None => (*craft * readings.joints.rotation(), true),
        }
    }
}

/// Axis times sine of the angle of the rotation `m`.
fn half_skew(m: &Mat3) -> Vec3 {
    0.5 * Vec3::new(m.y_axis.z - m.z_axis.y, m.z_axis.x - m.x_axis.z, m.x_axis.y - m.y_axis.x)
}

#[cfg(test)]
mod tests;
