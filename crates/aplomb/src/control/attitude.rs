//! Attitude to body rate: tilt first, heading second.
//!
//! The turn from one attitude to another is split into a tilt, about a horizontal body axis, followed by a heading turn
//! about the body's own down axis, `q = q_tilt q_heading` (Brescianini and D'Andrea, Tilt-prioritized quadrocopter attitude
//! control, IEEE TCST (online 2018; 28(2), 2020)). With q = (w, x, y, z), w >= 0, n = sqrt(w^2 + z^2):
//!
//! ```text
//! q_tilt = (n, (w x - y z)/n, (w y + x z)/n, 0)            q_heading = (w, 0, 0, z)/n
//! ```
//!
//! so a pure heading error commands no tilt, and each part has its own gain and limit. The error of a part is twice its
//! vector part, the angle for small angles.
//!
//! **The reference.** The set-point does not jump: a reference craft, with the rotors' lag and the limits of
//! acceleration and rate, flies to it, and the real one is held to the reference. Its angle obeys
//!
//! ```text
//! u = a + tau (c1 (r - w) - c2 a),    r = c0/c1 error, limited,    a' = (u - a)/tau,    w' = a,    angle' = w
//! (c2, c1, c0) = (omega (1 + 2 zeta), omega^2 (1 + 2 zeta), omega^3)
//! ```
//!
//! so its poles are -omega and a pair of damping zeta and frequency omega. w, a and u go along as set-point, slope and
//! drive of the rate loop: a real craft that matches the belief then needs no feedback at all.
//!
//! Measured: a heading error of 180 deg commands less than 1e-4 rad/s of tilt, and with 30 deg of tilt the craft is level
//! before it is half way round (`tests/attitude_recovery.rs`); a craft on its back is upright within 1.3 s
//! (`craft_on_its_back_comes_round`); rate limits and finite set-points from any attitude and rate (`tests/limits.rs`);
//! margins of the derived gains at least 45 deg and 10 dB (`tests/margins.rs`).

mod error_split;

use core::marker::PhantomData;

use crate::HeadingDemand;
use crate::control::rate;
use crate::error::{self, ConfigError, require_positive, require_within};
use crate::frames::{Attitude, Body, Heading, Horizontal, Vector, World};
use crate::math::{Libm, Math, root, saturate_symmetric};
use error_split::{near_error, split_error};

/// One part: tilt or heading.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Part {
    /// Crossover of the feedback, and so its gain, in rad/s; at most 1 a period.
    pub crossover_rad_s: f32,
    /// Frequency of the reference's poles in rad/s; at most 0.3 a period.
    pub reference_bandwidth_rad_s: f32,
    /// Largest rate in rad/s; at most half a radian a period.
    pub rate_limit_rad_s: f32,
    /// Largest angular acceleration of the reference in rad/s2; at most the rate limit within a period.
    pub acceleration_limit_rad_s2: f32,
}

/// What the attitude loop is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Tilt.
    pub tilt: Part,
    /// Heading.
    pub heading: Part,
    /// Damping of the reference's pole pair, 0.5 to 1.
    pub reference_damping: f32,
    /// Lag of the rotors in s, 0 to 1.
    pub rotor_time_constant_s: f32,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Folded {
    gain: f32,
    rate_per_error: f32,
    stiffness: f32,
    damping: f32,
    rate_limit: f32,
    acceleration_limit: f32,
}

/// The attitude loop, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AttitudeController<M = Libm> {
    tilt: Folded,
    heading: Folded,
    /// period/(lag + period): the reference's rotors.
    follow: f32,
    lag_s: f32,
    period_s: f32,
    math: PhantomData<M>,
}

/// The reference craft.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
struct Reference {
    attitude: Attitude,
    rate: Vector<Body>,
    acceleration: Vector<Body>,
}

/// State of the attitude loop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    reference: Option<Reference>,
    drive: Vector<Body>,
    heading: Option<Heading>,
}

impl State {
    /// Starts at whatever attitude the first step finds.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The heading set-point after the heading rate limit; `None` before the first step.
    #[must_use]
    pub const fn heading(&self) -> Option<Heading> {
        self.heading
    }

    /// The attitude of the reference; `None` before the first step.
    #[must_use]
    pub fn reference(&self) -> Option<Attitude> {
        self.reference.map(|reference| reference.attitude)
    }
}

