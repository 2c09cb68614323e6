//! `[[check]]`: what must hold in a flight.

use schemars::JsonSchema;
use serde::Deserialize;

use super::document::Document;
use super::signal::Signal;
use crate::verdict::Limit;

/// One thing that must hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What is looked at.
    pub signal: Signal,
    /// Which figure of it is measured.
    pub statistic: Statistic,
    /// Start of the window in s.
    pub from_s: f64,
    /// End of the window in s.
    pub to_s: f64,
    /// What the figure is held against, in [`Check::unit`].
    pub limit: Limit,
    /// How many seeds become one figure.
    pub over_seeds: OverSeeds,
    /// Source or reason of the limit.
    pub because: Option<String>,
}

/// A figure of a signal over a window.
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
    /// The absolute value is no greater than this for the given share (0 to 1) of the time.
    Share(f64),
    /// Value at the end of the window.
    Final,
    /// Time in s from the start of the window until the absolute value stays within `band` for the rest of it.
    Settling {
        /// Half width of the band, in the signal's unit.
        band: f64,
    },
    /// How far the signal goes beyond a set-point that steps at the start of the window, in percent of the step.
    Overshoot,
    /// Share of the time, in percent, in which a flag is set.
    TimeShare,
}

/// How the flights under several seeds become one figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OverSeeds {
    /// All samples of all seeds are taken together.
    Pooled,
    /// The median of the seeds' figures.
    Median,
    /// The seed that is worst for the limit.
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

    /// The check in words: "height error, 95 % of the time, 5 to 30 s".
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
            Statistic::Settling { band } => format!("{signal}, until within {band} {}", self.signal.unit()),
            Statistic::Overshoot => format!("{signal}, overshoot"),
            Statistic::TimeShare => format!("{signal}, share of the time"),
        };
        format!("{figure}, {} to {} s", self.from_s, self.to_s)
    }
}

/// `[[check]]` as it stands in the file.
#[derive(Deserialize, JsonSchema)]
pub(crate) struct CheckEntry {
    what: Signal,
    statistic: Option<StatisticWord>,
    share: Option<f64>,
    band: Option<f64>,
    from_s: Option<f64>,
    to_s: Option<f64>,
    at_most: Option<f64>,
    at_least: Option<f64>,
    over_seeds: Option<OverSeeds>,
    because: Option<String>,
}

#[derive(Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum StatisticWord {
    Mean,
    Rms,
    Peak,
    Largest,
    Smallest,
    Share,
    Final,
    SettlingS,
    OvershootPercent,
    TimeSharePercent,
}

impl CheckEntry {
    /// Checks the entry at `path` and puts the defaults in.
    pub(crate) fn check(self, document: &Document<'_>, path: &str, duration_s: f64) -> Option<Check> {
        let statistic = self.statistic(document, path)?;
        let limit = match (self.at_least, self.at_most) {
            (None, None) => {
                document.refuse_at(path, "a check needs a limit", Some("add `at_most` or `at_least`"));
                return None;
            }
            (None, Some(high)) => Limit::AtMost(high),
            (Some(low), None) => Limit::AtLeast(low),
            (Some(low), Some(high)) => {
                if low > high {
                    document.refuse_at(&format!("{path}.at_least"), "lies above `at_most`", None);
                }
                Limit::Between(low, high)
            }
        };
        let from_s = self.from_s.unwrap_or(0.0);
        let to_s = self.to_s.unwrap_or(duration_s);
        document.require_within(&format!("{path}.from_s"), from_s, 0.0, duration_s);
        document.require_within(&format!("{path}.to_s"), to_s, 0.0, duration_s);
        if from_s >= to_s {
            document.refuse_at(&format!("{path}.from_s"), "the window must end after it starts", None);
        }
        let over_seeds = self.over_seeds.unwrap_or(match statistic {
            Statistic::Mean | Statistic::Rms | Statistic::Share(_) | Statistic::TimeShare => {
                OverSeeds::Pooled
            }
            Statistic::Settling { .. } | Statistic::Overshoot => OverSeeds::Median,
            Statistic::Peak | Statistic::Largest | Statistic::Smallest | Statistic::Final => OverSeeds::Worst,
        });
        Some(Check { signal: self.what, statistic, from_s, to_s, limit, over_seeds, because: self.because })
    }

    fn statistic(&self, document: &Document<'_>, path: &str) -> Option<Statistic> {
        use StatisticWord as Word;
        let implied = if self.what.is_flag() {
            Some(Word::TimeSharePercent)
        } else if self.what.is_of_window() {
            Some(Word::Mean)
        } else {
            self.share.map(|_| Word::Share)
        };
        let Some(word) = self.statistic.or(implied) else {
            let help = "add `statistic`: mean, rms, peak, largest, smallest, share, final, settling_s, \
                        overshoot_percent or time_share_percent";
            document.refuse_at(path, "a check needs a figure to measure", Some(help));
            return None;
        };
        let at = format!("{path}.statistic");
        if self.what.is_flag() != (word == Word::TimeSharePercent) {
            let reason = format!("`{}` has no such figure", self.what.key());
            document.refuse_at(
                &at,
                reason,
                Some("`time_share_percent` is for flags, and they have no other"),
            );
        }
        if word == Word::OvershootPercent && !self.what.has_setpoint() {
            let reason = format!("`{}` has no set-point of its own to overshoot", self.what.key());
            document.refuse_at(&at, reason, None);
        }
        if self.what.is_of_window() && word != Word::Mean {
            document.refuse_at(&at, format!("`{}` is one figure for the window", self.what.key()), None);
        }
        for (key, value, wanted) in
            [("share", self.share, word == Word::Share), ("band", self.band, word == Word::SettlingS)]
        {
            if value.is_some() && !wanted {
                document.refuse_at(
                    &format!("{path}.{key}"),
                    format!("`{key}` has no meaning for this statistic"),
                    None,
                );
            } else if value.is_none() && wanted {
                document.refuse_at(path, format!("this statistic needs `{key}`"), None);
            }
        }
        Some(match word {
            Word::Mean => Statistic::Mean,
            Word::Rms => Statistic::Rms,
            Word::Peak => Statistic::Peak,
            Word::Largest => Statistic::Largest,
            Word::Smallest => Statistic::Smallest,
            Word::Share => Statistic::Share(document.require_within(
                &format!("{path}.share"),
                self.share.unwrap_or(1.0),
                0.0,
                1.0,
            )),
            Word::Final => Statistic::Final,
            Word::SettlingS => {
                let band = self.band.unwrap_or(1.0);
                Statistic::Settling { band: document.require_positive(&format!("{path}.band"), band) }
            }
            Word::OvershootPercent => Statistic::Overshoot,
            Word::TimeSharePercent => Statistic::TimeShare,
        })
    }
}
