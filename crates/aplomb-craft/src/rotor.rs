//! One motor with its propeller: thrust and torque with the square of the speed, the motor's steady state, first-order lag.
//!
//! `T = kT (rho/1.225) w^2`, `Q = kQ (rho/1.225) w^2`. A command u gives the motor the voltage u V; its steady speed solves
//! `u V = Kt w + R (Q(w)/Kt + I0)` with `Kt = 60 / (2 pi Kv)` (Drela 2007, First-Order DC Electric Motor Model, MIT), and
//! the speed goes there with the time constant `lag_s`: `w(t) = w_s + (w_0 - w_s) e^(-t/lag)`, evaluated exactly.

use crate::error::{ConfigError, Reason, fail, not_negative, positive, within};
use core::f64::consts::PI;

/// One motor with its propeller; all four are alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Thrust over speed squared at 1.225 kg/m3, kT (N s2).
    pub thrust_n_s2: f64,
    /// Torque over speed squared at 1.225 kg/m3, kQ (N m s2).
    pub torque_nm_s2: f64,
    /// Moment of inertia of propeller and bell about the shaft (kg m2).
    pub inertia_kg_m2: f64,
    /// First-order time constant of the speed (s).
    pub lag_s: f64,
    /// Motor constant Kv (rpm/V).
    pub kv_rpm_per_v: f64,
    /// Winding resistance (ohm).
    pub resistance_ohm: f64,
    /// No-load current I0 (A).
    pub no_load_current_a: f64,
    /// Blades, 1 to 8.
    pub blades: u32,
    /// Imbalance: mass times its distance from the shaft (kg m).
    pub imbalance_kg_m: f64,
    /// Thrust ripple at blade-pass frequency as a share of the thrust, 0..1.
    pub blade_pass_share: f64,
}

/// kT (N s2) and kQ (N m s2) at 1.225 kg/m3 from the propeller coefficients `CT = T/(rho n^2 D^4)`, `CP = P/(rho n^3 D^5)`
/// (n in rev/s): `kT = CT rho D^4/(4 pi^2)`, `kQ = CP rho D^5/(8 pi^3)` (Deters, Ananda and Selig 2014, AIAA 2014-2151).
///
/// ```
/// let (thrust, torque) = aplomb_craft::rotor::from_coefficients(0.1087, 0.0464, 0.2032);
/// assert!((thrust - 5.7504e-6).abs() < 5e-11 && (torque - 7.9384e-8).abs() < 5e-13);
/// ```
pub fn from_coefficients(ct: f64, cp: f64, diameter_m: f64) -> (f64, f64) {
    let d2 = diameter_m * diameter_m;
    let dynamic = crate::atmosphere::SEA_LEVEL_DENSITY_KG_M3 * d2 * d2 / (4.0 * PI * PI);
    (ct * dynamic, cp * dynamic * diameter_m / (2.0 * PI))
}

impl Config {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        positive("rotor.thrust_n_s2", self.thrust_n_s2)?;
        positive("rotor.torque_nm_s2", self.torque_nm_s2)?;
        not_negative("rotor.inertia_kg_m2", self.inertia_kg_m2)?;
        positive("rotor.lag_s", self.lag_s)?;
        positive("rotor.kv_rpm_per_v", self.kv_rpm_per_v)?;
        positive("rotor.resistance_ohm", self.resistance_ohm)?;
        not_negative("rotor.no_load_current_a", self.no_load_current_a)?;
        if self.blades < 1 || self.blades > 8 {
            return fail("rotor.blades", Reason::OutOfRange(1.0, 8.0));
        }
        not_negative("rotor.imbalance_kg_m", self.imbalance_kg_m)?;
        within("rotor.blade_pass_share", self.blade_pass_share, 0.0, 1.0)
    }

    /// Torque per ampere, Kt (N m/A).
    ///
    /// ```
    /// let motor = aplomb_craft::Config::weir_gauge().rotor;
    /// assert!((motor.torque_constant_nm_a() * motor.kv_rpm_per_v - 9.5493).abs() < 1e-4);
    /// ```
    pub fn torque_constant_nm_a(&self) -> f64 {
        60.0 / (2.0 * PI * self.kv_rpm_per_v)
    }

    /// Speed (rad/s) at which the motor settles on `voltage_v`, at `density_ratio` = rho/1.225. Zero where the voltage does
    /// not overcome the no-load current.
    pub fn steady_speed_rad_s(&self, voltage_v: f64, density_ratio: f64) -> f64 {
        Motor::new(self, 1.0).steady_speed(voltage_v, density_ratio)
    }

    /// Current (A) that carries the propeller at `speed_rad_s`: `Q/Kt + I0`.
    pub fn steady_current_a(&self, speed_rad_s: f64, density_ratio: f64) -> f64 {
        self.torque_nm_s2 * density_ratio * speed_rad_s * speed_rad_s / self.torque_constant_nm_a()
            + self.no_load_current_a
    }
}

/// The motor with everything a tick needs worked out.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Motor {
    torque_constant: f64,
    drop_per_square: f64,
    no_load_drop_v: f64,
    current_per_square: f64,
    no_load_current_a: f64,
    pub(crate) per_lag: f64,
    decay_half: f64,
    decay_full: f64,
}

/// Speed of one rotor at the start, middle and end of a tick (rad/s).
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct SpeedCourse {
    pub(crate) middle: f64,
    pub(crate) end: f64,
    pub(crate) target: f64,
}

