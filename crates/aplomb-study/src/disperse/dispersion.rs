//! Dispersions of quantities.

use statrs::distribution::{ContinuousCDF, Normal};

use super::Quantity;

/// A distribution about zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Dispersion {
    /// Uniform within plus and minus this.
    Uniform(f64),
    /// Normal with this standard deviation, truncated at three of them.
    Normal(f64),
    /// Triangular within plus and minus this, with the mode at 0.
    Triangular(f64),
}

/// Truncation of the normal distribution in standard deviations.
const CUT: f64 = 3.0;

impl Dispersion {
    /// Inverse of the cumulative distribution at `u`, 0 to 1.
    #[must_use]
    pub fn at(self, u: f64) -> f64 {
        match self {
            Self::Uniform(half) => half * (2.0 * u - 1.0),
            Self::Normal(deviation) => {
                let normal = Normal::standard();
                let beyond = normal.cdf(-CUT);
                deviation * normal.inverse_cdf(beyond + u * (1.0 - 2.0 * beyond))
            }
            Self::Triangular(half) if u < 0.5 => half * (libm::sqrt(2.0 * u) - 1.0),
            Self::Triangular(half) => half * (1.0 - libm::sqrt(2.0 * (1.0 - u))),
        }
    }

    /// Largest magnitude of a draw.
    #[must_use]
    pub fn widest(self) -> f64 {
        match self {
            Self::Uniform(half) | Self::Triangular(half) => half,
            Self::Normal(deviation) => CUT * deviation,
        }
    }

    /// Description: "uniform, within 5 %".
    #[must_use]
    pub fn words(self, unit: &str) -> String {
        match self {
            Self::Uniform(half) => format!("uniform, within {half} {unit}"),
            Self::Normal(deviation) => {
                format!("normal, standard deviation {deviation} {unit}, truncated at three")
            }
            Self::Triangular(half) => format!("triangular, within {half} {unit}"),
        }
    }
}

/// A quantity with its dispersion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vary {
    /// The quantity.
    pub quantity: Quantity,
    /// Its dispersion.
    pub dispersion: Dispersion,
}

/// The default dispersions of all quantities.
#[must_use]
pub fn defaults() -> Vec<Vary> {
    let all = Quantity::ALL.iter();
    all.map(|&quantity| Vary { quantity, dispersion: quantity.default_dispersion() }).collect()
}

/// The draws of run `run`, one per entry of `varies`. They depend on the seed, the run and the quantity
/// alone.
#[must_use]
pub fn draws(varies: &[Vary], seed: u64, run: u64) -> Vec<f64> {
    let draw = |vary: &Vary| {
        let index = Quantity::ALL.iter().position(|quantity| *quantity == vary.quantity).unwrap_or(0) as u64;
        vary.dispersion.at(share(seed, run, index))
    };
    varies.iter().map(draw).collect()
}

/// A uniform random number from 0 to 1, a function of seed, run and index.
#[must_use]
pub fn share(seed: u64, run: u64, index: u64) -> f64 {
    (mix(mix(mix(seed) ^ run) ^ index) >> 11) as f64 / (1_u64 << 53) as f64
}

/// One step of SplitMix64 (Steele, Lea and Flood 2014, OOPSLA): every bit of the input reaches every bit of
/// the output.
fn mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
