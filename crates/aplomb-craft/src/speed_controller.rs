//! Speed controllers: quantisation, delay and slew rate of the motor commands.

use crate::error::{ConfigError, Reason, fail, not_negative, positive, within};
use crate::lanes::{each, larger, nearest, smaller};
use crate::visit::Visit;
use crate::{ROTORS, Rotors};

/// Length of the command history in ticks.
const HISTORY: usize = 32;

/// Parameters of all four speed controllers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Number of steps between command 0 and 1; 0 for continuous.
    pub steps: u32,
    /// Delay from the command to its effect (s), rounded to ticks, at most 31 of them.
    pub delay_s: f64,
    /// Commands below this stop the motor.
    pub stop_below: f64,
    /// Largest rate of change of the command (1/s); `None` for no limit. It does not apply to a stop.
    pub slew_per_s: Option<f64>,
}

impl Config {
    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        not_negative("speed_controller.delay_s", self.delay_s)?;
        if self.delay_s / tick_s + 0.5 >= HISTORY as f64 {
            return fail("speed_controller.delay_s", Reason::TooLong);
        }
        within("speed_controller.stop_below", self.stop_below, 0.0, 1.0)?;
        self.slew_per_s.map_or(Ok(()), |slew| positive("speed_controller.slew_per_s", slew))
    }
}

/// Commands in transit to the motors.
#[derive(Clone, Debug)]
pub(crate) struct SpeedControllers {
    steps: f64,
    per_step: f64,
    stop_below: f64,
    delay_ticks: usize,
    next: usize,
    queue: [[f64; ROTORS]; HISTORY],
    /// Largest change per tick, and the command in force.
    largest: f64,
    in_force: [f64; ROTORS],
}

impl SpeedControllers {
    /// Initialises with the command `in_force`.
    pub(crate) fn new(config: &Config, tick_s: f64, in_force: Rotors<f64>) -> Self {
        let in_force = in_force.into_array();
        let steps = f64::from(config.steps);
        SpeedControllers {
            steps,
            per_step: if config.steps == 0 { 0.0 } else { 1.0 / steps },
            stop_below: config.stop_below,
            delay_ticks: libm::floor(config.delay_s / tick_s + 0.5) as usize,
            next: 0,
            queue: [in_force; HISTORY],
            largest: config.slew_per_s.map_or(f64::INFINITY, |slew| slew * tick_s),
            in_force,
        }
    }

    /// Takes the command of this tick, returns the one in force. NaN counts as 0; others are clamped to 0..1.
    #[inline]
    pub(crate) fn advance(&mut self, command: Rotors<f64>) -> Rotors<f64> {
        let command = command.into_array();
        self.queue[self.next] = each(|i| self.round(command[i]));
        let arrived = self.queue[(self.next + HISTORY - self.delay_ticks) % HISTORY];
        self.next = (self.next + 1) % HISTORY;
        let (last, largest) = (self.in_force, self.largest);
        self.in_force = each(|i| {
            let held = larger(smaller(arrived[i], last[i] + largest), last[i] - largest);
            if arrived[i] > 0.0 { held } else { 0.0 }
        });
        Rotors::from_array(self.in_force)
    }

    /// Visits the commands in transit, the newest first, and the ones in force.
    pub(crate) fn visit(&mut self, visit: &mut Visit) {
        for age in 0..self.delay_ticks {
            let place = (self.next + HISTORY - 1 - age) % HISTORY;
            for (i, command) in self.queue[place].iter_mut().enumerate() {
                visit("speed_controller.in_transit", ROTORS * age + i, Some(command));
            }
        }
        self.in_force.iter_mut().enumerate().for_each(|(i, command)| {
            visit("speed_controller.in_force", i, Some(command));
        });
    }

    #[inline(always)]
    fn round(&self, share: f64) -> f64 {
        // Written so that NaN fails the comparison and becomes 0.
        let held = if share >= self.stop_below { share.clamp(0.0, 1.0) } else { 0.0 };
        if self.per_step == 0.0 { held } else { nearest(held * self.steps) * self.per_step }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn config() -> Config {
        Config { steps: 100, delay_s: 0.002, stop_below: 0.05, slew_per_s: None }
    }

    #[test]
    fn command_is_delayed_and_quantised() {
        let mut controllers = SpeedControllers::new(&config(), 0.001, Rotors::splat(0.0));
        assert_eq!(controllers.advance(Rotors::splat(0.5049)).front_left, 0.0);
        assert_eq!(controllers.advance(Rotors::splat(0.0)).front_left, 0.0);
        assert_eq!(controllers.advance(Rotors::splat(0.0)).front_left, 0.5);
        assert_eq!(controllers.advance(Rotors::splat(0.0)).front_left, 0.0);
        let mut prompt =
            SpeedControllers::new(&Config { delay_s: 0.0, steps: 0, ..config() }, 0.001, Rotors::splat(0.0));
        assert_eq!(prompt.advance(Rotors::splat(0.5049)).rear_right, 0.5049);
    }

    #[test]
    fn slew_rate_is_limited_except_for_a_stop() {
        let at = |slew_per_s, command: &[f64]| {
            let config = Config { steps: 0, delay_s: 0.0, slew_per_s, ..config() };
            let mut controllers = SpeedControllers::new(&config, 0.001, Rotors::splat(0.5));
            command
                .iter()
                .map(|&share| controllers.advance(Rotors::splat(share)).rear_left)
                .collect::<Vec<_>>()
        };
        let close = |found: Vec<f64>, expected: &[f64]| {
            assert!(found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?} {expected:?}");
        };
        // 20 1/s: 0.02 in a millisecond.
        close(at(Some(20.0), &[0.55, 0.55, 0.55, 0.4, 0.0]), &[0.52, 0.54, 0.55, 0.53, 0.0]);
        // The twin: without the limit the command acts at once.
        close(at(None, &[0.55, 0.55, 0.55, 0.4, 0.0]), &[0.55, 0.55, 0.55, 0.4, 0.0]);
    }

    #[test]
    fn out_of_range_commands_are_clamped() {
        let mut controllers =
            SpeedControllers::new(&Config { delay_s: 0.0, ..config() }, 0.001, Rotors::splat(0.0));
        for (command, expected) in [
            (f64::NAN, 0.0),
            (f64::INFINITY, 1.0),
            (f64::NEG_INFINITY, 0.0),
            (-0.2, 0.0),
            (1.7, 1.0),
            (0.049, 0.0),
        ] {
            assert_eq!(controllers.advance(Rotors::splat(command)).rear_left, expected, "{command}");
        }
    }

    #[test]
    fn bad_fields_are_named() {
        for bad in [f64::NAN, f64::INFINITY, -1.0, 0.032] {
            let config = Config { delay_s: bad, ..config() };
            assert_eq!(config.check(0.001).unwrap_err().field, "speed_controller.delay_s");
        }
        for bad in [f64::NAN, f64::INFINITY, -0.1, 0.0] {
            let config = Config { slew_per_s: Some(bad), ..config() };
            assert_eq!(config.check(0.001).unwrap_err().field, "speed_controller.slew_per_s");
        }
        for bad in [f64::NAN, f64::INFINITY, -0.1, 1.1] {
            let config = Config { stop_below: bad, ..config() };
            assert_eq!(config.check(0.001).unwrap_err().field, "speed_controller.stop_below");
        }
    }
}
