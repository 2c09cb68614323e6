//! Height from the pressure of any number of barometers.

use crate::Sample;
use crate::error::{ConfigError, require_positive};

/// Exponent R L/g of the standard atmosphere's pressure law and its lapse rate in K/m (ISO 2533).
const EXPONENT: f32 = 0.190_263;
pub(super) const LAPSE_K_M: f32 = 0.0065;
/// Samples over which the home pressure is averaged: 2 s at 50 Hz, which reduces white noise to a tenth.
const HOME_SAMPLES: u8 = 100;
/// Pressures in Pa outside of this range are no measurement: 16 km up, and well above any at sea level.
const MIN_PRESSURE_PA: f32 = 1e4;
const MAX_PRESSURE_PA: f32 = 1.2e5;
/// Pressure in Pa of the standard atmosphere at sea level (ISO 2533).
const SEA_LEVEL_PA: f32 = 101_325.0;

/// True for a pressure in Pa within the range of a measurement; false for NaN.
pub(super) fn is_plausible(pressure_pa: f32) -> bool {
    pressure_pa > MIN_PRESSURE_PA && pressure_pa < MAX_PRESSURE_PA
}

/// Height above the level at which the pressure was `home_pa`.
///
/// The standard law `h = T/L (1 - (p/p_home)^n)` as a series of fifth order in `x = 1 - p/p_home`. Against
/// the law it errs by less than 1 mm within 300 m of home and less than 2 cm within 1000 m (ISO 2533 rows in
/// the tests).
///
/// ```
/// use aplomb::estimate::PressureHeight;
/// let sea_level = PressureHeight::new(101_325.0, 288.15).unwrap();
/// assert!((sea_level.height_m(95_460.8) - 500.0).abs() < 0.02);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct PressureHeight {
    home_pa: f32,
    scale_m: f32,
}

impl PressureHeight {
    /// From pressure in Pa and temperature in K at home.
    ///
    /// # Errors
    /// Names `home_pa` or `home_temperature_k` when not finite or not positive.
    pub fn new(home_pa: f32, home_temperature_k: f32) -> Result<Self, ConfigError> {
        let home_pa = require_positive("home_pa", home_pa)?;
        let home_temperature_k = require_positive("home_temperature_k", home_temperature_k)?;
        Ok(Self::from_positive(home_pa, home_temperature_k))
    }

    /// From values that are known to be finite and positive.
    fn from_positive(home_pa: f32, home_temperature_k: f32) -> Self {
        Self { home_pa, scale_m: home_temperature_k / LAPSE_K_M * EXPONENT }
    }

    /// Height in m for a pressure in Pa; NaN stays NaN.
    #[must_use]
    pub fn height_m(&self, pressure_pa: f32) -> f32 {
        const C2: f32 = (1.0 - EXPONENT) / 2.0;
        const C3: f32 = C2 * (2.0 - EXPONENT) / 3.0;
        const C4: f32 = C3 * (3.0 - EXPONENT) / 4.0;
        const C5: f32 = C4 * (4.0 - EXPONENT) / 5.0;
        let x = 1.0 - pressure_pa / self.home_pa;
        self.scale_m * x * (1.0 + x * (C2 + x * (C3 + x * (C4 + x * C5))))
    }
}

/// Mean height of `P` barometers, each above its own home pressure: the mean of its last 100 samples while
/// the motors are off, fixed from the first armed sample on. Separate home pressures remove the offset
/// between two barometers from the height, so that the loss of one causes no step.
///
/// ```
/// use aplomb::{Sample, estimate::Barometers};
/// let mut barometers = Barometers::<2>::new(288.15).unwrap();
/// let pressures = |pa: [f32; 2]| pa.map(|value| Some(Sample { value, age_us: 0 }));
/// barometers.step(&pressures([100_000.0, 100_400.0]), true);
/// // 12 Pa are 1 m.
/// let height = barometers.step(&pressures([99_988.0, 100_388.0]), true).unwrap();
/// assert!((height.value - 1.0).abs() < 0.02);
/// let one = barometers.step(&[None, pressures([0.0, 100_388.0])[1]], true).unwrap();
/// assert!((one.value - height.value).abs() < 0.01);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Barometers<const P: usize> {
    home_temperature_k: f32,
    state: BarometersState<P>,
}

