//! The questions, and their answers from the flights.

use aplomb_craft::gravity::STANDARD_M_S2;
use aplomb_craft::{Rotors, Spin};

use super::moment::Moment;
use super::plan::{Plan, rpm};
use super::{Claim, Flights, Lesson, Picture};
use crate::input::Craft;
use crate::input::craft::INCH_M;
use crate::report::CraftNotes;
use crate::report::forces::{Stretch, draw_triangle, stretches};
use crate::report::number::fixed;
use crate::report::quantities::mean;
use crate::trace::{Row, Trace};

/// When the flights give their command, in s.
const COMMAND_S: f64 = 2.0;
/// When the climb turns into a descent, in s.
const DESCENT_S: f64 = 24.0;
/// Density of the standard atmosphere at sea level in kg/m3 (ISO 2533:1975).
const DENSITY_KG_M3: f64 = 1.225;

/// A difference between rotors that is clear of what noise makes of an even hover, as a share.
const CLEAR: f64 = 0.03;

/// All lessons, each building on the ones before.
pub fn all(craft: &Craft, controller: &aplomb::flight::Config, flights: &Flights) -> Vec<Lesson> {
    let teacher = Teacher {
        craft,
        tilt_limit_deg: f64::from(controller.thrust.tilt_limit_rad).to_degrees(),
        weight_n: craft.config.mass_kg * STANDARD_M_S2,
        hover: Moment::over(&flights.hover, 0.0, 10.0),
    };
    vec![
        teacher.lift(),
        teacher.reaction(),
        teacher.climb(&flights.climb),
        teacher.turn(&flights.turn),
        teacher.lean(&flights.lean),
        teacher.go(&flights.lean),
        teacher.wind(&flights.wind),
        teacher.too_much_wind(&flights.too_much_wind),
        teacher.descent(&flights.climb),
        teacher.camera(&flights.wind),
        teacher.knowing(&flights.wind),
    ]
}

struct Teacher<'a> {
    craft: &'a Craft,
    tilt_limit_deg: f64,
    weight_n: f64,
    hover: Moment,
}

/// A force in N with three digits.
fn newton(value: f64) -> String {
    let decimals = if value.abs() < 1.0 {
        3
    } else if value.abs() < 10.0 {
        2
    } else {
        1
    };
    format!("{} N", fixed(value, decimals))
}

/// A torque in mN m.
fn torque(value_nm: f64) -> String {
    format!("{} mN m", fixed(1e3 * value_nm, 1))
}

fn percent(value: f64) -> String {
    format!("{} %", fixed(100.0 * value, 1))
}

/// A claim that a share is within `bound` of nothing.
fn small(share: f64, bound: f64) -> bool {
    share.abs() <= bound
}

impl Teacher<'_> {
    fn plan(&self, moment: &Moment, labels: Rotors<String>, reactions: bool, name: &str) -> String {
        Plan { craft: self.craft, thrust_n: moment.thrust_n, labels, reactions }
            .draw(&format!("e-{name}"), name)
    }

    fn speeds(&self, moment: &Moment) -> Rotors<String> {
        moment.rpm.zip(moment.thrust_n).map(|(speed, thrust)| format!("{}, {}", rpm(speed), newton(thrust)))
    }

    /// Sum over the rotors that turn `spin`.
    fn of_spin(&self, spin: Spin, values: Rotors<f64>) -> f64 {
        let arms = self.craft.config.arms.to_array();
        arms.iter().zip(values.to_array()).filter(|(arm, _)| arm.spin == spin).map(|(_, value)| value).sum()
    }

    fn notes(&self) -> CraftNotes {
        CraftNotes {
            mass_kg: self.craft.config.mass_kg,
            full_thrust_n: self.craft.full_thrust_n(),
            tilt_limit_deg: self.tilt_limit_deg,
        }
    }

    fn lift(&self) -> Lesson {
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

    fn reaction(&self) -> Lesson {
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

    fn climb(&self, trace: &Trace) -> Lesson {
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

    fn turn(&self, trace: &Trace) -> Lesson {
        let arms = self.craft.config.arms;
        let swing = |row: &Row| arms.zip(row.torque_nm).map(|(arm, torque)| arm.spin.sign() * torque).sum();
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

    fn lean(&self, trace: &Trace) -> Lesson {
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

    fn go(&self, trace: &Trace) -> Lesson {
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

    fn triangle(&self, stretch: Option<&Stretch>, id: &str, title: &str) -> Vec<Picture> {
        let drawn = stretch.map(|stretch| Picture {
            title: title.to_owned(),
            caption: "Thrust and weight, head to tail; what is left over points to the side.".to_owned(),
            svg: draw_triangle(stretch, &self.notes(), &format!("e-{id}-triangle"), title),
        });
        drawn.into_iter().collect()
    }

    fn wind(&self, trace: &Trace) -> Lesson {
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

    fn too_much_wind(&self, trace: &Trace) -> Lesson {
        let onset = trace.rows.iter().position(|row| row.flags.carried_off);
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

    fn descent(&self, trace: &Trace) -> Lesson {
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

    fn camera(&self, trace: &Trace) -> Lesson {
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

    fn knowing(&self, trace: &Trace) -> Lesson {
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
