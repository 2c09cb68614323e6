//! What flies a craft.

use aplomb::record::Record;
use aplomb::{Command, ConfigError, FlightController, Math, MotorCommand, Rotors, Sensors, flight};

/// A controller: sensor samples and a command in, motor commands out, once a tick.
///
/// [`FlightController`] is one; so is any type that calls its parts and replaces some.
pub trait Controller: Clone {
    /// The controller with these settings.
    ///
    /// # Errors
    /// Names the first invalid field.
    fn new(settings: &flight::Config) -> Result<Self, ConfigError>;

    /// One tick.
    fn step(&mut self, sensors: &Sensors, command: &Command) -> Rotors<MotorCommand>;

    /// The signals of the last tick: they are the estimate, the set-points and the flags of the trace.
    fn record(&self) -> &Record;
}

impl<M: Math + Clone> Controller for FlightController<M> {
    fn new(settings: &flight::Config) -> Result<Self, ConfigError> {
        Self::new(settings)
    }

    #[inline]
    fn step(&mut self, sensors: &Sensors, command: &Command) -> Rotors<MotorCommand> {
        self.step(sensors, command)
    }

    #[inline]
    fn record(&self) -> &Record {
        self.record()
    }
}
