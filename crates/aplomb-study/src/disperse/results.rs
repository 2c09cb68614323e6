//! Combined results of all runs of a flight.

use std::fmt::Write;

use schemars::JsonSchema;
use serde::Serialize;

use super::campaign::Metric;
use super::{Campaign, Run, dispersion, statistics};
use crate::measure;
use aplomb_flight::{Controller, Plant};

/// All flights.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Results {
    /// Version of aplomb.
    pub aplomb: String,
    /// Seed of all draws.
    pub seed: u64,
    /// Runs of each flight.
    pub runs: u64,
    /// Dispersions.
    pub varies: Vec<VaryLine>,
    /// The flights.
    pub flights: Vec<FlightResult>,
}

/// A quantity that varies.
#[derive(Debug, Serialize, JsonSchema)]
pub struct VaryLine {
    /// The quantity.
    pub what: String,
    /// Description of its dispersion.
    pub dispersion: String,
}

/// All runs of one flight.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FlightResult {
    /// The flight.
    pub flight: String,
    /// Number of runs in which every figure passes.
    pub pass: u64,
    /// Share of these runs.
    pub probability: f64,
    /// Lower end of its 95 % interval (Clopper and Pearson 1934).
    pub probability_low: f64,
    /// Upper end.
    pub probability_high: f64,
    /// Numbers of the other runs.
    pub failed: Vec<u64>,
    /// The figures.
    pub metrics: Vec<MetricResult>,
    /// Association of each dispersion with the outcome, the strongest first.
    pub ranking: Vec<RankLine>,
}

/// One figure over all runs; null where it is not finite.
#[derive(Debug, Serialize, JsonSchema)]
pub struct MetricResult {
    /// Short name.
    pub id: String,
    /// Unit of the figures.
    pub unit: String,
    /// Number of runs in which it does not pass.
    pub fail: u64,
    /// 5 % of the runs lie below.
    pub quantile_5: Option<f64>,
    /// Half of the runs lie below.
    pub median: Option<f64>,
    /// 95 % of the runs lie below.
    pub quantile_95: Option<f64>,
    /// Figure with the least margin.
    pub worst: Option<f64>,
    #[serde(skip)]
    /// The figure and its limit.
    pub metric: Option<Metric>,
}

/// Association of one dispersion with the outcome.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RankLine {
    /// The quantity.
    pub what: String,
    /// Rank-biserial correlation of failure with the draw: 1 when the draws of all failed runs are above all
    /// others, -1 below; null when all runs pass or none does.
    pub failure: Option<f64>,
    /// The same with the magnitude of the draw: 1 when the failed runs are at both ends.
    pub failure_by_magnitude: Option<f64>,
    /// Rank correlation with the least slack of a run (Spearman).
    pub slack: Option<f64>,
    /// The least p-value of these, corrected for all quantities and all three statistics (Holm 1979).
    pub p_value: f64,
}

impl Results {
    /// Combines finished runs. Their order does not matter; duplicates count once.
    #[must_use]
    pub fn of<C: Controller, P: Plant>(campaign: &Campaign<C, P>, runs: u64, finished: &[Run]) -> Self {
        let flights = campaign.plans().iter().enumerate().map(|(flight, plan)| {
            let mut own: Vec<&Run> =
                finished.iter().filter(|run| run.flight == flight && run.number < runs).collect();
            own.sort_by_key(|run| run.number);
            own.dedup_by_key(|run| run.number);
            flight_result(campaign, &plan.name, &campaign.metrics(flight), &own)
        });
        let varies = campaign.varies.iter().map(|vary| VaryLine {
            what: vary.quantity.key().to_owned(),
            dispersion: vary.dispersion.words(vary.quantity.unit()),
        });
        Self {
            aplomb: env!("CARGO_PKG_VERSION").to_owned(),
            seed: campaign.seed,
            runs,
            flights: flights.collect(),
            varies: varies.collect(),
        }
    }
}

fn flight_result<C: Controller, P: Plant>(
    campaign: &Campaign<C, P>,
    name: &str,
    metrics: &[Metric],
    runs: &[&Run],
) -> FlightResult {
    let failed: Vec<bool> = runs.iter().map(|run| !run.passes(metrics)).collect();
    let pass = failed.iter().filter(|failed| !**failed).count() as u64;
    let (probability_low, probability_high) = statistics::clopper_pearson(pass, runs.len() as u64);
    let numbers = runs.iter().zip(&failed).filter(|(_, failed)| **failed).map(|(run, _)| run.number);
    FlightResult {
        flight: name.to_owned(),
        pass,
        probability: pass as f64 / runs.len() as f64,
        probability_low,
        probability_high,
        failed: numbers.collect(),
        metrics: metrics
            .iter()
            .enumerate()
            .filter_map(|(i, metric)| metric_result(metric, i, runs))
            .collect(),
        ranking: ranking(campaign, metrics, runs, &failed),
    }
}

