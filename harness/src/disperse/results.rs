//! What all runs of a flight say together.

use std::fmt::Write;

use schemars::JsonSchema;
use serde::Serialize;

use super::campaign::Metric;
use super::{Campaign, Run, spread, statistics};
use crate::measure;

/// All flights.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Results {
    /// Version of aplomb.
    pub aplomb: String,
    /// Seed of everything that is drawn.
    pub seed: u64,
    /// Runs of each flight.
    pub runs: u64,
    /// What varies.
    pub varies: Vec<VaryLine>,
    /// The flights.
    pub flights: Vec<FlightResult>,
}

/// A quantity that varies.
#[derive(Debug, Serialize, JsonSchema)]
pub struct VaryLine {
    /// The quantity.
    pub what: String,
    /// Its spread in words.
    pub spread: String,
}

/// All runs of one flight.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FlightResult {
    /// The flight.
    pub flight: String,
    /// Runs in which everything held.
    pub held: u64,
    /// Share of them.
    pub probability: f64,
    /// Lower end of its 95 % interval (Clopper and Pearson 1934).
    pub probability_low: f64,
    /// Upper end.
    pub probability_high: f64,
    /// Numbers of the runs that did not hold.
    pub failed: Vec<u64>,
    /// The figures.
    pub metrics: Vec<MetricResult>,
    /// Which spread explains the outcome, the strongest first.
    pub ranking: Vec<RankLine>,
}

/// One figure over all runs; null where it is not finite.
#[derive(Debug, Serialize, JsonSchema)]
pub struct MetricResult {
    /// Short name.
    pub id: String,
    /// Unit of the figures.
    pub unit: String,
    /// Runs in which it missed its limit.
    pub missed: u64,
    /// 5 % of the runs lie below.
    pub quantile_5: Option<f64>,
    /// Half of the runs lie below.
    pub median: Option<f64>,
    /// 95 % of the runs lie below.
    pub quantile_95: Option<f64>,
    /// The run nearest to a miss, or furthest into it.
    pub worst: Option<f64>,
    #[serde(skip)]
    pub(super) metric: Option<Metric>,
}

/// How one spread goes with the outcome.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RankLine {
    /// The quantity.
    pub what: String,
    /// How far the runs that did not hold stand out in it: 1 all above the others, -1 all below (rank-biserial correlation);
    /// null when all held or none did.
    pub misses: Option<f64>,
    /// The same for the size of the draw: 1 when the misses lie at both ends.
    pub misses_by_size: Option<f64>,
    /// Rank correlation with the least slack of a run (Spearman).
    pub slack: Option<f64>,
    /// The least p-value of these, corrected for all quantities and all three looks (Holm 1979).
    pub p_value: f64,
}

