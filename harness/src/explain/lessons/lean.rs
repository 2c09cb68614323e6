//! What a lean does: its onset, and the way it takes.

use aplomb_craft::Rotors;

use super::{CLEAR, COMMAND_S, Teacher, newton, percent, small};
use crate::explain::moment::Moment;
use crate::explain::plan::rpm;
use crate::explain::{Claim, Lesson, Picture};
use crate::report::forces::stretches;
use crate::report::number::fixed;
use crate::trace::Trace;

impl Teacher<'_> {
    pub(super) fn lean(&self, trace: &Trace) -> Lesson {
        let front_lead = |thrust: &Rotors<f64>| {
            thrust.rear_left + thrust.rear_right - thrust.front_left - thrust.front_right
        };
        let onset = Moment::at_largest(trace, COMMAND_S, COMMAND_S + 0.6, |row| front_lead(&row.thrust_n));
        let steady = Moment::over(trace, 3.4, 4.0);
        let front = |rpm: &Rotors<f64>| 0.5 * (rpm.front_left + rpm.front_right);
        let rear = |rpm: &Rotors<f64>| 0.5 * (rpm.rear_left + rpm.rear_right);
        let (first, left) = (front_lead(&onset.thrust_n), front_lead(&steady.thrust_n));
        let hover = front_lead(&self.hover.thrust_n);
        let share = (left - hover) / (first - hover);
        Lesson {
            question: "How does it lean?",
            answer: format!(
                "To drop its nose the front rotors slow down to {} and the rear ones speed up to {}. The difference in thrust \
                 turns the craft faster and faster, so it must be short: a moment later the opposite difference stops the \
                 turn. At a steady tilt of {} deg front and rear are alike again, at {} and {}: a tilt needs no difference \
                 to last, only to begin and to end.",
                rpm(front(&onset.rpm)),
                rpm(rear(&onset.rpm)),
                fixed(steady.tilt_deg, 1),
                rpm(front(&steady.rpm)),
                rpm(rear(&steady.rpm)),
            ),
            formula: "pitch acceleration = (sum of x T) / J;  x how far a rotor is ahead, J the moment of inertia",
            claims: vec![
                Claim {
                    text: format!(
                        "at the onset the rear pair lifts {} more than the front pair",
                        newton(first)
                    ),
                    holds: first > CLEAR * self.weight_n,
                },
                Claim {
                    text: format!(
                        "at the steady tilt, {} of that difference is left (at most 20 %)",
                        percent(share)
                    ),
                    holds: small(share, 0.2),
                },
            ],
            pictures: vec![
                Picture {
                    title: "The onset of a nose-down lean".into(),
                    caption: "The rear lifts more than the front.".into(),
                    svg: self.plan(&onset, self.speeds(&onset), false, "lean-onset"),
                },
                Picture {
                    title: "The steady lean".into(),
                    caption: "All alike again, and all a little more than in hover.".into(),
                    svg: self.plan(&steady, self.speeds(&steady), false, "lean-steady"),
                },
            ],
        }
    }

    pub(super) fn go(&self, trace: &Trace) -> Lesson {
        let whole = Trace {
            period_s: trace.period_s,
            rows: trace.rows.iter().filter(|row| row.time_s >= 3.0).copied().collect(),
        };
        let stretch = stretches(&whole, 1.0, self.craft.config.mass_kg).into_iter().next();
        let (off, needed) = stretch.as_ref().map_or((f64::NAN, f64::NAN), |s| {
            let needed = self.weight_n * libm::tan(s.tilt_deg.to_radians());
            (s.up_n / self.weight_n - 1.0, s.aside_n / needed - 1.0)
        });
        let (aside, accelerates, tilt) = stretch
            .as_ref()
            .map_or((f64::NAN, f64::NAN, f64::NAN), |s| (s.aside_n, s.accelerates_n, s.tilt_deg));
        Lesson {
            question: "Why does leaning move it?",
            answer: format!(
                "The rotors push along the craft's own axis. Tilted by {} deg, part of that push points to the side: {}. To \
                 keep its height the craft lifts a little harder, so that the upward part is still the weight. The sideways \
                 part makes it go: {} of it speeds the craft up, the air takes the rest.",
                fixed(tilt, 1),
                newton(aside),
                newton(accelerates),
            ),
            formula: "T cos(tilt) = m g, so m g tan(tilt) is left to the side",
            claims: vec![
                Claim {
                    text: format!(
                        "the upward part differs from the weight by {} (at most 8 %)",
                        percent(off)
                    ),
                    holds: small(off, 0.08),
                },
                Claim {
                    text: format!(
                        "the sideways part differs from m g tan(tilt) by {} (at most 8 %)",
                        percent(needed)
                    ),
                    holds: small(needed, 0.08),
                },
            ],
            pictures: self.triangle(stretch.as_ref(), "go", "The forces of the steady lean"),
        }
    }
}
