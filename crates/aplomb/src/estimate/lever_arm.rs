//! Specific force at the centre of mass from a sensor at another position.

use crate::error::{ConfigError, require_positive, require_within};
use crate::frames::{Body, Vector};

/// Time constant in s of the low-pass on the angular acceleration: a few ticks at 1 kHz, short beside a rotor
/// time constant (common practice, no source).
const LOW_PASS_S: f32 = 0.005;

/// Removes the motion of the sensor about the centre of mass from the specific force (rigid-body kinematics,
/// for example D. Titterton, J. Weston, Strapdown Inertial Navigation Technology, 2nd ed. 2004, chapter 4):
///
/// ```text
/// f = f_sensor - w' x r - w x (w x r)
/// ```
///
/// The angular acceleration w' is the derivative of the rate, low-passed with 5 ms.
///
/// ```
/// use aplomb::{estimate::LeverArm, frames::Vector};
/// // 0.1 m ahead at a steady 10 rad/s: 10 m/s2 towards the centre.
/// let mut arm = LeverArm::new(Vector::new(0.1, 0.0, 0.0), 1e-3).unwrap();
/// let mut force = Vector::ZERO;
/// for _ in 0..100 {
///     force = arm.step(Vector::new(0.0, 0.0, 10.0), Vector::new(-10.0, 0.0, -9.81));
/// }
/// assert!((force - Vector::new(0.0, 0.0, -9.81)).norm_squared() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LeverArm {
    arm_m: Vector<Body>,
    period_s: f32,
    state: LeverArmState,
}

/// State of a [`LeverArm`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct LeverArmState {
    /// Low-passed rate in rad/s.
    rate_rad_s: Vector<Body>,
}

impl LeverArm {
    /// For a sensor at `position_m` from the centre of mass, each component within 1 m, and a fixed period in
    /// s.
    ///
    /// # Errors
    /// Names `imu_position_m` or `period_s`.
    pub fn new(position_m: Vector<Body>, period_s: f32) -> Result<Self, ConfigError> {
        for x in position_m.to_array() {
            require_within("imu_position_m", x, -1.0, 1.0)?;
        }
        let period_s = require_positive("period_s", period_s)?;
        Ok(Self { arm_m: position_m, period_s, state: LeverArmState::default() })
    }

    /// One tick: rate without bias in rad/s and specific force of the sensor in m/s2. Returns the specific
    /// force of the centre of mass.
    #[must_use]
    pub fn step(&mut self, rate_rad_s: Vector<Body>, specific_force_m_s2: Vector<Body>) -> Vector<Body> {
        let state = &mut self.state;
        let acceleration = (rate_rad_s - state.rate_rad_s) * (1.0 / (LOW_PASS_S + self.period_s));
        state.rate_rad_s += acceleration * self.period_s;
        specific_force_m_s2 - acceleration.cross(self.arm_m) - rate_rad_s.cross(rate_rad_s.cross(self.arm_m))
    }

    /// Initialises the state: rate 0.
    pub fn reset(&mut self) {
        self.state = LeverArmState::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> LeverArmState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: LeverArmState) {
        self.state = state;
    }
}
