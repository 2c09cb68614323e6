//! Position and velocity over ground from world acceleration and late satellite fixes.
//!
//! A complementary filter with fixed gains, on north and east alike. With position x, velocity v, the acceleration a and
//! its offset o, and a fix T s after the one before whose innovations e_x, e_v are taken against the estimate of the fix's
//! own time:
//!
//! ```text
//! x' = v,  v' = a + o,  o' = 0;      x += k_x e_x,  v += alpha e_v,  o += beta/T e_v
//! k_x = 1 - exp(-w_x T),  alpha = 1 - z1 z2,  beta = 1 + z1 z2 - (z1 + z2)
//! ```
//!
//! The pair (v, o) has its poles z1, z2 = exp(T s1), exp(T s2) at s = w_v (-1 +- j)/sqrt 2: the steady Kalman filter for
//! velocity noise of density R = sigma^2 T and an offset that walks with density q has w_v = (q/R)^(1/4). The position
//! follows with w_x = sqrt(q_x/R_x) for the velocity's own error as walk (A. Gelb, ed., Applied Optimal Estimation, MIT
//! Press 1974, chapter 4). Checked by response: `velocity_step_response_has_the_stated_poles`.
//!
//! What is handed out does not jump with a fix: each correction is released with time constant T, so that a loop behind it
//! is not kicked five times a second (`a_fix_is_released_gradually`).

use super::{History, Span};
use crate::error::{ConfigError, Problem, require_positive};
use crate::frames::{Vector, World};
use crate::math::saturate_symmetric;
use crate::{GnssFix, Sample};

/// What a [`HorizontalFilter`] is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Time between fixes in s.
    pub interval_s: f32,
    /// White noise of a fix's position in m, one standard deviation. Slow errors cannot be filtered: leave them out.
    pub position_noise_m: f32,
    /// White noise of a fix's velocity in m/s, one standard deviation.
    pub velocity_noise_m_s: f32,
    /// How fast the acceleration's offset (tilt error times g) wanders, in m/s2 per square root of a second.
    pub acceleration_walk: f32,
    /// A fix further than this in m from the estimate is refused.
    pub gate_m: f32,
    /// A fix whose velocity is further than this in m/s from the estimate is refused.
    pub gate_m_s: f32,
    /// Since the last accepted fix the velocity gate widens by this many m/s2, the position gate by that times the time.
    pub gate_growth_m_s2: f32,
    /// A fix that states a worse position accuracy than this in m is refused.
    pub worst_accuracy_m: f32,
    /// Without an accepted fix for this long in s the place is not known; then the next fix is taken as it is.
    pub timeout_s: f32,
}

impl Config {
    /// Receiver at 5 Hz with 0.3 m and 0.1 m/s white; offset walk 0.05 m/s2 per root second (0.3 deg of tilt in a second);
    /// gates of more than ten deviations, widening at a third of g.
    pub const CONSUMER: Self = Self {
        interval_s: 0.2,
        position_noise_m: 0.3,
        velocity_noise_m_s: 0.1,
        acceleration_walk: 0.05,
        gate_m: 5.0,
        gate_m_s: 2.0,
        gate_growth_m_s2: 3.0,
        worst_accuracy_m: 15.0,
        timeout_s: 2.0,
    };
}

