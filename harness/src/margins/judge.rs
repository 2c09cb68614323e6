//! What margins must at least be, and whether they are.

use super::{Linear, Measured};
use crate::verdict::{Limit, Verdict};

/// Least gain margin up and down in dB, and least phase margin in deg, one loop broken, the others closed.
pub const LEAST_GAIN_DB: f64 = 6.0;
/// See [`LEAST_GAIN_DB`].
pub const LEAST_PHASE_DEG: f64 = 45.0;
/// Largest peak of the sensitivity.
pub const LARGEST_PEAK: f64 = 2.0;

const MARGINS: &str = "SAE AS94900, up to the first structural mode, within operating speeds";
const PEAK: &str = "K. J. Astrom, R. M. Murray, Feedback Systems, 2nd edition 2021, section 12.2";

/// Judges a measured loop: at a demand on the mixer margins and peak, at a set-point the peak alone.
#[must_use]
pub fn verdicts(measured: &Measured) -> Vec<Verdict> {
    let figures = &measured.figures;
    let name = measured.broken.name();
    let one = |what: &str, measured: f64, limit: Limit, unit, source: &str| Verdict {
        text: format!("{name}: {what}"),
        measured,
        limit,
        unit,
        outcome: limit.judge(measured),
        source: Some(source.to_owned()),
    };
    let peak = one("peak sensitivity Ms", figures.peak_sensitivity, Limit::AtMost(LARGEST_PEAK), "", PEAK);
    if !measured.broken.is_demand() {
        return vec![peak];
    }
    let gain = Limit::AtLeast(LEAST_GAIN_DB);
    vec![
        one("gain margin up", figures.gain_up_db, gain, "dB", MARGINS),
        one("gain margin down", figures.gain_down_db, gain, "dB", MARGINS),
        one("phase margin", figures.phase_deg, Limit::AtLeast(LEAST_PHASE_DEG), "deg", MARGINS),
        peak,
    ]
}

/// By how much the tightest limit of a linear loop is held, 1 where it is just held, above where it is held with room: the
/// least of margin over least margin and largest peak over peak. 0 for what is not stable.
#[must_use]
pub fn room(linear: &Linear) -> f64 {
    if !linear.stable {
        return 0.0;
    }
    let figures = &linear.figures;
    let peak = LARGEST_PEAK / figures.peak_sensitivity;
    if !linear.broken.is_demand() {
        return peak;
    }
    let margins = [
        figures.gain_up_db / LEAST_GAIN_DB,
        figures.gain_down_db / LEAST_GAIN_DB,
        figures.phase_deg / LEAST_PHASE_DEG,
    ];
    margins.into_iter().fold(peak, f64::min)
}
