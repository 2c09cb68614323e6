//! Tilt and horizontal acceleration.

use aplomb_craft::Rotors;

use super::{
    COMMAND_S, Context, SIGNIFICANT, check, newton, percent, relative, rpm, small, top_view, triangle,
};
use crate::explain::window_mean::WindowMean;
use crate::explain::{Check, Lesson, Picture};
use crate::forces::intervals;
use crate::number::fixed;
use aplomb_flight::trace::Trace;

impl Context<'_> {
    pub(super) fn tilt(&self, trace: &Trace) -> Lesson {
        let rear_minus_front = |thrust: &Rotors<f64>| {
            thrust.rear_left + thrust.rear_right - thrust.front_left - thrust.front_right
        };
        let onset =
            WindowMean::at_largest(trace, COMMAND_S, COMMAND_S + 0.6, |row| rear_minus_front(&row.thrust_n));
        let steady = WindowMean::over(trace, 3.4, 4.0);
        let front = |rpm: &Rotors<f64>| 0.5 * (rpm.front_left + rpm.front_right);
        let rear = |rpm: &Rotors<f64>| 0.5 * (rpm.rear_left + rpm.rear_right);
        let (initial, remaining) = (rear_minus_front(&onset.thrust_n), rear_minus_front(&steady.thrust_n));
        let hover = rear_minus_front(&self.hover.thrust_n);
        let share = (remaining - hover) / (initial - hover);
        let stop =
            WindowMean::at_largest(trace, COMMAND_S, COMMAND_S + 1.5, |row| -rear_minus_front(&row.thrust_n));
        let opposite = hover - rear_minus_front(&stop.thrust_n);
        let slower = front(&self.hover.rpm) - front(&onset.rpm);
        let faster = rear(&onset.rpm) - rear(&self.hover.rpm);
        let more = steady.thrust_n.sum() / self.hover.thrust_n.sum() - 1.0;
        Lesson {
            question: "How does it tilt?",
            answer: format!(
                "To pitch nose down, the front rotors slow down to {} and the rear rotors speed up to {}. The difference in \
                 thrust is a torque, and a torque accelerates the rotation. So it lasts only briefly: an opposite difference \
                 then stops the rotation. At a steady tilt of {} deg, front and rear rotors have nearly equal speeds again, \
                 {} and {}. A difference is needed to change the tilt, not to keep it.",
                rpm(front(&onset.rpm)),
                rpm(rear(&onset.rpm)),
                fixed(steady.tilt_deg, 1),
                rpm(front(&steady.rpm)),
                rpm(rear(&steady.rpm)),
            ),
            formula: "pitch acceleration = (sum of x T) / J;  x forward position of a rotor, T its thrust, J moment of inertia",
            checks: vec![
                Check {
                    text: format!(
                        "at the start of the rotation, the thrust of the rear pair is {} larger than that of the front pair",
                        newton(initial)
                    ),
                    passes: initial > SIGNIFICANT * self.weight_n,
                },
                check(
                    format!(
                        "the front rotors are {} slower and the rear rotors {} faster than in hover",
                        rpm(slower),
                        rpm(faster)
                    ),
                    slower.min(faster) > SIGNIFICANT * 0.25 * self.hover.rpm.sum(),
                ),
                check(
                    format!(
                        "afterwards the front pair has up to {} more thrust than in hover, relative to the rear pair",
                        newton(opposite)
                    ),
                    opposite > SIGNIFICANT * self.weight_n,
                ),
                Check {
                    text: format!(
                        "at the steady tilt, {} of that difference remains (at most 20 %)",
                        percent(share)
                    ),
                    passes: small(share, 0.2),
                },
            ],
            pictures: vec![
                Picture {
                    title: "Start of a nose-down rotation".into(),
                    caption: "The rear rotors have more thrust than the front rotors.".into(),
                    drawing: top_view(&onset, self.speeds(&onset), false),
                },
                Picture {
                    title: "Steady tilt".into(),
                    caption: format!(
                        "Front and rear thrusts are nearly equal again; their sum is {} than in hover.",
                        relative(more)
                    ),
                    drawing: top_view(&steady, self.speeds(&steady), false),
                },
            ],
        }
    }

    pub(super) fn acceleration(&self, trace: &Trace) -> Lesson {
        let whole = Trace {
            period_s: trace.period_s,
            rows: trace.rows.iter().filter(|row| row.time_s >= 3.0).copied().collect(),
        };
        let interval = intervals(&whole, 1.0, self.craft.config.mass_kg).into_iter().next();
        let (off, needed) = interval.as_ref().map_or((f64::NAN, f64::NAN), |s| {
            let needed = self.weight_n * libm::tan(s.tilt_deg.to_radians());
            (s.vertical_n / self.weight_n - 1.0, s.horizontal_n / needed - 1.0)
        });
        let [horizontal, vertical, accelerates, tilt] = interval
            .as_ref()
            .map_or([f64::NAN; 4], |s| [s.horizontal_n, s.vertical_n, s.accelerating_n, s.tilt_deg]);
        Lesson {
            question: "Why does tilt accelerate it?",
            answer: format!(
                "The thrust acts along the vertical axis of the craft. At a tilt of {} deg, its horizontal component is {}. The \
                 height is kept, so the vertical component still equals the weight: {} against {}. The horizontal component \
                 accelerates the craft: {} of it act as acceleration, the rest balances the drag.",
                fixed(tilt, 1),
                newton(horizontal),
                newton(vertical),
                newton(self.weight_n),
                newton(accelerates),
            ),
            formula: "T cos(tilt) = m g, so the horizontal thrust is m g tan(tilt)",
            checks: vec![
                Check {
                    text: format!(
                        "the vertical component differs from the weight by {} (at most 8 %)",
                        percent(off)
                    ),
                    passes: small(off, 0.08),
                },
                Check {
                    text: format!(
                        "the horizontal component differs from m g tan(tilt) by {} (at most 8 %)",
                        percent(needed)
                    ),
                    passes: small(needed, 0.08),
                },
                check(
                    format!(
                        "{} of the horizontal component accelerate the craft (more than 0, at most 105 %)",
                        percent(accelerates / horizontal)
                    ),
                    accelerates > 0.0 && accelerates <= 1.05 * horizontal,
                ),
            ],
            pictures: triangle(interval.as_ref(), "Forces at steady tilt"),
        }
    }
}
