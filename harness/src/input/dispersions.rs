//! `dispersions.toml`: what varies, and how.

use aplomb_study::disperse::{Dispersion, Quantity, Vary};
use schemars::JsonSchema;
use serde::Deserialize;

use super::suggest::nearest;
use super::{Document, InputError};

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
pub fn dispersions(path: &str, text: &str) -> Result<Vec<Vary>, InputError> {
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
