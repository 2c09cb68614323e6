//! One motor on its speed controller: equivalent direct-current circuit, rotor inertia, current limit, braking.
//!
//! A command u puts the voltage u V on the winding: `I = (u V - Kt w)/R`, held to the current limit. The shaft follows
//! `J dw/dt = Kt (I - I0) - Q(w)` with `Kt = 60/(2 pi Kv)` (Drela 2007, First-Order DC Electric Motor Model, MIT; from
//! memory). With active braking the current may turn round and slow the rotor down. A coasting controller lets no current
//! back, so that only the air and the no-load torque do. The battery gives `u I`.
//!
//! Over a tick the equation is taken as linear in the speed, `dw/dt = f + f' (w - w0)`, and solved exactly, which is of
//! second order in the tick; near hover the local time constant is `J/(2 kQ w + Kt^2/R)`.

use crate::rotor::{Braking, Config};

/// The motor with everything a tick needs worked out.
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

/// Speed of one rotor over a tick: how much faster it is in the middle and at the end (rad/s), and how fast that changes.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Course {
    pub(crate) middle: f64,
    pub(crate) end: f64,
    /// Angular acceleration at the start (rad/s2), and its change by speed (1/s).
    pub(crate) start_rad_s2: f64,
    pub(crate) rate: f64,
}

impl Course {
    /// Stops a rotor evenly within one tick.
    pub(crate) fn halt(speed: f64, tick_s: f64) -> Self {
        Course { middle: -0.5 * speed, end: -speed, start_rad_s2: -speed / tick_s, rate: 0.0 }
    }

