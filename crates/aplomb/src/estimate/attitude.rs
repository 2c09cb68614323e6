//! Attitude from gyro and accelerometer, with the magnetic field as an aid for the heading.
//!
//! An explicit complementary filter (R. Mahony, T. Hamel, J.-M. Pflimlin, IEEE TAC 53(5):1203-1218, 2008) that does not
//! compare each accelerometer sample with the predicted vertical but averages the specific force in the world frame first
//! (D. Laidig, T. Seel, Information Fusion 91:187-204, 2023), so that accelerations which a craft must also brake cancel.
//! With the attitude q (body to world, matrix R), specific force a, angular rate w, gyro offset b and the average u, which
//! rests at (0, 0, 1):
//!
//! ```text
//! f  = -R a/g
//! u += dt/(tau + dt) ((f_y, -f_x, f_z) - u)
//! c  = (u_x, u_y, 0), cut back to a slowly adapting limit
//! b -= dt R'c/(tau_o tau_b)
//! q  = q exp(dt/2 (3/2 w - 1/2 w_before - b + R'c/tau) + heading/2)
//! ```
//!
//! Rates are carried forward by the two-step rule of Adams and Bashforth (E. Hairer, S. P. Norsett, G. Wanner, Solving
//! Ordinary Differential Equations I, 2nd ed. 1993, section III.1), so the attitude is that of the next sample: the
//! accelerometer and the field are compared with the attitude of their own time, and what control reads is the attitude
//! when its command begins to act; test `attitude_is_that_of_the_next_sample`.
//!
//! For small angles, with schedule and limit out of play, an error decays as
//! `theta0 exp(-x) (cos(x sqrt 3) + sin(x sqrt 3)/sqrt 3)`, x = t/(2 tau); test `small_error_decays_by_the_closed_form`.
//!
//! The limit keeps a long acceleration from dragging the attitude along. A wrong attitude does not look like an
//! acceleration: an error of tilt leaves the averaged force as long as gravity, an acceleration along the horizon makes it
//! longer. A large disagreement that gravity alone has explained for a second is therefore taken for an error and corrected
//! at once; test `unseen_jump_is_back_under_2_deg_in_5_s`.
//!
//! Measured with [`Config::RECOMMENDED`]: over eight recordings of BROAD with optical reference 0.61 deg of inclination without
//! and 1.78 deg in all with the field, means of root mean squares (`aplomb estimate`); on simulated legs and turns of 3 and
//! 6 m/s2 at most 4.9 deg of tilt alone and 1.1 deg with a receiver (`tests/attitude_legs.rs`). The step carries the attitude
//! half a sample further than a plain product of rates, which alone is worth 0.15 deg on those recordings.

mod doubt;
mod heading;

use core::marker::PhantomData;

pub use super::course::Course;

use super::field::FieldCheck;
use super::rest::Rest;
use crate::STANDARD_GRAVITY_M_S2;
use crate::error::{ConfigError, Problem, require_positive, require_within};
use crate::frames::{Attitude, Body, Heading, Vector, World};
use crate::math::{Libm, Math};

/// Start of the influence limit in rad. Here and below: the sine of an angle for the angle.
const LIMIT_START_RAD: f32 = 1.0;
/// Where the influence limit settles in rad (2 deg), and its value at rest.
const LIMIT_SETTLED_RAD: f32 = 0.035;
/// Time constant in s of the limit's closing.
const LIMIT_CLOSE_S: f32 = 1.0;
/// Time constant in s with which an error of tilt that no acceleration explains is corrected.
const CORRECT_TIME_S: f32 = 0.5;
/// Time constant in s that scales the offset correction.
const OFFSET_SCALE_S: f32 = 2.5;
/// Growth of the offset's time constant in s/s.
const OFFSET_GROWTH: f32 = 0.5;
/// A horizontal average beyond this, squared (6 deg), is no fault of the offset and does not teach it.
const TEACHING_SQUARED: f32 = 0.012;
/// Time constant in s of the tilt correction at rest.
const REST_TIME_S: f32 = 0.5;
/// Time constant in s with which the offset follows the gyro at rest.
const REST_OFFSET_S: f32 = 1.0;
/// A gyro sample beyond 140 rad/s or an accelerometer sample beyond 400 m/s2 is no measurement.
pub(super) const GYRO_MAX_SQUARED: f32 = 2e4;
pub(super) const ACCEL_MAX_SQUARED: f32 = 1.6e5;
/// A field beyond this strength, squared, is none in any unit.
const FIELD_MAX_SQUARED: f32 = 1e12;
/// The apparent gravity comes late: it helps once the tilt's time constant in s has grown beyond this.
const AID_FROM_S: f32 = 1.0;

