//! What the rotors do: lift, reaction, climb, turn, descent.

use aplomb_craft::Spin;

use super::{CLEAR, COMMAND_S, DENSITY_KG_M3, DESCENT_S, Teacher, newton, percent, small, torque};
use crate::explain::moment::Moment;
use crate::explain::plan::rpm;
use crate::explain::{Claim, Lesson, Picture};
use crate::input::craft::INCH_M;
use crate::report::number::fixed;
use crate::report::quantities::mean;
use crate::trace::{Row, Trace};

impl Teacher<'_> {
    pub(super) fn lift(&self) -> Lesson {
        let hover = &self.hover;
        let sum = hover.thrust_n.sum();
        let off = hover.up_n / self.weight_n - 1.0;
        let mean_rpm = hover.rpm.sum() / 4.0;
        Lesson {
            question: "What holds it up?",
            answer: format!(
                "Each propeller pushes air down, and the air pushes the propeller up. To stay at its height the craft \
                 needs no more than its own weight: {} kg, so {}. In hover the four rotors lift {} together, turning at \
                 {} on average. At full command they could lift {} times the weight; the rest is there to climb, to \
                 lean and to correct.",
                self.craft.config.mass_kg,
                newton(self.weight_n),
                newton(sum),
                rpm(mean_rpm),
                fixed(self.craft.thrust_to_weight(), 1),
            ),
            formula: "sum of the thrusts = m g;  thrust = CT rho n^2 D^4, so twice the speed n lifts four times as much",
            claims: vec![Claim {
                text: format!("mean upward thrust over 10 s of hover differs from the weight by {} (at most 2 %)", percent(off)),
                holds: small(off, 0.02),
            }],
            pictures: vec![Picture {
                title: "Hover, seen from above".into(),
                caption: "The disc is the thrust, the ring the thrust at full command. The arrows outside show which way \
                          each rotor turns."
                    .into(),
                svg: self.plan(hover, self.speeds(hover), false, "lift"),
            }],
        }
    }

    pub(super) fn reaction(&self) -> Lesson {
        let torques = self.hover.torque_nm;
        let right = self.of_spin(Spin::CounterClockwise, torques);
        let left = self.of_spin(Spin::Clockwise, torques);
        let rest = (right - left) / (right + left);
        Lesson {
            question: "Why does it not spin?",
            answer: format!(
                "A motor that turns its propeller one way is itself pushed the other way. So neighbours turn in opposite \
                 senses: the two rotors that turn counter-clockwise push the nose to the right with {}, the two that turn \
                 clockwise push it to the left with {}. What is left over is next to nothing.",
                torque(right),
                torque(left),
            ),
            formula: "sum of s Q = 0;  Q the torque of a propeller, s = +1 for counter-clockwise and -1 for clockwise",
            claims: vec![Claim {
                text: format!("the two pairs differ by {} of their sum (at most 2 %)", percent(rest)),
                holds: small(rest, 0.02),
            }],
            pictures: vec![Picture {
                title: "How the air pushes back".into(),
                caption: "Inside each ring: which way the air turns the frame through this rotor, against the rotor's own sense."
                    .into(),
                svg: self.plan(&self.hover, torques.map(torque), true, "reaction"),
            }],
        }
    }

    pub(super) fn climb(&self, trace: &Trace) -> Lesson {
        let start = Moment::at_largest(trace, COMMAND_S, COMMAND_S + 2.0, |row| row.thrust_n.sum());
        let mean_rpm = self.hover.rpm.sum() / 4.0;
        let steady = Moment::over(trace, 14.0, DESCENT_S - 1.0);
        let more = start.thrust_n.sum() / self.hover.thrust_n.sum() - 1.0;
        let off = steady.up_n / self.weight_n - 1.0;
        let slowest = start.rpm.zip(self.hover.rpm).map(|(now, before)| now - before);
        let slowest = slowest.iter().copied().fold(f64::INFINITY, f64::min);
        Lesson {
            question: "How does it climb?",
            answer: format!(
                "All four rotors speed up alike. While the craft gathers speed they lift {} more than in hover. Once it \
                 climbs at {} m/s they lift {} again, about the weight: a steady climb needs power, but hardly more force.",
                percent(more),
                fixed(steady.climb_m_s, 1),
                newton(steady.up_n),
            ),
            formula: "sum of the thrusts = m (g + a);  a the upward acceleration, 0 in a steady climb",
            claims: vec![
                Claim {
                    text: format!(
                        "at the start even the rotor that gains least turns {} faster than in hover",
                        rpm(slowest)
                    ),
                    holds: slowest > CLEAR * mean_rpm,
                },
                Claim {
                    text: format!(
                        "in the steady climb the upward thrust differs from the weight by {} (at most 3 %)",
                        percent(off)
                    ),
                    holds: small(off, 0.03),
                },
            ],
            pictures: vec![Picture {
                title: "The start of a climb".into(),
                caption: "All four discs have grown alike.".into(),
                svg: self.plan(&start, self.speeds(&start), false, "climb"),
            }],
        }
    }

    pub(super) fn turn(&self, trace: &Trace) -> Lesson {
        let arms = self.craft.config.arms;
        let swing = |row: &Row| {
            arms.zip(row.torque_nm).map(|(arm, torque)| f64::from(arm.spin.reaction()) * torque).sum()
        };
        let start = Moment::at_largest(trace, COMMAND_S, COMMAND_S + 1.0, swing);
        let [fast, slow] =
            [Spin::CounterClockwise, Spin::Clockwise].map(|spin| 0.5 * self.of_spin(spin, start.rpm));
        let off = start.thrust_n.sum() / self.hover.thrust_n.sum() - 1.0;
        let late = trace.rows.iter().filter(|row| row.time_s > 10.0);
        let heading = mean(late.map(|row| row.truth.heading_deg));
        Lesson {
            question: "How does it turn its nose?",
            answer: format!(
                "It unbalances the two pairs. To swing the nose to the right, the counter-clockwise pair goes to {} and the \
                 clockwise pair to {}. The faster pair pushes the frame harder against its own sense of turning; the sum of \
                 the thrusts stays, so the craft neither climbs nor sinks. Torque from the air is weak, so a turn is slow \
                 compared with a lean.",
                rpm(fast),
                rpm(slow),
            ),
            formula: "yaw torque = sum of s Q, with the sum of the thrusts held",
            claims: vec![
                Claim {
                    text: format!(
                        "turning right, the counter-clockwise pair is {} faster than the clockwise one",
                        rpm(fast - slow)
                    ),
                    holds: fast - slow > CLEAR * slow,
                },
                Claim {
                    text: format!(
                        "at that moment the sum of the thrusts differs from hover by {} (at most 5 %)",
                        percent(off)
                    ),
                    holds: small(off, 0.05),
                },
                Claim {
                    text: format!(
                        "asked to turn from north to east, 90 deg, it ends at {} deg (within 10 deg)",
                        fixed(heading, 1)
                    ),
                    holds: (heading - 90.0).abs() <= 10.0,
                },
            ],
            pictures: vec![Picture {
                title: "The start of a turn to the right".into(),
                caption: "One diagonal lifts more, the other less.".into(),
                svg: self.plan(&start, self.speeds(&start), false, "turn"),
            }],
        }
    }

    pub(super) fn descent(&self, trace: &Trace) -> Lesson {
        let radius_m = 0.5 * self.craft.diameter_in * INCH_M;
        let disc_m2 = 4.0 * std::f64::consts::PI * radius_m * radius_m;
        let induced = libm::sqrt(self.weight_n / (2.0 * DENSITY_KG_M3 * disc_m2));
        let falling =
            trace.rows.iter().filter(|row| row.time_s > DESCENT_S + 2.0 && row.truth.height_m > 3.0);
        let sink = -mean(falling.map(|row| row.truth.climb_m_s));
        Lesson {
            question: "Why may it not come down fast?",
            answer: format!(
                "In hover the air goes down through the rotors at about {} m/s. A craft that sinks nearly as fast stays in \
                 its own wake, and the thrust becomes rough and weak. So descents stay below half of it, {} m/s. Asked to come \
                 down at 20 m/s, this craft came down at {} m/s.",
                fixed(induced, 1),
                fixed(0.5 * induced, 1),
                fixed(sink, 1),
            ),
            formula: "v = sqrt(T / (2 rho A));  v the induced speed of hover (momentum theory), A the area of the four rotors",
            claims: vec![Claim {
                text: format!("its descent of {} m/s is below half the induced speed", fixed(sink, 2)),
                holds: sink > 0.0 && sink < 0.5 * induced,
            }],
            pictures: Vec::new(),
        }
    }
}
