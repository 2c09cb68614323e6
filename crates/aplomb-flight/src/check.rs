//! Checks: a limit on a figure of a flight.

use serde::{Deserialize, Serialize};

use crate::limit::Limit;
use crate::signal::Signal;

/// A check: a statistic of a signal over a window, with its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// The signal.
    pub signal: Signal,
    /// The statistic of the signal.
    pub statistic: Statistic,
    /// Start of the window in s.
    pub from_s: f64,
    /// End of the window in s.
    pub to_s: f64,
    /// Limit of the figure in [`Check::unit`].
    pub limit: Limit,
    /// How the seeds are combined into one figure.
    pub pooling: Pooling,
    /// Source or reason of the limit.
    pub because: Option<String>,
}

/// A statistic of a signal over a window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Statistic {
    /// Mean.
    Mean,
    /// Root of the mean square.
    Rms,
    /// Largest absolute value.
    Peak,
    /// Largest value, with its sign.
    Largest,
    /// Smallest value, with its sign.
    Smallest,
    /// Quantile of the absolute value: not exceeded for the given share (0 to 1) of the time.
    Share(f64),
    /// Value at the end of the window.
    Final,
    /// Settling time in s: from the start of the window until the absolute value stays within `band`.
    Settling {
        /// Half width of the band, in the signal's unit.
        band: f64,
    },
    /// Overshoot beyond a set-point that steps at the start of the window, in per cent of the step.
    Overshoot,
    /// Share of the time in per cent in which a flag is set.
    TimeShare,
}

/// How the flights under several seeds are combined into one figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Pooling {
    /// The statistic of the samples of all seeds together.
    Pooled,
    /// The median of the figures of the seeds.
    Median,
    /// The figure of the seed with the least margin to the limit.
    Worst,
}

impl Check {
    /// Unit of the figure as printed.
    #[must_use]
    pub const fn unit(&self) -> &'static str {
        match self.statistic {
            Statistic::Settling { .. } => "s",
            Statistic::Overshoot | Statistic::TimeShare => "%",
            _ => self.signal.unit(),
        }
    }

    /// Description of the check: "height error, 95 % of the time, 5 to 30 s".
    #[must_use]
    pub fn words(&self) -> String {
        let signal = self.signal.words();
        let figure = match self.statistic {
            _ if self.signal.is_of_window() => signal.to_owned(),
            Statistic::Mean => format!("{signal}, mean"),
            Statistic::Rms => format!("{signal}, rms"),
            Statistic::Peak => format!("{signal}, peak"),
            Statistic::Largest => format!("{signal}, largest"),
            Statistic::Smallest => format!("{signal}, smallest"),
            Statistic::Share(share) => format!("{signal}, {} % of the time", 100.0 * share),
            Statistic::Final => format!("{signal}, at the end"),
            Statistic::Settling { band } => {
                format!("{signal}, settling time to {band} {}", self.signal.unit())
            }
            Statistic::Overshoot => format!("{signal}, overshoot"),
            Statistic::TimeShare => format!("{signal}, share of the time"),
        };
        format!("{figure}, {} to {} s", self.from_s, self.to_s)
    }
}
