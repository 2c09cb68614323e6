//! Wind, camera and state estimation.

use super::{Context, newton, percent, triangle};
use crate::explain::{Check, Lesson};
use crate::forces::intervals;
use crate::measure::mean_of_finite as mean;
use crate::number::fixed;
use aplomb_flight::trace::{Row, Trace};

impl Context<'_> {
    pub(super) fn wind(&self, trace: &Trace) -> Lesson {
        let interval = intervals(trace, 20.0, self.craft.config.mass_kg).into_iter().last();
        let rows = || trace.rows.iter().filter(|row| row.time_s > 10.0);
        let drift = mean(rows().map(|row| row.truth.velocity_north_m_s));
        let wind = mean(rows().map(|row| -row.wind_m_s[0]));
        let (tilt, horizontal, north) = interval.as_ref().map_or((f64::NAN, f64::NAN, f64::NAN), |s| {
            (s.tilt_deg, s.horizontal_n, libm::cos(s.towards_deg.to_radians()))
        });
        Lesson {
            question: "How does it hold its position in wind?",
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
            ],
            pictures: triangle(interval.as_ref(), "Forces in the wind"),
        }
    }

    pub(super) fn wind_limit(&self, trace: &Trace) -> Lesson {
        let onset = trace.rows.iter().position(|row| row.flags.cannot_hold_position);
        let limit = self.tilt_limit_deg;
        let Some(onset) = onset else {
            return Lesson {
                question: "Which wind is too strong?",
                answer: format!(
                    "The wind increased to 40 m/s and this craft held its position: its drag needs no more than the tilt limit of \
                     {} deg.",
                    fixed(limit, 1)
                ),
                formula: "m g tan(tilt limit) = drag",
                checks: Vec::new(),
                pictures: Vec::new(),
            };
        };
        let moment = &trace.rows[onset];
        let wind = -moment.wind_m_s[0];
        let end_s = moment.time_s + 5.0;
        let after: Vec<&Row> =
            trace.rows.iter().filter(|row| (moment.time_s..=end_s).contains(&row.time_s)).collect();
        let steepest = after.iter().map(|row| row.truth.tilt_deg).fold(0.0, f64::max);
        let height = mean(after.iter().map(|row| row.truth.height_m - row.setpoint.height_m));
        Lesson {
            question: "Which wind is too strong?",
            answer: format!(
                "A stronger wind needs a larger tilt, and at a larger tilt less of the thrust is vertical. So the controller \
                 limits the tilt to {} deg. In a wind that increases by 0.5 m/s per second, the craft reaches this limit at \
                 {} m/s and reports that it cannot hold its position. It then drifts downwind with a stable attitude and \
                 at its height.",
                fixed(limit, 1),
                fixed(wind, 1),
            ),
            formula: "m g tan(tilt limit) = drag in the strongest wind in which the position can be held",
            checks: vec![
                Check {
                    text: format!(
                        "in the next 5 s, the largest tilt is {} deg (at most the limit of {} deg plus 2 deg estimation error)",
                        fixed(steepest, 1),
                        fixed(limit, 1)
                    ),
                    passes: steepest <= limit + 2.0,
                },
                Check {
                    text: format!("the mean height error is {} m (at most 1 m)", fixed(height, 2)),
                    passes: height.abs() <= 1.0,
                },
            ],
            pictures: Vec::new(),
        }
    }

    pub(super) fn camera(&self, trace: &Trace) -> Lesson {
        let rows: Vec<&Row> = trace.rows.iter().filter(|row| row.time_s > 10.0).collect();
        let pitch = mean(rows.iter().map(|row| row.truth.pitch_deg));
        let roll = mean(rows.iter().map(|row| row.truth.roll_deg));
        let square = |row: &&Row| {
            let (p, r) = (row.truth.pitch_deg - pitch, row.truth.roll_deg - roll);
            p * p + r * r
        };
        let variation = libm::sqrt(mean(rows.iter().map(square)));
        let tilt = libm::hypot(pitch, roll);
        Lesson {
            question: "What does the tilt do to a camera?",
            answer: format!(
                "A camera fixed to the frame tilts with it. In this wind the mean tilt of its picture is {} deg, with variations of \
                 {} deg rms due to turbulence. A three-axis gimbal rotates the camera back by the same angles, within its \
                 range of motion.",
                fixed(tilt, 1),
                fixed(variation, 1)
            ),
            formula: "angle of the gimbal = - tilt of the frame",
            checks: Vec::new(),
            pictures: Vec::new(),
        }
    }

    pub(super) fn estimation(&self, trace: &Trace) -> Lesson {
        let rows: Vec<&Row> = trace.rows.iter().filter(|row| row.time_s > 10.0).collect();
        let tilt = mean(rows.iter().map(|row| row.tilt_estimate_error_deg));
        let position_error = |row: &&Row| {
            libm::hypot(row.estimate.north_m - row.truth.north_m, row.estimate.east_m - row.truth.east_m)
        };
        let position = mean(rows.iter().map(position_error));
        Lesson {
            question: "How does it measure its motion?",
            answer: format!(
                "It estimates its motion from several sensors. Gyroscopes measure the angular rate, with a slowly varying bias; \
                 accelerometers give the vertical, but only on average; a GNSS receiver gives the position, with delay and \
                 slow errors; a barometer gives the height; a magnetometer gives the heading. In this wind the combined \
                 estimate has a mean error of {} deg in tilt and {} m in position. The controller uses the estimate.",
                fixed(tilt, 1),
                fixed(position, 1)
            ),
            formula: "estimate = prediction from the fast sensors + gain (slow sensor - prediction), with a small gain (complementary filter)",
            checks: vec![Check {
                text: format!("mean error of the estimated vertical: {} deg (at most 2 deg)", fixed(tilt, 2)),
                passes: tilt <= 2.0,
            }],
            pictures: Vec::new(),
        }
    }
}
