//! Motor on its speed controller: equivalent direct-current circuit, rotor inertia, current limit, braking.
//!
//! A command u applies the voltage u V to the winding: `I = (u V - Kt w)/R`, limited to the current limit.
//! The shaft follows `J dw/dt = Kt (I - I0) - Q(w)` with `Kt = 60/(2 pi Kv)` (Drela 2007, First-Order DC
//! Electric Motor Model, MIT; from memory). With active braking the current may be negative and slows the
//! rotor. A coasting controller allows no negative current, so only aerodynamic and no-load torque slow the
//! rotor. The battery current is `u I`.
//!
//! Over a tick the equation is linearised in the speed, `dw/dt = f + f' (w - w0)`, and solved exactly, which
//! is of second order in the tick. Near hover the local time constant is `J/(2 kQ w + Kt^2/R)`.

use crate::ROTORS;
use crate::lanes::{each, larger, smaller};
use crate::rotor::{Braking, Config};

/// Motor with precomputed coefficients.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Motor {
    pub(crate) torque_constant: f64,
    per_resistance: f64,
    resistance: f64,
    no_load_a: f64,
    limit_a: f64,
    coasts: bool,
    inertia: f64,
    per_inertia: f64,
    step_s: f64,
}

/// Change of the rotor speeds in the middle and at the end of a tick (rad/s), and the angular acceleration at
/// its end.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SpeedChange {
    pub(crate) middle: [f64; ROTORS],
    pub(crate) end: [f64; ROTORS],
    /// Angular acceleration at the end (rad/s2).
    pub(crate) end_rad_s2: [f64; ROTORS],
}

impl SpeedChange {
    /// Stops rotor `i` at a constant rate within one tick.
    pub(crate) fn halt(&mut self, i: usize, speed: f64, tick_s: f64) {
        self.middle[i] = -0.5 * speed;
        self.end[i] = -speed;
        self.end_rad_s2[i] = -speed / tick_s;
    }
}

impl Motor {
    pub(crate) fn new(config: &Config, step_s: f64) -> Self {
        Motor {
            torque_constant: config.torque_constant_nm_a(),
            per_resistance: 1.0 / config.resistance_ohm,
            resistance: config.resistance_ohm,
            no_load_a: config.no_load_current_a,
            limit_a: config.current_limit_a.unwrap_or(f64::INFINITY),
            coasts: config.braking == Braking::Coasting,
            inertia: config.inertia_kg_m2,
            per_inertia: 1.0 / config.inertia_kg_m2,
            step_s,
        }
    }

    /// Winding currents (A) and their derivatives by the voltage (A/V), zero at a limit.
    #[inline]
    pub(crate) fn draw(&self, voltage_v: &[f64; ROTORS], speed: &[f64; ROTORS]) -> [[f64; ROTORS]; 2] {
        let lowest = if self.coasts { 0.0 } else { -self.limit_a };
        let free = each(|i| (voltage_v[i] - self.torque_constant * speed[i]) * self.per_resistance);
        let held = each(|i| larger(smaller(free[i], self.limit_a), lowest));
        [held, each(|i| if held[i] == free[i] { self.per_resistance } else { 0.0 })]
    }

    /// Voltage and current of a steady `speed` against `torque_nm`.
    pub(crate) fn steady(&self, speed: f64, torque_nm: f64) -> (f64, f64) {
        let current = torque_nm / self.torque_constant + self.no_load_a;
        (self.torque_constant * speed + self.resistance * current, current)
    }

    /// Speed change over a tick from `speed` >= 0 against `torque_nm` with the derivative `torque_per_speed`.
    #[inline]
    pub(crate) fn speed_change(
        &self,
        voltage_v: &[f64; ROTORS],
        speed: &[f64; ROTORS],
        torque_nm: &[f64; ROTORS],
        torque_per_speed: &[f64; ROTORS],
    ) -> SpeedChange {
        let [current, per_volt] = self.draw(voltage_v, speed);
        let start_rad_s2 = each(|i| {
            let driving = self.torque_constant * (current[i] - self.no_load_a) - torque_nm[i];
            // The no-load torque holds a stopped rotor.
            if speed[i] > 0.0 || driving > 0.0 { driving * self.per_inertia } else { 0.0 }
        });
        let squared = self.torque_constant * self.torque_constant;
        let rate = each(|i| -(squared * per_volt[i] + torque_per_speed[i]) * self.per_inertia);
        let faster = |time_s: f64| -> [f64; ROTORS] {
            let share = share(&each(|i| rate[i] * time_s));
            each(|i| larger(start_rad_s2[i] * time_s * share[i], -speed[i]))
        };
        let (middle, end) = (faster(0.5 * self.step_s), faster(self.step_s));
        SpeedChange { middle, end, end_rad_s2: each(|i| start_rad_s2[i] + rate[i] * end[i]) }
    }

    /// Moment of inertia of propeller and bell (kg m2).
    #[inline]
    pub(crate) fn inertia_kg_m2(&self) -> f64 {
        self.inertia
    }
}

