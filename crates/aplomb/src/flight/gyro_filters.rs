//! The filters between the estimated body rate and the rate controller: a notch for each rotor, then a
//! second-order low-pass.

use super::Config;
use super::notches::{RotorNotches, RotorNotchesState};
use crate::error::Part;
use crate::filter::{Biquad, BiquadState};
use crate::frames::{Body, Vector};
use crate::math::{Libm, Math};
use crate::{ConfigError, ROTORS, Rotors, STANDARD_GRAVITY_M_S2};

/// Notches and low-pass on the body rate.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GyroFilters<M = Libm> {
    notches: Option<RotorNotches<M>>,
    low_pass: Biquad,
    axes: Option<[BiquadState; 3]>,
}

/// State of [`GyroFilters`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct GyroFiltersState {
    notches: Option<RotorNotchesState>,
    /// `None` before the first step.
    axes: Option<[BiquadState; 3]>,
}

impl<M: Math> GyroFilters<M> {
    /// From the whole configuration; the period is one tick.
    ///
    /// # Errors
    /// Names the field, of the part `notch` or `gyro_cutoff_hz`.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = 1.0 / config.tick_hz;
        let hover_n = config.thrust.mass_kg * STANDARD_GRAVITY_M_S2 / ROTORS as f32;
        let rotor_time_constant_s = config.attitude.rotor_time_constant_s;
        Ok(Self {
            notches: RotorNotches::new(&config.notch, hover_n, rotor_time_constant_s, period_s)
                .map_err(|error| error.within(Part::Notch))?,
            low_pass: Biquad::low_pass(config.gyro_cutoff_hz, period_s)
                .map_err(|error| ConfigError::new("gyro_cutoff_hz", error.problem))?,
            axes: None,
        })
    }

    /// One tick: the filtered body rate in rad/s, with the rotor speeds in rad/s where they are reported and
    /// the thrusts in N allocated on the last tick. The first step initialises the filters at
    /// their steady state.
    #[must_use]
    pub fn step(
        &mut self,
        rate_rad_s: Vector<Body>,
        reported_rad_s: Option<&Rotors<f32>>,
        thrust_n: &Rotors<f32>,
    ) -> Vector<Body> {
        let low_pass = &self.low_pass;
        let mut axes = self.axes.unwrap_or_else(|| {
            if let Some(notches) = &mut self.notches {
                notches.initialise(rate_rad_s);
            }
            rate_rad_s.to_array().map(|rate| low_pass.steady_state(rate))
        });
        let notched = match &mut self.notches {
            Some(notches) => notches.step(rate_rad_s, reported_rad_s, thrust_n),
            None => rate_rad_s,
        };
        let [roll, pitch, yaw] = &mut axes;
        let filtered = Vector::new(
            low_pass.step(roll, notched.x()),
            low_pass.step(pitch, notched.y()),
            low_pass.step(yaw, notched.z()),
        );
        self.axes = Some(axes);
        filtered
    }

    /// The next step initialises the filters at their steady state for its rate.
    pub fn reset(&mut self) {
        self.axes = None;
    }

    /// Delay of a slow signal in s: h/(sqrt 2 tan(pi f h)) of the low-pass and h tan(pi B h)/(1 - cos(w h))
    /// of each rotor's notch at its present speed w.
    #[must_use]
    pub fn delay_s(&self) -> f32 {
        self.low_pass.delay_s() + self.notches.as_ref().map_or(0.0, RotorNotches::delay_s)
    }

    /// The state, to be saved.
    #[must_use]
    pub fn state(&self) -> GyroFiltersState {
        GyroFiltersState { notches: self.notches.as_ref().map(RotorNotches::state), axes: self.axes }
    }

    /// Continues from a saved state.
    pub fn set_state(&mut self, state: GyroFiltersState) {
        if let (Some(notches), Some(saved)) = (&mut self.notches, state.notches) {
            notches.set_state(saved);
        }
        self.axes = state.axes;
    }
}
