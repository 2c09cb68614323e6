//! Density of the air from the pressure of the barometers and the temperature at home.

use super::barometer::{LAPSE_K_M, is_plausible};
use crate::Sample;
use crate::error::{ConfigError, require_positive};
use crate::math::saturate;

/// Specific gas constant of dry air in J/(kg K) (ISO 2533).
const GAS_CONSTANT_J_KG_K: f32 = 287.052_87;
/// Time constant in s of the low-pass on the pressure. A climb at 10 m/s leaves a lag of 20 m, which is 0.2 %
/// of the density and as much as the dynamic pressure of 20 m/s; one wrong sample of half the pressure moves
/// the density by 0.5 % at 50 Hz.
const PRESSURE_TIME_CONSTANT_S: f32 = 2.0;
/// Range of the density in kg/m3: that of [`crate::mix::ThrustCurve::set_air_density`].
const MIN_DENSITY_KG_M3: f32 = 0.3;
const MAX_DENSITY_KG_M3: f32 = 2.0;

/// Density of the air by the equation of state of dry air,
///
/// ```text
/// rho = p/(R T),    R = 287.05287 J/(kg K),    T = T_home - 0.0065 K/m h        (ISO 2533:1975)
/// ```
///
/// with the mean pressure p of the barometers, low-passed with 2 s, the temperature T_home at home and the
/// height h above it. An error of 1 K in T_home is one of 0.35 % in the density; air saturated with
/// water vapour at 303 K is 1.6 % lighter.
///
/// Before the first plausible sample there is no density; during an outage the last one is held.
///
/// ```
/// use aplomb::{Sample, estimate::AirDensity};
/// let mut density = AirDensity::new(288.15, 1e-3)?;
/// assert_eq!(density.step(&[None], 0.0), None);
/// let sea_level = density.step(&[Some(Sample { value: 101_325.0, age_us: 0 })], 0.0);
/// assert!((sea_level.unwrap() - 1.225).abs() < 1e-4);
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AirDensity {
    home_temperature_k: f32,
    period_s: f32,
    state: AirDensityState,
}

/// State of an [`AirDensity`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AirDensityState {
    filtered: Option<Filtered>,
}

/// Low-passed pressure and the density from it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Filtered {
    pressure_pa: f32,
    density_kg_m3: f32,
    /// Time since the last plausible sample.
    since_s: f32,
}

impl AirDensity {
    /// From the air temperature in K at home and a fixed period in s.
    ///
    /// # Errors
    /// Names `home_temperature_k` or `period_s` when it is not finite or not positive.
    pub fn new(home_temperature_k: f32, period_s: f32) -> Result<Self, ConfigError> {
        Ok(Self {
            home_temperature_k: require_positive("home_temperature_k", home_temperature_k)?,
            period_s: require_positive("period_s", period_s)?,
            state: AirDensityState::default(),
        })
    }

    /// One tick: pressures in Pa of the barometers with a new sample, of which those within 10 to 120 kPa
    /// count, and the height in m above home. Returns the density in kg/m3, 0.3 to 2.0; `None` before the
    /// first plausible sample. While the height is not finite the density is held.
    pub fn step<const P: usize>(
        &mut self,
        pressure_pa: &[Option<Sample<f32>>; P],
        height_m: f32,
    ) -> Option<f32> {
        if let Some(filtered) = &mut self.state.filtered {
            filtered.since_s += self.period_s;
        }
        let (mut sum_pa, mut count) = (0.0, 0.0);
        for sample in pressure_pa.iter().flatten().filter(|sample| is_plausible(sample.value)) {
            sum_pa += sample.value;
            count += 1.0;
        }
        if count > 0.0 && height_m.is_finite() {
            let sample_pa = sum_pa / count;
            let pressure_pa = self.state.filtered.map_or(sample_pa, |last| {
                let gain = last.since_s / (PRESSURE_TIME_CONSTANT_S + last.since_s);
                last.pressure_pa + gain * (sample_pa - last.pressure_pa)
            });
            let temperature_k = self.home_temperature_k - LAPSE_K_M * height_m;
            let density = pressure_pa / (GAS_CONSTANT_J_KG_K * temperature_k);
            let density_kg_m3 = saturate(density, MIN_DENSITY_KG_M3, MAX_DENSITY_KG_M3);
            self.state.filtered = Some(Filtered { pressure_pa, density_kg_m3, since_s: 0.0 });
        }
        self.state.filtered.map(|filtered| filtered.density_kg_m3)
    }

    /// Starts over without a pressure.
    pub fn reset(&mut self) {
        self.state = AirDensityState::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> AirDensityState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: AirDensityState) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Height in m, pressure in Pa and density in kg/m3 of ISO 2533:1975.
    const ROWS: [(f32, f32, f32); 3] =
        [(0.0, 101_325.0, 1.2250), (1000.0, 89_874.6, 1.1117), (2500.0, 74_682.5, 0.9569)];

