//! Central differences of running code about a point.

/// A column of a matrix: the entries that are above the rounding error.
pub(crate) type Column = Vec<(usize, f64)>;

/// Allowed relative difference of the differences over two steps, beyond the rounding error.
const TOLERANCE: f64 = 1e-3;
/// Ratio of two steps that are compared.
const RATIO: f64 = 8.0;
/// Times that the step is shortened, and lengthened, at most.
const SHORTER: usize = 5;
const LONGER: usize = 4;

/// Entries below this share of the largest one of their column count as 0.
const NEGLIGIBLE: f64 = 1e-10;

/// A first step, and how much a difference changed at last over a shorter one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub size: f64,
    pub disagreement: f64,
    /// The argument itself: its rounding is an error of the offset.
    pub argument: f64,
}

/// One entry of a derivative.
#[derive(Clone, Copy, Debug)]
struct Entry {
    slope: f64,
    /// Bound of its error by rounding: that of the result and of the argument, or the part of the difference
    /// that does not change sign with the offset, whichever is larger.
    error: f64,
    /// A longer step may still be better.
    open: bool,
}

impl Entry {
    /// Relative change to the entry over another step, beyond their errors.
    fn change(&self, other: &Self) -> f64 {
        let change = (self.slope - other.slope).abs() - self.error - other.error;
        if change > 0.0 { change / self.slope.abs().max(other.slope.abs()) } else { 0.0 }
    }
}

/// The derivative of `function` by its offset about 0, where its value is `base`.
///
/// The step is shortened until the differences over it and over a shorter one agree, so that limits and
/// branches of the code are left out; it is too long, too, if the code leaves its branch (`None`). Then it is
/// lengthened for the entries that are not yet above the rounding error, as long as each stays what it was.
/// `epsilon` is the relative rounding error of the function. `None` if no step stays in the branch.
pub(crate) fn column(
    base: &[f64],
    epsilon: f64,
    step: &mut Step,
    mut function: impl FnMut(f64) -> Option<Vec<f64>>,
) -> Option<Column> {
    let argument = step.argument.abs();
    let mut entries_over = |h: f64| -> Option<Vec<Entry>> {
        let (up, down) = (function(h)?, function(-h)?);
        let entries = up.iter().zip(&down).zip(base).map(|((up, down), base)| {
            let slope = (up - down) / (2.0 * h);
            let rounding = epsilon * (base.abs() + slope.abs() * argument) / h;
            let even = (0.5 * (up + down) - base).abs() / h;
            Entry { slope, error: rounding.max(even), open: true }
        });
        let mut entries: Vec<Entry> = entries.collect();
        let most = entries.iter().fold(0.0, |most: f64, entry| most.max(entry.slope.abs()));
        entries.iter_mut().filter(|entry| entry.slope.abs() < NEGLIGIBLE * most).for_each(|entry| {
            entry.slope = 0.0;
        });
        Some(entries)
    };
    let mut found: Option<(Step, Vec<Entry>)> = None;
    let mut h = step.size;
    let mut long = entries_over(h);
    for _ in 0..SHORTER {
        let short = entries_over(h / RATIO);
        if let (Some(long), Some(short)) = (&long, &short) {
            let disagreement = long.iter().zip(short).fold(0.0, |worst: f64, (a, b)| worst.max(a.change(b)));
            if found.as_ref().is_none_or(|(best, _)| disagreement < best.disagreement) {
                found = Some((Step { size: h, disagreement, ..*step }, long.clone()));
            }
            if disagreement < TOLERANCE {
                break;
            }
        }
        long = short;
        h /= RATIO;
    }
    let (chosen, mut entries) = found?;
    *step = chosen;
    let mut h = chosen.size;
    for _ in 0..LONGER {
        let poor =
            |entry: &Entry| entry.open && entry.error > TOLERANCE * entry.slope.abs() && entry.slope != 0.0;
        if !entries.iter().any(poor) {
            break;
        }
        h *= RATIO;
        let Some(longer) = entries_over(h) else { break };
        for (entry, longer) in entries.iter_mut().zip(longer) {
            if entry.open && entry.change(&longer) < TOLERANCE && longer.error <= entry.error {
                *entry = longer;
            } else {
                entry.open = false;
            }
        }
    }
    let above = |(_, entry): &(usize, Entry)| entry.slope.abs() > entry.error;
    Some(entries.into_iter().enumerate().filter(above).map(|(i, entry)| (i, entry.slope)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_of_f32_code_are_found_to_1e_4_and_a_branch_is_kept() {
        // sqrt(4 + x), a filter of 10 s at 1 ms that is far from its input, and a limit at 0.01.
        let function = |x: f64| {
            let x = x as f32;
            let filter = 300.0f32 + 1e-4 * (300.0 + x - 300.0);
            (x.abs() <= 0.01)
                .then(|| vec![f64::from((4.0 + x).sqrt()), f64::from(filter), f64::from(3.0 * x)])
        };
        let base = function(0.0).unwrap();
        let mut step = Step { size: 1.0, disagreement: 0.0, argument: 0.0 };
        let found = column(&base, f64::from(f32::EPSILON), &mut step, function).unwrap();
        assert!(step.size <= 0.01);
        let slope = |i: usize| found.iter().find(|(at, _)| *at == i).map(|(_, slope)| *slope);
        assert!((slope(0).unwrap() - 0.25).abs() < 1e-4, "{found:?}");
        assert!((slope(2).unwrap() - 3.0).abs() < 1e-4);
        // What f32 cannot resolve is left out, not guessed.
        assert_eq!(slope(1), None);
    }
}
