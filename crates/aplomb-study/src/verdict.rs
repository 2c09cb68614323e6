//! Judged checks.

use aplomb_flight::limit::{Limit, Outcome};

/// A judged check.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Description of the figure: "height error, 95 % of the time, 5 to 30 s".
    pub text: String,
    /// The measured figure.
    pub measured: f64,
    /// The limit.
    pub limit: Limit,
    /// Unit as printed: "m", "deg", "%", "s".
    pub unit: &'static str,
    /// Pass, fail or inconclusive.
    pub outcome: Outcome,
    /// Source of the limit, if the flight file states one.
    pub source: Option<String>,
}