    fn new() -> AirDensity {
        AirDensity::new(288.15, 1e-3).unwrap()
    }

    fn one(value: f32) -> [Option<Sample<f32>>; 1] {
        [Some(Sample { value, age_us: 0 })]
    }

    #[test]
    fn rows_of_the_standard_atmosphere_are_met() {
        for (height_m, pressure_pa, density) in ROWS {
            // Above a home at sea level, and at a home of that height whose temperature is configured.
            let above = new().step(&one(pressure_pa), height_m).unwrap();
            let mut home = AirDensity::new(288.15 - 0.0065 * height_m, 1e-3).unwrap();
            let at_home = home.step(&one(pressure_pa), 0.0).unwrap();
            assert!(
                (above - density).abs() < 1.5e-4 && (at_home - above).abs() < 1e-6,
                "{height_m}: {above}"
            );
            // Twin: without the lapse the air is colder than configured and the density is too low.
            let isothermal = new().step(&one(pressure_pa), 0.0).unwrap();
            assert!(height_m == 0.0 || isothermal < density - 0.02, "{height_m}: {isothermal}");
        }
    }

    #[test]
    fn pressure_is_low_passed_at_any_sample_interval() {
        let after_2_s = |every: u32| {
            let mut density = new();
            density.step(&one(100_000.0), 0.0);
            for k in 1..=2000u32 {
                density.step(&[k.is_multiple_of(every).then_some(one(90_000.0)[0]).flatten()], 0.0);
            }
            let filtered = density.state().filtered.unwrap();
            (filtered.pressure_pa - 90_000.0) / 10_000.0
        };
        // One time constant by the backward difference at 1000, 50 and 5 Hz: (1 + h)^(-1/h), h the interval
        // over the time constant.
        for every in [1, 20, 200] {
            let (left, h) = (after_2_s(every), 0.5e-3 * every as f32);
            let expected = libm::powf(1.0 + h, -1.0 / h);
            assert!((left - expected).abs() < 1e-3, "{every}: {left}");
        }
        // After a long outage a sample counts almost entirely.
        let mut density = new();
        density.step(&one(100_000.0), 0.0);
        (0..400_000).for_each(|_| {
            density.step(&[None], 0.0);
        });
        density.step(&one(90_000.0), 0.0);
        assert!((density.state().filtered.unwrap().pressure_pa - 90_000.0).abs() < 110.0, "{density:?}");
    }

    #[test]
    fn without_a_plausible_sample_the_last_density_is_kept() {
        let mut density = new();
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0, 9e3, 1.3e5] {
            assert_eq!(density.step(&one(bad), 0.0), None, "{bad}");
        }
        let first = density.step(&one(101_325.0), 0.0);
        for bad in [f32::NAN, f32::INFINITY, 0.0, 9e3, 1.3e5] {
            assert_eq!(density.step(&one(bad), 0.0), first, "{bad}");
            assert_eq!(density.step(&one(90_000.0), f32::NAN), first);
        }
        assert_eq!(density.step(&[None], 500.0), first);
        density.reset();
        assert_eq!(density, new());
    }

    #[test]
    fn stuck_barometer_leaves_the_density_where_it_was() {
        let mut density = new();
        let densities = (0..100_000).map(|_| density.step(&one(89_874.6), 1000.0).unwrap());
        densities.for_each(|density| assert!((density - 1.1117).abs() < 1.5e-4, "{density}"));
    }

    #[test]
    fn pressures_of_two_barometers_are_averaged() {
        let mut density = new();
        let both = [one(101_125.0)[0], one(101_525.0)[0]];
        assert!((density.step(&both, 0.0).unwrap() - 1.225).abs() < 1e-4);
        // The one that fails does not count.
        let mut density = new();
        assert!((density.step(&[one(f32::NAN)[0], one(101_325.0)[0]], 0.0).unwrap() - 1.225).abs() < 1e-4);
    }

    #[test]
    fn density_stays_in_its_range_at_any_temperature_and_bad_fields_are_named() {
        for (temperature, height) in [(1.0, 0.0), (1e9, 0.0), (288.15, 1e9), (288.15, -1e9), (6.5, 1000.0)] {
            let density = AirDensity::new(temperature, 1e-3).unwrap().step(&one(101_325.0), height).unwrap();
            assert!((MIN_DENSITY_KG_M3..=MAX_DENSITY_KG_M3).contains(&density), "{temperature} {height}");
        }
        for bad in [f32::NAN, f32::INFINITY, 0.0, -1.0] {
            assert_eq!(AirDensity::new(bad, 1e-3).unwrap_err().field, "home_temperature_k");
            assert_eq!(AirDensity::new(288.15, bad).unwrap_err().field, "period_s");
        }
    }
}
