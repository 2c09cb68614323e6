//! What the wind does, and what steadies the picture and the place in it.

use super::{Teacher, newton, percent};
use crate::explain::{Claim, Lesson};
use crate::report::forces::stretches;
use crate::report::number::fixed;
use crate::report::quantities::mean;
use crate::trace::{Row, Trace};

impl Teacher<'_> {
    pub(super) fn wind(&self, trace: &Trace) -> Lesson {
        let stretch = stretches(trace, 20.0, self.craft.config.mass_kg).into_iter().last();
        let rows = || trace.rows.iter().filter(|row| row.time_s > 10.0);
        let drift = mean(rows().map(|row| row.truth.velocity_north_m_s));
        let wind = mean(rows().map(|row| -row.wind_m_s[0]));
        let (tilt, aside, north) = stretch.as_ref().map_or((f64::NAN, f64::NAN, f64::NAN), |s| {
            (s.tilt_deg, s.aside_n, libm::cos(s.towards_deg.to_radians()))
        });
        Lesson {
            question: "How does it stay where it is in the wind?",
            answer: format!(
                "It leans into the wind and goes nowhere. Here {} m/s come from the north on average; the craft leans north by \
                 {} deg, and its {} to the side just balance the push of the air.",
                fixed(wind, 1),
                fixed(tilt, 1),
                newton(aside),
            ),
            formula: "m g tan(tilt) = drag at zero ground speed",
            claims: vec![
                Claim {
                    text: format!(
                        "over half a minute it drifts at {} m/s (at most 0.1 m/s)",
                        fixed(drift, 2)
                    ),
                    holds: drift.abs() <= 0.1,
                },
                Claim {
                    text: format!(
                        "it leans {} of the way straight into the wind (at least 90 %)",
                        percent(north)
                    ),
                    holds: north >= 0.9,
                },
            ],
            pictures: self.triangle(stretch.as_ref(), "wind", "The forces in the wind"),
        }
    }

    pub(super) fn too_much_wind(&self, trace: &Trace) -> Lesson {
        let onset = trace.rows.iter().position(|row| row.flags.cannot_hold_position);
        let limit = self.tilt_limit_deg;
        let Some(onset) = onset else {
            return Lesson {
                question: "What wind is too much?",
                answer: format!(
                    "The wind grew to 40 m/s and did not carry this craft off: its drag never asked for more than the tilt \
                     limit of {} deg.",
                    fixed(limit, 1)
                ),
                formula: "m g tan(tilt limit) = drag",
                claims: Vec::new(),
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
            question: "What wind is too much?",
            answer: format!(
                "The harder it blows, the further the craft must lean, and the further it leans, the less of its thrust is left \
                 to carry it. So the controller stops at {} deg. In a wind that grew by half a metre per second each second, \
                 the craft reached that at {} m/s and said that it was being carried off. It then drifts downwind, upright, \
                 at its height and in control.",
                fixed(limit, 1),
                fixed(wind, 1),
            ),
            formula: "m g tan(tilt limit) = drag of the strongest wind that can be held",
            claims: vec![
                Claim {
                    text: format!(
                        "in the 5 s after that, the tilt is at most {} deg (limit of {} deg, and 2 deg for what the estimate errs)",
                        fixed(steepest, 1),
                        fixed(limit, 1)
                    ),
                    holds: steepest <= limit + 2.0,
                },
                Claim {
                    text: format!("its mean height is off by {} m (at most 1 m)", fixed(height, 2)),
                    holds: height.abs() <= 1.0,
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
        let sway = libm::sqrt(mean(rows.iter().map(square)));
        let lean = libm::hypot(pitch, roll);
        Lesson {
            question: "What does that do to a camera?",
            answer: format!(
                "A camera fixed to the frame tilts with it. In this wind its picture leans by {} deg and sways by another {} deg \
                 (rms) as the craft works against the turbulence. A three-axis mount turns the camera back by as much, within \
                 its travel.",
                fixed(lean, 1),
                fixed(sway, 1)
            ),
            formula: "angle of the mount = - tilt of the frame",
            claims: Vec::new(),
            pictures: Vec::new(),
        }
    }

    pub(super) fn knowing(&self, trace: &Trace) -> Lesson {
        let rows: Vec<&Row> = trace.rows.iter().filter(|row| row.time_s > 10.0).collect();
        let tilt = mean(rows.iter().map(|row| row.tilt_estimate_error_deg));
        let apart = |row: &&Row| {
            libm::hypot(row.estimate.north_m - row.truth.north_m, row.estimate.east_m - row.truth.east_m)
        };
        let place = mean(rows.iter().map(apart));
        Lesson {
            question: "How does it know?",
            answer: format!(
                "It never does: it estimates. Gyroscopes tell how fast it turns but drift; accelerometers tell where down is, but \
                 only on average; a satellite receiver tells the place, late and wandering; the air pressure tells the height; \
                 the earth's field tells north. Blended, they were off by {} deg of tilt and {} m of place on average in this \
                 wind. What the controller holds is its estimate.",
                fixed(tilt, 1),
                fixed(place, 1)
            ),
            formula: "estimate = prediction from the fast sensors + small share of (slow sensor - prediction)",
            claims: vec![Claim {
                text: format!(
                    "the estimated vertical is off by {} deg on average (at most 2 deg)",
                    fixed(tilt, 2)
                ),
                holds: tilt <= 2.0,
            }],
            pictures: Vec::new(),
        }
    }
}
