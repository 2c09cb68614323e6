//! What was expected, what was measured, and whether it held.

/// Whether a check held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Measured within the limit.
    Pass,
    /// Measured outside the limit.
    Fail,
    /// Nothing to measure: no sample in the window, or not a number.
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

/// One check judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// What is measured, in words: "height error, 95 % of the time, 5 to 30 s".
    pub text: String,
    /// The measured figure.
    pub measured: f64,
    /// Its limit.
    pub limit: Limit,
    /// Its unit as printed: "m", "deg", "%", "s".
    pub unit: &'static str,
    /// Held, missed or cannot tell.
    pub outcome: Outcome,
    /// Where the limit comes from, if the flight file says.
    pub source: Option<String>,
}

impl Limit {
    /// Judges a measured figure; NaN cannot be told.
    #[must_use]
    pub fn judge(self, measured: f64) -> Outcome {
        if measured.is_nan() {
            return Outcome::Inconclusive;
        }
        let held = match self {
            Self::AtMost(high) => measured <= high,
            Self::AtLeast(low) => measured >= low,
            Self::Between(low, high) => (low..=high).contains(&measured),
        };
        if held { Outcome::Pass } else { Outcome::Fail }
    }
}
