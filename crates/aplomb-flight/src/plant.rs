//! What is flown.

use aplomb_craft::gimbal::BaseMotion;
use aplomb_craft::glam::DVec3;
use aplomb_craft::{AirConfig, Config, ConfigError, Fault, Readings, Rotors, Start, Truth};

/// A simulated craft in its air, advanced by one control period at a time.
///
/// [`aplomb_craft::Plant`] is one; so is any other model that gives the same readings.
pub trait Plant: Clone {
    /// The craft at the start, with `faults`. `tick_s` is the control period in s; all noise comes from
    /// `seed`.
    ///
    /// # Errors
    /// Names the first invalid field.
    fn new(
        config: &Config,
        air: &AirConfig,
        start: &Start,
        faults: &[Fault],
        seed: u64,
        tick_s: f64,
    ) -> Result<Self, ConfigError>;

    /// Samples of the current tick.
    fn sense(&mut self) -> Readings;

    /// Advances by one tick with the commands (0 to 1) at the speed controllers.
    fn advance(&mut self, command: Rotors<f64>);

    /// Sets an external force in N (world axes: north, east, down) and torque in N m (body axes) at the
    /// centre of mass, constant until the next call.
    fn push(&mut self, force_n_world: DVec3, torque_nm_body: DVec3);

    /// True state at the current tick.
    fn truth(&self) -> Truth;

    /// Motion of the frame at the current tick, the base of a gimbal.
    fn base_motion(&self) -> BaseMotion;
}

impl Plant for aplomb_craft::Plant {
    fn new(
        config: &Config,
        air: &AirConfig,
        start: &Start,
        faults: &[Fault],
        seed: u64,
        tick_s: f64,
    ) -> Result<Self, ConfigError> {
        Self::new(config, air, start, seed, tick_s)?.with_faults(faults)
    }

    #[inline]
    fn sense(&mut self) -> Readings {
        self.sense()
    }

    #[inline]
    fn advance(&mut self, command: Rotors<f64>) {
        self.advance(command);
    }

    fn push(&mut self, force_n_world: DVec3, torque_nm_body: DVec3) {
        self.push(force_n_world, torque_nm_body);
    }

    #[inline]
    fn truth(&self) -> Truth {
        self.truth()
    }

    #[inline]
    fn base_motion(&self) -> BaseMotion {
        self.base_motion()
    }
}