/// What an [`AttitudeFilter`] is built from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Time constant tau of the tilt correction in s once settled.
    pub tilt_time_s: f32,
    /// The same just after the seed in s, not above `tilt_time_s`; it grows by 1 s each second. The heading correction starts
    /// with it, too.
    pub tilt_start_s: f32,
    /// Time constant tau_b of the gyro offset in s once settled.
    pub offset_time_s: f32,
    /// The same just after the seed in s, not above `offset_time_s`; it grows by 0.5 s each second.
    pub offset_start_s: f32,
    /// Largest length of the gyro offset in rad/s.
    pub offset_limit_rad_s: f32,
    /// Time constant of the heading correction by the field in s, once settled.
    pub heading_time_s: f32,
    /// Time constant of the gyro offset about the vertical, learnt from the field, in s, once settled; before, it is as much
    /// shorter as that of the other offsets.
    pub heading_offset_time_s: f32,
    /// Local magnetic declination in rad, east positive, -pi to pi.
    pub declination_rad: f32,
}

impl Config {
    /// Found on hand-held recordings with optical reference (D. Laidig, M. Caruso, A. Cereatti, T. Seel, Data 6(7):72, 2021)
    /// and on simulated legs and turns (`tests/attitude_legs.rs`), and kept the same for every flight: tilt 2.2 s from 0.3 s,
    /// offset 300 s from 0.5 s within 5 deg/s, heading 10 s and 200 s, no declination.
    pub const RECOMMENDED: Self = Self {
        tilt_time_s: 2.2,
        tilt_start_s: 0.3,
        offset_time_s: 300.0,
        offset_start_s: 0.5,
        offset_limit_rad_s: 0.087_266,
        heading_time_s: 10.0,
        heading_offset_time_s: 200.0,
        declination_rad: 0.0,
    };
}

/// What may help the filter on one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Aids {
    /// Magnetic field in any unit, body axes, on a tick with a new sample.
    pub field: Option<Vector<Body>>,
    /// Kinematic acceleration less specific force over the same past interval, in m/s2: (0, 0, g) when the attitude is
    /// right. While present it is averaged instead of the accelerometer, so long accelerations do no harm. The
    /// acceleration must come from raw velocity differences, never from an estimate built with this attitude.
    pub apparent_gravity_m_s2: Option<Vector<World>>,
    /// A change of velocity as felt and as measured, on a tick with a new one: an aid for the heading.
    pub course: Option<Course>,
    /// The motors are off, so the craft may be at rest and the gyro offset may be read off.
    pub at_rest_allowed: bool,
}

/// The running filter. `M` gives the square roots.
///
/// ```
/// use aplomb::{Libm, estimate::attitude::{Aids, AttitudeFilter, Config}, frames::Vector};
/// let mut filter = AttitudeFilter::<Libm>::new(&Config::RECOMMENDED, 1e-3).unwrap();
/// // Rolled right by 0.1 rad and still.
/// let accel = Vector::new(0.0, -9.80665 * 0.1f32.sin(), -9.80665 * 0.1f32.cos());
/// filter.step(Vector::ZERO, accel, &Aids::default());
/// assert!((filter.attitude().to_angles::<Libm>().0 - 0.1).abs() < 1e-5);
/// ```
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AttitudeFilter<M: Math = Libm> {
    config: Config,
    period_s: f32,
    declination: Heading,
    attitude: Attitude,
    offset: Vector<Body>,
    rate: Vector<Body>,
    average: [f32; 3],
    limit: f32,
    /// How long gravity alone has explained a large disagreement.
    explained_ticks: u16,
    tilt_time_s: f32,
    offset_time_s: f32,
    heading_time_s: f32,
    rest: Rest,
    field: FieldCheck,
    /// Starts over every 65 536 ticks: an aid that comes just then counts as one that came soon.
    ticks: u16,
    /// When a heading aid of each kind last came.
    field_tick: u16,
    course_tick: u16,
    seeded: bool,
    heading_valid: bool,
    math: PhantomData<M>,
}

