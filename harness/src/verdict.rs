//! Limits, measured figures and their outcome: pass, fail or inconclusive.

/// Outcome of a check or requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The figure is within the limit.
    Pass,
    /// The figure is outside the limit.
    Fail,
    /// There is no figure: no sample in the window, or NaN.
    Inconclusive,
}

/// A limit on a measured figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// At most this.
    AtMost(f64),
    /// At least this.
    AtLeast(f64),
    /// Between the two, both included.
    Between(f64, f64),
}

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

impl Limit {
    /// Judges a measured figure. NaN is inconclusive.
    #[must_use]
    pub fn judge(self, measured: f64) -> Outcome {
        if measured.is_nan() {
            return Outcome::Inconclusive;
        }
        let within = match self {
            Self::AtMost(high) => measured <= high,
            Self::AtLeast(low) => measured >= low,
            Self::Between(low, high) => (low..=high).contains(&measured),
        };
        if within { Outcome::Pass } else { Outcome::Fail }
    }
}
