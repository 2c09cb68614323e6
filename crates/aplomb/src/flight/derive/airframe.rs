//! Parameters of a craft from which every setting is derived.

use crate::control::rate;
use crate::error::{ConfigError, Problem, require_not_negative, require_positive};
use crate::mix::{self, Geometry, ThrustCurveConfig};
use crate::{STANDARD_GRAVITY_M_S2, frames};

/// Least ratio of full thrust to weight: 0.9 of the full thrust, which the outer loops use, then exceeds the
/// weight by 17 %, for climb and gusts (common practice, no source).
const LEAST_THRUST_TO_WEIGHT: f32 = 1.3;

/// Parameters of a craft from which every setting is derived.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Airframe {
    /// Mass in kg.
    pub mass_kg: f32,
    /// Inertia.
    pub inertia: rate::Inertia,
    /// Positions and senses of the rotors.
    pub geometry: Geometry,
    /// Thrust of one rotor to motor command.
    pub thrust_curve: ThrustCurveConfig,
    /// Diameter of a rotor in m.
    pub rotor_diameter_m: f32,
    /// Time constant of the rotors' speed (first order) in s.
    pub rotor_time_constant_s: f32,
    /// Delay of the speed controllers in s: from a command written to the voltage at the motor. The
    /// controller's own computation and hold are not part of it; they follow from the tick rate.
    pub speed_controller_delay_s: f32,
    /// Delay in s of the inertial sensor's own filter, 0 to 0.02.
    pub imu_delay_s: f32,
    /// Moment of inertia of one rotor (propeller and bell) about its shaft in kg m2; 0 for a rotor without
    /// inertia.
    pub rotor_inertia_kg_m2: f32,
    /// Speed of the rotors in hover in rad/s.
    pub hover_speed_rad_s: f32,
    /// Drag of the rotors over mass in 1/s, if known.
    pub rotor_drag_per_s: Option<f32>,
}

impl Airframe {
    /// From mass in kg, principal moments of inertia in kg m2, geometry and full thrust of a rotor in N. The
    /// rest is a four-cell battery, a plain quadratic curve, rotors of 0.2286 m (9 in) with a time constant
    /// of 0.04 s and an inertia of 4e-5 kg m2 that hover at 600 rad/s, speed controllers with a delay of 1
    /// ms, and an inertial sensor whose own filter has no delay: plausible for a craft of 1.2 kg, no source.
    /// Set the fields of your own craft.
    ///
    /// ```
    /// use aplomb::{Spin, flight::{Airframe, Config}, mix::Geometry};
    /// let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    /// let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5);
    /// assert_eq!((airframe.thrust_curve.max_thrust_n, airframe.speed_controller_delay_s), (6.5, 0.001));
    /// // A rotor that cannot lift its quarter of the weight, 2.94 N, makes no craft.
    /// assert!(Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 2.9)).is_err());
    /// ```
    #[must_use]
    pub const fn new(mass_kg: f32, inertia_kg_m2: [f32; 3], geometry: Geometry, max_thrust_n: f32) -> Self {
        let [roll, pitch, yaw] = inertia_kg_m2;
        Self {
            mass_kg,
            inertia: rate::Inertia::diagonal(roll, pitch, yaw),
            geometry,
            thrust_curve: ThrustCurveConfig {
                max_thrust_n,
                // Four lithium-polymer cells: 3.7 V nominal, 3.0 V empty, 4.2 V full (common practice, no
                // source).
                reference_voltage_v: 14.8,
                back_emf_share: 1.0,
                lowest_voltage_v: 12.0,
                highest_voltage_v: 16.8,
                voltage_filter_s: 0.5,
            },
            rotor_diameter_m: 0.2286,
            rotor_time_constant_s: 0.04,
            speed_controller_delay_s: 0.001,
            imu_delay_s: 0.0,
            rotor_inertia_kg_m2: 4e-5,
            hover_speed_rad_s: 600.0,
            rotor_drag_per_s: None,
        }
    }
}

/// Quantities that several rules use.
#[derive(Clone, Copy, Debug)]
pub(super) struct Basis {
    pub(super) weight_n: f32,
    pub(super) full_thrust_n: f32,
    pub(super) thrust_to_weight: f32,
    /// Induced speed in hover, `sqrt(T/(2 rho A))` over the four discs (Leishman, Principles of Helicopter
    /// Aerodynamics, 2nd ed. 2006, ch. 2).
    pub(super) induced_m_s: f32,
    /// Time of a free fall by one rotor diameter.
    pub(super) fall_s: f32,
    /// Thrust of one rotor at the idle command: it turns at a sixth of its hover speed. The rotors then do
    /// not stop in a descent, and 35/36 of the hover thrust are available for torque.
    pub(super) idle_thrust_n: f32,
    /// Largest torque about roll, pitch and yaw at hover thrust, either way.
    pub(super) torque_nm: frames::Vector<frames::Body>,
}

impl Basis {
    pub(super) fn new(airframe: &Airframe) -> Result<Self, ConfigError> {
        let mass = require_positive("mass_kg", airframe.mass_kg)?;
        let max_thrust_n = require_positive("max_thrust_n", airframe.thrust_curve.max_thrust_n)?;
        let diameter_m = require_positive("rotor_diameter_m", airframe.rotor_diameter_m)?;
        require_positive("rotor_time_constant_s", airframe.rotor_time_constant_s)?;
        require_not_negative("speed_controller_delay_s", airframe.speed_controller_delay_s)?;
        require_not_negative("rotor_inertia_kg_m2", airframe.rotor_inertia_kg_m2)?;
        require_positive("hover_speed_rad_s", airframe.hover_speed_rad_s)?;
        let (weight_n, full_thrust_n) = (mass * STANDARD_GRAVITY_M_S2, 4.0 * max_thrust_n);
        if full_thrust_n < LEAST_THRUST_TO_WEIGHT * weight_n {
            return Err(ConfigError::new(
                "max_thrust_n",
                Problem::Inconsistent("cannot lift 1.3 times the weight"),
            ));
        }
        let hover_n = 0.25 * weight_n;
        let idle_thrust_n = hover_n / 36.0;
        // Change of each rotor's thrust from hover to the nearer limit.
        let range_n = (hover_n - idle_thrust_n).min(max_thrust_n - hover_n);
        let arms = airframe.geometry.arms.into_array();
        let discs_m2 = core::f32::consts::PI * diameter_m * diameter_m;
        Ok(Self {
            weight_n,
            full_thrust_n,
            thrust_to_weight: full_thrust_n / weight_n,
            induced_m_s: libm::sqrtf(weight_n / (2.0 * mix::REFERENCE_DENSITY_KG_M3 * discs_m2)),
            fall_s: libm::sqrtf(2.0 * diameter_m / STANDARD_GRAVITY_M_S2),
            idle_thrust_n,
            torque_nm: frames::Vector::new(
                range_n * arms.iter().fold(0.0, |sum, arm| sum + arm.y_m.abs()),
                range_n * arms.iter().fold(0.0, |sum, arm| sum + arm.x_m.abs()),
                4.0 * range_n * airframe.geometry.torque_to_thrust_m,
            ),
        })
    }
}