/// Where the nose goes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Turn {
    /// The heading set-point.
    pub heading: Heading,
    /// It turns more slowly than demanded: the heading rate limit, or it waits for a craft that cannot follow.
    pub limited: bool,
}

/// What the attitude loop asks for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Output {
    /// For the rate loop.
    pub setpoint: rate::SetPoint,
    /// Where the reference is: the attitude to be had now.
    pub reference: Attitude,
    /// The limit of the tilt rate or of the heading rate cut the set-point.
    pub limited: bool,
}

/// True when `setpoint` is more than 60 deg ahead of the nose and a `step` would take it further.
#[inline]
fn runs_away(attitude: Attitude, setpoint: Heading, step: f32) -> bool {
    let Horizontal { north, east } = attitude.nose();
    let along = north * setpoint.north() + east * setpoint.east();
    let ahead = north * setpoint.east() - east * setpoint.north();
    // tan(60 deg) = sqrt(3), squared; a nose that points straight up or down has no heading to run away from.
    let beyond = along <= 0.0 || ahead * ahead > 3.0 * along * along;
    beyond && ahead * step > 0.0
}

/// `v` with the tilt part limited as a circle and the heading part on its own, and whether that cut anything. NaN stays.
#[inline]
fn limited(v: Vector<Body>, tilt: f32, heading: f32) -> (Vector<Body>, bool) {
    let n2 = v.x() * v.x() + v.y() * v.y();
    let (k, tilt_cut) = if n2 > tilt * tilt { (root(tilt * tilt / n2), true) } else { (1.0, false) };
    let (z, heading_cut) = if v.z() > heading {
        (heading, true)
    } else if v.z() < -heading {
        (-heading, true)
    } else {
        (v.z(), false)
    };
    (Vector::new(k * v.x(), k * v.y(), z), tilt_cut | heading_cut)
}

