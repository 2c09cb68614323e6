//! Axes of a plot.

/// A linear map from values to pixels.
pub struct Axis {
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// Pixel of the lowest value.
    pub from: f64,
    /// Pixel of the highest value.
    pub to: f64,
}

impl Axis {
    /// The pixel of a value.
    pub fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }
}