impl<M: Math> AttitudeFilter<M> {
    /// For a fixed period in s, at most 0.05.
    ///
    /// # Errors
    /// Names the first field that is not finite, not positive, out of range or above its partner.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let ordered = |low: (&'static str, f32), high: (&'static str, f32)| {
            let low_s = require_positive(low.0, low.1)?;
            if low_s <= require_positive(high.0, high.1)? {
                Ok(())
            } else {
                Err(ConfigError::new(low.0, Problem::WrongOrder))
            }
        };
        require_positive("period_s", period_s)?;
        require_within("period_s", period_s, 0.0, 0.05)?;
        ordered(("tilt_start_s", config.tilt_start_s), ("tilt_time_s", config.tilt_time_s))?;
        ordered(("offset_start_s", config.offset_start_s), ("offset_time_s", config.offset_time_s))?;
        require_positive("offset_limit_rad_s", config.offset_limit_rad_s)?;
        require_positive("heading_time_s", config.heading_time_s)?;
        require_positive("heading_offset_time_s", config.heading_offset_time_s)?;
        let pi = core::f32::consts::PI;
        require_within("declination_rad", config.declination_rad, -pi, pi)?;
        Ok(Self {
            config: *config,
            period_s,
            declination: Heading::from_rad::<M>(config.declination_rad),
            attitude: Attitude::LEVEL,
            offset: Vector::ZERO,
            rate: Vector::ZERO,
            average: [0.0, 0.0, 1.0],
            limit: LIMIT_START_RAD,
            explained_ticks: 0,
            tilt_time_s: config.tilt_start_s,
            offset_time_s: config.offset_start_s,
            heading_time_s: config.tilt_start_s,
            rest: Rest::new(),
            field: FieldCheck::new(),
            ticks: 0,
            field_tick: 0,
            course_tick: 0,
            seeded: false,
            heading_valid: false,
            math: PhantomData,
        })
    }

    /// One tick: angular rate in rad/s, specific force in m/s2, aids. A gyro sample that is no measurement (NaN or
    /// beyond 140 rad/s) is replaced by the last one, an accelerometer sample (NaN or beyond 400 m/s2) or a field that is
    /// not finite is left out.
    #[inline(always)]
    pub fn step(&mut self, gyro_rad_s: Vector<Body>, accel_m_s2: Vector<Body>, aids: &Aids) {
        self.advance(gyro_rad_s, accel_m_s2, aids);
    }

    /// The same; returns the specific force in the world's axes, `None` before the seed and without a usable sample.
    #[inline(always)]
    pub(super) fn advance(
        &mut self,
        gyro_rad_s: Vector<Body>,
        accel_m_s2: Vector<Body>,
        aids: &Aids,
    ) -> Option<Vector<World>> {
        let dt = self.period_s;
        let gyro =
            if gyro_rad_s.norm_squared() < GYRO_MAX_SQUARED { gyro_rad_s } else { self.rate + self.offset };
        let accel_squared = accel_m_s2.norm_squared();
        // False for NaN.
        let accel_usable = accel_squared < ACCEL_MAX_SQUARED;
        if !self.seeded {
            self.rate = gyro - self.offset;
            if accel_usable && accel_squared > 1.0 {
                self.seed(accel_m_s2 * (1.0 / M::sqrt(accel_squared)));
                self.attitude = self.attitude.rotated(self.rate * dt);
            }
            return None;
        }

        let resting = aids.at_rest_allowed && accel_usable && self.rest.step(gyro, accel_m_s2, dt);
        let (mut tilt_time_s, teaching_squared) = if resting {
            self.offset += (self.rest.rate() - self.offset) * (dt / REST_OFFSET_S);
            let before = self.tilt_time_s;
            self.tilt_time_s = self.config.tilt_time_s;
            self.offset_time_s = self.config.offset_time_s;
            self.limit = LIMIT_SETTLED_RAD;
            (if before < REST_TIME_S { before } else { REST_TIME_S }, 0.0)
        } else {
            if !aids.at_rest_allowed {
                self.rest.forget();
            }
            self.tilt_time_s = grown(self.tilt_time_s, dt, self.config.tilt_time_s);
            self.offset_time_s = grown(self.offset_time_s, OFFSET_GROWTH * dt, self.config.offset_time_s);
            (self.tilt_time_s, TEACHING_SQUARED)
        };

        // Rows of R, the attitude before this gyro step.
        let [w, x, y, z] = self.attitude.wxyz();
        let (x2, y2, z2) = (x + x, y + y, z + z);
        let (xx, xy, xz, wx) = (x * x2, x * y2, x * z2, w * x2);
        let (yy, yz, wy, zz, wz) = (y * y2, y * z2, w * y2, z * z2, w * z2);
        let north = Vector::<Body>::new(1.0 - (yy + zz), xy - wz, xz + wy);
        let east = Vector::<Body>::new(xy + wz, 1.0 - (xx + zz), yz - wx);
        let down = Vector::<Body>::new(xz - wy, yz + wx, 1.0 - (xx + yy));

        let felt = if accel_usable {
            Some(Vector::<World>::new(north.dot(accel_m_s2), east.dot(accel_m_s2), down.dot(accel_m_s2)))
        } else {
            None
        };
        let (aided, averaged) = match aids.apparent_gravity_m_s2 {
            Some(gravity) if gravity.norm_squared() < ACCEL_MAX_SQUARED && tilt_time_s > AID_FROM_S => {
                (true, Some(-gravity))
            }
            _ => (false, felt),
        };
        let [ux, uy, uz] = &mut self.average;
        if let Some(a) = averaged {
            let k = dt / (tilt_time_s + dt);
            let (kept, per_g) = (1.0 - k, k * (1.0 / STANDARD_GRAVITY_M_S2));
            *ux = *ux * kept - per_g * a.y();
            *uy = *uy * kept + per_g * a.x();
            *uz = *uz * kept - per_g * a.z();
        }

        let (mut cx, mut cy) = (*ux, *uy);
        let mut n2 = cx * cx + cy * cy;
        if n2 > self.limit * self.limit * *uz || self.explained_ticks > 0 {
            let doubt = self.doubt(n2, aided);
            if doubt.wrong {
                tilt_time_s = CORRECT_TIME_S;
            }
            (cx, cy) = (cx * doubt.share, cy * doubt.share);
            if doubt.gross {
                n2 = f32::INFINITY;
                if resting {
                    // At rest the accelerometer is plumb. Exactly upside down the average has no horizontal part to steer by.
                    self.reinitialise();
                }
            }
        } else {
            self.close_limit();
        }
        let tilt = north * cx + east * cy;
        if n2 < teaching_squared {
            // Less while the tilt still comes in.
            let settled = tilt_time_s / self.config.tilt_time_s;
            self.learn_offset(tilt * (settled * settled * dt / (OFFSET_SCALE_S * self.offset_time_s)));
        }
        let before = self.rate;
        self.rate = gyro - self.offset;
        // Half of the turn, as the quaternion takes it.
        let quarter = 0.25 * dt;
        let mut turn =
            self.rate * (3.0 * quarter) - before * quarter + tilt * ((quarter + quarter) / tilt_time_s);

        self.ticks = self.ticks.wrapping_add(1);
        if let Some(m) = aids.field
            && m.norm_squared() < FIELD_MAX_SQUARED
        {
            let field = Vector::<World>::new(north.dot(m), east.dot(m), down.dot(m));
            turn += self.heading_turn(field, down, resting) * 0.5;
        }
        if let Some(course) = &aids.course {
            turn += self.course_turn(course, down) * 0.5;
        }
        self.attitude = self.attitude.rotated(turn * 2.0);
        felt
    }

    /// Lets the limit settle.
    #[inline]
    fn close_limit(&mut self) {
        self.limit += (self.period_s / LIMIT_CLOSE_S) * (LIMIT_SETTLED_RAD - self.limit);
    }

    fn learn_offset(&mut self, change: Vector<Body>) {
        let limit = self.config.offset_limit_rad_s;
        self.offset -= change;
        if self.offset.norm_squared() > limit * limit {
            self.cut_offset();
        }
    }

    /// Seldom needed, so apart from the tick.
    #[inline(never)]
    fn cut_offset(&mut self) {
        let squared = self.offset.norm_squared();
        self.offset = self.offset * (self.config.offset_limit_rad_s / M::sqrt(squared));
    }

    /// Tilt from one accelerometer direction, heading as near as possible to north.
    #[inline(never)]
    fn seed(&mut self, accel_direction: Vector<Body>) {
        let d = -accel_direction;
        // The shortest turn that brings the felt down axis onto the world's.
        let q = if d.z() > -0.999 { [1.0 + d.z(), d.y(), -d.x(), 0.0] } else { [0.0, 1.0, 0.0, 0.0] };
        self.attitude = Attitude::from_wxyz::<M>(q).unwrap_or(Attitude::LEVEL);
        self.average = [0.0, 0.0, 1.0];
        self.limit = LIMIT_START_RAD;
        self.explained_ticks = 0;
        self.tilt_time_s = self.config.tilt_start_s;
        self.offset_time_s = self.config.offset_start_s;
        self.heading_time_s = self.config.tilt_start_s;
        self.heading_valid = false;
        self.field = FieldCheck::new();
        self.seeded = true;
    }

    /// Starts over from the next samples; the gyro offset is kept. For after a crash, clipped gyros or a reset.
    pub fn reinitialise(&mut self) {
        self.seeded = false;
        self.rest.forget();
    }

    /// Body to world, at the time of the next sample.
    #[inline]
    #[must_use]
    pub const fn attitude(&self) -> Attitude {
        self.attitude
    }

    /// The attitude `ahead_s` later at the present rate, for a gyro whose own filter is known to be late by that much. Not
    /// finite or above one radian of turn: the present attitude.
    ///
    /// ```
    /// use aplomb::{Libm, estimate::attitude::{Aids, AttitudeFilter, Config}, frames::Vector};
    /// let mut filter = AttitudeFilter::<Libm>::new(&Config::RECOMMENDED, 1e-3).unwrap();
    /// for _ in 0..2 {
    ///     filter.step(Vector::new(1.0, 0.0, 0.0), Vector::new(0.0, 0.0, -9.80665), &Aids::default());
    /// }
    /// let roll = |q: aplomb::frames::Attitude| q.to_angles::<Libm>().0;
    /// assert!((roll(filter.attitude_ahead(2e-3)) - roll(filter.attitude()) - 2e-3).abs() < 1e-6);
    /// ```
    #[inline]
    #[must_use]
    pub fn attitude_ahead(&self, ahead_s: f32) -> Attitude {
        self.attitude.rotated(self.rate * ahead_s)
    }

    /// Angular rate in rad/s: the gyro's less its offset.
    #[inline]
    #[must_use]
    pub const fn rate_rad_s(&self) -> Vector<Body> {
        self.rate
    }

    /// Gyro offset in rad/s.
    #[inline]
    #[must_use]
    pub const fn gyro_offset_rad_s(&self) -> Vector<Body> {
        self.offset
    }

    /// A first accelerometer sample has been seen.
    #[inline]
    #[must_use]
    pub const fn seeded(&self) -> bool {
        self.seeded
    }

    /// The heading has been set, by the field or by a change of velocity.
    #[inline]
    #[must_use]
    pub const fn heading_valid(&self) -> bool {
        self.heading_valid
    }

    /// The craft was found at rest on the last tick.
    #[inline]
    #[must_use]
    pub const fn stationary(&self) -> bool {
        self.rest.resting()
    }

    /// Health: how far the averaged vertical disagrees with the attitude, as the sine of the angle; 0 is perfect, under
    /// 0.1 is usual in flight, above 0.5 the attitude is not to be trusted. Right within 4 %.
    #[inline]
    #[must_use]
    pub fn tilt_innovation(&self) -> f32 {
        let [x, y, z] = self.average;
        if z < 0.0 { 1.0 } else { about_length(x, y) }
    }
}

/// Length of (x, y) within 4 % without a root: the larger and a share of the smaller.
#[inline]
fn about_length(x: f32, y: f32) -> f32 {
    let (x, y) = (x.abs(), y.abs());
    let (large, small) = if x > y { (x, y) } else { (y, x) };
    0.961 * large + 0.398 * small
}

/// `value + step`, not above `limit`.
#[inline]
fn grown(value: f32, step: f32, limit: f32) -> f32 {
    let next = value + step;
    if next < limit { next } else { limit }
}

#[cfg(test)]
mod tests;
