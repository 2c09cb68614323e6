//! Aerodynamic drag of the craft, in body axes.
//!
//! The sum of three parts, v the velocity through the air in body axes:
//! - rotor drag, linear and over mass: `F = -m D v` (Faessler, Franchi and Scaramuzza 2018, RA-L 3(2), eq.
//!   2); with `scaled_with_thrust` proportional to the thrust, `F = -(T/g) D v` (Mahony, Kumar and Corke
//!   2012, IEEE RAM 19(3):20-32), which equals the former at T = m g;
//! - linear body drag: `F = -k v`;
//! - quadratic body drag: `F = -1/2 rho CdA |v| v`, CdA per axis.
//!
//! Rotation is damped by `tau = -k w`. All forces act at the centre of mass.

use crate::error::{ConfigError, none_negative};
use glam::DVec3;

/// Drag of the whole craft. The axes are body forward, right, down.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Config {
    /// Rotor drag over mass, per axis (1/s).
    pub rotor_drag_per_s: [f64; 3],
    /// Rotor drag is proportional to the thrust.
    pub scaled_with_thrust: bool,
    /// Linear body drag, per axis (N s/m).
    pub body_drag_n_s_m: [f64; 3],
    /// Drag area CdA of the body, per axis (m2).
    pub drag_area_m2: [f64; 3],
    /// Rotational damping, per axis (N m s).
    pub rotational_damping_nm_s: [f64; 3],
}

impl Config {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        none_negative("drag.rotor_drag_per_s", &self.rotor_drag_per_s)?;
        none_negative("drag.body_drag_n_s_m", &self.body_drag_n_s_m)?;
        none_negative("drag.drag_area_m2", &self.drag_area_m2)?;
        none_negative("drag.rotational_damping_nm_s", &self.rotational_damping_nm_s)
    }
}

/// Drag with precomputed coefficients.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Drag {
    /// Linear part independent of the thrust (N s/m).
    constant: DVec3,
    /// Linear part per newton of thrust (s/m).
    per_thrust: DVec3,
    half_area: DVec3,
    rotational: DVec3,
}

impl Drag {
    pub(crate) fn new(config: &Config, mass_kg: f64, gravity_m_s2: f64) -> Self {
        let rotor = DVec3::from_array(config.rotor_drag_per_s);
        let body = DVec3::from_array(config.body_drag_n_s_m);
        // Without gravity there is no hover thrust to scale by: the rotor part is constant.
        let scaled = config.scaled_with_thrust && gravity_m_s2 > 0.0;
        Drag {
            constant: if scaled { body } else { body + mass_kg * rotor },
            per_thrust: if scaled { rotor / gravity_m_s2 } else { DVec3::ZERO },
            half_area: 0.5 * DVec3::from_array(config.drag_area_m2),
            rotational: DVec3::from_array(config.rotational_damping_nm_s),
        }
    }

    /// Force (N) in body axes at velocity `air` (m/s) and speed `airspeed` (m/s) through the air.
    #[inline]
    pub(crate) fn force(&self, air: DVec3, airspeed: f64, density_kg_m3: f64, thrust_n: f64) -> DVec3 {
        let linear = self.constant + self.per_thrust * thrust_n;
        let quadratic = self.half_area * (density_kg_m3 * airspeed);
        -(linear + quadratic) * air
    }

    #[inline]
    pub(crate) fn torque(&self, rate: DVec3) -> DVec3 {
        -self.rotational * rate
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drag_parts_follow_their_equations() {
        let config = Config {
            rotor_drag_per_s: [0.5, 0.4, 0.0],
            body_drag_n_s_m: [0.1, 0.1, 0.1],
            drag_area_m2: [0.02, 0.02, 0.03],
            ..Config::default()
        };
        let drag = Drag::new(&config, 1.2, 9.80665);
        let force = drag.force(DVec3::new(3.0, 0.0, 4.0), 5.0, 1.225, 0.0);
        assert!((force.x + 3.0 * (0.6 + 0.1) + 0.5 * 1.225 * 0.02 * 5.0 * 3.0).abs() < 1e-12);
        assert!((force.z + 4.0 * 0.1 + 0.5 * 1.225 * 0.03 * 5.0 * 4.0).abs() < 1e-12);
        let scaled = Drag::new(&Config { scaled_with_thrust: true, ..config }, 1.2, 9.80665);
        let weight = 1.2 * 9.80665;
        let (at_weight, constant) =
            (scaled.force(DVec3::X, 1.0, 1.225, weight), drag.force(DVec3::X, 1.0, 1.225, weight));
        assert!((at_weight - constant).length() < 1e-12);
        assert!(scaled.force(DVec3::X, 1.0, 1.225, 0.0).x.abs() < constant.x.abs());
    }

    #[test]
    fn bad_fields_are_named() {
        for bad in [f64::NAN, f64::INFINITY, -1.0] {
            for axis in 0..3 {
                let mut three = [0.0; 3];
                three[axis] = bad;
                let name = |config: Config| config.check().unwrap_err().field;
                assert_eq!(
                    name(Config { rotor_drag_per_s: three, ..Config::default() }),
                    "drag.rotor_drag_per_s"
                );
                assert_eq!(
                    name(Config { body_drag_n_s_m: three, ..Config::default() }),
                    "drag.body_drag_n_s_m"
                );
                assert_eq!(name(Config { drag_area_m2: three, ..Config::default() }), "drag.drag_area_m2");
                assert_eq!(
                    name(Config { rotational_damping_nm_s: three, ..Config::default() }),
                    "drag.rotational_damping_nm_s"
                );
            }
        }
    }
}
