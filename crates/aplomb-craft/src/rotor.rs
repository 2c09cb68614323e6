//! Motor and propeller: parameters, and static characteristics.
//!
//! `T = kT rho/rho0 f w^2`, `Q = kQ rho/rho0 g w^2`, with f = g = 1 for a propeller of constant coefficients,
//! else f and g from [`crate::propeller`]. The steady speed in still air satisfies
//! `u V = Kt w + R (Q/Kt + I0)` (Drela 2007, First-Order DC Electric Motor Model, MIT; from memory).

use crate::error::{ConfigError, Reason, fail, not_negative, positive, within};
use crate::propeller::map::{Local, Map, REFERENCE_TIP_M_S, VISCOSITY_M2_S};
use crate::propeller::{Designation, Measured};
use core::f64::consts::PI;
use std::sync::Arc;

/// Parameters of one motor with its propeller; all four are the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Static thrust over squared speed at 1.225 kg/m3, kT (N s2); at a tip speed of 70 m/s if it varies.
    pub thrust_n_s2: f64,
    /// Torque over squared speed under the same conditions, kQ (N m s2).
    pub torque_nm_s2: f64,
    /// Dependence of thrust and torque on the flow.
    pub inflow: Inflow,
    /// Moment of inertia of propeller and bell about the shaft (kg m2).
    pub inertia_kg_m2: f64,
    /// Motor constant Kv (rpm/V).
    pub kv_rpm_per_v: f64,
    /// Winding resistance (ohm).
    pub resistance_ohm: f64,
    /// No-load current I0 (A).
    pub no_load_current_a: f64,
    /// Limit of the winding current in both directions (A); `None` for no limit.
    pub current_limit_a: Option<f64>,
    /// Braking of a rotor that is faster than its command.
    pub braking: Braking,
    /// Blades, 1 to 8.
    pub blades: u32,
    /// Imbalance: mass times its distance from the shaft (kg m).
    pub imbalance_kg_m: f64,
    /// Thrust ripple at blade-pass frequency as a share of the thrust, 0..1.
    pub blade_pass_share: f64,
}

/// Dependence of thrust and torque on the flow through the propeller and the Reynolds number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Inflow {
    /// None.
    #[default]
    Constant,
    /// That of a propeller of this designation.
    Designated(Designation),
    /// That measured on a propeller of this designation.
    Measured(Designation, Measured),
}

/// Braking of a rotor that is faster than its command.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Braking {
    /// Active: the current may be negative and slows the rotor.
    #[default]
    Active,
    /// Coasting: only aerodynamic and no-load torque slow the rotor.
    Coasting,
}

/// kT (N s2) and kQ (N m s2) at 1.225 kg/m3 from the propeller coefficients `CT = T/(rho n^2 D^4)`,
/// `CP = P/(rho n^3 D^5)` (n in rev/s): `kT = CT rho D^4/(4 pi^2)`, `kQ = CP rho D^5/(8 pi^3)` (Deters,
/// Ananda and Selig 2014, AIAA 2014-2151).
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

/// kT (N s2) and kQ (N m s2) of a propeller of this designation, static at 1.225 kg/m3 and a tip speed of 70
/// m/s.
///
/// ```
/// use aplomb_craft::propeller::{Designation, Planform};
/// let planform = Planform::Unknown;
/// let designation = Designation { diameter_m: 0.2286, pitch_m: 0.127, blades: 2, planform };
/// let (thrust, torque) = aplomb_craft::rotor::from_designation(&designation);
/// assert!(thrust > 7e-6 && thrust < 1e-5 && torque / thrust < 0.02);
/// ```
pub fn from_designation(designation: &Designation) -> (f64, f64) {
    let speed = 2.0 * REFERENCE_TIP_M_S / designation.diameter_m;
    let still = designation.coefficients(0.0, speed, VISCOSITY_M2_S);
    from_coefficients(still.thrust, still.power, designation.diameter_m)
}

