//! Gravity: the standard value, and the normal gravity of the WGS-84 ellipsoid over latitude and height.

pub use aplomb_types::gravity::STANDARD_M_S2;

const EQUATOR_M_S2: f64 = 9.780_325_335_9;
const SOMIGLIANA: f64 = 0.001_931_852_652_41;
const ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_14;
const SEMI_MAJOR_M: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257_223_563;
const CENTRIFUGAL_RATIO: f64 = 0.003_449_786_506_84;

/// Normal gravity (m/s2) at a geodetic latitude (rad) and a height above the ellipsoid (m).
///
/// `g = ge (1 + k sin^2) / sqrt(1 - e2 sin^2)` and the second-order height formula
/// `g_h = g (1 - 2 h (1 + f + m - 2 f sin^2) / a + 3 h^2 / a^2)`: NIMA TR8350.2, 3rd ed. 2000, eqs. 4-1 and
/// 4-3.
///
/// ```
/// assert!((aplomb_craft::gravity::normal_m_s2(0.0, 0.0) - 9.7803253359).abs() < 1e-10);
/// ```
pub fn normal_m_s2(latitude_rad: f64, height_m: f64) -> f64 {
    let sine = libm::sin(latitude_rad);
    let squared = sine * sine;
    let surface =
        EQUATOR_M_S2 * (1.0 + SOMIGLIANA * squared) / libm::sqrt(1.0 - ECCENTRICITY_SQUARED * squared);
    let ratio = height_m / SEMI_MAJOR_M;
    surface
        * (1.0 - 2.0 * ratio * (1.0 + FLATTENING + CENTRIFUGAL_RATIO - 2.0 * FLATTENING * squared)
            + 3.0 * ratio * ratio)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn validate_wgs84_rows() {
        // NIMA TR8350.2, 3rd ed. 2000, eqs. 4-1 and 4-3.
        for (latitude_deg, height, expected, tolerance) in [
            (0.0, 0.0, 9.7803253359, 1e-10),
            (45.0, 0.0, 9.8061977694, 1e-9),
            (90.0, 0.0, 9.8321849379, 1e-9),
            (45.0, 1000.0, 9.803113, 1e-6),
        ] {
            let g = normal_m_s2(f64::to_radians(latitude_deg), height);
            assert!((g - expected).abs() < tolerance, "{latitude_deg} {height}: {g}");
            // The twin: the standard constant does not depend on latitude or height.
            assert!((STANDARD_M_S2 - expected).abs() > tolerance);
        }
    }
}
