//! Thrust, reaction torque, climb, yaw and descent.

use aplomb_craft::{Spin, rotor};

use super::{
    COMMAND_S, Context, DENSITY_KG_M3, DESCENT_S, SIGNIFICANT, check, newton, percent, relative, rpm, small,
    top_view, torque,
};
use crate::craft::INCH_M;
use crate::explain::window_mean::WindowMean;
use crate::explain::{Check, Lesson, Picture};
use crate::measure::mean_of_finite as mean;
use crate::number::fixed;
use aplomb_flight::trace::{Row, Trace};

impl Context<'_> {
    pub(super) fn lift(&self) -> Lesson {
        let hover = &self.hover;
        let sum = hover.thrust_n.sum();
        let off = hover.up_n / self.weight_n - 1.0;
        let mean_rpm = hover.rpm.sum() / 4.0;
        let full = 4.0 * self.craft.full_thrust_n() / sum;
        Lesson {
            question: "What keeps it in the air?",
            answer: format!(
                "Each propeller accelerates air downwards, and the reaction of the air is the thrust. At constant height the \
                 total thrust equals the weight: the mass is {} kg, the weight {}. In hover the four rotors have {} of \
                 thrust together, at a mean speed of {}. At full command the thrust is {} times the weight; the excess \
                 is used for climb, tilt and control.",
                self.craft.config.mass_kg,
                newton(self.weight_n),
                newton(sum),
                rpm(mean_rpm),
                fixed(self.craft.thrust_to_weight(), 1),
            ),
            formula: "sum of the thrusts = m g;  thrust = CT rho n^2 D^4, so twice the speed n gives four times the thrust",
            checks: vec![Check {
                text: format!("mean upward thrust over 10 s of hover differs from the weight by {} (at most 2 %)", percent(off)),
                passes: small(off, 0.02),
            }, check(
                format!("full command gives {} the thrust of hover (more than 1)", fixed(full, 2)),
                full > 1.0,
            )],
            pictures: vec![Picture {
                title: "Hover, seen from above".into(),
                caption: "Disc: thrust; ring: thrust at full command. The outer arrows show the direction of rotation of \
                          each rotor."
                    .into(),
                drawing: top_view(hover, self.speeds(hover), false),
            }],
        }
    }

    pub(super) fn reaction(&self) -> Lesson {
        let torques = self.hover.torque_nm;
        let right = self.of_spin(Spin::CounterClockwise, torques);
        let left = self.of_spin(Spin::Clockwise, torques);
        let rest = (right - left) / (right + left);
        Lesson {
            question: "Why does it not rotate with its propellers?",
            answer: format!(
                "The air resists the rotation of a propeller with a torque, which acts on the frame: the reaction torque. Its \
                 direction is opposite to the rotation. So neighbouring rotors have opposite directions of rotation. The two counter-clockwise rotors \
                 apply {} to the frame, nose right; the two clockwise rotors apply {}, nose left. The sum is nearly zero.",
                torque(right),
                torque(left),
            ),
            formula: "sum of s Q = 0;  Q the torque of a propeller, s = +1 for counter-clockwise and -1 for clockwise",
            checks: vec![Check {
                text: format!("the two pairs differ by {} of their sum (at most 2 %)", percent(rest)),
                passes: small(rest, 0.02),
            }],
            pictures: vec![Picture {
                title: "Reaction torques".into(),
                caption: "Inner arrow: direction of the reaction torque on the frame, opposite to the rotation of the rotor."
                    .into(),
                drawing: top_view(&self.hover, torques.map(torque), true),
            }],
        }
    }

    pub(super) fn climb(&self, trace: &Trace) -> Lesson {
        let start = WindowMean::at_largest(trace, COMMAND_S, COMMAND_S + 2.0, |row| row.thrust_n.sum());
        let mean_rpm = self.hover.rpm.sum() / 4.0;
        let steady = WindowMean::over(trace, 14.0, DESCENT_S - 1.0);
        let more = start.thrust_n.sum() / self.hover.thrust_n.sum() - 1.0;
        let off = steady.up_n / self.weight_n - 1.0;
        let increase = start.rpm.zip(self.hover.rpm).map(|(now, before)| now - before);
        let smallest = increase.iter().copied().fold(f64::INFINITY, f64::min);
        let largest = increase.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let constant = matches!(self.craft.config.rotor.inflow, rotor::Inflow::Constant);
        let power = steady.power_w / self.hover.power_w - 1.0;
        let thrusts = start.thrust_n.zip(self.hover.thrust_n).map(|(now, before)| now - before);
        let least_n = thrusts.iter().copied().fold(f64::INFINITY, f64::min);
        Lesson {
            question: "How does it climb?",
            answer: format!(
                "All four rotors speed up alike. During the acceleration the thrust is {} than in hover. In the steady climb \
                 at {} m/s it is {}, about the weight. The power is {} than in hover: {}.",
                relative(more),
                fixed(steady.climb_m_s, 1),
                newton(steady.up_n),
                relative(power),
                if constant {
                    "the file gives constant coefficients of the propellers, so the inflow of a climb costs no power here"
                } else {
                    "a steady climb needs more power, but hardly more thrust"
                },
            ),
            formula: "sum of the thrusts = m (g + a);  a the upward acceleration, 0 in a steady climb",
            checks: vec![
                Check {
                    text: format!(
                        "at the start, the smallest increase of a rotor speed over hover is {}",
                        rpm(smallest)
                    ),
                    passes: smallest > SIGNIFICANT * mean_rpm,
                },
                check(
                    format!("the largest increase is {} (at most twice the smallest)", rpm(largest)),
                    largest <= 2.0 * smallest,
                ),
                check(
                    format!(
                        "the smallest increase of a thrust over hover is {} (more than the noise)",
                        newton(least_n)
                    ),
                    least_n > 0.25 * SIGNIFICANT * self.weight_n,
                ),
                if constant {
                    check(
                        format!(
                            "the power in the steady climb is {} than in hover (at most 3 %)",
                            relative(power)
                        ),
                        small(power, 0.03),
                    )
                } else {
                    check(
                        format!(
                            "the power in the steady climb is {} than in hover (more than the thrust, {})",
                            relative(power),
                            percent(off)
                        ),
                        power > 0.0 && power > off,
                    )
                },
                Check {
                    text: format!(
                        "in the steady climb, the vertical thrust differs from the weight by {} (at most 3 %)",
                        percent(off)
                    ),
                    passes: small(off, 0.03),
                },
            ],
            pictures: vec![Picture {
                title: "Start of a climb".into(),
                caption: "All four thrusts are larger than in hover.".into(),
                drawing: top_view(&start, self.speeds(&start), false),
            }],
        }
    }

    pub(super) fn yaw(&self, trace: &Trace) -> Lesson {
        let arms = self.craft.config.arms;
        let yaw_torque = |row: &Row| {
            arms.zip(row.torque_nm).map(|(arm, torque)| f64::from(arm.spin.reaction()) * torque).sum()
        };
        let start = WindowMean::at_largest(trace, COMMAND_S, COMMAND_S + 1.0, yaw_torque);
        let [fast, slow] =
            [Spin::CounterClockwise, Spin::Clockwise].map(|spin| 0.5 * self.of_spin(spin, start.rpm));
        let off = start.thrust_n.sum() / self.hover.thrust_n.sum() - 1.0;
        let [gain, loss] = [(Spin::CounterClockwise, 1.0), (Spin::Clockwise, -1.0)].map(|(spin, sign)| {
            sign * (self.of_spin(spin, start.thrust_n) - self.of_spin(spin, self.hover.thrust_n))
        });
        // Torque per newton of one rotor: about the vertical by its reaction, about the roll axis by its arm.
        let reaction_m = self.hover.torque_nm.sum() / self.hover.thrust_n.sum();
        let arm_m = 0.25 * self.craft.config.arms.map(|arm| arm.y_m.abs()).sum();
        let late = trace.rows.iter().filter(|row| row.time_s > 10.0);
        let heading = mean(late.map(|row| row.truth.heading_deg));
        Lesson {
            question: "How does it yaw?",
            answer: format!(
                "By a difference between the two diagonal pairs. To yaw to the right, the counter-clockwise pair goes to {} and \
                 the clockwise pair to {}. The reaction torque of the faster pair is larger; the sum of the thrusts is \
                 unchanged, so the craft neither climbs nor descends. A newton of thrust has a reaction torque of {} and a \
                 roll torque of {}: yaw torques are small, so yaw is slow compared with roll and pitch.",
                rpm(fast),
                rpm(slow),
                torque(reaction_m),
                torque(arm_m),
            ),
            formula: "yaw torque = sum of s Q, with a constant sum of the thrusts",
            checks: vec![
                check(
                    format!(
                        "at the start, the counter-clockwise pair has {} more thrust than in hover, the other pair {} less",
                        newton(gain),
                        newton(loss)
                    ),
                    gain.min(loss) > 0.5 * SIGNIFICANT * self.weight_n,
                ),
                check(
                    format!(
                        "the reaction torque is {} of the roll torque of the same thrust (at most half)",
                        percent(reaction_m / arm_m)
                    ),
                    small(reaction_m / arm_m, 0.5),
                ),
                Check {
                    text: format!(
                        "during yaw to the right, the counter-clockwise pair is {} faster than the clockwise pair",
                        rpm(fast - slow)
                    ),
                    passes: fast - slow > SIGNIFICANT * slow,
                },
                Check {
                    text: format!(
                        "at the same time, the sum of the thrusts differs from hover by {} (at most 5 %)",
                        percent(off)
                    ),
                    passes: small(off, 0.05),
                },
                Check {
                    text: format!(
                        "with a heading set-point of 90 deg (east), the final heading is {} deg (within 10 deg)",
                        fixed(heading, 1)
                    ),
                    passes: (heading - 90.0).abs() <= 10.0,
                },
            ],
            pictures: vec![Picture {
                title: "Start of a yaw to the right".into(),
                caption: "One diagonal pair has more thrust, the other less.".into(),
                drawing: top_view(&start, self.speeds(&start), false),
            }],
        }
    }

    pub(super) fn descent(&self, trace: &Trace) -> Lesson {
        let radius_m = 0.5 * self.craft.diameter_in * INCH_M;
        let disc_m2 = 4.0 * std::f64::consts::PI * radius_m * radius_m;
        let induced = libm::sqrt(self.weight_n / (2.0 * DENSITY_KG_M3 * disc_m2));
        let descending =
            trace.rows.iter().filter(|row| row.time_s > DESCENT_S + 2.0 && row.truth.height_m > 3.0);
        let sink = -mean(descending.map(|row| row.truth.climb_m_s));
        Lesson {
            question: "Why is the descent slow?",
            answer: format!(
                "In hover the air flows down through the rotors at about {} m/s, the induced speed. A craft that descends \
                 nearly as fast stays in its own wake (vortex ring state), and the thrust becomes unsteady and weak. So the \
                 sink rate is limited to less than half of that, {} m/s. With a commanded sink rate of 20 m/s, this craft \
                 descends at {} m/s.",
                fixed(induced, 1),
                fixed(0.5 * induced, 1),
                fixed(sink, 1),
            ),
            formula: "v = sqrt(T / (2 rho A));  v induced speed in hover (momentum theory), A area of the four rotors",
            checks: vec![Check {
                text: format!("the sink rate of {} m/s is below half of the induced speed", fixed(sink, 2)),
                passes: sink > 0.0 && sink < 0.5 * induced,
            }],
            pictures: Vec::new(),
        }
    }
}