/// kT (N s2) and kQ (N m s2) of a measured propeller under the same conditions.
pub fn from_measured(designation: &Designation, measured: &Measured) -> (f64, f64) {
    let [thrust, power] = measured.reference(designation);
    from_coefficients(thrust, power, designation.diameter_m)
}

impl Config {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        positive("rotor.thrust_n_s2", self.thrust_n_s2)?;
        positive("rotor.torque_nm_s2", self.torque_nm_s2)?;
        if let Inflow::Designated(designation) | Inflow::Measured(designation, _) = &self.inflow {
            designation.check()?;
        }
        positive("rotor.inertia_kg_m2", self.inertia_kg_m2)?;
        positive("rotor.kv_rpm_per_v", self.kv_rpm_per_v)?;
        positive("rotor.resistance_ohm", self.resistance_ohm)?;
        not_negative("rotor.no_load_current_a", self.no_load_current_a)?;
        if let Some(limit_a) = self.current_limit_a {
            positive("rotor.current_limit_a", limit_a)?;
        }
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

    /// Static thrust (N) at `speed_rad_s`, `density_ratio` = rho/1.225.
    pub fn static_thrust_n(&self, speed_rad_s: f64, density_ratio: f64) -> f64 {
        self.thrust_n_s2 * density_ratio * Propeller::new(self).still(speed_rad_s, density_ratio).thrust[0]
    }

    /// Thrust (N) at `speed_rad_s` in a flow of `axial_m_s` along the axis, positive in a climb, and
    /// `edgewise_m_s` in the disc plane.
    pub fn thrust_in_flow_n(
        &self,
        axial_m_s: f64,
        edgewise_m_s: f64,
        speed_rad_s: f64,
        density_ratio: f64,
    ) -> f64 {
        let edgewise = edgewise_m_s * edgewise_m_s;
        let local = Propeller::new(self).local([axial_m_s], edgewise, [speed_rad_s], density_ratio);
        self.thrust_n_s2 * density_ratio * local.thrust[0]
    }

    /// Torque (N m) under the same conditions.
    pub fn torque_in_flow_nm(
        &self,
        axial_m_s: f64,
        edgewise_m_s: f64,
        speed_rad_s: f64,
        density_ratio: f64,
    ) -> f64 {
        let edgewise = edgewise_m_s * edgewise_m_s;
        let local = Propeller::new(self).local([axial_m_s], edgewise, [speed_rad_s], density_ratio);
        self.torque_nm_s2 * density_ratio * local.torque[0]
    }

    /// Static torque (N m) at `speed_rad_s`, `density_ratio` = rho/1.225.
    pub fn static_torque_nm(&self, speed_rad_s: f64, density_ratio: f64) -> f64 {
        self.torque_nm_s2 * density_ratio * Propeller::new(self).still(speed_rad_s, density_ratio).torque[0]
    }

    /// Speed (rad/s) of the static thrust `thrust_n`.
    pub fn static_speed_rad_s(&self, thrust_n: f64, density_ratio: f64) -> f64 {
        let propeller = Propeller::new(self);
        let wanted = thrust_n / (self.thrust_n_s2 * density_ratio);
        propeller.speed_at(wanted, density_ratio)
    }

    /// Steady speed (rad/s) at `voltage_v` in still air, `density_ratio` = rho/1.225. Zero if the voltage
    /// does not overcome the no-load current.
    pub fn steady_speed_rad_s(&self, voltage_v: f64, density_ratio: f64) -> f64 {
        let (propeller, kt) = (Propeller::new(self), self.torque_constant_nm_a());
        let left = voltage_v - self.resistance_ohm * self.no_load_current_a;
        if left <= 0.0 {
            return 0.0;
        }
        // Kt w + R I0 + R kQ g w^2/Kt = V, with g at the last speed.
        let drop = self.resistance_ohm * self.torque_nm_s2 * density_ratio / kt;
        (0..30).fold(left / kt, |speed, _| {
            let share = propeller.still(speed, density_ratio).torque[0] / (speed * speed);
            2.0 * left / (kt + libm::sqrt(kt * kt + 4.0 * drop * share * left))
        })
    }