fn metric_result(metric: &Metric, index: usize, runs: &[&Run]) -> Option<MetricResult> {
    let figures: Vec<f64> = runs.iter().filter_map(|run| run.figures[index]).collect();
    if figures.is_empty() {
        return None;
    }
    let finite = |value: f64| value.is_finite().then_some(value);
    let margin = |figure: f64| crate::verify::suite::margin(metric.limit, figure);
    let worst = figures.iter().copied().min_by(|a, b| margin(*a).total_cmp(&margin(*b)));
    let fail =
        figures.iter().filter(|figure| metric.limit.judge(**figure) != aplomb_flight::limit::Outcome::Pass);
    Some(MetricResult {
        id: metric.id.clone(),
        unit: metric.unit.to_owned(),
        fail: fail.count() as u64,
        quantile_5: finite(measure::quantile(&figures, 0.05)),
        median: finite(measure::quantile(&figures, 0.5)),
        quantile_95: finite(measure::quantile(&figures, 0.95)),
        worst: worst.and_then(finite),
        metric: Some(metric.clone()),
    })
}

fn ranking<C: Controller, P: Plant>(
    campaign: &Campaign<C, P>,
    metrics: &[Metric],
    runs: &[&Run],
    failed: &[bool],
) -> Vec<RankLine> {
    let draws: Vec<Vec<f64>> =
        runs.iter().map(|run| dispersion::draws(&campaign.varies, campaign.seed, run.number)).collect();
    let slack: Vec<f64> = runs.iter().map(|run| run.slack(metrics)).collect();
    let mut p_values = Vec::new();
    let mut lines: Vec<RankLine> = Vec::new();
    for (i, vary) in campaign.varies.iter().enumerate() {
        let values: Vec<f64> = draws.iter().map(|draws| draws[i]).collect();
        let magnitudes: Vec<f64> = values.iter().map(|value| value.abs()).collect();
        let statistics = [
            statistics::group_difference(&values, failed),
            statistics::group_difference(&magnitudes, failed),
            statistics::rank_correlation(&values, &slack),
        ];
        p_values.extend(statistics.map(|one| one.map_or(1.0, |(_, p)| p)));
        let [failure, failure_by_magnitude, slack] = statistics.map(|one| one.map(|(size, _)| size));
        let what = vary.quantity.key().to_owned();
        lines.push(RankLine { what, failure, failure_by_magnitude, slack, p_value: 1.0 });
    }
    let corrected = statistics::holm(&p_values);
    for (line, p_values) in lines.iter_mut().zip(corrected.chunks(3)) {
        line.p_value = measure::smallest(p_values);
    }
    lines.sort_by(|a, b| a.p_value.total_cmp(&b.p_value).then(b.strength().total_cmp(&a.strength())));
    lines
}

impl RankLine {
    /// Largest of the three statistics, 0 to 1.
    #[must_use]
    pub fn strength(&self) -> f64 {
        [self.failure, self.failure_by_magnitude, self.slack]
            .into_iter()
            .flatten()
            .map(f64::abs)
            .fold(0.0, f64::max)
    }

    /// Description of the strongest association.
    #[must_use]
    pub fn words(&self) -> String {
        let side =
            |value: f64, high: &str, low: &str| if value > 0.0 { high.to_owned() } else { low.to_owned() };
        let statistics = [
            (self.failure, side(self.failure.unwrap_or(0.0), "fails when high", "fails when low")),
            (
                self.failure_by_magnitude,
                side(
                    self.failure_by_magnitude.unwrap_or(0.0),
                    "fails at either end",
                    "fails near the middle",
                ),
            ),
            (self.slack, side(self.slack.unwrap_or(0.0), "less slack when low", "less slack when high")),
        ];
        let strongest = statistics.into_iter().filter_map(|(value, words)| Some((value?, words)));
        let strongest = strongest.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
        strongest.map_or(String::new(), |(value, words)| format!("{words} ({:.2})", value.abs()))
    }
}

impl FlightResult {
    /// Description: "hold-in-wind: 993 of 1000 runs pass: 99.3 % (98.6 to 99.7 % with 95 % confidence)".
    #[must_use]
    pub fn words(&self, runs: u64) -> String {
        format!(
            "{}: {} of {runs} runs pass: {:.1} % ({:.1} to {:.1} % with 95 % confidence)",
            self.flight,
            self.pass,
            100.0 * self.probability,
            100.0 * self.probability_low,
            100.0 * self.probability_high
        )
    }
}

/// One line per run of a flight: number, digest, 1 for pass, draws and figures.
#[must_use]
pub fn to_csv<C: Controller, P: Plant>(
    campaign: &Campaign<C, P>,
    flight: usize,
    runs: u64,
    finished: &[Run],
) -> String {
    let metrics = campaign.metrics(flight);
    let quote = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let mut text = "run,digest,pass".to_owned();
    // Writing to a text cannot fail.
    for vary in &campaign.varies {
        let _ = write!(text, ",{}", vary.quantity.key());
    }
    for metric in &metrics {
        let _ = write!(text, ",{}", quote(&format!("{} [{}]", metric.id, metric.unit)));
    }
    text.push('\n');
    let mut own: Vec<&Run> =
        finished.iter().filter(|run| run.flight == flight && run.number < runs).collect();
    own.sort_by_key(|run| run.number);
    own.dedup_by_key(|run| run.number);
    for run in own {
        let pass = u8::from(run.passes(&metrics));
        let _ = write!(text, "{},{:016x},{pass}", run.number, run.digest);
        for draw in dispersion::draws(&campaign.varies, campaign.seed, run.number) {
            let _ = write!(text, ",{draw}");
        }
        for figure in &run.figures {
            let _ = write!(text, ",{}", figure.map_or(String::new(), |figure| figure.to_string()));
        }
        text.push('\n');
    }
    text
}
