//! Attitude to body rate: tilt first, heading second, along a reference trajectory.
//!
//! The rotation from one attitude to another is split into a tilt, about a horizontal body axis, followed by
//! a rotation of the heading about the body's own down axis, `q = q_tilt q_heading` (Brescianini and
//! D'Andrea, Tilt-prioritized quadrocopter attitude control, IEEE TCST (online 2018; 28(2), 2020)). With q =
//! (w, x, y, z), w >= 0, n = sqrt(w^2 + z^2):
//!
//! ```text
//! q_tilt = (n, (w x - y z)/n, (w y + x z)/n, 0)            q_heading = (w, 0, 0, z)/n
//! ```
//!
//! so a pure heading error commands no tilt, and each part has its own gain and limit. The error of a part is
//! twice its vector part, the angle for small angles.
//!
//! **The reference.** A reference model with the rotors' time constant tau and with limits of acceleration
//! and rate moves to the set-point, and the craft is controlled to the reference. With its rate w,
//! acceleration a and the demand u on its rotors,
//!
//! ```text
//! u = a + tau (c1 (r - w) - c2 a),    r = c0/c1 error, limited,    a' = (u - a)/tau,    w' = a,    angle' = w
//! (c2, c1, c0) = (omega (1 + 2 zeta), omega^2 (1 + 2 zeta), omega^3)
//! ```
//!
//! so its poles are -omega and a pair of damping zeta and frequency omega. w, a and u are the rate set-point,
//! its derivative and the feed-forward of the rate controller: with an exact model the feedback error is
//! zero. They are vectors in the axes of the reference. With R(q) the rotation from body to world, the craft
//! gets them in its own axes:
//!
//! ```text
//! rate set-point = R(q)' R(q_ref) w + gain error(q, q_ref)        the same rotation for a and u
//! ```
//!
//! Measured: a heading error of 180 deg commands less than 1e-4 rad/s of tilt, and with 30 deg of tilt the
//! craft is level before half of the heading error is gone (`tests/attitude_recovery.rs`); an inverted craft
//! is upright within 1.3 s (`inverted_craft_recovers`); rate limits and finite set-points from any attitude
//! and rate (`tests/limits.rs`); margins of the derived gains at least 12 dB and 51 deg (`tests/margins.rs`).

use core::marker::PhantomData;

use crate::control::rate::RateSetpoint;
use crate::error::{self, ConfigError, require_positive, require_within};
use crate::frames::{Attitude, Body, Vector};
use crate::math::{Libm, Math, saturate_symmetric};

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

/// Configuration of an [`AttitudeController`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Tilt.
    pub tilt: Part,
    /// Heading.
    pub heading: Part,
    /// Damping ratio of the reference's pole pair, 0.5 to 1.
    pub reference_damping: f32,
    /// Time constant of the rotors in s, 0 to 1.
    pub rotor_time_constant_s: f32,
}

#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Coefficients {
    gain: f32,
    rate_per_error: f32,
    stiffness: f32,
    damping: f32,
    rate_limit: f32,
    acceleration_limit: f32,
}

/// The attitude controller.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AttitudeController<M = Libm> {
    tilt: Coefficients,
    heading: Coefficients,
    /// Period over time constant of the reference's rotors.
    rotor_gain: f32,
    rotor_time_constant_s: f32,
    period_s: f32,
    state: State,
    math: PhantomData<M>,
}

/// The reference model.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Reference {
    attitude: Attitude,
    rate_rad_s: Vector<Body>,
    acceleration_rad_s2: Vector<Body>,
}

/// State of an [`AttitudeController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    reference: Option<Reference>,
}

/// Output of an [`AttitudeController`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Output {
    /// Set-point of the rate controller, in body axes.
    pub rate_setpoint: RateSetpoint,
    /// Attitude of the reference at this time.
    pub reference: Attitude,
    /// The limit of the tilt rate or of the heading rate reduced the rate set-point.
    pub limited: bool,
}

