//! Wind from the drag of the rotors.

use crate::error::{ConfigError, require_positive};
use crate::frames::{Attitude, Body, Horizontal, Vector, World};

/// Time constant in s of the low-pass on the wind estimate, which averages turbulence and the noise of the
/// accelerometer (common practice, no source).
pub const WIND_TIME_CONSTANT_S: f32 = 2.0;
/// A specific force beyond 316 m/s2 (32 g), squared, is no measurement.
const MAX_FORCE_SQUARED: f32 = 1e5;

/// Horizontal wind from the rotors' drag, which the accelerometer measures in the rotor plane:
/// `f_xy = -d v_air,xy` with the drag per mass d in 1/s (R. Mahony, V. Kumar, P. Corke, IEEE Robotics and
/// Automation Magazine 19(3):20-32, 2012), hence
///
/// ```text
/// wind = v - R (-f_x/d, -f_y/d, (R' v)_z),    low-passed with 2 s
/// ```
///
/// The part along the thrust is not observable; there the air counts as still.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WindEstimator {
    /// `None` without a known drag.
    seconds_per_drag: Option<f32>,
    gain: f32,
    state: WindState,
}

/// State of a [`WindEstimator`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct WindState {
    /// Wind in m/s, the direction that it blows towards.
    pub wind_m_s: Horizontal,
    /// The last tick updated the wind.
    pub is_valid: bool,
}

impl WindEstimator {
    /// From the rotors' drag over mass in 1/s, `None` for no estimate, and a fixed period in s.
    ///
    /// # Errors
    /// Names `rotor_drag_per_s` when it is not finite or not positive.
    pub fn new(rotor_drag_per_s: Option<f32>, period_s: f32) -> Result<Self, ConfigError> {
        let drag = rotor_drag_per_s.map(|drag| require_positive("rotor_drag_per_s", drag)).transpose()?;
        Ok(Self {
            seconds_per_drag: drag.map(|drag| 1.0 / drag),
            gain: period_s / (WIND_TIME_CONSTANT_S + period_s),
            state: WindState::default(),
        })
    }

    /// One tick in flight: attitude, specific force of the centre of mass in m/s2 (not finite: no
    /// measurement) and velocity over ground in m/s, `None` on the ground or where it is not known. Without
    /// any of them the wind is kept and not valid.
    pub fn step(
        &mut self,
        attitude: Attitude,
        specific_force_m_s2: Vector<Body>,
        velocity_m_s: Option<Vector<World>>,
    ) -> WindState {
        self.state.is_valid = false;
        if let (Some(seconds_per_drag), Some(velocity)) = (self.seconds_per_drag, velocity_m_s)
            && specific_force_m_s2.norm_squared() < MAX_FORCE_SQUARED
        {
            let along_thrust = attitude.to_body(velocity).z();
            let [x, y, _] = (specific_force_m_s2 * -seconds_per_drag).to_array();
            let wind = velocity - attitude.to_world(Vector::new(x, y, along_thrust));
            self.state.wind_m_s += (wind.horizontal() - self.state.wind_m_s) * self.gain;
            self.state.is_valid = true;
        }
        self.state
    }

    /// Initialises the state: no wind.
    pub fn reset(&mut self) {
        self.state = WindState::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> WindState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: WindState) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    #[test]
    fn hover_tilted_into_the_wind_gives_the_wind() {
        // Wind of 4 m/s to the south, heading east, still over ground: the air comes from the left, at
        // -v_wind in the body.
        let mut estimator = WindEstimator::new(Some(0.25), 1e-3).unwrap();
        let attitude = Attitude::from_angles::<Libm>(0.0, 0.0, core::f32::consts::FRAC_PI_2);
        let air: Vector<Body> = attitude.to_body(Vector::new(4.0, 0.0, 0.0));
        let force = Vector::new(-0.25 * air.x(), -0.25 * air.y(), -9.8);
        let after = |estimator: &mut WindEstimator, ticks: u32| {
            (0..ticks).map(|_| estimator.step(attitude, force, Some(Vector::ZERO))).last().unwrap()
        };
        // One time constant: 1 - 1/e.
        let one = after(&mut estimator, 2000).wind_m_s;
        assert!((one.north + 4.0 * 0.632).abs() < 0.01 && one.east.abs() < 1e-4, "{one:?}");
        let end = after(&mut estimator, 20_000);
        assert!((end.wind_m_s.north + 4.0).abs() < 1e-3 && end.is_valid);
        // Without a velocity the wind is kept and not valid.
        let kept = estimator.step(attitude, force, None);
        assert!(kept.wind_m_s == end.wind_m_s && !kept.is_valid);
        let nan = Vector::new(f32::NAN, 0.0, 0.0);
        assert!(!estimator.step(attitude, nan, Some(Vector::ZERO)).is_valid);
        assert!(!WindEstimator::new(None, 1e-3).unwrap().step(attitude, force, Some(Vector::ZERO)).is_valid);
    }
}
