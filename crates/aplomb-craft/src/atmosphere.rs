//! Standard atmosphere, ISO 2533:1975, troposphere (to 11 km), with a temperature offset.
//!
//! `T = T0 + dT - L H`, `p = p0 (1 - L H / (T0 + dT))^(g0 / (R L))`, `rho = p / (R T)`, with H the
//! geopotential height. The offset dT shifts the whole temperature column over an unchanged sea-level
//! pressure, in hydrostatic balance.

/// Sea-level temperature (K).
pub const SEA_LEVEL_TEMPERATURE_K: f64 = 288.15;
/// Sea-level pressure (Pa).
pub const SEA_LEVEL_PRESSURE_PA: f64 = 101_325.0;
/// Sea-level density without offset (kg/m3).
pub const SEA_LEVEL_DENSITY_KG_M3: f64 = 1.225;
/// Temperature lapse rate (K/m).
pub const LAPSE_K_M: f64 = 0.0065;
/// Specific gas constant of air (J/(kg K)).
pub const GAS_CONSTANT_J_KG_K: f64 = 287.052_87;
/// Radius for the geopotential height (m).
pub const EARTH_RADIUS_M: f64 = 6_356_766.0;
/// Highest geopotential height covered (m).
pub const CEILING_M: f64 = 11_000.0;

const EXPONENT: f64 = crate::gravity::STANDARD_M_S2 / (GAS_CONSTANT_J_KG_K * LAPSE_K_M);
const HEAT_RATIO: f64 = 1.4;
const SUTHERLAND_FACTOR: f64 = 1.458e-6;
const SUTHERLAND_TEMPERATURE_K: f64 = 110.4;

/// State of the air at one height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Temperature (K).
    pub temperature_k: f64,
    /// Static pressure (Pa).
    pub pressure_pa: f64,
    /// Density (kg/m3).
    pub density_kg_m3: f64,
}

impl Air {
    /// Air at geopotential height `height_m` above sea level. Heights are clamped to -1000..11000 m.
    ///
    /// ```
    /// let air = aplomb_craft::atmosphere::Air::at(1000.0, 0.0);
    /// assert!((air.density_kg_m3 - 1.111643).abs() < 1e-6); // ISO 2533
    /// ```
    pub fn at(height_m: f64, temperature_offset_k: f64) -> Air {
        let height_m = height_m.clamp(-1000.0, CEILING_M);
        let ground_k = SEA_LEVEL_TEMPERATURE_K + temperature_offset_k;
        let temperature_k = ground_k - LAPSE_K_M * height_m;
        let pressure_pa = SEA_LEVEL_PRESSURE_PA * libm::pow(temperature_k / ground_k, EXPONENT);
        Air { temperature_k, pressure_pa, density_kg_m3: pressure_pa / (GAS_CONSTANT_J_KG_K * temperature_k) }
    }

    /// Speed of sound (m/s).
    pub fn speed_of_sound_m_s(&self) -> f64 {
        libm::sqrt(HEAT_RATIO * GAS_CONSTANT_J_KG_K * self.temperature_k)
    }

    /// Dynamic viscosity by Sutherland's law (Pa s).
    pub fn viscosity_pa_s(&self) -> f64 {
        let t = self.temperature_k;
        SUTHERLAND_FACTOR * t * libm::sqrt(t) / (t + SUTHERLAND_TEMPERATURE_K)
    }
}

/// Geopotential height of a geometric height above sea level (m).
#[inline]
pub fn geopotential_m(geometric_m: f64) -> f64 {
    EARTH_RADIUS_M * geometric_m / (EARTH_RADIUS_M + geometric_m)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 2533:1975 / U.S. Standard Atmosphere 1976: H (m), T (K), p (Pa), rho (kg/m3), a (m/s).
    const ROWS: [[f64; 5]; 8] = [
        [0.0, 288.15, 101_325.0, 1.225000, 340.294],
        [500.0, 284.90, 95_460.8, 1.167269, 338.370],
        [1000.0, 281.65, 89_874.6, 1.111643, 336.434],
        [2000.0, 275.15, 79_495.2, 1.006490, 332.529],
        [3000.0, 268.65, 70_108.5, 0.909122, 328.578],
        [5000.0, 255.65, 54_019.9, 0.736116, 320.529],
        [8000.0, 236.15, 35_599.8, 0.525167, 308.063],
        [11000.0, 216.65, 22_632.0, 0.363918, 295.070],
    ];

    #[test]
    fn validate_standard_rows() {
        for [height, temperature, pressure, density, sound] in ROWS {
            let air = Air::at(height, 0.0);
            assert!((air.temperature_k - temperature).abs() < 1e-9, "{height}");
            assert!((air.pressure_pa / pressure - 1.0).abs() < 3e-6, "{height} {}", air.pressure_pa);
            assert!((air.density_kg_m3 - density).abs() < 1e-6, "{height} {}", air.density_kg_m3);
            assert!((air.speed_of_sound_m_s() - sound).abs() < 1e-3, "{height}");
        }
        assert!((Air::at(0.0, 0.0).viscosity_pa_s() - 1.7894e-5).abs() < 5e-10);
    }

    #[test]
    fn validate_standard_rows_fail_for_an_isothermal_column() {
        let isothermal = |h: f64| SEA_LEVEL_PRESSURE_PA * libm::exp(-h / 8434.0);
        assert!(ROWS[1..].iter().all(|row| (isothermal(row[0]) / row[2] - 1.0).abs() > 3e-6));
    }

    #[test]
    fn barometer_slope_at_sea_level() {
        // 12.012 Pa/m: rho g at sea level.
        let slope = (Air::at(-0.5, 0.0).pressure_pa - Air::at(0.5, 0.0).pressure_pa) / 1.0;
        assert!((slope - 12.013).abs() < 2e-3, "{slope}");
    }

    #[test]
    fn warm_air_has_lower_density_in_hydrostatic_balance() {
        let (below, middle, above) = (Air::at(999.0, 20.0), Air::at(1000.0, 20.0), Air::at(1001.0, 20.0));
        let balance = (below.pressure_pa - above.pressure_pa) / 2.0 / (middle.density_kg_m3 * 9.80665);
        assert!((balance - 1.0).abs() < 1e-7, "{balance}");
        assert!(middle.density_kg_m3 < Air::at(1000.0, 0.0).density_kg_m3 * 0.96);
    }

    #[test]
    fn geopotential_height_is_below_geometric_height() {
        assert!((geopotential_m(11_019.1) - 11_000.0).abs() < 0.1);
        assert_eq!(geopotential_m(0.0), 0.0);
    }
}