/// `(e^z - 1)/z`; for the small z of a tick by its series, within 5e-7.
#[inline]
fn share(z: &[f64; ROTORS]) -> [f64; ROTORS] {
    if z.iter().all(|z| z.abs() < 0.2) {
        return each(|i| {
            let z = z[i];
            1.0 + z * (0.5 + z * (1.0 / 6.0 + z * (1.0 / 24.0 + z * (1.0 / 120.0))))
        });
    }
    z.map(|z| if z == 0.0 { 1.0 } else { libm::expm1(z) / z })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn motor(braking: Braking, current_limit_a: Option<f64>) -> Motor {
        let config = Config { braking, current_limit_a, ..crate::Config::weir_gauge().rotor };
        Motor::new(&config, 0.001)
    }

    impl Motor {
        /// Current of one rotor and its derivative by the voltage.
        fn one_draws(&self, voltage_v: f64, speed: f64) -> (f64, f64) {
            let [current, slope] = self.draw(&[voltage_v; ROTORS], &[speed; ROTORS]);
            (current[2], slope[2])
        }

        /// Speed change of one rotor at the end of a tick, and its angular acceleration there.
        fn one_turns(&self, voltage_v: f64, speed: f64, torque: f64, per_speed: f64) -> (f64, f64) {
            let speed_change = self.speed_change(
                &[voltage_v; ROTORS],
                &[speed; ROTORS],
                &[torque; ROTORS],
                &[per_speed; ROTORS],
            );
            (speed_change.end[1], speed_change.end_rad_s2[1])
        }

        /// Angular acceleration at once.
        fn starts(&self, voltage_v: f64, speed: f64, torque: f64, per_speed: f64) -> f64 {
            Motor { step_s: 0.0, ..*self }.one_turns(voltage_v, speed, torque, per_speed).1
        }
    }

    #[test]
    fn exponential_series_is_accurate() {
        for step in -200..=50 {
            let z = f64::from(step) * 1e-3 + 1e-12;
            assert!((share(&[z; ROTORS])[3] / (libm::expm1(z) / z) - 1.0).abs() < 5e-7, "{z}");
        }
    }

    #[test]
    fn acceleration_draws_more_than_the_steady_current() {
        let motor = motor(Braking::Active, None);
        let (voltage, current) = motor.steady(600.0, 0.04);
        assert!((motor.one_draws(voltage, 600.0).0 - current).abs() < 1e-9);
        // 1 V more drives 1 V over R more current at once; the twin is in steady state.
        let more = motor.one_draws(voltage + 1.0, 600.0).0;
        assert!((more - current - 10.0).abs() < 1e-9, "{more}");
        let start_rad_s2 = motor.starts(voltage + 1.0, 600.0, 0.04, 1.4e-4);
        assert!((start_rad_s2 * motor.inertia - motor.torque_constant * 10.0).abs() < 1e-9);
        assert!(motor.one_turns(voltage, 600.0, 0.04, 1.4e-4).0.abs() < 1e-9);
    }

    #[test]
    fn current_limit_acts_in_both_directions() {
        let motor = motor(Braking::Active, Some(20.0));
        assert_eq!(motor.one_draws(11.0, 0.0), (20.0, 0.0));
        assert_eq!(motor.one_draws(0.0, 900.0), (-20.0, 0.0));
        let start_rad_s2 = motor.starts(11.0, 0.0, 0.0, 0.0);
        assert!((start_rad_s2 * motor.inertia - motor.torque_constant * 19.5).abs() < 1e-9);
    }

    #[test]
    fn coasting_is_slower_than_braking() {
        let slowed = |braking| motor(braking, None).one_turns(2.0, 600.0, 0.04, 1.4e-4).0;
        let (braked, coasted) = (slowed(Braking::Active), slowed(Braking::Coasting));
        // Aerodynamic and no-load torque only: (0.04 + Kt I0)/J for a millisecond.
        let kt = motor(Braking::Coasting, None).torque_constant;
        let expected = -(0.04 + kt * 0.5) / motor(Braking::Coasting, None).inertia * 1e-3;
        assert!((coasted / expected - 1.0).abs() < 2e-3, "{coasted} {expected}");
        assert!(braked < 2.0 * coasted, "{braked} {coasted}");
    }

    #[test]
    fn validate_worked_case_is_the_steady_state() {
        // Drela 2007: Kv 920 rpm/V, R 0.117 ohm, I0 0.5 A, kQ 7.9384e-8 N m s2, J 3e-5 kg m2; voltage, speed,
        // current.
        let config = Config {
            kv_rpm_per_v: 920.0,
            resistance_ohm: 0.117,
            no_load_current_a: 0.5,
            inertia_kg_m2: 3e-5,
            current_limit_a: None,
            ..crate::Config::weir_gauge().rotor
        };
        let settled = |config: &Config, voltage_v: f64| {
            let motor = Motor::new(config, 0.001);
            let speed = (0..1000).fold(0.0, |speed, _| {
                let torque = 7.9384e-8 * speed * speed;
                speed + motor.one_turns(voltage_v, speed, torque, 2.0 * torque / f64::max(speed, 1e-9)).0
            });
            (speed, motor.one_draws(voltage_v, speed).0)
        };
        for (voltage_v, speed, current_a) in [(7.4, 668.742, 3.9203), (11.1, 980.827, 7.8576)] {
            let found = settled(&config, voltage_v);
            assert!(
                (found.0 / speed - 1.0).abs() < 1e-5 && (found.1 / current_a - 1.0).abs() < 1e-4,
                "{found:?}"
            );
            // The twin: without the no-load current the speed error exceeds 0.1 %.
            let free = settled(&Config { no_load_current_a: 0.0, ..config }, voltage_v);
            assert!((free.0 / speed - 1.0).abs() > 1e-3, "{free:?}");
        }
    }

    #[test]
    fn rotor_stops_and_does_not_reverse() {
        let motor = motor(Braking::Active, None);
        let mut speed = 300.0;
        for _ in 0..2000 {
            speed += motor.one_turns(0.0, speed, 1e-7 * speed * speed, 2e-7 * speed).0;
        }
        assert_eq!(speed, 0.0);
        // Below the voltage of the no-load current it stays stopped.
        assert_eq!(motor.one_turns(0.04, 0.0, 0.0, 0.0).0, 0.0);
        assert!(motor.one_turns(0.06, 0.0, 0.0, 0.0).0 > 0.0);
    }
}
