//! Wind.

use aplomb_craft::{AirConfig, Steady, glam::DVec3};

use super::{Context, check, newton, percent, small, triangle};
use crate::envelope::{TOLERANCE, balance};
use crate::explain::{Check, Lesson};
use crate::forces::intervals;
use crate::measure::mean_of_finite as mean;
use crate::number::fixed;
use aplomb_flight::trace::{Row, Trace};

impl Context<'_> {
    pub(super) fn wind(&self, trace: &Trace) -> Lesson {
        let question = "How does it hold its position in wind?";
        if !balance::has_drag(&self.craft.config) {
            return self.unanswered(question);
        }
        let interval = intervals(trace, 20.0, self.craft.config.mass_kg).into_iter().last();
        let rows = || trace.rows.iter().filter(|row| row.time_s > 10.0);
        let drift = mean(rows().map(|row| row.truth.velocity_north_m_s));
        let wind = mean(rows().map(|row| -row.wind_m_s[0]));
        let [tilt, horizontal, north, accelerates] = interval.as_ref().map_or([f64::NAN; 4], |s| {
            [s.tilt_deg, s.horizontal_n, libm::cos(s.towards_deg.to_radians()), s.accelerating_n]
        });
        let height_m = mean(rows().map(|row| row.truth.height_m));
        let velocity_m_s = DVec3::new(wind, 0.0, 0.0);
        let balance = Steady::find(&self.craft.config, &AirConfig::default(), height_m, velocity_m_s);
        let balance = balance.map_or(f64::NAN, |steady| steady.tilt_rad.to_degrees());
        Lesson {
            question,
            answer: format!(
                "It tilts into the wind, so that the horizontal thrust balances the drag. Here the mean wind is {} m/s from the \
                 north; the craft tilts by {} deg to the north, and its horizontal thrust of {} balances the drag.",
                fixed(wind, 1),
                fixed(tilt, 1),
                newton(horizontal),
            ),
            formula: "m g tan(tilt) = drag at zero ground speed",
            checks: vec![
                Check {
                    text: format!("mean drift over 30 s: {} m/s (at most 0.1 m/s)", fixed(drift, 2)),
                    passes: drift.abs() <= 0.1,
                },
                Check {
                    text: format!(
                        "share of the horizontal thrust against the wind: {} (at least 90 %)",
                        percent(north)
                    ),
                    passes: north >= 0.9,
                },
                check(
                    format!(
                        "{} of the horizontal thrust accelerate the craft (at most 10 %)",
                        percent(accelerates / horizontal)
                    ),
                    small(accelerates / horizontal, 0.1),
                ),
                check(
                    format!(
                        "the force balance at the mean wind gives a tilt of {} deg (within 1 deg)",
                        fixed(balance, 1)
                    ),
                    small(tilt - balance, 1.0),
                ),
            ],
            pictures: triangle(interval.as_ref(), "Forces in the wind"),
        }
    }

    pub(super) fn wind_limit(&self, trace: &Trace) -> Lesson {
        let question = "Which wind is too strong?";
        if !balance::has_drag(&self.craft.config) {
            return self.unanswered(question);
        }
        let limit = self.limits.tilt_rad.to_degrees();
        let height_m = trace.rows.first().map_or(f64::NAN, |row| row.truth.height_m);
        let balance =
            balance::strongest_wind_m_s(&self.craft.config, &AirConfig::default(), height_m, &self.limits);
        let wind = |row: &Row| -row.wind_m_s[0];
        let Some(reported) = trace.rows.iter().position(|row| row.flags.cannot_hold_position) else {
            let reached = trace.rows.last().map_or(f64::NAN, wind);
            let expected = balance.is_none_or(|balance| balance > (1.0 - TOLERANCE) * reached);
            return Lesson {
                question,
                answer: format!(
                    "The wind increased to {} m/s and this craft held its position: its drag needs no more than the tilt \
                     limit of {} deg.",
                    fixed(reached, 0),
                    fixed(limit, 1)
                ),
                formula: "m g tan(tilt limit) = drag",
                checks: vec![check(
                    format!("by the force balance it holds its position up to {} m/s", speed(balance)),
                    expected,
                )],
                pictures: Vec::new(),
            };
        };
        let from_s = trace.rows[reported].time_s;
        let at_limit = mean(trace.window(from_s - 1.0, from_s).iter().map(|row| row.truth.tilt_deg));
        // From this row to the report, the tilt stays within 0.1 deg of its limit.
        let below = |row: &Row| row.truth.tilt_deg < at_limit - 0.1;
        let onset = trace.rows[..reported].iter().rposition(below).map_or(0, |before| before + 1);
        let onset = &trace.rows[onset];
        let difference = wind(onset) / balance.unwrap_or(f64::NAN) - 1.0;
        let after = trace.window(from_s, from_s + 5.0);
        let steepest = after.iter().map(|row| row.truth.tilt_deg).fold(0.0, f64::max);
        let height = mean(after.iter().map(|row| row.truth.height_m - row.setpoint.height_m));
        let drift = -mean(after.iter().map(|row| row.truth.velocity_north_m_s));
        Lesson {
            question,
            answer: format!(
                "A stronger wind needs a larger tilt, and at a larger tilt less of the thrust is vertical. So the controller \
                 limits the tilt, to {} deg or to what its thrust allows. In a wind that increases by 0.2 m/s per second, the \
                 tilt first stays at its limit, here {} deg, at {} m/s. The craft then drifts downwind with a stable attitude \
                 and at its height. At {} m/s the controller reports that it cannot hold its position. (Ideal sensors.)",
                fixed(limit, 1),
                fixed(onset.truth.tilt_deg, 1),
                fixed(wind(onset), 1),
                fixed(wind(&trace.rows[reported]), 1),
            ),
            formula: "m g tan(tilt limit) = drag in the strongest wind in which the position can be held",
            checks: vec![
                check(
                    format!(
                        "the force balance gives {} m/s, a difference of {} (at most 2 %)",
                        speed(balance),
                        percent(difference)
                    ),
                    small(difference, TOLERANCE),
                ),
                check(
                    format!(
                        "in the 5 s after the report, the largest tilt is {} deg (at most the limit of {} deg plus 2 deg)",
                        fixed(steepest, 1),
                        fixed(limit, 1)
                    ),
                    steepest <= limit + 2.0,
                ),
                check(
                    format!("the mean height error is {} m (at most 1 m)", fixed(height, 2)),
                    small(height, 1.0),
                ),
                check(
                    format!("the mean drift downwind is {} m/s (at least 0.2 m/s)", fixed(drift, 2)),
                    drift >= 0.2,
                ),
            ],
            pictures: Vec::new(),
        }
    }

    /// A question about wind, for a craft without drag.
    pub(super) fn unanswered(&self, question: &'static str) -> Lesson {
        Lesson {
            question,
            answer:
                "Not answered for this craft: its file gives no drag, so wind exerts no force on it. Give \
                     rotor_drag_per_s or drag_area_m2 in [drag]."
                    .to_owned(),
            formula: "m g tan(tilt) = drag at zero ground speed",
            checks: Vec::new(),
            pictures: Vec::new(),
        }
    }
}

/// A strongest wind of the force balance in m/s.
fn speed(balance: Option<f64>) -> String {
    balance.map_or("more than 60".to_owned(), |wind| fixed(wind, 1))
}
