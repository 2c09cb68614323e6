//! Verdicts from traces: the figure of each check in one flight and under many seeds.

use aplomb_craft::{Rotors, Spin};

use crate::measure;
use crate::quantiles::Quantiles;
use crate::signals;
use crate::verdict::Verdict;
use aplomb_flight::check::{Check, Pooling, Statistic};
use aplomb_flight::limit::Limit;
use aplomb_flight::trace::Trace;

/// Measurement of one check in one flight.
#[derive(Clone, Debug, PartialEq)]
pub enum Evidence {
    /// Samples of the window, to be pooled over seeds.
    Samples(Vec<f64>),
    /// Figure of this flight.
    Figure(f64),
}

/// Measures `check` on `trace`. `spin` is the sense of rotation of each rotor.
#[must_use]
pub fn evidence(check: &Check, trace: &Trace, spin: &Rotors<Spin>) -> Evidence {
    let rows = trace.window(check.from_s, check.to_s);
    let samples = signals::values(check.signal, rows, spin);
    match check.statistic {
        Statistic::Settling { band } => {
            let times: Vec<f64> = rows.iter().map(|row| row.time_s).collect();
            Evidence::Figure(measure::settling_time(&times, &samples, band))
        }
        Statistic::Overshoot => {
            let earlier = trace.window(f64::NEG_INFINITY, check.from_s - 0.5 * trace.period_s);
            let before = earlier.last().map_or(f64::NAN, |row| signals::setpoint(check.signal, row));
            let target = rows.last().map_or(f64::NAN, |row| signals::setpoint(check.signal, row));
            Evidence::Figure(measure::overshoot_percent(&samples, before, target))
        }
        _ if check.pooling == Pooling::Pooled => Evidence::Samples(samples),
        statistic => Evidence::Figure(figure(statistic, &samples)),
    }
}

fn figure(statistic: Statistic, samples: &[f64]) -> f64 {
    let mut one = Samples::default();
    one.take(samples, statistic);
    one.figure(statistic)
}

/// Judges `check` by the evidence of its flights, one per seed.
#[must_use]
pub fn verdict(check: &Check, flights: &[Evidence]) -> Verdict {
    let mut pool = Pool::of(check);
    flights.iter().for_each(|flight| pool.take(flight));
    pool.verdict(check)
}

/// Combines the evidence of all seeds into one figure.
#[must_use]
pub fn pool(statistic: Statistic, pooling: Pooling, limit: Limit, flights: &[Evidence]) -> f64 {
    let mut pool = Pool::new(statistic, pooling, limit);
    flights.iter().for_each(|flight| pool.take(flight));
    pool.figure()
}

/// Accumulator of the evidence of any number of flights. Its memory does not grow with the number of flights.
#[derive(Clone)]
pub struct Pool {
    statistic: Statistic,
    limit: Limit,
    worst_of_flights: bool,
    figures: u64,
    worst: f64,
    middle: Quantiles,
    samples: Samples,
}

/// Running statistics of the samples of all flights.
#[derive(Clone, Default)]
struct Samples {
    flights: u64,
    count: u64,
    sum: f64,
    sum_of_squares: f64,
    largest: Option<f64>,
    smallest: Option<f64>,
    last: Option<f64>,
    sizes: Quantiles,
}

impl Pool {
    /// An empty accumulator for `check`.
    #[must_use]
    pub fn of(check: &Check) -> Self {
        Self::new(check.statistic, check.pooling, check.limit)
    }

    /// An empty accumulator.
    #[must_use]
    pub fn new(statistic: Statistic, pooling: Pooling, limit: Limit) -> Self {
        Self {
            statistic,
            limit,
            worst_of_flights: pooling == Pooling::Worst,
            figures: 0,
            worst: f64::NAN,
            middle: Quantiles::default(),
            samples: Samples::default(),
        }
    }

    /// Adds the evidence of one flight.
    pub fn take(&mut self, evidence: &Evidence) {
        match evidence {
            Evidence::Figure(figure) => {
                self.worst = if self.figures == 0 { *figure } else { worse(self.limit, self.worst, *figure) };
                self.figures += 1;
                if !self.worst_of_flights {
                    self.middle.take(*figure);
                }
            }
            Evidence::Samples(samples) => self.samples.take(samples, self.statistic),
        }
    }

    /// The figure of all flights; NaN without flights.
    #[must_use]
    pub fn figure(&self) -> f64 {
        if self.samples.flights > 0 {
            self.samples.figure(self.statistic)
        } else if self.worst_of_flights {
            self.worst
        } else {
            self.middle.quantile(0.5)
        }
    }

    /// Judges `check` by all flights.
    #[must_use]
    pub fn verdict(&self, check: &Check) -> Verdict {
        let measured = self.figure();
        Verdict {
            text: check.words(),
            measured,
            limit: check.limit,
            unit: check.unit(),
            outcome: check.limit.judge(measured),
            source: check.because.clone(),
        }
    }
}