impl<M: Math> AttitudeController<M> {
    /// Computes the coefficients for a period in s.
    ///
    /// ```
    /// use aplomb::control::attitude::{AttitudeController, Config, Part};
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
    /// assert!(AttitudeController::<aplomb::Libm>::new(&config, 5e-3).is_ok());
    /// let mistaken = Config { heading: Part { rate_limit_rad_s: -1.0, ..config.heading }, ..config };
    /// let error = AttitudeController::<aplomb::Libm>::new(&mistaken, 5e-3).unwrap_err();
    /// assert_eq!(error.to_string(), "heading.rate_limit_rad_s must be greater than 0");
    /// ```
    ///
    /// # Errors
    /// Names the field that is not finite, not positive or out of range, with its part `tilt` or `heading`.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        let zeta = require_within("reference_damping", config.reference_damping, 0.5, 1.0)?;
        require_within("rotor_time_constant_s", config.rotor_time_constant_s, 0.0, 1.0)?;
        let rotor_time_constant_s = config.rotor_time_constant_s.max(period_s);
        let coefficients = |part: &Part| {
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
            let sum = 1.0 + 2.0 * zeta;
            Ok::<_, ConfigError>(Coefficients {
                gain,
                rate_per_error: omega / sum,
                stiffness: omega * omega * sum,
                damping: omega * sum,
                rate_limit,
                acceleration_limit,
            })
        };
        Ok(Self {
            tilt: coefficients(&config.tilt).map_err(|error| error.within(error::Part::Tilt))?,
            heading: coefficients(&config.heading).map_err(|error| error.within(error::Part::Heading))?,
            rotor_gain: period_s / rotor_time_constant_s,
            rotor_time_constant_s,
            period_s,
            state: State::default(),
            math: PhantomData,
        })
    }

    /// Moves the reference a period on towards `setpoint` and gives the body rate set-point that controls the
    /// craft to it, from the present attitude and rate (rad/s). A new reference starts at that attitude and
    /// rate, and so it does when the craft is more than about 41 deg away from the reference, as after a
    /// collision. Attitudes are finite by their type; a rate that is not finite counts as 0.
    ///
    /// ```
    /// # use aplomb::control::attitude::{AttitudeController, Config, Part};
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
    /// use aplomb::{Libm, frames::{Attitude, Vector}};
    /// let mut controller = AttitudeController::<Libm>::new(&config, 5e-3)?;
    /// let setpoint = Attitude::from_angles::<Libm>(0.1, 0.0, 0.0);
    /// let output = controller.step(setpoint, Attitude::LEVEL, Vector::ZERO);
    /// // u = tau c1 c0/c1 e = 0.04 * 12^3 * 2 sin(0.05) rad/s2; an eighth of it is reached in the first period.
    /// let u = 0.04 * 12.0f32.powi(3) * 2.0 * 0.05f32.sin();
    /// let rates = output.rate_setpoint;
    /// assert!((rates.feed_forward_rad_s2.x() - u).abs() < 1e-3 * u);
    /// assert!((rates.setpoint_derivative_rad_s2.x() - 0.125 * u).abs() < 1e-3 * u);
    /// assert!((rates.rate_rad_s.x() - 0.005 * 0.125 * u).abs() < 1e-5 && !output.limited);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn step(&mut self, setpoint: Attitude, attitude: Attitude, rate_rad_s: Vector<Body>) -> Output {
        let mut reference = match self.state.reference {
            // The last rate has acted for a period.
            Some(last) => {
                Reference { attitude: last.attitude.rotated(last.rate_rad_s * self.period_s), ..last }
            }
            None => self.reference_at(attitude, rate_rad_s),
        };
        let mut demand_rad_s2 = self.advance(&mut reference, setpoint);
        if is_far(attitude, reference.attitude) {
            reference = self.reference_at(attitude, rate_rad_s);
            demand_rad_s2 = Vector::ZERO;
        }
        self.state.reference = Some(reference);
        let error = split_error::<M>(attitude, reference.attitude);
        let to_body = |v: Vector<Body>| attitude.to_body(reference.attitude.to_world(v));
        let (tilt, heading) = (&self.tilt, &self.heading);
        let correction = error.scale(Vector::new(tilt.gain, tilt.gain, heading.gain));
        let (rate_rad_s, limited) =
            limited::<M>(to_body(reference.rate_rad_s) + correction, tilt.rate_limit, heading.rate_limit);
        Output {
            limited,
            rate_setpoint: RateSetpoint {
                rate_rad_s,
                setpoint_derivative_rad_s2: to_body(reference.acceleration_rad_s2),
                feed_forward_rad_s2: to_body(demand_rad_s2),
            },
            reference: reference.attitude,
        }
    }

    /// The next step starts a new reference.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The attitude of the reference; `None` before the first step.
    #[must_use]
    pub fn reference(&self) -> Option<Attitude> {
        self.state.reference.map(|reference| reference.attitude)
    }

    /// The state, to be saved.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Continues from a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }

    /// A reference at the present attitude and rate.
    fn reference_at(&self, attitude: Attitude, rate_rad_s: Vector<Body>) -> Reference {
        // Not finite or too large to square: no rate to start from.
        let rate = if rate_rad_s.norm_squared() < f32::INFINITY { rate_rad_s } else { Vector::ZERO };
        let (rate_rad_s, _) = limited::<M>(rate, self.tilt.rate_limit, self.heading.rate_limit);
        Reference { attitude, rate_rad_s, acceleration_rad_s2: Vector::ZERO }
    }

    /// Rate and acceleration of the reference for the next period; returns the demand on its rotors. From a
    /// finite start they stay finite, since their limits bound them.
    fn advance(&self, reference: &mut Reference, setpoint: Attitude) -> Vector<Body> {
        let (tilt, heading) = (&self.tilt, &self.heading);
        let each = |t: f32, h: f32| Vector::<Body>::new(t, t, h);
        let error = split_error::<M>(reference.attitude, setpoint);
        let (demanded_rate, _) = limited::<M>(
            error.scale(each(tilt.rate_per_error, heading.rate_per_error)),
            tilt.rate_limit,
            heading.rate_limit,
        );
        let jerk = (demanded_rate - reference.rate_rad_s).scale(each(tilt.stiffness, heading.stiffness))
            - reference.acceleration_rad_s2.scale(each(tilt.damping, heading.damping));
        let (demand, _) = limited::<M>(
            reference.acceleration_rad_s2 + jerk * self.rotor_time_constant_s,
            tilt.acceleration_limit,
            heading.acceleration_limit,
        );
        reference.acceleration_rad_s2 += (demand - reference.acceleration_rad_s2) * self.rotor_gain;
        reference.rate_rad_s += reference.acceleration_rad_s2 * self.period_s;
        demand
    }
}

