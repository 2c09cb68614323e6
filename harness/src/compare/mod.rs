//! Is B better than A? Both fly the same flights under the same seeds, and each metric's difference is judged pair by pair.

mod page;
pub mod statistics;

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use crate::cli::table::figure;
use crate::disperse::Campaign;
use crate::fly::FlyError;
use crate::measure;
use crate::verdict::Limit;
use crate::verify::suite::{extent, margin};

pub use page::page;
pub use statistics::{Difference, Finding};

/// The result of a comparison.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Comparison {
    /// Version of aplomb.
    pub aplomb: String,
    /// Seeds that each flight was flown under, by both.
    pub seeds: u64,
    /// The metrics.
    pub metrics: Vec<MetricLine>,
}

/// One metric of one flight.
#[derive(Debug, Serialize, JsonSchema)]
pub struct MetricLine {
    /// The flight or probe.
    pub flight: String,
    /// Short name.
    pub id: String,
    /// Unit of all figures.
    pub unit: String,
    /// Mean of the seeds' figures of A; null where one is not finite.
    pub a: Option<f64>,
    /// Mean of the seeds' figures of B; null where one is not finite.
    pub b: Option<f64>,
    /// How much more distance from the limit B keeps, mean over the pairs; null where it cannot be told.
    pub gain: Option<f64>,
    /// Lower end of the interval that holds for all metrics together with 95 % confidence.
    pub gain_low: Option<f64>,
    /// Upper end.
    pub gain_high: Option<f64>,
    /// Least gain or loss that matters: a tenth of the limit.
    pub relevant: f64,
    /// What that means.
    pub finding: Finding,
    /// In a sentence.
    pub sentence: String,
    #[serde(skip)]
    pub(super) limit: Option<Limit>,
}

/// Flies both under `seeds` seeds and compares; `flown` is called after each flight.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn compare(
    a: &Campaign,
    b: &Campaign,
    seeds: u64,
    flown: &(dyn Fn() + Sync),
) -> Result<Comparison, FlyError> {
    let flights = a.plans().len() as u64;
    let pairs = (0..seeds * flights).into_par_iter().map(|job| {
        let (flight, number) = ((job / seeds) as usize, job % seeds);
        let figures = [a.fly(flight, number)?.figures, b.fly(flight, number)?.figures];
        flown();
        Ok(figures)
    });
    let pairs: Vec<[Vec<Option<f64>>; 2]> = pairs.collect::<Result<_, FlyError>>()?;
    let mut lines = Vec::new();
    let mut gains = Vec::new();
    for (flight, pairs) in pairs.chunks(seeds as usize).enumerate() {
        // Both are held to A's limits: a limit that moved would hide a difference.
        for (i, metric) in a.metrics(flight).into_iter().enumerate() {
            let of = |side: usize| pairs.iter().filter_map(|pair| pair[side][i]).collect::<Vec<f64>>();
            let (a_figures, b_figures) = (of(0), of(1));
            if a_figures.is_empty() && b_figures.is_empty() {
                continue;
            }
            let gain = pairs.iter().map(|pair| match (pair[0][i], pair[1][i]) {
                (Some(a), Some(b)) => margin(metric.limit, b) - margin(metric.limit, a),
                _ => f64::NAN,
            });
            gains.push((gain.collect::<Vec<f64>>(), 0.1 * extent(metric.limit)));
            lines.push(MetricLine {
                flight: a.plans()[flight].name.clone(),
                id: metric.id,
                unit: metric.unit.to_owned(),
                a: finite(measure::mean(&a_figures)),
                b: finite(measure::mean(&b_figures)),
                gain: None,
                gain_low: None,
                gain_high: None,
                relevant: 0.1 * extent(metric.limit),
                finding: Finding::Inconclusive,
                sentence: String::new(),
                limit: Some(metric.limit),
            });
        }
    }
    for (line, difference) in lines.iter_mut().zip(statistics::differences(&gains)) {
        line.gain = finite(difference.mean);
        line.gain_low = finite(difference.low);
        line.gain_high = finite(difference.high);
        line.finding = difference.finding;
        line.sentence = sentence(&difference, &line.unit, line.relevant, seeds);
    }
    Ok(Comparison { aplomb: env!("CARGO_PKG_VERSION").to_owned(), seeds, metrics: lines })
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn sentence(difference: &Difference, unit: &str, relevant: f64, seeds: u64) -> String {
    let with_unit = |value: f64| format!("{} {unit}", figure(value)).trim_end().to_owned();
    let range = format!("{} to {}", figure(difference.low), with_unit(difference.high));
    match difference.finding {
        Finding::Better => {
            format!("B is better: {} further from the limit ({range})", with_unit(difference.mean))
        }
        Finding::Worse => {
            format!("B is worse: {} nearer to the limit ({range})", with_unit(-difference.mean))
        }
        Finding::Same => "the same figures under every seed".to_owned(),
        Finding::NoneThatMatters => {
            format!(
                "no difference that matters: {} ({range}), less than {}",
                with_unit(difference.mean),
                with_unit(relevant)
            )
        }
        Finding::Inconclusive if difference.mean.is_nan() => {
            "cannot tell: under some seed one of them has no figure".to_owned()
        }
        Finding::Inconclusive => match difference.seeds_needed {
            Some(needed) if needed > seeds => format!(
                "cannot tell: {} ({range}); about {needed} seeds would show a difference of {}",
                with_unit(difference.mean),
                with_unit(relevant)
            ),
            _ => format!("cannot tell: {} ({range})", with_unit(difference.mean)),
        },
    }
}

#[cfg(test)]
mod tests;