impl Samples {
    fn take(&mut self, samples: &[f64], statistic: Statistic) {
        self.flights += 1;
        self.count += samples.len() as u64;
        match statistic {
            Statistic::Share(_) => samples.iter().for_each(|v| self.sizes.take(v.abs())),
            _ => samples.iter().for_each(|v| {
                self.sum += v;
                self.sum_of_squares += v * v;
            }),
        }
        let update = |all: Option<f64>, one: f64, larger: fn(f64, f64) -> f64| match all {
            _ if samples.is_empty() => all,
            Some(all) => Some(larger(all, one)),
            None => Some(one),
        };
        self.largest = update(self.largest, measure::largest(samples), |a, b| measure::largest(&[a, b]));
        self.smallest = update(self.smallest, measure::smallest(samples), |a, b| measure::smallest(&[a, b]));
        self.last = samples.last().copied().or(self.last);
    }

    fn figure(&self, statistic: Statistic) -> f64 {
        let mean = |sum: f64| sum / self.count as f64;
        let (largest, smallest) = (self.largest.unwrap_or(f64::NAN), self.smallest.unwrap_or(f64::NAN));
        match statistic {
            Statistic::Mean => mean(self.sum),
            Statistic::Rms => libm::sqrt(mean(self.sum_of_squares)),
            Statistic::Peak => measure::largest(&[largest, -smallest]),
            Statistic::Largest => largest,
            Statistic::Smallest => smallest,
            Statistic::Share(share) => self.sizes.quantile(share),
            Statistic::Final => self.last.unwrap_or(f64::NAN),
            Statistic::TimeShare => 100.0 * mean(self.sum),
            // These need the samples of one flight in order. Pooled samples have none.
            Statistic::Settling { .. } | Statistic::Overshoot => f64::NAN,
        }
    }
}

/// The figure with the smaller margin to `limit`; NaN when either is NaN.
fn worse(limit: Limit, a: f64, b: f64) -> f64 {
    let excess = |figure: f64| match limit {
        Limit::AtMost(high) => figure - high,
        Limit::AtLeast(low) => low - figure,
        Limit::Between(low, high) => (low - figure).max(figure - high),
    };
    if a.is_nan() || excess(a) >= excess(b) { a } else { b }
}

#[cfg(test)]
mod tests {
    use super::*;
    use aplomb_flight::limit::Outcome;
    use aplomb_flight::signal::Signal;
    use aplomb_flight::trace::Row;

    fn check(statistic: Statistic, pooling: Pooling, limit: Limit) -> Check {
        let signal = Signal::Pitch;
        Check { signal, statistic, from_s: 1.0, to_s: 2.0, limit, pooling, because: None }
    }

    /// A step of the pitch set-point from 0 to 20 at 1 s; the pitch peaks at 23.
    fn step() -> Trace {
        let rows = (0..=20).map(|i| {
            let mut row = Row { time_s: 0.1 * f64::from(i), ..Row::default() };
            if i >= 10 {
                row.setpoint.pitch_deg = 20.0;
                row.truth.pitch_deg = [0.0, 10.0, 23.0, 19.0][(i as usize - 10).min(3)];
            }
            row
        });
        Trace { period_s: 0.1, rows: rows.collect() }
    }

    fn spin() -> Rotors<Spin> {
        aplomb_craft::Config::weir_gauge().arms.map(|arm| arm.spin)
    }

    #[test]
    fn overshoot_is_in_percent_of_the_set_point_step() {
        let overshoot = check(Statistic::Overshoot, Pooling::Median, Limit::AtMost(10.0));
        let verdict = verdict(&overshoot, &[evidence(&overshoot, &step(), &spin())]);
        assert!((verdict.measured - 15.0).abs() < 1e-12);
        assert_eq!(verdict.outcome, Outcome::Fail);
    }

    #[test]
    fn pooling_takes_all_samples_and_worst_takes_the_figure_with_the_least_margin() {
        let pooled = check(Statistic::Share(0.5), Pooling::Pooled, Limit::AtMost(3.0));
        let samples = [Evidence::Samples(vec![1.0, 1.0, 1.0]), Evidence::Samples(vec![-9.0, 9.0])];
        assert_eq!(verdict(&pooled, &samples).measured, 1.0);
        let worst = check(Statistic::Final, Pooling::Worst, Limit::Between(-1.0, 4.0));
        let figures = [2.0, 3.0, 0.5].map(Evidence::Figure);
        assert_eq!(verdict(&worst, &figures).measured, 3.0);
        let unknown = [Evidence::Figure(2.0), Evidence::Figure(f64::NAN)];
        assert_eq!(verdict(&worst, &unknown).outcome, Outcome::Inconclusive);
    }

    #[test]
    fn an_empty_window_is_inconclusive() {
        let mean = check(Statistic::Mean, Pooling::Pooled, Limit::AtMost(1.0));
        let verdict = verdict(&mean, &[evidence(&mean, &Trace::default(), &spin())]);
        assert_eq!(verdict.outcome, Outcome::Inconclusive);
    }
}