/// The running filter: [`HorizontalFilter::predict`] on every tick, [`HorizontalFilter::correct`] when a fix comes.
/// Only the north and east components are estimated; the down components of its vectors are 0.
///
/// ```
/// use aplomb::{GnssFix, Sample, estimate::{History, HorizontalFilter, horizontal::Config}, frames::Vector};
/// let mut filter = HorizontalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
/// let mut history = History::new(0.5, 1e-3).unwrap();
/// for _ in 0..300 {
///     filter.predict(Vector::ZERO);
///     history.push(Vector::ZERO);
/// }
/// let fix = GnssFix {
///     position_m: Vector::new(10.0, -5.0, 0.0),
///     velocity_m_s: Vector::new(2.0, 0.0, 0.0),
///     horizontal_accuracy_m: 1.0,
///     vertical_accuracy_m: 1.5,
///     horizontal_velocity_accuracy_m_s: 0.2,
///     vertical_velocity_accuracy_m_s: 0.3,
/// };
/// assert!(filter.correct(Sample { value: fix, age_us: 200_000 }, &history));
/// // The first fix is carried on by its velocity over its age.
/// assert!((filter.position_m().x() - 10.4).abs() < 1e-5 && filter.known());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct HorizontalFilter {
    period_s: f32,
    position_gain: f32,
    velocity_gain: f32,
    offset_gain: f32,
    gate_m: f32,
    gate_m_s: f32,
    gate_growth_m_s2: f32,
    worst_accuracy_m: f32,
    timeout_s: f32,
    /// Share of what is not handed out yet that stays from one tick to the next.
    release: f32,
    north: Axis,
    east: Axis,
    /// Time since the last accepted fix; infinite before the first one.
    since_s: f32,
    last_age_s: f32,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
struct Axis {
    position: f32,
    velocity: f32,
    offset: f32,
    /// The part of the corrections that is not handed out yet.
    unreleased_m: f32,
    unreleased_m_s: f32,
}

/// How far the measured position and velocity are from those believed for their time.
#[derive(Clone, Copy)]
struct Innovation {
    position: f32,
    velocity: f32,
}

impl Axis {
    #[inline]
    fn predict(&mut self, acceleration: f32, dt: f32, release: f32) {
        let change = (acceleration + self.offset) * dt;
        self.position += (self.velocity + change * 0.5) * dt;
        self.velocity += change;
        self.unreleased_m *= release;
        self.unreleased_m_s *= release;
    }

    /// Of a fix `age_s` old, since when the velocity has changed by `change` with the first moment `moment`.
    fn innovation(&self, position: f32, velocity: f32, age_s: f32, change: f32, moment: f32) -> Innovation {
        let past_velocity = self.velocity - change - self.offset * age_s;
        let past_position = self.position
            - past_velocity * age_s
            - (change * age_s - moment)
            - self.offset * (0.5 * age_s * age_s);
        Innovation { position: position - past_position, velocity: velocity - past_velocity }
    }

    /// Takes an innovation as it is, carried on over its age.
    fn jump(&mut self, e: Innovation, age_s: f32) {
        self.velocity += e.velocity;
        self.position += e.position + e.velocity * age_s;
        self.unreleased_m = 0.0;
        self.unreleased_m_s = 0.0;
    }
}

/// Largest acceleration offset per axis in m/s2 (about 17 deg of tilt error).
const OFFSET_MAX_M_S2: f32 = 3.0;
/// Time constant in s with which the velocity fades while the place is not known.
const FADE_S: f32 = 5.0;