/// Errors of tilt (x and y) and heading (z) from `from` to `to`, about the body axes of `from`: twice the
/// vector part of each.
fn split_error<M: Math>(from: Attitude, to: Attitude) -> Vector<Body> {
    let [w, x, y, z] = from.error_to(to);
    let n2 = w * w + z * z;
    if n2 > 1e-6 {
        let k = 2.0 / M::sqrt(n2);
        Vector::new(k * (w * x - y * z), k * (w * y + x * z), k * z)
    } else {
        // Upside down the heading error is undetermined: only the tilt is corrected.
        Vector::new(2.0 * x, 2.0 * y, 0.0)
    }
}

/// True when the attitudes are more than 2 asin(sqrt(1/8)) = 41 deg apart, in tilt or in heading: several
/// times the tracking error of a craft that follows its reference (common practice, no source).
fn is_far(a: Attitude, b: Attitude) -> bool {
    let [_, x, y, z] = a.error_to(b);
    x * x + y * y > 0.125 || z * z > 0.125
}

/// `v` with the tilt part limited as a vector and the heading part separately, and whether a limit was
/// active. NaN counts as 0.
fn limited<M: Math>(v: Vector<Body>, tilt: f32, heading: f32) -> (Vector<Body>, bool) {
    let n2 = v.x() * v.x() + v.y() * v.y();
    let scale = if n2 > tilt * tilt { tilt / M::sqrt(n2) } else { 1.0 };
    let z = saturate_symmetric(v.z(), heading);
    (Vector::new(scale * v.x(), scale * v.y(), z), scale < 1.0 || z != v.z())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    const CONFIG: Config = Config {
        tilt: Part {
            crossover_rad_s: 8.0,
            reference_bandwidth_rad_s: 12.0,
            rate_limit_rad_s: 6.0,
            acceleration_limit_rad_s2: 100.0,
        },
        heading: Part {
            crossover_rad_s: 3.0,
            reference_bandwidth_rad_s: 4.0,
            rate_limit_rad_s: 1.5,
            acceleration_limit_rad_s2: 5.0,
        },
        reference_damping: 0.75,
        rotor_time_constant_s: 0.04,
    };

    fn angles(roll_deg: f32, pitch_deg: f32, yaw_deg: f32) -> Attitude {
        let [roll, pitch, yaw] = [roll_deg, pitch_deg, yaw_deg].map(f32::to_radians);
        Attitude::from_angles::<Libm>(roll, pitch, yaw)
    }

    #[test]
    fn set_point_derivative_and_feed_forward_are_in_the_axes_of_the_craft() {
        // The reference moves from level to 60 deg of roll when the craft's nose is pushed 35 deg to the
        // right.
        let mut controller = AttitudeController::<Libm>::new(&CONFIG, 5e-3).unwrap();
        let setpoint = angles(60.0, 0.0, 0.0);
        let mut reference = controller.step(setpoint, Attitude::LEVEL, Vector::ZERO);
        for _ in 0..20 {
            reference = controller.step(setpoint, reference.reference, Vector::ZERO);
        }
        let mut pushed = controller;
        // The same step, seen by a craft on the reference and by the pushed one.
        let on_reference = controller.step(setpoint, reference.reference, Vector::ZERO);
        let craft = on_reference.reference.rotated(Vector::new(0.0, 0.0, 35f32.to_radians()));
        let output = pushed.step(setpoint, craft, Vector::ZERO);
        assert_eq!(output.reference, on_reference.reference);
        let (sin, cos) = 35f32.to_radians().sin_cos();
        // Axes turned to the right about the down axis: forward' = cos forward + sin right.
        let rotated = |v: Vector<Body>| {
            Vector::<Body>::new(cos * v.x() + sin * v.y(), cos * v.y() - sin * v.x(), v.z())
        };
        let near =
            |a: Vector<Body>, b: Vector<Body>| (a - b).norm::<Libm>() < 1e-3 * (1.0 + b.norm::<Libm>());
        let (seen, true_axes) = (output.rate_setpoint, on_reference.rate_setpoint);
        for (seen, reference) in [
            (seen.setpoint_derivative_rad_s2, true_axes.setpoint_derivative_rad_s2),
            (seen.feed_forward_rad_s2, true_axes.feed_forward_rad_s2),
        ] {
            assert!(near(seen, rotated(reference)), "{seen:?} {reference:?}");
            // The twin without the rotation.
            assert!(reference.norm::<Libm>() > 1.0 && !near(seen, reference), "{seen:?} {reference:?}");
        }
        let correction = split_error::<Libm>(craft, output.reference).scale(Vector::new(8.0, 8.0, 3.0));
        // The heading part is at its limit of 1.5 rad/s.
        let expected = rotated(reference_rate(&controller)) + correction;
        assert!((seen.rate_rad_s.x() - expected.x()).abs() < 1e-2 && seen.rate_rad_s.z() == -1.5, "{seen:?}");
        assert!(
            (seen.rate_rad_s.y() - expected.y()).abs() < 1e-2 && seen.rate_rad_s.y() < -0.5,
            "{expected:?}"
        );
    }

    fn reference_rate(controller: &AttitudeController<Libm>) -> Vector<Body> {
        controller.state().reference.unwrap().rate_rad_s
    }

    #[test]
    fn reset_forgets_the_reference_and_the_next_step_starts_one_at_the_craft() {
        let mut controller = AttitudeController::<Libm>::new(&CONFIG, 5e-3).unwrap();
        assert_eq!(controller.reference(), None);
        let _ = controller.step(Attitude::LEVEL, Attitude::LEVEL, Vector::ZERO);
        assert_eq!(controller.reference(), Some(Attitude::LEVEL));
        controller.reset();
        assert_eq!(controller.reference(), None);
        let tilted = Attitude::LEVEL.rotated(Vector::new(0.2, 0.0, 0.0));
        let _ = controller.step(tilted, tilted, Vector::ZERO);
        assert_eq!(controller.reference(), Some(tilted));
    }

    /// Tilt and heading about axes of the body: a rotation of 40 deg about the vertical and 30 deg of tilt
    /// have twice the sines of half of each as errors.
    #[test]
    fn error_is_split_into_tilt_and_heading() {
        let (tilt, heading) = (30f32.to_radians(), 40f32.to_radians());
        let turned = Attitude::LEVEL.rotated(Vector::new(0.0, 0.0, heading));
        let both = turned.rotated(Vector::new(tilt, 0.0, 0.0));
        let error = split_error::<Libm>(Attitude::LEVEL, both);
        let size = (error.x() * error.x() + error.y() * error.y()).sqrt();
        assert!((size - 2.0 * (0.5 * tilt).sin()).abs() < 1e-5, "{error:?}");
        assert!((error.z() - 2.0 * (0.5 * heading).sin()).abs() < 1e-5, "{error:?}");
        // The tilt axis is that of the tilted craft, turned by the heading.
        assert!((error.y() / error.x() - heading.tan()).abs() < 1e-5, "{error:?}");
    }

    #[test]
    fn upside_down_only_the_tilt_is_corrected() {
        // Turned over about a horizontal axis at this angle from the forward axis, either way round.
        for angle_deg in [0.0f32, 30.0, 90.0, 110.0] {
            let (sin, cos) = angle_deg.to_radians().sin_cos();
            let over =
                Attitude::from_angles::<Libm>(core::f32::consts::PI, 0.0, 2.0 * angle_deg.to_radians());
            let error = split_error::<Libm>(Attitude::LEVEL, over);
            let (along, across) = (error.x() * cos + error.y() * sin, error.y() * cos - error.x() * sin);
            assert!(
                (along.abs() - 2.0).abs() < 1e-5 && across.abs() < 1e-3 && error.z() == 0.0,
                "{angle_deg}: {error:?}"
            );
        }
    }

    #[test]
    fn far_is_41_deg_in_tilt_or_in_heading() {
        let turned = |x: f32, y: f32, z: f32| {
            Attitude::LEVEL.rotated(Vector::new(x.to_radians(), y.to_radians(), z.to_radians()))
        };
        for (deg, far) in [(38.0, false), (44.0, true)] {
            for other in [turned(deg, 0.0, 0.0), turned(0.0, -deg, 0.0), turned(0.0, 0.0, deg)] {
                assert_eq!(is_far(Attitude::LEVEL, other), far, "{deg}");
            }
        }
    }

    #[test]
    fn limits_act_on_the_length_of_the_tilt_part_and_on_the_heading_part_alone() {
        let limited = |x, y, z| super::limited::<Libm>(Vector::new(x, y, z), 1.0, 0.5);
        assert_eq!(limited(0.6, -0.7, 0.4), (Vector::new(0.6, -0.7, 0.4), false));
        let (both, flag) = limited(3.0, 4.0, -2.0);
        assert!((both - Vector::new(0.6, 0.8, -0.5)).norm_squared() < 1e-12 && flag);
        assert!(limited(3.0, 4.0, 0.1).1 && limited(0.1, 0.1, 0.6).1);
    }

    #[test]
    fn reference_restarts_at_the_attitude_of_the_craft_beyond_its_largest_error() {
        let mut controller = AttitudeController::<Libm>::new(&CONFIG, 5e-3).unwrap();
        let _ = controller.step(Attitude::LEVEL, Attitude::LEVEL, Vector::ZERO);
        // 0.1 rad away the feedback acts: the crossover times that.
        let near = Attitude::LEVEL.rotated(Vector::new(0.1, 0.0, 0.0));
        let output = controller.step(Attitude::LEVEL, near, Vector::ZERO);
        assert!((output.rate_setpoint.rate_rad_s.x() + 0.8).abs() < 1e-2, "{output:?}");
        let far = Attitude::LEVEL.rotated(Vector::new(1.0, 0.0, 0.0));
        let output = controller.step(Attitude::LEVEL, far, Vector::ZERO);
        assert_eq!((output.rate_setpoint, output.reference), (RateSetpoint::default(), far));
    }
}
