//! Ground effect: higher thrust of a rotor near the ground at the same speed and power.
//!
//! `T/T0 = 1/(1 - (R/4z)^2/(1 + (V/v)^2))` (Cheeseman and Bennett 1955, ARC R&M 3021), z the height of the
//! hub, V the edgewise flow, v the induced velocity by Glauert's law in level flight,
//! `v^2 (V^2 + v^2) = vh^4`. The equation has a pole at z = R/4. z is at least R/2, where the ratio is 4/3.
//! Above 10 R the effect is below 0.07 % and is neglected.

use crate::ROTORS;
use crate::atmosphere::SEA_LEVEL_DENSITY_KG_M3;
use crate::error::{ConfigError, within};
use crate::lanes::each;
use core::f64::consts::PI;
use glam::DMat3;

/// Lowest and highest hub height in the model, over R.
const LOWEST: f64 = 0.5;
const HIGHEST: f64 = 10.0;

/// Ground effect of the rotors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Radius of each rotor R (m), 0.01 to 1.
    pub radius_m: f64,
}

impl Config {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        within("ground_effect.radius_m", self.radius_m, 0.01, 1.0)
    }

    /// Thrust ratio T/T0 with the hub `height_m` above the ground, the edgewise flow `edgewise_m_s`, and the
    /// induced velocity in hover `hover_m_s` > 0, vh.
    ///
    /// ```
    /// let rotor = aplomb_craft::ground_effect::Config { radius_m: 0.1 };
    /// assert!((rotor.thrust_ratio(0.1, 0.0, 5.0) - 16.0 / 15.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn thrust_ratio(&self, height_m: f64, edgewise_m_s: f64, hover_m_s: f64) -> f64 {
        let squared = hover_m_s * hover_m_s;
        ratio(self.radius_m / height_m, edgewise_m_s * edgewise_m_s, squared)
    }
}

/// From R/z and the squares of V and vh (m2/s2).
#[inline]
fn ratio(per_height: f64, edgewise_m2_s2: f64, hover_m2_s2: f64) -> f64 {
    let near = 0.25 * if per_height > 0.0 { per_height.min(1.0 / LOWEST) } else { 1.0 / LOWEST };
    // v^2 = 2 vh^4/(V^2 + sqrt(V^4 + 4 vh^4)).
    let fourth = hover_m2_s2 * hover_m2_s2;
    let whole = edgewise_m2_s2 + libm::sqrt(edgewise_m2_s2 * edgewise_m2_s2 + 4.0 * fourth);
    let swept = if fourth > 0.0 { 1.0 + 0.5 * edgewise_m2_s2 * whole / fourth } else { f64::INFINITY };
    1.0 / (1.0 - near * near / swept)
}

/// Precomputed ground effect of the rotors.
#[derive(Clone, Copy, Debug)]
pub(crate) struct GroundEffect {
    radius_m: f64,
    /// Square of the hover induced velocity by thrust over density ratio (m2/s2 per N).
    hover_per_n: f64,
}

/// Height of each hub above the ground (m), if any is near it.
pub(crate) type Hubs = Option<[f64; ROTORS]>;

impl GroundEffect {
    pub(crate) fn new(config: &Config) -> Self {
        let area = PI * config.radius_m * config.radius_m;
        GroundEffect { radius_m: config.radius_m, hover_per_n: 1.0 / (2.0 * SEA_LEVEL_DENSITY_KG_M3 * area) }
    }

    /// Hub heights of a craft whose centre of mass is `clearance_m` above the ground; `None` if it is upside
    /// down.
    #[inline]
    pub(crate) fn hubs(&self, clearance_m: f64, rotation: &DMat3, [x, y, z]: &[[f64; ROTORS]; 3]) -> Hubs {
        if clearance_m > HIGHEST * self.radius_m {
            return None;
        }
        // Down direction in body axes.
        let down = rotation.transpose().z_axis;
        (down.z > 0.0).then(|| each(|i| clearance_m - (x[i] * down.x + y[i] * down.y + z[i] * down.z)))
    }

    /// Thrust ratio T/T0.
    #[inline]
    pub(crate) fn ratio(&self, height_m: f64, edgewise_m2_s2: f64, thrust_n: f64, density_ratio: f64) -> f64 {
        ratio(self.radius_m / height_m, edgewise_m2_s2, self.hover_per_n * thrust_n.max(0.0) / density_ratio)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROTOR: Config = Config { radius_m: 0.1 };

    #[test]
    fn validate_hover_ratios() {
        // Cheeseman and Bennett 1955: z/R, T/T0.
        for (height, expected) in [(0.5, 1.333_333), (1.0, 1.066_667), (2.0, 1.015_873), (4.0, 1.003_922)] {
            let found = ROTOR.thrust_ratio(height * 0.1, 0.0, 5.0);
            assert!((found - expected).abs() < 1e-6, "{height}: {found}");
        }
    }

    #[test]
    fn validate_edgewise_flow_reduces_the_effect() {
        // z = R with V = v: 1.032258. By Glauert v = V where V^2 = vh^2/sqrt(2).
        let edgewise = 5.0 / 2.0_f64.sqrt().sqrt();
        let found = ROTOR.thrust_ratio(0.1, edgewise, 5.0);
        assert!((found - 1.032_258).abs() < 1e-6, "{found}");
        // The twin: without edgewise flow the gain is twice that.
        assert!((ROTOR.thrust_ratio(0.1, 0.0, 5.0) - found).abs() > 0.03);
        assert!(ROTOR.thrust_ratio(0.1, 40.0, 5.0) < 1.0001);
    }

    #[test]
    fn height_is_bounded_away_from_the_pole() {
        for height in [0.05, 0.025, 0.0, -0.1] {
            assert!((ROTOR.thrust_ratio(height, 0.0, 5.0) - 4.0 / 3.0).abs() < 1e-12, "{height}");
        }
        assert_eq!(ROTOR.thrust_ratio(0.1, 3.0, 0.0), 1.0);
        assert!(ROTOR.thrust_ratio(0.1, 0.0, 0.0).is_finite());
    }

    #[test]
    fn bad_radius_is_named() {
        for bad in [f64::NAN, f64::INFINITY, 0.0, 2.0] {
            assert_eq!(Config { radius_m: bad }.check().unwrap_err().field, "ground_effect.radius_m");
        }
    }
}