impl Motor {
    pub(crate) fn new(config: &Config, tick_s: f64) -> Self {
        let torque_constant = config.torque_constant_nm_a();
        Motor {
            torque_constant,
            drop_per_square: config.resistance_ohm * config.torque_nm_s2 / torque_constant,
            no_load_drop_v: config.resistance_ohm * config.no_load_current_a,
            current_per_square: config.torque_nm_s2 / torque_constant,
            no_load_current_a: config.no_load_current_a,
            per_lag: 1.0 / config.lag_s,
            decay_half: libm::exp(-0.5 * tick_s / config.lag_s),
            decay_full: libm::exp(-tick_s / config.lag_s),
        }
    }

    /// Positive root of `a w^2 + Kt w + R I0 - V = 0`, in the form without cancellation.
    #[inline]
    pub(crate) fn steady_speed(&self, voltage_v: f64, density_ratio: f64) -> f64 {
        let left = voltage_v - self.no_load_drop_v;
        if left <= 0.0 {
            return 0.0;
        }
        let kt = self.torque_constant;
        2.0 * left / (kt + libm::sqrt(kt * kt + 4.0 * self.drop_per_square * density_ratio * left))
    }

    /// Voltage that holds `speed`, the inverse of [`Motor::steady_speed`].
    pub(crate) fn voltage_at(&self, speed: f64, density_ratio: f64) -> f64 {
        self.torque_constant * speed
            + self.no_load_drop_v
            + self.drop_per_square * density_ratio * speed * speed
    }

    #[inline]
    pub(crate) fn course(&self, speed: f64, target: f64) -> SpeedCourse {
        let apart = speed - target;
        SpeedCourse {
            middle: target + apart * self.decay_half,
            end: target + apart * self.decay_full,
            target,
        }
    }

    /// Winding current at `speed` (A); a stopped motor (command 0) takes none.
    #[inline]
    pub(crate) fn current(&self, speed: f64, density_ratio: f64) -> f64 {
        self.current_per_square * density_ratio * speed * speed + self.no_load_current_a
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked case: Kv 920 rpm/V, R 0.117 ohm, I0 0.5 A on an 8x3.8 at 6212 rpm (CT 0.1087, CP 0.0464).
    fn worked_case() -> Config {
        let (thrust_n_s2, torque_nm_s2) = from_coefficients(0.1087, 0.0464, 0.2032);
        Config {
            thrust_n_s2,
            torque_nm_s2,
            inertia_kg_m2: 3e-5,
            lag_s: 0.029,
            kv_rpm_per_v: 920.0,
            resistance_ohm: 0.117,
            no_load_current_a: 0.5,
            blades: 2,
            imbalance_kg_m: 0.0,
            blade_pass_share: 0.0,
        }
    }

    #[test]
    fn validate_worked_motor_case() {
        // Algebra of Drela 2007: voltage, speed [rad/s], current [A], thrust [N].
        let motor = worked_case();
        assert!((motor.torque_constant_nm_a() - 0.0103797).abs() < 5e-8);
        for (voltage, speed, current, thrust) in
            [(7.4, 668.742, 3.9203, 2.5717), (11.1, 980.827, 7.8576, 5.5320)]
        {
            let w = motor.steady_speed_rad_s(voltage, 1.0);
            assert!((w / speed - 1.0).abs() < 1e-5, "{w}");
            assert!((motor.steady_current_a(w, 1.0) / current - 1.0).abs() < 2e-5);
            assert!((motor.thrust_n_s2 * w * w / thrust - 1.0).abs() < 2e-5);
            // The twin: without winding resistance and no-load current the case is missed by more than its 0.1 %.
            let ideal = Config { resistance_ohm: 1e-9, no_load_current_a: 0.0, ..motor };
            assert!((ideal.steady_speed_rad_s(voltage, 1.0) / speed - 1.0).abs() > 1e-2);
        }
    }

    #[test]
    fn steady_speed_is_zero_below_the_no_load_drop_and_inverts() {
        let motor = Motor::new(&worked_case(), 1e-3);
        assert_eq!(motor.steady_speed(0.0, 1.0), 0.0);
        assert_eq!(motor.steady_speed(0.05, 1.0), 0.0);
        assert!((motor.voltage_at(motor.steady_speed(9.0, 0.8), 0.8) - 9.0).abs() < 1e-12);
    }

    #[test]
    fn lag_covers_63_percent_in_one_time_constant() {
        let motor = Motor::new(&worked_case(), 0.029);
        let course = motor.course(0.0, 100.0);
        assert!((course.end - 63.212_055_882_855_77).abs() < 1e-9);
        assert!((course.middle - 39.346_934_028_736_66).abs() < 1e-9);
    }

    #[test]
    fn bad_fields_are_named() {
        type Set = fn(&mut Config, f64);
        let fields: [(&str, Set); 9] = [
            ("rotor.thrust_n_s2", |c, v| c.thrust_n_s2 = v),
            ("rotor.torque_nm_s2", |c, v| c.torque_nm_s2 = v),
            ("rotor.inertia_kg_m2", |c, v| c.inertia_kg_m2 = v),
            ("rotor.lag_s", |c, v| c.lag_s = v),
            ("rotor.kv_rpm_per_v", |c, v| c.kv_rpm_per_v = v),
            ("rotor.resistance_ohm", |c, v| c.resistance_ohm = v),
            ("rotor.no_load_current_a", |c, v| c.no_load_current_a = v),
            ("rotor.imbalance_kg_m", |c, v| c.imbalance_kg_m = v),
            ("rotor.blade_pass_share", |c, v| c.blade_pass_share = v),
        ];
        for (name, set) in fields {
            for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0] {
                let mut config = worked_case();
                set(&mut config, bad);
                assert_eq!(config.check().unwrap_err().field, name, "{bad}");
            }
        }
        assert_eq!(Config { blades: 0, ..worked_case() }.check().unwrap_err().field, "rotor.blades");
    }
}
