//! Random numbers: one seed, one independent stream per noise source, the same bits on every platform.
//!
//! Generator: xoshiro256++ (Blackman and Vigna 2021, ACM Trans. Math. Softw. 47(4), art. 36), seeded by
//! SplitMix64. Each source has a fixed number, so that removing one sensor does not change the noise of
//! another. Normal numbers: the ziggurat of Marsaglia and Tsang (2000, J. Stat. Softw. 5(8)) with 256 layers,
//! its tables and its tail computed with `libm`.

use rand_core::{Rng, SeedableRng};
use rand_xoshiro::{SplitMix64, Xoshiro256PlusPlus};
use std::sync::OnceLock;

const LAYERS: usize = 256;
/// Start of the tail for 256 layers (Marsaglia and Tsang 2000, section 2).
const TAIL: f64 = 3.654_152_885_361_009;
/// 2^-53.
const UNIT: f64 = 1.0 / 9_007_199_254_740_992.0;

/// Noise source of a stream. The numbers are part of the results: append, never renumber.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Dryden turbulence along the mean wind.
    TurbulenceAlong = 0,
    /// Dryden turbulence across the mean wind.
    TurbulenceAcross = 1,
    /// Dryden turbulence, vertical.
    TurbulenceVertical = 2,
    /// Gyro white noise.
    GyroWhite = 3,
    /// Gyro turn-on bias, bias instability, scale factor and misalignment.
    GyroBias = 4,
    /// Accelerometer white noise.
    AccelWhite = 5,
    /// Accelerometer turn-on bias, bias instability, scale factor and misalignment.
    AccelBias = 6,
    /// Barometer.
    Barometer = 7,
    /// GNSS position, white noise, and velocity.
    GnssWhite = 8,
    /// GNSS position, correlated noise.
    GnssCorrelated = 9,
    /// Magnetometer.
    Magnetometer = 10,
    /// Initial rotor phases.
    RotorPhase = 11,
    /// Sensitivity of the gyro to specific force.
    GyroSensitivity = 12,
    /// Soft iron of the magnetometer.
    SoftIron = 13,
    /// GNSS outages and multipath jumps.
    GnssEvents = 14,
    /// Gyro of the camera.
    CameraGyro = 40,
}

/// A stream of uniform and normal numbers.
///
/// ```
/// use aplomb_craft::random::{Source, Stream};
/// let (mut a, mut b) = (Stream::new(7, Source::GyroWhite), Stream::new(7, Source::GyroWhite));
/// assert_eq!(a.normal().to_bits(), b.normal().to_bits());
/// ```
#[derive(Clone, Debug)]
pub struct Stream {
    generator: Xoshiro256PlusPlus,
    tables: &'static Tables,
}

impl Stream {
    /// Stream of `source` for `seed`.
    pub fn new(seed: u64, source: Source) -> Self {
        let mut splitter = SplitMix64::seed_from_u64(seed);
        let mut own = splitter.next_u64();
        for _ in 0..source as u32 {
            own = splitter.next_u64();
        }
        Stream { generator: Xoshiro256PlusPlus::seed_from_u64(own), tables: tables() }
    }

    /// Uniform in [0, 1), 53 bits.
    #[inline]
    pub fn uniform(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 * UNIT
    }

    /// Uniform in [-1, 1).
    #[inline]
    pub fn uniform_symmetric(&mut self) -> f64 {
        2.0 * self.uniform() - 1.0
    }

    /// Normal with mean 0 and variance 1.
    #[inline]
    pub fn normal(&mut self) -> f64 {
        loop {
            let bits = self.generator.next_u64();
            let layer = (bits & 0xff) as usize;
            let side = 2.0 * ((bits >> 11) as f64 * UNIT) - 1.0;
            let value = side * self.tables.edge[layer];
            if value.abs() < self.tables.edge[layer + 1] {
                return value;
            }
            if let Some(value) = self.rare(layer, side, value) {
                return value;
            }
        }
    }