impl HorizontalFilter {
    /// For a fixed period in s.
    ///
    /// # Errors
    /// Names the first field that is not finite or not positive; `interval_s` is out of range below one period.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let period_s = require_positive("period_s", period_s)?;
        let interval = require_positive("interval_s", config.interval_s)?;
        if interval < period_s {
            return Err(ConfigError::new("interval_s", Problem::OutOfRange));
        }
        let position_noise = require_positive("position_noise_m", config.position_noise_m)?;
        let velocity_noise = require_positive("velocity_noise_m_s", config.velocity_noise_m_s)?;
        let walk = require_positive("acceleration_walk", config.acceleration_walk)?;
        let root_interval = libm::sqrtf(interval);
        // (q/R)^(1/4) with q = walk^2 and R = sigma^2 T.
        let w_v = libm::sqrtf(walk / (velocity_noise * root_interval));
        // Steady variance of the velocity, sqrt(2) w_v R, over its memory sqrt(2)/w_v: a walk of density q_x = 4 R.
        let w_x = 2.0 * velocity_noise / position_noise;
        let corner = w_v * interval * core::f32::consts::FRAC_1_SQRT_2;
        let decay = libm::expf(-corner);
        Ok(Self {
            period_s,
            position_gain: -libm::expm1f(-w_x * interval),
            velocity_gain: -libm::expm1f(-2.0 * corner),
            offset_gain: (1.0 + decay * decay - 2.0 * decay * libm::cosf(corner)) / interval,
            gate_m: require_positive("gate_m", config.gate_m)?,
            gate_m_s: require_positive("gate_m_s", config.gate_m_s)?,
            gate_growth_m_s2: require_positive("gate_growth_m_s2", config.gate_growth_m_s2)?,
            worst_accuracy_m: require_positive("worst_accuracy_m", config.worst_accuracy_m)?,
            timeout_s: require_positive("timeout_s", config.timeout_s)?,
            north: Axis::default(),
            east: Axis::default(),
            release: 1.0 - period_s / interval,
            since_s: f32::INFINITY,
            last_age_s: 0.0,
        })
    }

    /// One tick: carries position and velocity on with the world acceleration in m/s2 (gravity taken out). One that is
    /// not finite counts as 0. While the place is not known the velocity fades within 5 s.
    #[inline]
    pub fn predict(&mut self, acceleration_m_s2: Vector<World>) {
        self.predict_finite(if acceleration_m_s2.is_finite() { acceleration_m_s2 } else { Vector::ZERO });
    }

    /// The same for an acceleration that is known to be finite.
    #[inline]
    pub(super) fn predict_finite(&mut self, acceleration_m_s2: Vector<World>) {
        let dt = self.period_s;
        self.north.predict(acceleration_m_s2.x(), dt, self.release);
        self.east.predict(acceleration_m_s2.y(), dt, self.release);
        if self.since_s < 1e4 {
            self.since_s += dt;
        }
        if !self.known() {
            let kept = 1.0 - dt / FADE_S;
            self.north.velocity *= kept;
            self.east.velocity *= kept;
        }
    }

    /// Takes a fix of the given age; true when accepted. Refused: not finite, older than the history or than the fix
    /// before, stated accuracy too poor, or outside the gate.
    pub fn correct(&mut self, fix: Sample<GnssFix>, history: &History) -> bool {
        history.span(fix.age_us).is_some_and(|span| self.correct_over(&fix.value, &span))
    }

    /// The same with the span over the fix's age.
    pub(super) fn correct_over(&mut self, fix: &GnssFix, span: &Span) -> bool {
        let GnssFix { position_m, velocity_m_s, horizontal_accuracy_m, .. } = *fix;
        // False for NaN.
        let usable = position_m.is_finite()
            && velocity_m_s.is_finite()
            && position_m.norm_squared() < 1e12
            && velocity_m_s.norm_squared() < 1e6
            && horizontal_accuracy_m <= self.worst_accuracy_m;
        if !usable {
            return false;
        }
        let d = span.length_s;
        if d >= self.last_age_s + self.since_s {
            return false;
        }
        let (x, v, change, moment) = (position_m, velocity_m_s, span.velocity_m_s, span.moment_m);
        let north = self.north.innovation(x.x(), v.x(), d, change.x(), moment.x());
        let east = self.east.innovation(x.y(), v.y(), d, change.y(), moment.y());
        if self.known() {
            let gate_m_s = self.gate_m_s + self.gate_growth_m_s2 * self.since_s;
            let gate_m = self.gate_m + self.gate_growth_m_s2 * self.since_s * self.since_s;
            let e_x = north.position * north.position + east.position * east.position;
            let e_v = north.velocity * north.velocity + east.velocity * east.velocity;
            if e_x > gate_m * gate_m || e_v > gate_m_s * gate_m_s {
                return false;
            }
            for (axis, e) in [(&mut self.north, north), (&mut self.east, east)] {
                let (change_m, change_m_s) =
                    (self.position_gain * e.position, self.velocity_gain * e.velocity);
                axis.position += change_m;
                axis.velocity += change_m_s;
                axis.unreleased_m += change_m;
                axis.unreleased_m_s += change_m_s;
                let offset = axis.offset + self.offset_gain * e.velocity;
                axis.offset = saturate_symmetric(offset, OFFSET_MAX_M_S2);
            }
        } else {
            self.north.jump(north, d);
            self.east.jump(east, d);
        }
        self.since_s = 0.0;
        self.last_age_s = d;
        true
    }

    /// Position in m from home; the down component is 0.
    #[inline]
    #[must_use]
    pub fn position_m(&self) -> Vector<World> {
        let of = |axis: &Axis| axis.position - axis.unreleased_m;
        Vector::new(of(&self.north), of(&self.east), 0.0)
    }

    /// Velocity over ground in m/s; the down component is 0.
    #[inline]
    #[must_use]
    pub fn velocity_m_s(&self) -> Vector<World> {
        let of = |axis: &Axis| axis.velocity - axis.unreleased_m_s;
        Vector::new(of(&self.north), of(&self.east), 0.0)
    }

    /// Offset that is added to the acceleration in m/s2; the down component is 0.
    #[inline]
    #[must_use]
    pub const fn offset_m_s2(&self) -> Vector<World> {
        Vector::new(self.north.offset, self.east.offset, 0.0)
    }

    /// A fix has been accepted within the timeout.
    #[inline]
    #[must_use]
    pub fn known(&self) -> bool {
        self.since_s <= self.timeout_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_bad_field_is_named() {
        type Set = fn(&mut Config, f32);
        let fields: [(&str, Set); 9] = [
            ("interval_s", |c, x| c.interval_s = x),
            ("position_noise_m", |c, x| c.position_noise_m = x),
            ("velocity_noise_m_s", |c, x| c.velocity_noise_m_s = x),
            ("acceleration_walk", |c, x| c.acceleration_walk = x),
            ("gate_m", |c, x| c.gate_m = x),
            ("gate_m_s", |c, x| c.gate_m_s = x),
            ("gate_growth_m_s2", |c, x| c.gate_growth_m_s2 = x),
            ("worst_accuracy_m", |c, x| c.worst_accuracy_m = x),
            ("timeout_s", |c, x| c.timeout_s = x),
        ];
        for (field, set) in fields {
            for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0, -1.0] {
                let mut config = Config::CONSUMER;
                set(&mut config, x);
                assert_eq!(HorizontalFilter::new(&config, 1e-3).unwrap_err().field, field);
            }
        }
        assert_eq!(HorizontalFilter::new(&Config::CONSUMER, -1.0).unwrap_err().field, "period_s");
        let error = HorizontalFilter::new(&Config::CONSUMER, 0.5).unwrap_err();
        assert_eq!(error, ConfigError::new("interval_s", Problem::OutOfRange));
    }

    fn fix(x: f32, v: f32, age_ticks: u32) -> Sample<GnssFix> {
        let value = GnssFix {
            position_m: Vector::new(x, 0.0, 0.0),
            velocity_m_s: Vector::new(v, 0.0, 0.0),
            horizontal_accuracy_m: 1.0,
            vertical_accuracy_m: 1.5,
            horizontal_velocity_accuracy_m_s: 0.2,
            vertical_velocity_accuracy_m_s: 0.3,
        };
        Sample { value, age_us: 1000 * age_ticks }
    }

    /// 1 kHz; fixes every 200 ms of the north motion (position, velocity, acceleration) as it was `age` ticks ago, but
    /// stated to be `stated` ticks old.
    fn run(seconds: f32, age: u16, stated: u16, motion: impl Fn(f32) -> [f32; 3]) -> HorizontalFilter {
        let mut filter = HorizontalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
        let mut history = History::new(0.6, 1e-3).unwrap();
        for k in 0..(seconds * 1e3) as u32 {
            let t = k as f32 * 1e-3;
            let a = Vector::new(motion(t)[2], 0.0, 0.0);
            filter.predict(a);
            history.push(a);
            if k % 200 == 0 && k >= u32::from(age) {
                let [x, v, _] = motion(t - f32::from(age) * 1e-3);
                filter.correct(fix(x, v, stated.into()), &history);
            }
        }
        filter
    }

    #[test]
    fn velocity_step_response_has_the_stated_poles() {
        // The fixes' velocity steps by 0.5 m/s at t = 2 s while nothing accelerates. Error of the pair (v, o):
        // E = s/(s^2 + sqrt2 w s + w^2), in time sqrt2 e^(-wt/sqrt2) sin(...): cos - sin form below.
        let w = (0.05f32 / (0.1 * 0.2f32.sqrt())).sqrt();
        for t in [0.6f32, 1.0, 2.0, 3.0] {
            let step = |now: f32| if now >= 1.9 { 0.5 } else { 0.0 };
            let got = run(2.0 + t - 1e-3, 0, 0, |now| [0.0, step(now), 0.0]).north.velocity;
            let x = w * t * core::f32::consts::FRAC_1_SQRT_2;
            let expected = 0.5 * (1.0 - (-x).exp() * (x.cos() - x.sin()));
            assert!((got - expected).abs() < 0.04, "{t}: {got} {expected}");
        }
    }

    #[test]
    fn a_fix_is_released_gradually() {
        let mut filter = run(4.0, 0, 0, |_| [0.0; 3]);
        let mut history = History::new(0.6, 1e-3).unwrap();
        (0..10).for_each(|_| history.push(Vector::ZERO));
        assert!(filter.correct(fix(1.0, 0.0, 0), &history));
        assert_eq!(filter.position_m().x(), 0.0);
        (0..200).for_each(|_| filter.predict(Vector::ZERO));
        // One time constant later 1 - 1/e of the correction is out.
        let released = filter.position_m().x() / filter.north.position;
        assert!((released - 0.632).abs() < 0.002, "{released}");
    }

    #[test]
    fn acceleration_offset_is_learnt() {
        // A tilt error of 3 deg, 0.5 m/s2, that the fixes do not confirm.
        let filter = run(60.0, 200, 200, |_| [3.0, 0.0, 0.5]);
        assert!((filter.offset_m_s2().x() + 0.5).abs() < 0.01);
        assert!((filter.position_m().x() - 3.0).abs() < 0.02 && filter.velocity_m_s().x().abs() < 0.01);
    }

    #[test]
    fn late_fixes_meet_the_estimate_of_their_time() {
        let motion = |t: f32| [2.0 * t.sin(), 2.0 * t.cos(), -2.0 * t.sin()];
        let t = 39.999;
        let error = |stated| (run(40.0, 200, stated, motion).position_m().x() - motion(t)[0]).abs();
        assert!(error(200) < 0.02, "{}", error(200));
        assert!(error(0) > 0.1, "the twin that hides the age must err: {}", error(0));
    }

    #[test]
    fn bad_stale_and_outlying_fixes_are_refused_but_never_for_ever() {
        let mut filter = run(5.0, 200, 200, |_| [0.0; 3]);
        let mut history = History::new(0.6, 1e-3).unwrap();
        for _ in 0..600 {
            history.push(Vector::ZERO);
        }
        for x in [f32::NAN, f32::INFINITY, 1e30] {
            assert!(!filter.correct(fix(x, 0.0, 10), &history) && !filter.correct(fix(0.0, x, 10), &history));
        }
        assert!(!filter.correct(fix(0.0, 0.0, 5000), &history), "older than the history");
        assert!(!filter.correct(fix(0.0, 0.0, 550), &history), "older than the fix before");
        let mut poor = fix(0.0, 0.0, 10);
        poor.value.horizontal_accuracy_m = f32::NAN;
        assert!(!filter.correct(poor, &history));
        let mut accepted_after_s = 0.0;
        for k in 1..=4000u32 {
            filter.predict(Vector::ZERO);
            if k % 200 == 0 && filter.correct(fix(20.0, 0.0, 0), &history) {
                accepted_after_s = k as f32 * 1e-3;
                break;
            }
        }
        assert!((1.9..2.5).contains(&accepted_after_s), "{accepted_after_s}");
    }
}
