//! Required margins, and the verdicts on measured ones.

use super::{Linear, Measured};
use crate::verdict::Verdict;
use aplomb_flight::limit::Limit;

/// Required upper and lower gain margin in dB, and phase margin in deg, with one loop broken and the others
/// closed.
pub const LEAST_GAIN_DB: f64 = 6.0;
/// See [`LEAST_GAIN_DB`].
pub const LEAST_PHASE_DEG: f64 = 45.0;
/// Largest allowed peak sensitivity.
pub const LARGEST_PEAK: f64 = 2.0;

const MARGINS: &str = "SAE AS94900, up to the first structural mode, within operating speeds";
const PEAK: &str = "K. J. Astrom, R. M. Murray, Feedback Systems, 2nd edition 2021, section 12.2";

/// Verdicts on a measured loop: margins and peak sensitivity at a demand on the mixer, peak sensitivity at a
/// set-point.
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
        one("upper gain margin", figures.upper_gain_margin_db, gain, "dB", MARGINS),
        one("lower gain margin", figures.lower_gain_margin_db, gain, "dB", MARGINS),
        one("phase margin", figures.phase_margin_deg, Limit::AtLeast(LEAST_PHASE_DEG), "deg", MARGINS),
        peak,
    ]
}

/// Margin ratio of a linear loop: the smallest of margin over required margin, and largest allowed peak
/// sensitivity over peak. 1 at the limit, above 1 within it; 0 for an unstable craft.
#[must_use]
pub fn margin_ratio(linear: &Linear) -> f64 {
    if !linear.stable {
        return 0.0;
    }
    let figures = &linear.figures;
    let peak = LARGEST_PEAK / figures.peak_sensitivity;
    if !linear.broken.is_demand() {
        return peak;
    }
    let margins = [
        figures.upper_gain_margin_db / LEAST_GAIN_DB,
        figures.lower_gain_margin_db / LEAST_GAIN_DB,
        figures.phase_margin_deg / LEAST_PHASE_DEG,
    ];
    margins.into_iter().fold(peak, f64::min)
}