    /// The tail, and the wedges between a layer and the curve: about one draw in a hundred.
    #[cold]
    fn rare(&mut self, layer: usize, side: f64, value: f64) -> Option<f64> {
        if layer == 0 {
            loop {
                // 1 - uniform lies in (0, 1], so the logarithm is finite.
                let x = -libm::log(1.0 - self.uniform()) / TAIL;
                let y = -libm::log(1.0 - self.uniform());
                if 2.0 * y > x * x {
                    return Some(if side < 0.0 { -(TAIL + x) } else { TAIL + x });
                }
            }
        }
        let (low, high) = (self.tables.density[layer], self.tables.density[layer + 1]);
        let height = low + (high - low) * self.uniform();
        (height < density(value)).then_some(value)
    }
}

#[derive(Debug)]
struct Tables {
    /// Right edge of each layer; the first is the width that gives the base layer the common area.
    edge: [f64; LAYERS + 1],
    /// Density at each edge.
    density: [f64; LAYERS + 1],
}

fn density(x: f64) -> f64 {
    libm::exp(-0.5 * x * x)
}

fn tables() -> &'static Tables {
    static TABLES: OnceLock<Tables> = OnceLock::new();
    TABLES.get_or_init(|| {
        let tail_area =
            libm::sqrt(core::f64::consts::FRAC_PI_2) * libm::erfc(TAIL * core::f64::consts::FRAC_1_SQRT_2);
        let area = TAIL * density(TAIL) + tail_area;
        let mut edge = [0.0; LAYERS + 1];
        edge[0] = area / density(TAIL);
        edge[1] = TAIL;
        for layer in 2..LAYERS {
            let height = area / edge[layer - 1] + density(edge[layer - 1]);
            edge[layer] = libm::sqrt(-2.0 * libm::log(height));
        }
        Tables { edge, density: edge.map(density) }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_are_independent_and_repeatable() {
        let first = |seed, source| Stream::new(seed, source).uniform().to_bits();
        assert_eq!(first(1, Source::Barometer), first(1, Source::Barometer));
        assert_ne!(first(1, Source::Barometer), first(2, Source::Barometer));
        assert_ne!(first(1, Source::Barometer), first(1, Source::Magnetometer));
        let (mut a, mut b) = (Stream::new(1, Source::GyroWhite), Stream::new(1, Source::AccelWhite));
        let n = 100_000;
        let correlation: f64 = (0..n).map(|_| a.normal() * b.normal()).sum::<f64>() / f64::from(n);
        assert!(correlation.abs() < 4.0 / f64::from(n).sqrt(), "{correlation}");
    }

    #[test]
    fn normal_matches_the_normal_distribution() {
        let mut stream = Stream::new(3, Source::GyroWhite);
        let n = 1_000_000_usize;
        let mut values: Vec<f64> = (0..n).map(|_| stream.normal()).collect();
        let mean = |power: i32| values.iter().map(|v| v.powi(power)).sum::<f64>() / n as f64;
        // Standard errors of the first four moments: 1, sqrt 2, sqrt 15, sqrt 96 over sqrt n; four of them
        // are allowed.
        for (power, expected, error) in [(1, 0.0, 1.0), (2, 1.0, 1.415), (3, 0.0, 3.873), (4, 3.0, 9.798)] {
            assert!(
                (mean(power) - expected).abs() < 4.0 * error / (n as f64).sqrt(),
                "moment {power}: {}",
                mean(power)
            );
        }
        let beyond = values.iter().filter(|v| v.abs() > TAIL).count() as f64 / n as f64;
        let expected = libm::erfc(TAIL * core::f64::consts::FRAC_1_SQRT_2);
        assert!((beyond - expected).abs() < 4.0 * (expected / n as f64).sqrt(), "tail {beyond} {expected}");
        // Kolmogorov-Smirnov distance; 1.95 / sqrt n is exceeded by chance once in a thousand.
        values.sort_by(f64::total_cmp);
        let cumulative = |x: f64| 0.5 * libm::erfc(-x * core::f64::consts::FRAC_1_SQRT_2);
        let distance = values.iter().enumerate().map(|(i, &v)| (cumulative(v) - i as f64 / n as f64).abs());
        let distance = distance.fold(0.0, f64::max);
        assert!(distance < 1.95 / (n as f64).sqrt(), "{distance}");
    }
}
