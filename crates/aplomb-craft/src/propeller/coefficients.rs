//! Thrust and power coefficients of a designation, by the blade-element theory.

use std::f64::consts::PI;

use super::Coefficients;
use super::blade::{Designation, GENERIC, Generic};
use super::element::{Blade, Flow};

impl Designation {
    /// Coefficients at the advance ratio J = V/(n D), at `speed_rad_s` > 0 in air of the kinematic viscosity
    /// `viscosity_m2_s` (at sea level 1.46e-5), by direct evaluation of the theory.
    ///
    /// ```
    /// use aplomb_craft::propeller::{Designation, Planform};
    /// let nine_by_five = Designation { diameter_m: 0.2286, pitch_m: 0.127, blades: 2, planform: Planform::Unknown };
    /// let still = nine_by_five.coefficients(0.0, 628.3, 1.46e-5);
    /// assert!((still.thrust / 0.1033 - 1.0).abs() < 0.1, "{still:?}");
    /// ```
    pub fn coefficients(&self, advance_ratio: f64, speed_rad_s: f64, viscosity_m2_s: f64) -> Coefficients {
        self.coefficients_of(&GENERIC, advance_ratio, speed_rad_s, viscosity_m2_s)
    }

    /// [`Designation::coefficients`] for another generic blade.
    pub(super) fn coefficients_of(
        &self,
        generic: &Generic,
        advance_ratio: f64,
        speed_rad_s: f64,
        viscosity_m2_s: f64,
    ) -> Coefficients {
        let tip_m_s = 0.5 * self.diameter_m * speed_rad_s;
        let flow =
            Flow { axial: advance_ratio / PI, edgewise: 0.0, tip: 1.0, speed_m_s: tip_m_s, viscosity_m2_s };
        let (thrust, torque) = Blade::new(self, generic).load(&flow);
        // Tip pi n D, radius D/2: rho U^2 R^2 = pi^2/4 rho n^2 D^4.
        Coefficients { thrust: thrust * PI * PI / 4.0, power: torque * PI * PI * PI / 4.0 }
    }
}
