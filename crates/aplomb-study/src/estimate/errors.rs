//! Error angles between two attitudes.

/// The angles between an estimated and a reference attitude in deg.
///
/// With the error rotation in world axes, `d = q_estimate q_reference*`:
///
/// ```text
/// total       2 acos |d_w|
/// heading     2 atan |d_z/d_w|
/// inclination 2 acos sqrt(d_w^2 + d_z^2)
/// ```
///
/// (D. Laidig, M. Caruso, A. Cereatti, T. Seel, Data 6(7):72, 2021, section 2.)
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ErrorAngles {
    /// Angle of the whole rotation.
    pub total_deg: f64,
    /// Rotation about the vertical.
    pub heading_deg: f64,
    /// Angle between the verticals.
    pub inclination_deg: f64,
}

impl ErrorAngles {
    /// Between two attitudes of any length, scalar first.
    ///
    /// ```
    /// use aplomb_study::estimate::ErrorAngles;
    /// // 2 deg about the vertical, then nothing else.
    /// let (s, c) = 1f64.to_radians().sin_cos();
    /// let error = ErrorAngles::between([c, 0.0, 0.0, s], [1.0, 0.0, 0.0, 0.0]);
    /// assert!((error.heading_deg - 2.0).abs() < 1e-12 && error.inclination_deg < 1e-6);
    /// ```
    #[must_use]
    pub fn between(estimate: [f64; 4], reference: [f64; 4]) -> Self {
        let ([a, b, c, d], [w, x, y, z]) = (estimate, reference);
        let dw = a * w + b * x + c * y + d * z;
        let dx = -a * x + b * w - c * z + d * y;
        let dy = -a * y + b * z + c * w - d * x;
        let dz = -a * z - b * y + c * x + d * w;
        // The arc tangents equal the formulas above, without cancellation near 0.
        let (tilt, upright) = (libm::hypot(dx, dy), libm::hypot(dw, dz));
        Self {
            total_deg: 2.0 * libm::atan2(libm::hypot(tilt, dz), dw.abs()).to_degrees(),
            heading_deg: 2.0 * libm::atan2(dz.abs(), dw.abs()).to_degrees(),
            inclination_deg: 2.0 * libm::atan2(tilt, upright).to_degrees(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tilt_and_heading_errors_are_separated() {
        // Reference: any. Estimate: first rotated about east by 3 deg, then about down by 5 deg, in world
        // axes.
        let multiply = |[a, b, c, d]: [f64; 4], [w, x, y, z]: [f64; 4]| {
            [
                a * w - b * x - c * y - d * z,
                a * x + b * w + c * z - d * y,
                a * y - b * z + c * w + d * x,
                a * z + b * y - c * x + d * w,
            ]
        };
        let half = |deg: f64| (0.5 * deg).to_radians().sin_cos();
        let ((st, ct), (sh, ch)) = (half(3.0), half(5.0));
        let reference = [0.5, -0.5, 0.1, 0.7];
        let error_rotation = multiply([ch, 0.0, 0.0, sh], [ct, 0.0, st, 0.0]);
        let error = ErrorAngles::between(multiply(error_rotation, reference), reference);
        assert!((error.inclination_deg - 3.0).abs() < 1e-9 && (error.heading_deg - 5.0).abs() < 1e-9);
        let total = 2.0 * (ct * ch).acos().to_degrees();
        assert!((error.total_deg - total).abs() < 1e-9, "{} {total}", error.total_deg);
    }
}
