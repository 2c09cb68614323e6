//! Camera and state estimation.

use super::{Context, check};
use crate::envelope::balance;
use crate::explain::{Check, Lesson};
use crate::measure::mean_of_finite as mean;
use crate::number::fixed;
use aplomb_flight::trace::{Row, Trace};

impl Context<'_> {
    pub(super) fn camera(&self, trace: &Trace, calm: &Trace) -> Lesson {
        let question = "What does the tilt do to a camera?";
        if !balance::has_drag(&self.craft.config) {
            return self.unanswered(question);
        }
        let (tilt, variation) = attitude(trace, 10.0);
        let (_, in_still_air) = attitude(calm, 0.0);
        Lesson {
            question,
            answer: format!(
                "A camera fixed to the frame tilts with it. In this wind the mean tilt of its picture is {} deg, with variations of \
                 {} deg rms due to turbulence and the noise of the sensors; in still air they are {} deg rms. A three-axis \
                 gimbal rotates the camera back by the same angles, within its range of motion.",
                fixed(tilt, 1),
                fixed(variation, 1),
                fixed(in_still_air, 1)
            ),
            formula: "angle of the gimbal = - tilt of the frame",
            checks: vec![check(
                format!(
                    "the turbulence adds {} deg rms to the variations of the tilt (more than 0)",
                    fixed(libm::sqrt(variation * variation - in_still_air * in_still_air), 2)
                ),
                variation > in_still_air,
            )],
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
            checks: vec![
                Check {
                    text: format!(
                        "mean error of the estimated vertical: {} deg (at most 2 deg)",
                        fixed(tilt, 2)
                    ),
                    passes: tilt <= 2.0,
                },
                check(
                    format!("mean error of the estimated position: {} m (at most 5 m)", fixed(position, 2)),
                    position <= 5.0,
                ),
            ],
            pictures: Vec::new(),
        }
    }
}

/// Mean tilt from `from_s` on, and its variations (rms), in deg.
fn attitude(trace: &Trace, from_s: f64) -> (f64, f64) {
    let rows = || trace.rows.iter().filter(|row| row.time_s > from_s);
    let pitch = mean(rows().map(|row| row.truth.pitch_deg));
    let roll = mean(rows().map(|row| row.truth.roll_deg));
    let square = |row: &Row| {
        let (p, r) = (row.truth.pitch_deg - pitch, row.truth.roll_deg - roll);
        p * p + r * r
    };
    (libm::hypot(pitch, roll), libm::sqrt(mean(rows().map(square))))
}