/// State of [`Barometers`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct BarometersState<const P: usize> {
    #[cfg_attr(feature = "serde", serde(with = "crate::serde_array"))]
    home: [Home; P],
}

/// Home pressure of one barometer.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Home {
    pressure_pa: f32,
    samples: u8,
    is_fixed: bool,
}

impl Home {
    const UNKNOWN: Self = Self { pressure_pa: SEA_LEVEL_PA, samples: 0, is_fixed: false };
}

impl<const P: usize> Barometers<P> {
    /// From the air temperature in K at home.
    ///
    /// # Errors
    /// Names `home_temperature_k` when it is not finite or not positive.
    pub fn new(home_temperature_k: f32) -> Result<Self, ConfigError> {
        let home_temperature_k = require_positive("home_temperature_k", home_temperature_k)?;
        Ok(Self { home_temperature_k, state: BarometersState { home: [Home::UNKNOWN; P] } })
    }

    /// One tick: pressures in Pa of the barometers with a new sample. Returns the mean of their heights in m
    /// and of their ages; `None` when none of them is plausible, 10 to 120 kPa.
    pub fn step(&mut self, pressure_pa: &[Option<Sample<f32>>; P], armed: bool) -> Option<Sample<f32>> {
        let (mut height_m, mut age_us, mut count) = (0.0, 0.0, 0.0);
        for (home, sample) in self.state.home.iter_mut().zip(pressure_pa) {
            let Some(Sample { value: pressure_pa, age_us: age }) = *sample else { continue };
            if is_plausible(pressure_pa) {
                if !home.is_fixed {
                    home.samples = home.samples.saturating_add(1).min(HOME_SAMPLES);
                    home.pressure_pa += (pressure_pa - home.pressure_pa) / f32::from(home.samples);
                    home.is_fixed = armed;
                }
                let law = PressureHeight::from_positive(home.pressure_pa, self.home_temperature_k);
                height_m += law.height_m(pressure_pa);
                age_us += age as f32;
                count += 1.0;
            }
        }
        (count > 0.0).then(|| Sample { value: height_m / count, age_us: (age_us / count) as u32 })
    }

    /// Sets the pressure in Pa of each barometer at home, for example after a restart in the air; it is then
    /// kept. Ignored where it is not plausible.
    pub fn set_home_pressure(&mut self, home_pa: [f32; P]) {
        for (home, pressure_pa) in self.state.home.iter_mut().zip(home_pa) {
            if is_plausible(pressure_pa) {
                *home = Home { pressure_pa, samples: HOME_SAMPLES, is_fixed: true };
            }
        }
    }

