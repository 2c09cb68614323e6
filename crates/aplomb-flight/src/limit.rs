//! Limits of figures, and the outcome of a judgement.

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
