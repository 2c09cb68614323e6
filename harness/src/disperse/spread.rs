//! How a quantity varies, and the file that says so.

use schemars::JsonSchema;
use serde::Deserialize;
use statrs::distribution::{ContinuousCDF, Normal};

use super::Quantity;
use crate::input::{Document, InputError};

/// A distribution about zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spread {
    /// Anywhere within this to either side.
    Uniform(f64),
    /// With this standard deviation, cut off at three of them.
    Normal(f64),
    /// Within this to either side, most often in the middle.
    Triangular(f64),
}

/// Where a normal spread is cut off, in standard deviations: a craft beyond it is not made.
const CUT: f64 = 3.0;

impl Spread {
    /// The value below which the share `u`, 0 to 1, of all draws lies.
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

    /// Widest draw.
    #[must_use]
    pub fn widest(self) -> f64 {
        match self {
            Self::Uniform(half) | Self::Triangular(half) => half,
            Self::Normal(deviation) => CUT * deviation,
        }
    }

    /// In words: "within 5 % to either side".
    #[must_use]
    pub fn words(self, unit: &str) -> String {
        match self {
            Self::Uniform(half) => format!("uniform, within {half} {unit}"),
            Self::Normal(deviation) => {
                format!("normal, {deviation} {unit} of standard deviation, cut off at three")
            }
            Self::Triangular(half) => format!("triangular, within {half} {unit}"),
        }
    }
}

/// A quantity and how it varies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vary {
    /// The quantity.
    pub quantity: Quantity,
    /// Its spread.
    pub spread: Spread,
}

/// Everything, by its default.
#[must_use]
pub fn defaults() -> Vec<Vary> {
    let all = Quantity::ALL.iter();
    all.map(|&quantity| Vary { quantity, spread: quantity.default_spread() }).collect()
}

#[derive(Deserialize, JsonSchema)]
pub(crate) struct SpreadFile {
    vary: Vec<VaryEntry>,
}

#[derive(Deserialize, JsonSchema)]
struct VaryEntry {
    what: String,
    uniform: Option<f64>,
    normal: Option<f64>,
    triangular: Option<f64>,
}

/// Reads what varies from `text`; `path` names it in messages. Delay and motor lag vary always: by their default where the
/// file leaves them out.
///
/// # Errors
/// Everything that is wrong with the file.
pub fn from_text(path: &str, text: &str) -> Result<Vec<Vary>, InputError> {
    let document = Document::parse(path, text)?;
    let varies = document.read::<SpreadFile>().map(|file| {
        let mut varies: Vec<Vary> = Vec::new();
        for (i, entry) in file.vary.iter().enumerate() {
            if let Some(vary) = entry.check(&document, &format!("vary[{i}]")) {
                if varies.iter().any(|other| other.quantity == vary.quantity) {
                    document.refuse_at(&format!("vary[{i}].what"), "varies already", None);
                }
                varies.push(vary);
            }
        }
        for quantity in [Quantity::Delay, Quantity::MotorLag] {
            if !varies.iter().any(|vary| vary.quantity == quantity) {
                varies.push(Vary { quantity, spread: quantity.default_spread() });
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
            let nearest = keys.iter().min_by_key(|key| strsim::osa_distance(&self.what, key));
            let help = nearest.map(|nearest| format!("did you mean `{nearest}`? All: {}", keys.join(", ")));
            let reason = format!("no quantity `{}` that varies", self.what);
            document.refuse_at(&format!("{path}.what"), reason, help.as_deref());
        }
        let (key, spread) = match (self.uniform, self.normal, self.triangular) {
            (Some(half), None, None) => ("uniform", Spread::Uniform(half)),
            (None, Some(deviation), None) => ("normal", Spread::Normal(deviation)),
            (None, None, Some(half)) => ("triangular", Spread::Triangular(half)),
            _ => {
                let help = Some("give one of `uniform`, `normal` and `triangular`");
                document.refuse_at(path, "a quantity varies in one way", help);
                return None;
            }
        };
        let key = format!("{path}.{key}");
        document.require_within(&key, spread.widest(), 0.0, f64::INFINITY);
        let quantity = quantity?;
        if quantity.key().ends_with("_percent") {
            // More would make it nothing, or less than that.
            document.require_within(&key, spread.widest(), 0.0, 100.0);
        }
        Some(Vary { quantity, spread })
    }
}

/// The draws of run `run`, one for each of `varies`. They hang on the seed, the run and the quantity alone.
#[must_use]
pub fn draws(varies: &[Vary], seed: u64, run: u64) -> Vec<f64> {
    let draw = |vary: &Vary| {
        let place = Quantity::ALL.iter().position(|quantity| *quantity == vary.quantity).unwrap_or(0) as u64;
        vary.spread.at(share(seed, run, place))
    };
    varies.iter().map(draw).collect()
}

/// A number from 0 to 1, evenly drawn, that hangs on the seed, the run and the place in the run alone.
pub(crate) fn share(seed: u64, run: u64, place: u64) -> f64 {
    (mix(mix(mix(seed) ^ run) ^ place) >> 11) as f64 / (1_u64 << 53) as f64
}

/// One step of SplitMix64 (Steele, Lea and Flood 2014, OOPSLA): every bit of the input reaches every bit of the output.
fn mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
