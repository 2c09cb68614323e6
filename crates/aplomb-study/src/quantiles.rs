//! Quantiles of any number of values in bounded memory.

use sketches_ddsketch::{Config, DDSketch};

use crate::measure;

/// Number of values that are stored exactly.
const KEPT: usize = 16_384;
/// Relative error of a quantile of more than `KEPT` values.
pub const RELATIVE_ERROR: f64 = 1e-3;
/// Absolute values below this count as 0 in the sketch.
const SMALLEST: f64 = 1e-9;
/// Bins for all absolute values from [`SMALLEST`] to 1e9.
const MOST_BINS: u32 = 32_768;

/// Quantile estimator: exact for up to 16,384 values, then a sketch with a relative error of at most
/// [`RELATIVE_ERROR`] (Masson, Rim and Lee 2019, DDSketch, Proc. VLDB Endow. 12(12), 2195-2205). It takes at
/// most half a megabyte.
#[derive(Clone, Default)]
pub struct Quantiles {
    few: Vec<f64>,
    many: Option<Box<Many>>,
    not_a_number: bool,
}

#[derive(Clone)]
struct Many {
    sketch: DDSketch,
    count: u64,
    minus_infinite: u64,
    plus_infinite: u64,
}

impl Quantiles {
    /// Adds a value.
    pub fn take(&mut self, value: f64) {
        self.not_a_number |= value.is_nan();
        match &mut self.many {
            Some(many) => many.take(value),
            None if self.few.len() < KEPT => self.few.push(value),
            None => {
                let sketch = DDSketch::new(Config::new(RELATIVE_ERROR, MOST_BINS, SMALLEST));
                let mut many = Box::new(Many { sketch, count: 0, minus_infinite: 0, plus_infinite: 0 });
                std::mem::take(&mut self.few).into_iter().chain([value]).for_each(|value| many.take(value));
                self.many = Some(many);
            }
        }
    }

    /// As [`measure::quantile`]: NaN without values or when any value was NaN.
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        match &self.many {
            _ if self.not_a_number => f64::NAN,
            Some(many) => many.quantile(share),
            None => measure::quantile(&self.few, share),
        }
    }
}

impl Many {
    fn take(&mut self, value: f64) {
        self.count += 1;
        if value == f64::INFINITY {
            self.plus_infinite += 1;
        } else if value == f64::NEG_INFINITY {
            self.minus_infinite += 1;
        } else if !value.is_nan() {
            self.sketch.add(value);
        }
    }

    fn quantile(&self, share: f64) -> f64 {
        let rank = share.clamp(0.0, 1.0) * (self.count - 1) as f64 - self.minus_infinite as f64;
        let finite = self.count - self.minus_infinite - self.plus_infinite;
        if rank < 0.0 {
            f64::NEG_INFINITY
        } else if rank > finite.saturating_sub(1) as f64 || finite == 0 {
            f64::INFINITY
        } else {
            let of_finite = if finite > 1 { rank / (finite - 1) as f64 } else { 0.0 };
            // The sketch fails only for a share outside 0 to 1 or when empty.
            self.sketch.quantile(of_finite).ok().flatten().unwrap_or(f64::NAN)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: impl IntoIterator<Item = f64>) -> Quantiles {
        let mut quantiles = Quantiles::default();
        values.into_iter().for_each(|value| quantiles.take(value));
        quantiles
    }

    #[test]
    fn few_values_are_exact_and_many_within_the_stated_error() {
        let value = |i: usize| (i as f64 * 0.618_033_988_75).fract().powi(3) * 7.0 - 1.0;
        for count in [KEPT, 20 * KEPT] {
            let values: Vec<f64> = (0..count).map(value).collect();
            let quantiles = of(values.iter().copied());
            for share in [0.0, 0.05, 0.5, 0.95, 1.0] {
                let (exact, estimated) = (measure::quantile(&values, share), quantiles.quantile(share));
                let allowed = if count == KEPT { 0.0 } else { 1.01 * RELATIVE_ERROR * exact.abs() };
                assert!((estimated - exact).abs() <= allowed, "{count} {share}: {estimated} {exact}");
            }
        }
    }

    #[test]
    fn infinite_values_and_nan_count_among_many() {
        let mut values = vec![2.0; 2 * KEPT];
        values[..100].fill(f64::NEG_INFINITY);
        values[100..10_000].fill(f64::INFINITY);
        let mut quantiles = of(values);
        assert_eq!(quantiles.quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(quantiles.quantile(1.0), f64::INFINITY);
        assert!((quantiles.quantile(0.5) - 2.0).abs() < 2.0 * RELATIVE_ERROR);
        quantiles.take(f64::NAN);
        assert!(quantiles.quantile(0.5).is_nan());
        assert!(of([]).quantile(0.5).is_nan());
    }
}