impl<M: Math> AttitudeController<M> {
    /// Folds the gains for a period in s.
    ///
    /// ```
    /// use aplomb::control::attitude::{AttitudeController, Config, Part, State};
    /// let config = Config {
    ///     tilt: Part {
    ///         crossover_rad_s: 8.0, reference_bandwidth_rad_s: 12.0, rate_limit_rad_s: 6.0, acceleration_limit_rad_s2: 100.0,
    ///     },
    ///     heading: Part {
    ///         crossover_rad_s: 3.0, reference_bandwidth_rad_s: 4.0, rate_limit_rad_s: 1.5, acceleration_limit_rad_s2: 5.0,
    ///     },
    ///     reference_damping: 0.75,
    ///     rotor_time_constant_s: 0.04,
    /// };
    /// let pointing = AttitudeController::<aplomb::Libm>::new(&config, 5e-3)?;
    /// let mistaken = Config { heading: Part { rate_limit_rad_s: -1.0, ..config.heading }, ..config };
    /// let refused = AttitudeController::<aplomb::Libm>::new(&mistaken, 5e-3).unwrap_err();
    /// assert_eq!(refused.to_string(), "heading.rate_limit_rad_s must be greater than 0");
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite, not positive or out of range, with its part `tilt` or `heading`.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        let zeta = require_within("reference_damping", config.reference_damping, 0.5, 1.0)?;
        require_within("rotor_time_constant_s", config.rotor_time_constant_s, 0.0, 1.0)?;
        let lag = config.rotor_time_constant_s.max(period_s);
        let fold = |part: &Part| {
            let gain = require_positive("crossover_rad_s", part.crossover_rad_s)?;
            require_within("crossover_rad_s", gain, 0.0, 1.0 / period_s)?;
            // The reference is integrated once per period and must be slow beside it.
            let omega = require_positive("reference_bandwidth_rad_s", part.reference_bandwidth_rad_s)?;
            require_within("reference_bandwidth_rad_s", omega, 0.0, 0.3 / period_s)?;
            let rate_limit = require_positive("rate_limit_rad_s", part.rate_limit_rad_s)?;
            require_within("rate_limit_rad_s", rate_limit, 0.0, 0.5 / period_s)?;
            let acceleration_limit =
                require_positive("acceleration_limit_rad_s2", part.acceleration_limit_rad_s2)?;
            require_within("acceleration_limit_rad_s2", acceleration_limit, 0.0, rate_limit / period_s)?;
            let spread = 1.0 + 2.0 * zeta;
            Ok::<_, ConfigError>(Folded {
                gain,
                rate_per_error: omega / spread,
                stiffness: omega * omega * spread,
                damping: omega * spread,
                rate_limit,
                acceleration_limit,
            })
        };
        Ok(Self {
            tilt: fold(&config.tilt).map_err(|refused| refused.within(error::Part::Tilt))?,
            heading: fold(&config.heading).map_err(|refused| refused.within(error::Part::Heading))?,
            follow: period_s / lag,
            lag_s: lag,
            period_s,
            math: PhantomData,
        })
    }

    /// Moves the heading set-point as demanded, by no more than the heading rate limit. A rate demand does not let it run
    /// more than 60 deg ahead of the nose. NaN leaves it where it is.
    ///
    /// ```
    /// # use aplomb::control::attitude::{AttitudeController, Config, Part, State};
    /// # let config = Config {
    /// #     tilt: Part {
    /// #         crossover_rad_s: 8.0, reference_bandwidth_rad_s: 12.0, rate_limit_rad_s: 6.0, acceleration_limit_rad_s2: 100.0,
    /// #     },
    /// #     heading: Part {
    /// #         crossover_rad_s: 3.0, reference_bandwidth_rad_s: 4.0, rate_limit_rad_s: 1.5, acceleration_limit_rad_s2: 5.0,
    /// #     },
    /// #     reference_damping: 0.75,
    /// #     rotor_time_constant_s: 0.04,
    /// # };
    /// # let pointing = AttitudeController::<aplomb::Libm>::new(&config, 5e-3)?;
    /// use aplomb::{HeadingDemand, frames::Attitude};
    /// let mut state = State::new();
    /// let turn = pointing.turn(&mut state, HeadingDemand::Rate(1.0), Attitude::LEVEL);
    /// assert!((turn.heading.east() - 0.005).abs() < 1e-6 && !turn.limited);
    /// // Faster than 1.5 rad/s it does not go.
    /// let turn = pointing.turn(&mut state, HeadingDemand::Rate(9.0), Attitude::LEVEL);
    /// assert!((turn.heading.east() - 0.0125).abs() < 1e-6 && turn.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn turn(&self, state: &mut State, demand: HeadingDemand, attitude: Attitude) -> Turn {
        let setpoint = match state.heading {
            Some(heading) => heading,
            None => attitude.heading::<M>().unwrap_or(Heading::NORTH),
        };
        let angle = match demand {
            HeadingDemand::Hold(target) => {
                let (sine, cosine) = (setpoint.sine_to(target), setpoint.cosine_to(target));
                // Near the heading the sine is the angle; a quarter turn and more from it, only the sense matters.
                if cosine > 0.0 {
                    sine
                } else if sine < 0.0 {
                    -1.0
                } else {
                    1.0
                }
            }
            HeadingDemand::Rate(rate) => rate * self.period_s,
        };
        let step = saturate_symmetric(angle, self.heading.rate_limit * self.period_s);
        let waits = matches!(demand, HeadingDemand::Rate(_)) && runs_away(attitude, setpoint, step);
        let heading = if waits { setpoint } else { setpoint.rotated(step) };
        state.heading = Some(heading);
        Turn { heading, limited: waits || step != angle }
    }

    /// The attitude that points the thrust against `down`, of length 1, with the nose to `heading`. Where none fits, it is
    /// the reference's.
    ///
    /// ```
    /// # use aplomb::control::attitude::{AttitudeController, Config, Part, State};
    /// # let config = Config {
    /// #     tilt: Part {
    /// #         crossover_rad_s: 8.0, reference_bandwidth_rad_s: 12.0, rate_limit_rad_s: 6.0, acceleration_limit_rad_s2: 100.0,
    /// #     },
    /// #     heading: Part {
    /// #         crossover_rad_s: 3.0, reference_bandwidth_rad_s: 4.0, rate_limit_rad_s: 1.5, acceleration_limit_rad_s2: 5.0,
    /// #     },
    /// #     reference_damping: 0.75,
    /// #     rotor_time_constant_s: 0.04,
    /// # };
    /// # let pointing = AttitudeController::<aplomb::Libm>::new(&config, 5e-3)?;
    /// use aplomb::{Libm, frames::{Heading, Vector}};
    /// let east = Heading::from_rad::<Libm>(core::f32::consts::FRAC_PI_2);
    /// // The down axis leans west, so the thrust goes east: nose down for a nose to the east.
    /// let target = pointing.target(&State::new(), Vector::new(0.0, -0.6, 0.8), east);
    /// let (roll, pitch, yaw) = target.to_angles::<Libm>();
    /// assert!(roll.abs() < 1e-6 && (pitch + 0.6435).abs() < 1e-4 && (yaw - 1.5708).abs() < 1e-4);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline]
    #[must_use]
    pub fn target(&self, state: &State, down: Vector<World>, heading: Heading) -> Attitude {
        Attitude::from_down_and_heading::<M>(down, heading)
            .unwrap_or_else(|| state.reference.map_or(Attitude::LEVEL, |reference| reference.attitude))
    }

    /// Body rate set-point towards `target` from the present attitude and rate (rad/s): [`AttitudeController::lead`], then
    /// [`AttitudeController::follow`]. Attitudes are finite by their type; a rate that is not finite counts as 0.
    ///
    /// ```
    /// # use aplomb::control::attitude::{AttitudeController, Config, Part, State};
    /// # let config = Config {
    /// #     tilt: Part {
    /// #         crossover_rad_s: 8.0, reference_bandwidth_rad_s: 12.0, rate_limit_rad_s: 6.0, acceleration_limit_rad_s2: 100.0,
    /// #     },
    /// #     heading: Part {
    /// #         crossover_rad_s: 3.0, reference_bandwidth_rad_s: 4.0, rate_limit_rad_s: 1.5, acceleration_limit_rad_s2: 5.0,
    /// #     },
    /// #     reference_damping: 0.75,
    /// #     rotor_time_constant_s: 0.04,
    /// # };
    /// # let pointing = AttitudeController::<aplomb::Libm>::new(&config, 5e-3)?;
    /// use aplomb::{Libm, frames::{Attitude, Vector}};
    /// let target = Attitude::from_angles::<Libm>(0.1, 0.0, 0.0);
    /// let output = pointing.step(&mut State::new(), target, Attitude::LEVEL, Vector::ZERO);
    /// // u = tau c1 c0/c1 e = 0.04 * 12^3 * 2 sin(0.05) rad/s2; the lag lets an eighth of it through in the first period.
    /// let drive = 0.04 * 12.0f32.powi(3) * 2.0 * 0.05f32.sin();
    /// assert!((output.setpoint.feed_forward_rad_s2.x() - drive).abs() < 1e-3 * drive);
    /// assert!((output.setpoint.setpoint_derivative_rad_s2.x() - 0.125 * drive).abs() < 1e-3 * drive);
    /// assert!((output.setpoint.rate_rad_s.x() - 0.005 * 0.125 * drive).abs() < 1e-5 && !output.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(
        &self,
        state: &mut State,
        target: Attitude,
        attitude: Attitude,
        rate_rad_s: Vector<Body>,
    ) -> Output {
        self.lead(state, target, attitude, rate_rad_s);
        self.follow(state, attitude, rate_rad_s)
    }

    /// The first half of a step: flies the reference a period on, towards `target`. A new reference starts from the present
    /// attitude and rate (rad/s). This half may run some ticks ahead of the other.
    ///
    /// ```
    /// # use aplomb::{Spin, control::attitude::{AttitudeController, State}, flight::{Airframe, Config}, mix::Geometry};
    /// # let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    /// # let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.5))?.attitude;
    /// # let pointing = AttitudeController::<aplomb::Libm>::new(&config, 5e-3)?;
    /// use aplomb::frames::{Attitude, Vector};
    /// let mut state = State::new();
    /// // Half a second is enough for the reference to come within a tenth of 0.2 rad.
    /// let target = Attitude::LEVEL.rotated(Vector::new(0.2, 0.0, 0.0));
    /// for _ in 0..100 {
    ///     pointing.lead(&mut state, target, Attitude::LEVEL, Vector::ZERO);
    /// }
    /// let (roll, _, _) = state.reference().unwrap().to_angles::<aplomb::Libm>();
    /// assert!((roll - 0.2).abs() < 0.02);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn lead(&self, state: &mut State, target: Attitude, attitude: Attitude, rate_rad_s: Vector<Body>) {
        let mut reference = match state.reference {
            // The last rate will have been in force for a period when the new one takes over.
            Some(last) => Reference { attitude: last.attitude.rotated(last.rate * self.period_s), ..last },
            None => self.fresh(attitude, rate_rad_s),
        };
        state.drive = self.advance(&mut reference, target);
        state.reference = Some(reference);
    }

    /// The second half: the body rate set-point that holds the craft to the reference, from the present attitude and rate
    /// (rad/s). A craft more than about 41 deg away from the reference was struck or is lost: the reference starts again
    /// from where the craft is.
    ///
    /// ```
    /// # use aplomb::{Spin, control::attitude::{AttitudeController, State}, flight::{Airframe, Config}, mix::Geometry};
    /// # let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    /// # let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.5))?.attitude;
    /// # let pointing = AttitudeController::<aplomb::Libm>::new(&config, 5e-3)?;
    /// use aplomb::frames::{Attitude, Vector};
    /// let mut state = State::new();
    /// pointing.lead(&mut state, Attitude::LEVEL, Attitude::LEVEL, Vector::ZERO);
    /// // A craft that was turned by 0.1 rad is turned back by the crossover times that.
    /// let struck = Attitude::LEVEL.rotated(Vector::new(0.1, 0.0, 0.0));
    /// let output = pointing.follow(&mut state, struck, Vector::ZERO);
    /// assert!((output.setpoint.rate_rad_s.x() + 0.1 * config.tilt.crossover_rad_s).abs() < 1e-3);
    /// // By 1 rad it is lost: the reference starts again from there, and nothing pulls.
    /// let lost = Attitude::LEVEL.rotated(Vector::new(1.0, 0.0, 0.0));
    /// assert_eq!(pointing.follow(&mut state, lost, Vector::ZERO).setpoint.rate_rad_s, Vector::ZERO);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn follow(&self, state: &mut State, attitude: Attitude, rate_rad_s: Vector<Body>) -> Output {
        let (tilt, heading) = (&self.tilt, &self.heading);
        let tracked = state
            .reference
            .and_then(|reference| near_error(attitude, reference.attitude).map(|error| (reference, error)));
        let (reference, error) = tracked.unwrap_or_else(|| {
            let fresh = self.fresh(attitude, rate_rad_s);
            state.reference = Some(fresh);
            state.drive = Vector::ZERO;
            (fresh, Vector::ZERO)
        });
        let correction = error.scale(Vector::new(tilt.gain, tilt.gain, heading.gain));
        let (rate_rad_s, limited) = limited(reference.rate + correction, tilt.rate_limit, heading.rate_limit);
        Output {
            limited,
            setpoint: rate::SetPoint {
                rate_rad_s,
                setpoint_derivative_rad_s2: reference.acceleration,
                feed_forward_rad_s2: state.drive,
            },
            reference: reference.attitude,
        }
    }

    /// A reference at the present attitude and rate.
    fn fresh(&self, attitude: Attitude, rate_rad_s: Vector<Body>) -> Reference {
        // Not finite or too large to square: no rate to start from.
        let rate = if rate_rad_s.norm_squared() < f32::INFINITY { rate_rad_s } else { Vector::ZERO };
        let (rate, _) = limited(rate, self.tilt.rate_limit, self.heading.rate_limit);
        Reference { attitude, rate, acceleration: Vector::ZERO }
    }

    /// Rate and acceleration of the reference for the next period; gives the drive. From a finite start they stay finite,
    /// since their limits bound them.
    #[inline]
    fn advance(&self, reference: &mut Reference, target: Attitude) -> Vector<Body> {
        let (tilt, heading) = (&self.tilt, &self.heading);
        let each = |t: f32, h: f32| Vector::<Body>::new(t, t, h);
        let error = split_error::<M>(reference.attitude, target);
        let (wanted, _) = limited(
            error.scale(each(tilt.rate_per_error, heading.rate_per_error)),
            tilt.rate_limit,
            heading.rate_limit,
        );
        let jerk = (wanted - reference.rate).scale(each(tilt.stiffness, heading.stiffness))
            - reference.acceleration.scale(each(tilt.damping, heading.damping));
        let (drive, _) = limited(
            reference.acceleration + jerk * self.lag_s,
            tilt.acceleration_limit,
            heading.acceleration_limit,
        );
        reference.acceleration += (drive - reference.acceleration) * self.follow;
        reference.rate += reference.acceleration * self.period_s;
        drive
    }
}
