//! Dispersions of quantities and the file `dispersions.toml`.

use schemars::JsonSchema;
use serde::Deserialize;
use statrs::distribution::{ContinuousCDF, Normal};

use super::Quantity;
use crate::input::suggest::nearest;
use crate::input::{Document, InputError};

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

#[derive(Deserialize, JsonSchema)]
pub(crate) struct DispersionsFile {
    vary: Vec<VaryEntry>,
}

#[derive(Deserialize, JsonSchema)]
struct VaryEntry {
    what: String,
    uniform: Option<f64>,
    normal: Option<f64>,
    triangular: Option<f64>,
}

/// Reads dispersions from `text`; `path` is the path for messages. Delay and motor time constant always vary:
/// by their default where the file omits them.
///
/// # Errors
/// All errors of the file.
pub fn from_text(path: &str, text: &str) -> Result<Vec<Vary>, InputError> {
    let document = Document::parse(path, text)?;
    let varies = document.read::<DispersionsFile>().map(|file| {
        let mut varies: Vec<Vary> = Vec::new();
        for (i, entry) in file.vary.iter().enumerate() {
            if let Some(vary) = entry.check(&document, &format!("vary[{i}]")) {
                if varies.iter().any(|other| other.quantity == vary.quantity) {
                    document.refuse_at(&format!("vary[{i}].what"), "varies already", None);
                }
                varies.push(vary);
            }
        }
        for quantity in [Quantity::Delay, Quantity::MotorTimeConstant] {
            if !varies.iter().any(|vary| vary.quantity == quantity) {
                varies.push(Vary { quantity, dispersion: quantity.default_dispersion() });
            }
        }
        varies.sort_by_key(|vary| vary.quantity);
        varies
    });
    document.finish(varies)
}

impl VaryEntry {
    fn check(&self, document: &Document<'_>, path: &str) -> Option<Vary> {
        let quantity = Quantity::ALL.iter().copied().find(|quantity| quantity.key() == self.what);
        if quantity.is_none() {
            let keys: Vec<&str> = Quantity::ALL.iter().map(|quantity| quantity.key()).collect();
            let help = nearest(&self.what, &keys).help;
            let reason = format!("unknown quantity `{}`", self.what);
            document.refuse_at(&format!("{path}.what"), reason, Some(&help));
        }
        let (key, dispersion) = match (self.uniform, self.normal, self.triangular) {
            (Some(half), None, None) => ("uniform", Dispersion::Uniform(half)),
            (None, Some(deviation), None) => ("normal", Dispersion::Normal(deviation)),
            (None, None, Some(half)) => ("triangular", Dispersion::Triangular(half)),
            _ => {
                let help = Some("give one of `uniform`, `normal` and `triangular`");
                document.refuse_at(path, "exactly one distribution is required", help);
                return None;
            }
        };
        let key = format!("{path}.{key}");
        document.require_within(&key, dispersion.widest(), 0.0, f64::INFINITY);
        let quantity = quantity?;
        if quantity.key().ends_with("_percent") {
            // More than 100 % would make it negative.
            document.require_within(&key, dispersion.widest(), 0.0, 100.0);
        }
        Some(Vary { quantity, dispersion })
    }
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
pub(crate) fn share(seed: u64, run: u64, index: u64) -> f64 {
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