    /// Steady current (A) at `speed_rad_s` in still air: `Q/Kt + I0`.
    pub fn steady_current_a(&self, speed_rad_s: f64, density_ratio: f64) -> f64 {
        self.static_torque_nm(speed_rad_s, density_ratio) / self.torque_constant_nm_a()
            + self.no_load_current_a
    }

    /// Time constant (s) of the speed for small changes of the command around `speed_rad_s`:
    /// `J/(dQ/dw + Kt^2/R)`.
    pub fn time_constant_s(&self, speed_rad_s: f64, density_ratio: f64) -> f64 {
        let kt = self.torque_constant_nm_a();
        let air = self.torque_nm_s2
            * density_ratio
            * Propeller::new(self).still(speed_rad_s, density_ratio).torque_per_speed[0];
        self.inertia_kg_m2 / (air + kt * kt / self.resistance_ohm)
    }
}

/// Propeller with its table.
#[derive(Clone, Debug)]
pub(crate) struct Propeller {
    inflow: Inflow,
    map: Option<Arc<Map>>,
}

/// Propeller in reversed rotation.
#[derive(Clone, Debug)]
pub(crate) struct Backwards {
    map: Option<Arc<Map>>,
}

/// Thrust ratio of a propeller of constant coefficients in reversed rotation (common practice, no source).
const BACKWARD_THRUST: f64 = -0.5;

impl Backwards {
    /// Thrust and torque against its rotation, over kT and kQ, as [`Propeller::local`].
    pub(crate) fn local<const N: usize>(
        &self,
        axial_m_s: [f64; N],
        edgewise_m2_s2: f64,
        speed_rad_s: [f64; N],
        reynolds_ratio: f64,
    ) -> Local<N> {
        let Some(map) = &self.map else {
            let mut local = Local::quadratic(speed_rad_s);
            (0..N).for_each(|i| local.lift(i, BACKWARD_THRUST));
            return local;
        };
        // The table counts torque against the normal rotation.
        let mut local = map.at(axial_m_s, edgewise_m2_s2, speed_rad_s, reynolds_ratio);
        (0..N).for_each(|i| local.drag(i, -1.0));
        local
    }
}

impl Propeller {
    pub(crate) fn new(config: &Config) -> Self {
        Propeller {
            inflow: config.inflow,
            map: match &config.inflow {
                Inflow::Constant => None,
                Inflow::Designated(designation) => Some(Map::of(designation, 1.0)),
                Inflow::Measured(designation, measured) => Some(Map::of_measured(designation, measured)),
            },
        }
    }

    /// Thrust and torque over kT and kQ of N propellers at the axial flow, the squared edgewise flow and the
    /// speed. `reynolds_ratio` is the kinematic viscosity at sea level over the actual one.
    #[inline]
    pub(crate) fn local<const N: usize>(
        &self,
        axial_m_s: [f64; N],
        edgewise_m2_s2: f64,
        speed_rad_s: [f64; N],
        reynolds_ratio: f64,
    ) -> Local<N> {
        match &self.map {
            None => Local::quadratic(speed_rad_s),
            Some(map) => map.at(axial_m_s, edgewise_m2_s2, speed_rad_s, reynolds_ratio),
        }
    }

    /// The same propeller in reversed rotation.
    pub(crate) fn backwards(&self) -> Backwards {
        Backwards {
            map: match &self.inflow {
                Inflow::Constant => None,
                Inflow::Designated(designation) | Inflow::Measured(designation, _) => {
                    Some(Map::of(designation, -1.0))
                }
            },
        }
    }