    /// Initialises the state: no home pressures.
    pub const fn reset(&mut self) {
        self.state.home = [Home::UNKNOWN; P];
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> BarometersState<P> {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: BarometersState<P>) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn standard_atmosphere_rows_are_met() {
        // ISO 2533:1975, geopotential height and pressure.
        let sea_level = PressureHeight::new(101_325.0, 288.15).unwrap();
        for (h, p, tolerance) in [(0.0, 101_325.0, 1e-6), (500.0, 95_460.8, 0.02), (1000.0, 89_874.6, 0.03)] {
            assert!((sea_level.height_m(p) - h).abs() < tolerance, "{h}: {}", sea_level.height_m(p));
        }
        let high = PressureHeight::new(79_495.2, 275.15).unwrap();
        assert!((high.height_m(70_108.5) - 1000.0).abs() < 0.1);
    }

    #[test]
    fn series_error_stays_within_what_is_stated() {
        let home = PressureHeight::new(100_000.0, 288.15).unwrap();
        let law = |p: f64| 288.15 / 0.0065 * (1.0 - (p / 1e5).powf(0.190_263));
        let (mut near, mut far) = (0.0f64, 0.0f64);
        for k in -115..=115 {
            let p = 1e5 + f64::from(k) * 100.0;
            let (h, error) = (law(p), (f64::from(home.height_m(p as f32)) - law(p)).abs());
            if h.abs() < 300.0 {
                near = near.max(error);
            }
            far = far.max(error);
        }
        assert!(near < 1.5e-3 && far < 0.02, "{near} {far}");
        assert!(home.height_m(f32::NAN).is_nan());
    }

    #[test]
    fn bad_home_is_named() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
            assert_eq!(PressureHeight::new(bad, 288.15).unwrap_err().field, "home_pa");
            assert_eq!(PressureHeight::new(1e5, bad).unwrap_err().field, "home_temperature_k");
        }
    }

    /// One barometer with a value of age 0.
    fn one(pressure_pa: f32) -> [Option<Sample<f32>>; 1] {
        [Some(Sample { value: pressure_pa, age_us: 0 })]
    }

    #[test]
    fn home_pressure_is_the_mean_of_100_samples_before_arming_and_then_kept() {
        // 25 Pa (2 m) of noise, drawn by a congruential generator (W. H. Press et al., Numerical Recipes, 3rd
        // ed., ranqd1).
        let mut n = 1u32;
        let mut noise_pa = move || {
            n = n.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            25.0 * (f64::from(n) / f64::from(u32::MAX) * 2.0 - 1.0) as f32 * 3f32.sqrt()
        };
        let mut worst_m = 0.0f32;
        for _ in 0..20 {
            let mut barometers = Barometers::<1>::new(288.15).unwrap();
            (0..200).for_each(|_| {
                barometers.step(&one(100_000.0 + noise_pa()), false);
            });
            barometers.step(&one(100_000.0 + noise_pa()), true);
            // The true home pressure; later samples do not move home.
            let height = barometers.step(&one(100_000.0), true).unwrap().value;
            worst_m = worst_m.max(height.abs());
            for _ in 0..300 {
                barometers.step(&one(99_000.0), true);
            }
            assert_eq!(barometers.step(&one(100_000.0), true).unwrap().value, height);
        }
        // The mean of 100 has 2.5 Pa, 0.21 m, one standard deviation; of a single sample it is 2.1 m.
        assert!(worst_m < 0.7, "{worst_m}");
    }

    #[test]
    fn two_barometers_give_their_mean_and_losing_one_makes_no_step() {
        let mut barometers = Barometers::<2>::new(288.15).unwrap();
        let both = |a: f32, b: f32| {
            [Some(Sample { value: a, age_us: 10_000 }), Some(Sample { value: b, age_us: 30_000 })]
        };
        (0..100).for_each(|_| {
            barometers.step(&both(100_000.0, 100_500.0), false);
        });
        barometers.step(&both(100_000.0, 100_500.0), true);
        // 12 Pa are 1.01 m, 36 Pa are 3.02 m.
        let mean = barometers.step(&both(99_988.0, 100_464.0), true).unwrap();
        assert!((mean.value - 2.017).abs() < 0.01 && mean.age_us == 20_000, "{mean:?}");
        let home = barometers.step(&both(100_000.0, f32::NAN), true).unwrap();
        assert!(home.value.abs() < 0.01 && home.age_us == 10_000, "{home:?}");
        assert!(
            barometers.step(&both(f32::NAN, 9e3), true).is_none()
                && barometers.step(&[None; 2], true).is_none()
        );
    }

    #[test]
    fn set_home_pressure_is_kept_unless_it_is_none() {
        let mut barometers = Barometers::<1>::new(288.15).unwrap();
        barometers.set_home_pressure([101_325.0]);
        (0..100).for_each(|_| {
            barometers.step(&one(95_460.8), false);
        });
        assert!((barometers.step(&one(95_460.8), false).unwrap().value - 500.0).abs() < 0.03);
        for bad in [f32::NAN, f32::INFINITY, -1.0, 0.0] {
            barometers.set_home_pressure([bad]);
            assert!((barometers.step(&one(95_460.8), true).unwrap().value - 500.0).abs() < 0.03);
        }
        barometers.reset();
        assert_eq!(barometers.step(&one(95_460.8), true).unwrap().value, 0.0);
    }
}