    /// Angular acceleration once the rotor is `faster` (rad/s2).
    #[inline]
    pub(crate) fn acceleration(&self, faster: f64) -> f64 {
        self.start_rad_s2 + self.rate * faster
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

    /// Winding current (A), and how it changes by the voltage (A/V): not at all at a limit.
    #[inline]
    pub(crate) fn draw(&self, voltage_v: f64, speed: f64) -> (f64, f64) {
        let free = (voltage_v - self.torque_constant * speed) * self.per_resistance;
        let lowest = if self.coasts { 0.0 } else { -self.limit_a };
        let held = free.min(self.limit_a).max(lowest);
        (held, if held == free { self.per_resistance } else { 0.0 })
    }

    /// Voltage and current that hold `speed` against `torque_nm`.
    pub(crate) fn steady(&self, speed: f64, torque_nm: f64) -> (f64, f64) {
        let current = torque_nm / self.torque_constant + self.no_load_a;
        (self.torque_constant * speed + self.resistance * current, current)
    }

    /// Course over a tick from `speed` >= 0 against `torque_nm`, which changes by `torque_per_speed`.
    #[inline]
    pub(crate) fn course(&self, voltage_v: f64, speed: f64, torque_nm: f64, torque_per_speed: f64) -> Course {
        let (current, per_volt) = self.draw(voltage_v, speed);
        let driving = self.torque_constant * (current - self.no_load_a) - torque_nm;
        if speed <= 0.0 && driving <= 0.0 {
            // The no-load torque holds a rotor that stands.
            return Course::default();
        }
        let stiffness = self.torque_constant * self.torque_constant * per_volt;
        let start_rad_s2 = driving * self.per_inertia;
        let rate = -(stiffness + torque_per_speed) * self.per_inertia;
        let faster = |time_s: f64| (start_rad_s2 * time_s * share(rate * time_s)).max(-speed);
        Course { middle: faster(0.5 * self.step_s), end: faster(self.step_s), start_rad_s2, rate }
    }

    /// Moment of inertia of propeller and bell (kg m2).
    #[inline]
    pub(crate) fn inertia_kg_m2(&self) -> f64 {
        self.inertia
    }
}

/// `(e^z - 1)/z`; within 1e-6 of it for the small z of a tick.
#[inline]
fn share(z: f64) -> f64 {
    if z.abs() < 0.2 { 1.0 / (1.0 + z * (-0.5 + z * (1.0 / 12.0))) } else { libm::expm1(z) / z }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn motor(braking: Braking, current_limit_a: Option<f64>) -> Motor {
        let config = Config { braking, current_limit_a, ..crate::Config::weir_gauge().rotor };
        Motor::new(&config, 0.001)
    }

    #[test]
    fn short_form_of_the_exponential_is_it() {
        for step in -200..=50 {
            let z = f64::from(step) * 1e-3 + 1e-12;
            assert!((share(z) / (libm::expm1(z) / z) - 1.0).abs() < 3e-6, "{z}");
        }
    }

    #[test]
    fn speeding_up_draws_more_than_the_steady_current() {
        let motor = motor(Braking::Active, None);
        let (voltage, current) = motor.steady(600.0, 0.04);
        assert!((motor.draw(voltage, 600.0).0 - current).abs() < 1e-9);
        // 1 V more at once drives 1 V over R more current through the winding; the twin has settled.
        let more = motor.draw(voltage + 1.0, 600.0).0;
        assert!((more - current - 10.0).abs() < 1e-9, "{more}");
        let course = motor.course(voltage + 1.0, 600.0, 0.04, 1.4e-4);
        assert!((course.start_rad_s2 * motor.inertia - motor.torque_constant * 10.0).abs() < 1e-9);
        assert!(motor.course(voltage, 600.0, 0.04, 1.4e-4).end.abs() < 1e-9);
    }

    #[test]
    fn current_limit_binds_both_ways() {
        let motor = motor(Braking::Active, Some(20.0));
        assert_eq!(motor.draw(11.0, 0.0), (20.0, 0.0));
        assert_eq!(motor.draw(0.0, 900.0), (-20.0, 0.0));
        let course = motor.course(11.0, 0.0, 0.0, 0.0);
        assert!((course.start_rad_s2 * motor.inertia - motor.torque_constant * 19.5).abs() < 1e-9);
    }

    #[test]
    fn coasting_is_slower_than_braking() {
        let slowed = |braking| motor(braking, None).course(2.0, 600.0, 0.04, 1.4e-4).end;
        let (braked, coasted) = (slowed(Braking::Active), slowed(Braking::Coasting));
        // Only air and no-load torque: (0.04 + Kt I0)/J for a millisecond.
        let kt = motor(Braking::Coasting, None).torque_constant;
        let expected = -(0.04 + kt * 0.5) / motor(Braking::Coasting, None).inertia * 1e-3;
        assert!((coasted / expected - 1.0).abs() < 2e-3, "{coasted} {expected}");
        assert!(braked < 2.0 * coasted, "{braked} {coasted}");
    }

    #[test]
    fn validate_worked_case_is_where_the_rotor_settles() {
        // Drela 2007: Kv 920 rpm/V, R 0.117 ohm, I0 0.5 A, kQ 7.9384e-8 N m s2, J 3e-5 kg m2; voltage, speed, current.
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
                speed + motor.course(voltage_v, speed, torque, 2.0 * torque / f64::max(speed, 1e-9)).end
            });
            (speed, motor.draw(voltage_v, speed).0)
        };
        for (voltage_v, speed, current_a) in [(7.4, 668.742, 3.9203), (11.1, 980.827, 7.8576)] {
            let found = settled(&config, voltage_v);
            assert!(
                (found.0 / speed - 1.0).abs() < 1e-5 && (found.1 / current_a - 1.0).abs() < 1e-4,
                "{found:?}"
            );
            // The twin: without the no-load current the speed misses its 0.1 %.
            let free = settled(&Config { no_load_current_a: 0.0, ..config }, voltage_v);
            assert!((free.0 / speed - 1.0).abs() > 1e-3, "{free:?}");
        }
    }

    #[test]
    fn rotor_stops_and_does_not_turn_back() {
        let motor = motor(Braking::Active, None);
        let mut speed = 300.0;
        for _ in 0..2000 {
            speed += motor.course(0.0, speed, 1e-7 * speed * speed, 2e-7 * speed).end;
        }
        assert_eq!(speed, 0.0);
        // Under the voltage that the no-load current eats up it stays where it is.
        assert_eq!(motor.course(0.04, 0.0, 0.0, 0.0).end, 0.0);
        assert!(motor.course(0.06, 0.0, 0.0, 0.0).end > 0.0);
    }
}
