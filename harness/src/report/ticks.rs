//! Round values along an axis.

use aplomb_study::number;

/// Kind of the numbers along an axis; determines the round values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Steps of 1, 2 or 5 times a power of ten.
    Decimal,
    /// The same below 10; above it 15, 30, 45, 90 or 180 deg.
    Degrees,
    /// As degrees; printed as a heading from 0 to 360.
    Heading,
}

/// Evenly spaced round values over a range.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticks {
    /// Distance between ticks.
    pub step: f64,
    /// The round values, ascending.
    pub values: Vec<f64>,
    /// The range of the axis; contains the ticks.
    pub range: (f64, f64),
    /// Number of decimals.
    pub decimals: usize,
    scale: Scale,
}

/// Largest distance from the data to a tick that ends the axis, as a share of a step.
const FAR: f64 = 0.6;
/// Extension beyond the data where no tick ends the axis, as a share of a step.
const MARGIN: f64 = 0.1;
const DEGREE_STEPS: [f64; 5] = [15.0, 30.0, 45.0, 90.0, 180.0];

impl Ticks {
    /// Ticks inside `low..=high`, at most `count` (at least 2) of them.
    pub fn inside(low: f64, high: f64, count: usize, scale: Scale) -> Self {
        let step = round_step((high - low) / count.max(2) as f64, scale);
        Self::on(step, (low, high), scale)
    }

    /// Ticks at given values, ascending.
    pub fn at(values: Vec<f64>) -> Self {
        let range = (values.first().copied().unwrap_or(0.0), values.last().copied().unwrap_or(1.0));
        Self { step: f64::NAN, values, range, decimals: 0, scale: Scale::Decimal }
    }

    /// About `count` ticks over a range that contains `low..=high`. It ends at a tick, or slightly beyond the
    /// data if the next tick is far.
    pub fn around(low: f64, high: f64, count: usize, scale: Scale) -> Self {
        let step = round_step((high - low) / count.max(2) as f64, scale);
        let (below, above) = (step * libm::floor(low / step + 1e-9), step * libm::ceil(high / step - 1e-9));
        let low = if low - below > FAR * step { low - MARGIN * step } else { below };
        let high = if above - high > FAR * step { high + MARGIN * step } else { above };
        Self::on(step, (low, high), scale)
    }

    fn on(step: f64, range: (f64, f64), scale: Scale) -> Self {
        let (first, last) = (libm::ceil(range.0 / step - 1e-9), libm::floor(range.1 / step + 1e-9));
        let count = (last - first).max(0.0) as usize;
        let values = (0..=count).map(|i| (first + i as f64) * step).collect();
        let decimals = (-libm::floor(libm::log10(step) + 1e-9)).max(0.0) as usize;
        Self { step, values, range, decimals, scale }
    }

    /// Printed value of a tick.
    pub fn label(&self, value: f64) -> String {
        let shown = if self.scale == Scale::Heading { value.rem_euclid(360.0) } else { value };
        number::fixed(shown, self.decimals)
    }
}

/// The smallest round step that is at least `least`; 1 if that is not a positive number.
fn round_step(least: f64, scale: Scale) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 1.0;
    }
    let least = least * (1.0 - 1e-9);
    if scale != Scale::Decimal && least > 10.0 {
        if let Some(&step) = DEGREE_STEPS.iter().find(|&&step| step >= least) {
            return step;
        }
        return libm::ceil(least / 360.0) * 360.0;
    }
    let decade = libm::pow(10.0, libm::floor(libm::log10(least)));
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * decade).find(|&step| step >= least).unwrap_or(10.0 * decade)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inside_stays_inside_at_round_values() {
        let ticks = Ticks::inside(0.0, 60.0, 6, Scale::Decimal);
        assert_eq!(ticks.values, [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]);
        let ticks = Ticks::inside(0.3, 9.7, 5, Scale::Decimal);
        assert_eq!(ticks.values, [2.0, 4.0, 6.0, 8.0]);
    }

    #[test]
    fn around_encloses_the_range() {
        let ticks = Ticks::around(-0.13, 0.41, 4, Scale::Decimal);
        assert_eq!(
            ticks.values,
            [-0.2, 0.0, 0.2, 0.4],
            "ends at the near tick below, not at the far one above"
        );
        assert_eq!(ticks.range.0, -0.2);
        assert!((0.41..0.5).contains(&ticks.range.1));
        assert_eq!(ticks.label(0.4), "0.4");
    }

    #[test]
    fn steps_are_one_two_or_five_over_many_sizes() {
        for exponent in -6..7 {
            for mantissa in [1.0, 1.7, 3.3, 6.1, 9.9] {
                let span = mantissa * libm::pow(10.0, f64::from(exponent));
                let ticks = Ticks::around(0.0, span, 5, Scale::Decimal);
                let lead = ticks.step / libm::pow(10.0, libm::floor(libm::log10(ticks.step) + 1e-9));
                assert!([1.0, 2.0, 5.0].iter().any(|m| (lead - m).abs() < 1e-6), "{span}: {}", ticks.step);
                assert!((3..=7).contains(&ticks.values.len()), "{span}: {:?}", ticks.values);
                assert!(
                    ticks.range.0 <= 0.0 && ticks.range.1 >= span * (1.0 - 1e-9),
                    "{span}: {:?}",
                    ticks.range
                );
            }
        }
    }

    #[test]
    fn heading_wraps_in_the_label_only() {
        let ticks = Ticks::inside(300.0, 420.0, 5, Scale::Heading);
        assert_eq!(ticks.values, [300.0, 330.0, 360.0, 390.0, 420.0]);
        let labels: Vec<_> = ticks.values.iter().map(|&v| ticks.label(v)).collect();
        assert_eq!(labels, ["300", "330", "0", "30", "60"]);
    }

    #[test]
    fn empty_or_broken_range_gives_one_unit_steps() {
        assert_eq!(Ticks::inside(3.0, 3.0, 5, Scale::Decimal).values, [3.0]);
        assert_eq!(Ticks::inside(f64::NAN, 1.0, 5, Scale::Decimal).step, 1.0);
    }
}