impl Results {
    /// Puts finished runs together; their order does not matter, and one that is there twice counts once.
    #[must_use]
    pub fn of(campaign: &Campaign, runs: u64, finished: &[Run]) -> Self {
        let flights = campaign.plans().iter().enumerate().map(|(flight, plan)| {
            let mut own: Vec<&Run> =
                finished.iter().filter(|run| run.flight == flight && run.number < runs).collect();
            own.sort_by_key(|run| run.number);
            own.dedup_by_key(|run| run.number);
            flight_result(campaign, &plan.name, &campaign.metrics(flight), &own)
        });
        let varies = campaign.varies.iter().map(|vary| VaryLine {
            what: vary.quantity.key().to_owned(),
            spread: vary.spread.words(vary.quantity.unit()),
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

fn flight_result(campaign: &Campaign, name: &str, metrics: &[Metric], runs: &[&Run]) -> FlightResult {
    let missed: Vec<bool> = runs.iter().map(|run| !run.held(metrics)).collect();
    let held = missed.iter().filter(|missed| !**missed).count() as u64;
    let (probability_low, probability_high) = statistics::clopper_pearson(held, runs.len() as u64);
    let failed = runs.iter().zip(&missed).filter(|(_, missed)| **missed).map(|(run, _)| run.number);
    FlightResult {
        flight: name.to_owned(),
        held,
        probability: held as f64 / runs.len() as f64,
        probability_low,
        probability_high,
        failed: failed.collect(),
        metrics: metrics
            .iter()
            .enumerate()
            .filter_map(|(i, metric)| metric_result(metric, i, runs))
            .collect(),
        ranking: ranking(campaign, metrics, runs, &missed),
    }
}

fn metric_result(metric: &Metric, place: usize, runs: &[&Run]) -> Option<MetricResult> {
    let figures: Vec<f64> = runs.iter().filter_map(|run| run.figures[place]).collect();
    if figures.is_empty() {
        return None;
    }
    let finite = |value: f64| value.is_finite().then_some(value);
    let margin = |figure: f64| crate::verify::suite::margin(metric.limit, figure);
    let worst = figures.iter().copied().min_by(|a, b| margin(*a).total_cmp(&margin(*b)));
    let missed =
        figures.iter().filter(|figure| metric.limit.judge(**figure) != crate::verdict::Outcome::Pass);
    Some(MetricResult {
        id: metric.id.clone(),
        unit: metric.unit.to_owned(),
        missed: missed.count() as u64,
        quantile_5: finite(measure::quantile(&figures, 0.05)),
        median: finite(measure::quantile(&figures, 0.5)),
        quantile_95: finite(measure::quantile(&figures, 0.95)),
        worst: worst.and_then(finite),
        metric: Some(metric.clone()),
    })
}

fn ranking(campaign: &Campaign, metrics: &[Metric], runs: &[&Run], missed: &[bool]) -> Vec<RankLine> {
    let draws: Vec<Vec<f64>> =
        runs.iter().map(|run| spread::draws(&campaign.varies, campaign.seed, run.number)).collect();
    let slack: Vec<f64> = runs.iter().map(|run| run.slack(metrics)).collect();
    let mut p_values = Vec::new();
    let mut lines: Vec<RankLine> = Vec::new();
    for (i, vary) in campaign.varies.iter().enumerate() {
        let values: Vec<f64> = draws.iter().map(|draws| draws[i]).collect();
        let sizes: Vec<f64> = values.iter().map(|value| value.abs()).collect();
        let looks = [
            statistics::group_difference(&values, missed),
            statistics::group_difference(&sizes, missed),
            statistics::rank_correlation(&values, &slack),
        ];
        p_values.extend(looks.map(|look| look.map_or(1.0, |(_, p)| p)));
        let [misses, misses_by_size, slack] = looks.map(|look| look.map(|(size, _)| size));
        let what = vary.quantity.key().to_owned();
        lines.push(RankLine { what, misses, misses_by_size, slack, p_value: 1.0 });
    }
    let corrected = statistics::holm(&p_values);
    for (line, p_values) in lines.iter_mut().zip(corrected.chunks(3)) {
        line.p_value = measure::smallest(p_values);
    }
    lines.sort_by(|a, b| a.p_value.total_cmp(&b.p_value).then(b.strength().total_cmp(&a.strength())));
    lines
}

impl RankLine {
    /// The strongest of its looks, 0 to 1.
    #[must_use]
    pub fn strength(&self) -> f64 {
        [self.misses, self.misses_by_size, self.slack].into_iter().flatten().map(f64::abs).fold(0.0, f64::max)
    }

    /// In words: what goes with a miss.
    #[must_use]
    pub fn words(&self) -> String {
        let side =
            |value: f64, high: &str, low: &str| if value > 0.0 { high.to_owned() } else { low.to_owned() };
        let looks = [
            (self.misses, side(self.misses.unwrap_or(0.0), "missed when high", "missed when low")),
            (
                self.misses_by_size,
                side(self.misses_by_size.unwrap_or(0.0), "missed at either end", "missed near the middle"),
            ),
            (
                self.slack,
                side(self.slack.unwrap_or(0.0), "nearer to a miss when low", "nearer to a miss when high"),
            ),
        ];
        let strongest = looks.into_iter().filter_map(|(value, words)| Some((value?, words)));
        let strongest = strongest.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
        strongest.map_or(String::new(), |(value, words)| format!("{words} ({:.2})", value.abs()))
    }
}

impl FlightResult {
    /// In words: "hold-in-wind: 993 of 1000 runs held: 99.3 % (98.6 to 99.7 % with 95 % confidence)".
    #[must_use]
    pub fn words(&self, runs: u64) -> String {
        format!(
            "{}: {} of {runs} runs held: {:.1} % ({:.1} to {:.1} % with 95 % confidence)",
            self.flight,
            self.held,
            100.0 * self.probability,
            100.0 * self.probability_low,
            100.0 * self.probability_high
        )
    }
}

/// One line for each run of a flight: number, digest, whether it held, every draw and every figure.
#[must_use]
pub fn to_csv(campaign: &Campaign, flight: usize, runs: u64, finished: &[Run]) -> String {
    let metrics = campaign.metrics(flight);
    let quote = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let mut text = "run,digest,held".to_owned();
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
        let held = u8::from(run.held(&metrics));
        let _ = write!(text, "{},{:016x},{held}", run.number, run.digest);
        for draw in spread::draws(&campaign.varies, campaign.seed, run.number) {
            let _ = write!(text, ",{draw}");
        }
        for figure in &run.figures {
            let _ = write!(text, ",{}", figure.map_or(String::new(), |figure| figure.to_string()));
        }
        text.push('\n');
    }
    text
}
