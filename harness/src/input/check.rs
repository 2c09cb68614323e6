//! `[[check]]`: a limit on a figure of a flight.

use schemars::JsonSchema;
use serde::Deserialize;

use aplomb_flight::check::{Check, Pooling, Statistic};
use aplomb_flight::signal::Signal;

use super::document::Document;
use aplomb_flight::limit::Limit;

/// `[[check]]` as written in the file.
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
    pooling: Option<Pooling>,
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
    /// Validates the entry at `path` and applies the defaults.
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
                    document.refuse_at(&format!("{path}.at_least"), "is above `at_most`", None);
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
        let pooling = self.pooling.unwrap_or(match statistic {
            Statistic::Mean | Statistic::Rms | Statistic::Share(_) | Statistic::TimeShare => Pooling::Pooled,
            Statistic::Settling { .. } | Statistic::Overshoot => Pooling::Median,
            Statistic::Peak | Statistic::Largest | Statistic::Smallest | Statistic::Final => Pooling::Worst,
        });
        Some(Check { signal: self.what, statistic, from_s, to_s, limit, pooling, because: self.because })
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
            document.refuse_at(path, "a check needs a statistic", Some(help));
            return None;
        };
        let at = format!("{path}.statistic");
        if self.what.is_flag() != (word == Word::TimeSharePercent) {
            let reason = format!("`{}` has no such statistic", self.what.key());
            document.refuse_at(&at, reason, Some("flags have `time_share_percent` only"));
        }
        if word == Word::OvershootPercent && !self.what.has_setpoint() {
            let reason = format!("`{}` has no set-point, so no overshoot", self.what.key());
            document.refuse_at(&at, reason, None);
        }
        if self.what.is_of_window() && word != Word::Mean {
            document.refuse_at(&at, format!("`{}` is one figure for the window", self.what.key()), None);
        }
        for (key, value, needed) in
            [("share", self.share, word == Word::Share), ("band", self.band, word == Word::SettlingS)]
        {
            if value.is_some() && !needed {
                document.refuse_at(
                    &format!("{path}.{key}"),
                    format!("`{key}` has no meaning for this statistic"),
                    None,
                );
            } else if value.is_none() && needed {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn list_for_readers_is_this_list() {
        let listed = include_str!("../../demo/FILES.md")
            .split_once("| signal | meaning |\n| --- | --- |\n")
            .unwrap()
            .1;
        let listed = listed.split("\n\n").next().unwrap().trim_end();
        let rows: Vec<_> = Signal::ALL
            .iter()
            .map(|signal| format!("| `{}` | {} |", signal.key(), signal.meaning().trim()))
            .collect();
        assert_eq!(listed, rows.join("\n"));
    }
}
