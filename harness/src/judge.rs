//! From traces to verdicts: what each expectation measures, in one flight and over many seeds.

use aplomb_craft::{Rotors, Spin};

use crate::input::expectation::{Expectation, OverSeeds, Statistic};
use crate::measure;
use crate::signals;
use crate::trace::Trace;
use crate::verdict::{Limit, Verdict};

/// What one flight has to say about one expectation.
#[derive(Clone, Debug, PartialEq)]
pub enum Evidence {
    /// The samples of the window, to be pooled over seeds.
    Samples(Vec<f64>),
    /// The figure of this flight.
    Figure(f64),
}

/// Takes from `trace` what `expectation` needs.
#[must_use]
pub fn evidence(expectation: &Expectation, trace: &Trace, spin: &Rotors<Spin>) -> Evidence {
    let rows = trace.window(expectation.from_s, expectation.to_s);
    let samples = signals::values(expectation.signal, rows, spin);
    match expectation.statistic {
        Statistic::Settling { band } => {
            let times: Vec<f64> = rows.iter().map(|row| row.time_s).collect();
            Evidence::Figure(measure::settling_time(&times, &samples, band))
        }
        Statistic::Overshoot => {
            let earlier = trace.window(f64::NEG_INFINITY, expectation.from_s - 0.5 * trace.period_s);
            let before = earlier.last().map_or(f64::NAN, |row| signals::setpoint(expectation.signal, row));
            let target = rows.last().map_or(f64::NAN, |row| signals::setpoint(expectation.signal, row));
            Evidence::Figure(measure::overshoot_percent(&samples, before, target))
        }
        _ if expectation.over_seeds == OverSeeds::Pooled => Evidence::Samples(samples),
        statistic => Evidence::Figure(figure(statistic, &samples)),
    }
}

fn figure(statistic: Statistic, samples: &[f64]) -> f64 {
    let sizes = || samples.iter().map(|v| v.abs()).collect::<Vec<_>>();
    match statistic {
        Statistic::Mean => measure::mean(samples),
        Statistic::Rms => measure::rms(samples),
        Statistic::Peak => measure::largest(&sizes()),
        Statistic::Largest => measure::largest(samples),
        Statistic::Smallest => measure::smallest(samples),
        Statistic::Share(share) => measure::quantile(&sizes(), share),
        Statistic::Final => samples.last().copied().unwrap_or(f64::NAN),
        Statistic::TimeShare => 100.0 * measure::mean(samples),
        // Made from one flight's samples in order, never from pooled ones.
        Statistic::Settling { .. } | Statistic::Overshoot => f64::NAN,
    }
}

/// Judges `expectation` by the evidence of all its flights, one for each seed.
#[must_use]
pub fn verdict(expectation: &Expectation, flights: &[Evidence]) -> Verdict {
    let measured = pool(expectation.statistic, expectation.over_seeds, expectation.limit, flights);
    Verdict {
        text: expectation.words(),
        measured,
        limit: expectation.limit,
        unit: expectation.unit(),
        outcome: expectation.limit.judge(measured),
        source: expectation.because.clone(),
    }
}

/// One figure of the evidence of all seeds.
#[must_use]
pub fn pool(statistic: Statistic, over_seeds: OverSeeds, limit: Limit, flights: &[Evidence]) -> f64 {
    let figures: Vec<f64> = flights
        .iter()
        .filter_map(|evidence| match evidence {
            Evidence::Figure(figure) => Some(*figure),
            Evidence::Samples(_) => None,
        })
        .collect();
    if figures.len() == flights.len() {
        return match over_seeds {
            OverSeeds::Worst => worst(limit, &figures),
            OverSeeds::Median | OverSeeds::Pooled => measure::quantile(&figures, 0.5),
        };
    }
    let pooled: Vec<f64> = flights
        .iter()
        .flat_map(|evidence| match evidence {
            Evidence::Samples(samples) => samples.as_slice(),
            Evidence::Figure(_) => &[],
        })
        .copied()
        .collect();
    figure(statistic, &pooled)
}

/// The figure that is furthest outside the limit, or closest to it from inside; NaN when one of them is NaN.
fn worst(limit: Limit, figures: &[f64]) -> f64 {
    let excess = |figure: f64| match limit {
        Limit::AtMost(high) => figure - high,
        Limit::AtLeast(low) => low - figure,
        Limit::Between(low, high) => (low - figure).max(figure - high),
    };
    figures
        .iter()
        .copied()
        .reduce(|a, b| if a.is_nan() || excess(a) >= excess(b) { a } else { b })
        .unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::signal::Signal;
    use crate::trace::Row;
    use crate::verdict::Outcome;

    fn expectation(statistic: Statistic, over_seeds: OverSeeds, limit: Limit) -> Expectation {
        let signal = Signal::Pitch;
        Expectation { signal, statistic, from_s: 1.0, to_s: 2.0, limit, over_seeds, because: None }
    }

    /// Pitch goes from 0 to 20 at 1 s with a peak of 23, the set-point steps to 20.
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
    fn overshoot_is_in_percent_of_the_set_points_own_step() {
        let overshoot = expectation(Statistic::Overshoot, OverSeeds::Median, Limit::AtMost(10.0));
        let verdict = verdict(&overshoot, &[evidence(&overshoot, &step(), &spin())]);
        assert!((verdict.measured - 15.0).abs() < 1e-12);
        assert_eq!(verdict.outcome, Outcome::Missed);
    }

    #[test]
    fn pooling_takes_all_samples_and_worst_takes_the_figure_nearest_to_a_miss() {
        let pooled = expectation(Statistic::Share(0.5), OverSeeds::Pooled, Limit::AtMost(3.0));
        let samples = [Evidence::Samples(vec![1.0, 1.0, 1.0]), Evidence::Samples(vec![-9.0, 9.0])];
        assert_eq!(verdict(&pooled, &samples).measured, 1.0);
        let worst = expectation(Statistic::Final, OverSeeds::Worst, Limit::Between(-1.0, 4.0));
        let figures = [2.0, 3.0, 0.5].map(Evidence::Figure);
        assert_eq!(verdict(&worst, &figures).measured, 3.0);
        let unknown = [Evidence::Figure(2.0), Evidence::Figure(f64::NAN)];
        assert_eq!(verdict(&worst, &unknown).outcome, Outcome::CannotTell);
    }

    #[test]
    fn an_empty_window_cannot_be_told() {
        let mean = expectation(Statistic::Mean, OverSeeds::Pooled, Limit::AtMost(1.0));
        let verdict = verdict(&mean, &[evidence(&mean, &Trace::default(), &spin())]);
        assert_eq!(verdict.outcome, Outcome::CannotTell);
    }
}
