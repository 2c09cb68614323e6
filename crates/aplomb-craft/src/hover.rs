//! Rotor speeds and commands in hover.

use crate::battery::Battery;
use crate::config::Config;
use crate::error::{ConfigError, Reason, fail};
use crate::motor::Motor;
use crate::propulsion::Medium;
use crate::rotor::Propeller;
use crate::{ROTORS, Rotors};

/// Hover at the start.
pub(crate) struct Hover {
    pub(crate) speeds: [f64; ROTORS],
    pub(crate) command: Rotors<f64>,
    pub(crate) current_a: f64,
}

impl Hover {
    pub(crate) fn find(
        config: &Config,
        battery: &Battery,
        medium: &Medium,
        weight_n: f64,
    ) -> Result<Hover, ConfigError> {
        let rotor = &config.rotor;
        let (motor, propeller) = (Motor::new(rotor, 1.0), Propeller::new(rotor));
        let (kt, kq) = (rotor.thrust_n_s2 * medium.density_ratio, rotor.torque_nm_s2 * medium.density_ratio);
        let mut arms_nm_n = [rotor.torque_nm_s2 / rotor.thrust_n_s2; ROTORS];
        let mut speeds = [0.0; ROTORS];
        let mut torques = [0.0; ROTORS];
        // The ratio of torque to thrust depends weakly on the speed: a few iterations suffice.
        for _ in 0..12 {
            let Some(thrust) = config.trim(weight_n, &arms_nm_n) else {
                return fail("arms", Reason::NoTrim);
            };
            speeds = thrust.map(|thrust| propeller.speed_at(thrust / kt, medium.reynolds_ratio));
            torques = speeds.map(|speed| kq * propeller.still(speed, medium.reynolds_ratio).torque[0]);
            for i in 0..ROTORS {
                if thrust[i] > 0.0 {
                    arms_nm_n[i] = torques[i] / thrust[i];
                }
            }
        }
        let steady: [(f64, f64); ROTORS] = core::array::from_fn(|i| {
            if speeds[i] > 0.0 { motor.steady(speeds[i], torques[i]) } else { (0.0, 0.0) }
        });
        let power: f64 = steady.iter().map(|(volts, amps)| volts * amps).sum();
        let command = battery.voltage_at_power(power).map(|voltage| steady.map(|(volts, _)| volts / voltage));
        let held = |(_, amps): &(f64, f64)| rotor.current_limit_a.is_none_or(|limit| *amps <= limit);
        match command {
            Some(command) if command.iter().all(|&share| share <= 1.0) && steady.iter().all(held) => {
                let current_a = (0..ROTORS).map(|i| command[i] * steady[i].1).sum();
                Ok(Hover { speeds, command: Rotors::from_array(command), current_a })
            }
            _ => fail("rotor", Reason::CannotHover),
        }
    }
}
