//! Rotor speeds and commands that carry the craft level and at rest.

use crate::air::Air;
use crate::battery::Battery;
use crate::config::Config;
use crate::error::{ConfigError, Reason, fail};
use crate::rotor::Motor;
use crate::rotors::Rotors;

/// Hover at the start.
pub(crate) struct Hover {
    pub(crate) speeds: [f64; 4],
    pub(crate) command: Rotors<f64>,
    pub(crate) current_a: f64,
}

impl Hover {
    pub(crate) fn find(
        config: &Config,
        motor: &Motor,
        battery: &Battery,
        air: &Air,
        weight_n: f64,
    ) -> Result<Hover, ConfigError> {
        let Some(thrust) = config.trim(weight_n) else {
            return fail("arms", Reason::NoTrim);
        };
        let ratio = air.density_ratio();
        let speeds = thrust.map(|thrust| libm::sqrt(thrust / (config.rotor.thrust_n_s2 * ratio)));
        let volts = speeds.map(|speed| if speed > 0.0 { motor.voltage_at(speed, ratio) } else { 0.0 });
        let power: f64 = (0..4).map(|i| volts[i] * motor.current(speeds[i], ratio)).sum();
        let command = battery.voltage_at_power(power).map(|voltage| volts.map(|needed| needed / voltage));
        match command {
            Some(command) if command.iter().all(|&share| share <= 1.0) => {
                let current_a = (0..4).map(|i| command[i] * motor.current(speeds[i], ratio)).sum();
                Ok(Hover { speeds, command: Rotors::from(command), current_a })
            }
            _ => fail("rotor", Reason::CannotHover),
        }
    }
}
