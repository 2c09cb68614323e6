//! Required margins, and the verdicts on measured ones.

use super::figures::Figures;
use super::{Linear, Measured, disk_of_all};
use crate::linear::Model;
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

/// Smallest size of the balanced disk of one loop: 6 dB and 37 deg at the same time.
pub const LEAST_DISK: f64 = 0.67;
/// Smallest size of the balanced disks of all four demands on the mixer at once: 3.5 dB and 23 deg in each.
pub const LEAST_DISK_OF_ALL: f64 = 0.4;
/// Largest difference of a measured and a linear margin in dB and deg, beyond the interval of the
/// measurement.
pub const LARGEST_DIFFERENCE_DB: f64 = 0.7;
/// See [`LARGEST_DIFFERENCE_DB`].
pub const LARGEST_DIFFERENCE_DEG: f64 = 4.0;

const DISK: &str = "criterion of this project; disk by P. Seiler, A. Packard, P. Gahinet, IEEE Control Systems \
                    Magazine 40(5), 2020";
const AGREEMENT: &str = "criterion of this project";

fn verdict(text: String, measured: f64, limit: Limit, unit: &'static str, source: &str) -> Verdict {
    Verdict { text, measured, limit, unit, outcome: limit.judge(measured), source: Some(source.to_owned()) }
}

/// Verdicts on a loop: margins, disk margin and peak sensitivity at a demand on the mixer, peak sensitivity
/// at a set-point; then the differences of measured and linear margins. A figure that was not measured is
/// that of the linear model, and its text states that.
#[must_use]
pub fn verdicts(linear: &Linear, measured: &Measured) -> Vec<Verdict> {
    let name = measured.broken.name();
    let one = |what: &str, of: fn(&Figures) -> f64, limit: Limit, unit, source: &str| {
        let (found, expected) = (of(&measured.figures), of(&linear.figures));
        let by = if found.is_nan() { ", by the linear model" } else { "" };
        let value = if found.is_nan() { expected } else { found };
        verdict(format!("{name}: {what}{by}"), value, limit, unit, source)
    };
    let peak =
        one("peak sensitivity Ms", |figures| figures.peak_sensitivity, Limit::AtMost(LARGEST_PEAK), "", PEAK);
    let gain = Limit::AtLeast(LEAST_GAIN_DB);
    let mut verdicts = if measured.broken.is_demand() {
        vec![
            one("upper gain margin", |figures| figures.upper_gain_margin_db, gain, "dB", MARGINS),
            one("lower gain margin", |figures| figures.lower_gain_margin_db, gain, "dB", MARGINS),
            one(
                "phase margin",
                |figures| figures.phase_margin_deg,
                Limit::AtLeast(LEAST_PHASE_DEG),
                "deg",
                MARGINS,
            ),
            one("disk margin", |figures| figures.disk_size, Limit::AtLeast(LEAST_DISK), "", DISK),
            peak,
        ]
    } else {
        vec![peak]
    };
    verdicts.extend(differences(linear, measured));
    verdicts
}

/// Differences of measured and linear margins beyond the 95 % interval of the measurement.
fn differences(linear: &Linear, measured: &Measured) -> Vec<Verdict> {
    let (found, expected) = (&measured.figures, &linear.figures);
    let db_per_share = 20.0 * std::f64::consts::LOG10_E;
    let deg_per_share = 1f64.to_degrees();
    let pairs = [
        (
            "upper gain margin",
            found.upper_gain_margin_db - expected.upper_gain_margin_db,
            measured.interval(found.upper_gain_margin_rad_s) * db_per_share,
            (LARGEST_DIFFERENCE_DB, "dB"),
        ),
        (
            "lower gain margin",
            found.lower_gain_margin_db - expected.lower_gain_margin_db,
            measured.interval(found.lower_gain_margin_rad_s) * db_per_share,
            (LARGEST_DIFFERENCE_DB, "dB"),
        ),
        (
            "phase margin",
            found.phase_margin_deg - expected.phase_margin_deg,
            measured.interval(found.phase_margin_rad_s) * deg_per_share,
            (LARGEST_DIFFERENCE_DEG, "deg"),
        ),
    ];
    // Unknown where one was not measured, or both are infinite; infinite where only one is.
    let compared = pairs.into_iter().filter(|(_, difference, ..)| !difference.is_nan());
    let verdicts = compared.map(|(what, difference, interval, (limit, unit))| {
        let name = measured.broken.name();
        let interval = if difference.is_finite() { interval } else { 0.0 };
        let text = format!("{name}: {what}, measured less linear, beyond +-{interval:.1} {unit} (95 %)");
        verdict(text, (difference.abs() - interval).max(0.0), Limit::AtMost(limit), unit, AGREEMENT)
    });
    verdicts.collect()
}

/// Verdicts on a model as a whole: its stability, and the disk margin of all four demands on the mixer.
#[must_use]
pub fn verdicts_on_model(model: &Model) -> Vec<Verdict> {
    let growths = model.growths().len() as f64;
    let (size, _) = disk_of_all(model);
    let limit = Limit::AtLeast(LEAST_DISK_OF_ALL);
    vec![
        verdict("growing motions, all loops closed".to_owned(), growths, Limit::AtMost(0.0), "", AGREEMENT),
        verdict("roll, pitch, yaw and thrust at once: disk margin".to_owned(), size, limit, "", DISK),
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
    // An unknown figure counts as none.
    margins.into_iter().fold(peak, |least, margin| if margin >= least { least } else { margin.max(0.0) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::{Break, C64};
    use crate::margins::curve::Curve;
    use crate::margins::measure::Line;
    use aplomb_flight::limit::Outcome;

    /// Outcomes of the differences of the lower gain margin.
    fn outcomes(found_db: f64, expected_db: f64) -> Vec<Outcome> {
        let of = |lower_gain_margin_db| Figures { lower_gain_margin_db, ..Figures::UNKNOWN };
        let (broken, curve) = (Break::RollTorque, Curve::default());
        let linear = Linear { broken, curve: curve.clone(), figures: of(expected_db), stable: true };
        let figures = of(found_db);
        let measured = Measured { broken, lines: Vec::new(), curve, figures, not_measured: None };
        let line = Line { rad_s: 1.0, transfer: C64::new(1.0, 0.0), coherence: 1.0 };
        differences(&linear, &Measured { lines: vec![line], ..measured })
            .into_iter()
            .map(|verdict| verdict.outcome)
            .collect()
    }

    #[test]
    fn margin_that_only_one_of_measurement_and_model_has_is_a_difference() {
        assert_eq!(outcomes(10.0, 10.6), [Outcome::Pass]);
        assert_eq!(outcomes(10.0, 10.8), [Outcome::Fail]);
        assert_eq!(outcomes(10.0, f64::INFINITY), [Outcome::Fail]);
        assert_eq!(outcomes(f64::INFINITY, 10.0), [Outcome::Fail]);
        assert_eq!(outcomes(f64::INFINITY, f64::INFINITY), []);
        assert_eq!(outcomes(f64::NAN, 10.0), []);
    }
}
