//! Comparison of two controllers or craft, A and B: same flights, same seeds, paired differences of each
//! metric.

pub mod statistics;

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use crate::disperse::Campaign;
use crate::measure;
use crate::number::{self, figure};
use crate::verify::suite::{extent, margin};
use aplomb_flight::fly::FlyError;
use aplomb_flight::limit::Limit;
use aplomb_flight::{Controller, Plant};

pub use statistics::{Difference, Finding};

/// The result of a comparison.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Comparison {
    /// Version of aplomb.
    pub aplomb: String,
    /// Number of seeds of each flight, the same for both.
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
    /// What is measured.
    pub text: String,
    /// Unit of all figures.
    pub unit: String,
    /// Mean figure of A over the seeds; null where one is not finite.
    pub a: Option<f64>,
    /// Mean figure of B over the seeds; null where one is not finite.
    pub b: Option<f64>,
    /// Improvement: margin of B minus margin of A, mean over the pairs; null where inconclusive.
    pub improvement: Option<f64>,
    /// Lower end of its interval, simultaneous for all metrics with 95 % confidence.
    pub improvement_low: Option<f64>,
    /// Upper end.
    pub improvement_high: Option<f64>,
    /// Smallest relevant difference: a tenth of the limit.
    pub smallest_relevant_difference: f64,
    /// Finding.
    pub finding: Finding,
    /// The finding as a sentence.
    pub sentence: String,
    #[serde(skip)]
    /// Its limit.
    pub limit: Option<Limit>,
}

/// Flies both under `seeds` seeds and compares; `flown` is called after each flight.
///
/// # Errors
/// A craft or controller that cannot be built.
pub fn compare<A: Controller, P: Plant, B: Controller, Q: Plant>(
    a: &Campaign<A, P>,
    b: &Campaign<B, Q>,
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
    let mut improvements = Vec::new();
    for (flight, pairs) in pairs.chunks(seeds as usize).enumerate() {
        // Both are judged by the limits of A: a limit that differs would hide a difference.
        for (i, metric) in a.metrics(flight).into_iter().enumerate() {
            let of = |side: usize| pairs.iter().filter_map(|pair| pair[side][i]).collect::<Vec<f64>>();
            let (a_figures, b_figures) = (of(0), of(1));
            if a_figures.is_empty() && b_figures.is_empty() {
                continue;
            }
            let improvement = pairs.iter().map(|pair| match (pair[0][i], pair[1][i]) {
                (Some(a), Some(b)) => margin(metric.limit, b) - margin(metric.limit, a),
                _ => f64::NAN,
            });
            improvements.push((improvement.collect::<Vec<f64>>(), 0.1 * extent(metric.limit)));
            lines.push(MetricLine {
                flight: a.plans()[flight].name.clone(),
                id: metric.id,
                text: metric.text,
                unit: metric.unit.to_owned(),
                a: finite(measure::mean(&a_figures)),
                b: finite(measure::mean(&b_figures)),
                improvement: None,
                improvement_low: None,
                improvement_high: None,
                smallest_relevant_difference: 0.1 * extent(metric.limit),
                finding: Finding::Inconclusive,
                sentence: String::new(),
                limit: Some(metric.limit),
            });
        }
    }
    for (line, difference) in lines.iter_mut().zip(statistics::differences(&improvements)) {
        line.improvement = finite(difference.mean);
        line.improvement_low = finite(difference.low);
        line.improvement_high = finite(difference.high);
        line.finding = difference.finding;
        line.sentence = sentence(&difference, &line.unit, line.smallest_relevant_difference, seeds);
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
            format!("B is better: margin larger by {} ({range})", with_unit(difference.mean))
        }
        Finding::Worse => {
            format!("B is worse: margin smaller by {} ({range})", with_unit(-difference.mean))
        }
        Finding::Same => "the same figures under every seed".to_owned(),
        Finding::NoRelevantDifference => {
            format!(
                "no relevant difference: {} ({range}), less than {}",
                with_unit(difference.mean),
                with_unit(relevant)
            )
        }
        Finding::Inconclusive if difference.mean.is_nan() => {
            "inconclusive: no figure under some seed".to_owned()
        }
        Finding::Inconclusive => match difference.seeds_needed {
            Some(needed) if needed > seeds => format!(
                "inconclusive: {} ({range}); about {needed} seeds would show a difference of {} in {} of 100 comparisons",
                with_unit(difference.mean),
                with_unit(relevant),
                number::fixed(100.0 * statistics::POWER, 0)
            ),
            _ => format!("inconclusive: {} ({range})", with_unit(difference.mean)),
        },
    }
}