    /// Static values.
    pub(crate) fn still(&self, speed_rad_s: f64, reynolds_ratio: f64) -> Local<1> {
        self.local([0.0], 0.0, [speed_rad_s], reynolds_ratio)
    }

    /// Speed (rad/s) at which the static T/kT is `required` (rad2/s2).
    pub(crate) fn speed_at(&self, required: f64, reynolds_ratio: f64) -> f64 {
        if required <= 0.0 {
            return 0.0;
        }
        (0..40).fold(libm::sqrt(required), |speed, _| {
            speed * libm::sqrt(required / self.still(speed, reynolds_ratio).thrust[0])
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::Motor;

    /// The worked case: Kv 920 rpm/V, R 0.117 ohm, I0 0.5 A on an 8x3.8 at 6212 rpm (CT 0.1087, CP 0.0464).
    fn worked_case() -> Config {
        let (thrust_n_s2, torque_nm_s2) = from_coefficients(0.1087, 0.0464, 0.2032);
        Config {
            thrust_n_s2,
            torque_nm_s2,
            inflow: Inflow::Constant,
            inertia_kg_m2: 3e-5,
            kv_rpm_per_v: 920.0,
            resistance_ohm: 0.117,
            no_load_current_a: 0.5,
            current_limit_a: None,
            braking: Braking::Active,
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
            // The twin: without winding resistance and no-load current the error exceeds the 0.1 % of the
            // case.
            let ideal = Config { resistance_ohm: 1e-9, no_load_current_a: 0.0, ..motor };
            assert!((ideal.steady_speed_rad_s(voltage, 1.0) / speed - 1.0).abs() > 1e-2);
        }
    }

    #[test]
    fn validate_local_time_constant() {
        // Same case with J 3e-5 kg m2: J/(2 kQ w + Kt^2/R) at 7.4 V and 11.1 V.
        let motor = worked_case();
        for (voltage, lag) in [(7.4, 0.02921), (11.1, 0.02787)] {
            let speed = motor.steady_speed_rad_s(voltage, 1.0);
            assert!(
                (motor.time_constant_s(speed, 1.0) / lag - 1.0).abs() < 1e-3,
                "{}",
                motor.time_constant_s(speed, 1.0)
            );
            // The twin: without the damping by the propeller it fails.
            let bare = Config { torque_nm_s2: 1e-12, ..motor };
            assert!((bare.time_constant_s(speed, 1.0) / lag - 1.0).abs() > 0.05);
        }
    }

    #[test]
    fn static_characteristics_invert_each_other() {
        for motor in [worked_case(), crate::Config::weir_gauge().rotor] {
            assert_eq!(motor.steady_speed_rad_s(0.0, 1.0), 0.0);
            assert_eq!(
                motor.steady_speed_rad_s(0.9 * motor.resistance_ohm * motor.no_load_current_a, 1.0),
                0.0
            );
            let speed = motor.steady_speed_rad_s(9.0, 0.8);
            let torque = motor.static_torque_nm(speed, 0.8);
            let (voltage, current) = Motor::new(&motor, 1e-3).steady(speed, torque);
            assert!((voltage - 9.0).abs() < 1e-9, "{voltage}");
            assert!((current - motor.steady_current_a(speed, 0.8)).abs() < 1e-12);
            let thrust = motor.static_thrust_n(speed, 0.8);
            assert!((motor.static_speed_rad_s(thrust, 0.8) / speed - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn bad_fields_are_named() {
        type Set = fn(&mut Config, f64);
        let fields: [(&str, Set); 9] = [
            ("rotor.thrust_n_s2", |c, v| c.thrust_n_s2 = v),
            ("rotor.torque_nm_s2", |c, v| c.torque_nm_s2 = v),
            ("rotor.inertia_kg_m2", |c, v| c.inertia_kg_m2 = v),
            ("rotor.current_limit_a", |c, v| c.current_limit_a = Some(v)),
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
