//! Attitude and gyro bias by a complementary filter: gyro and accelerometer, with the magnetic field and GNSS
//! as corrections.
//!
//! An explicit complementary filter (R. Mahony, T. Hamel, J.-M. Pflimlin, IEEE TAC 53(5):1203-1218, 2008). It
//! does not compare each accelerometer sample with the predicted vertical but averages the specific force in
//! the world frame first (D. Laidig, T. Seel, Information Fusion 91:187-204, 2023), so that an acceleration
//! and the deceleration after it cancel. With the attitude q (body to world, matrix R), specific force f,
//! angular rate w, gyro bias b and the average u, which settles at (0, 0, 1):
//!
//! ```text
//! a  = -R f/g
//! u += dt/(tau + dt) ((a_y, -a_x, a_z) - u)
//! c  = (u_x, u_y, 0), limited to a slowly adapting length
//! b -= dt R'c/(tau_s tau_b)
//! q  = q exp(1/2 (dt (3/2 w - 1/2 w_before - b + R'c/tau) + heading correction))
//! ```
//!
//! tau is the tilt's time constant, tau_b the bias's, tau_s = 2.5 s. The length of (u_x, u_y) is the tilt
//! innovation.
//!
//! Rates are extrapolated by the two-step rule of Adams and Bashforth (E. Hairer, S. P. Norsett, G. Wanner,
//! Solving Ordinary Differential Equations I, 2nd ed. 1993, section III.1), so the attitude is that of the
//! next sample: accelerometer and field are compared with the attitude of their own time, and control reads
//! the attitude at the time when its command begins to act; test `attitude_is_that_of_the_next_sample`.
//!
//! For small angles, with settled time constants and the limit not reached, an error decays as
//! `theta0 exp(-x) (cos(x sqrt 3) + sin(x sqrt 3)/sqrt 3)`, x = t/(2 tau); test
//! `small_error_decays_by_the_closed_form`.
//!
//! The limit keeps a long acceleration from tilting the attitude. An attitude error differs from an
//! acceleration: with a tilt error the averaged force is as long as gravity, with a horizontal acceleration
//! it is longer. A large innovation of a force as long as gravity is therefore, after 1.2 s, an attitude
//! error and is corrected with a time constant of 0.5 s; test `unseen_jump_is_back_under_2_deg_in_5_s`.
//!
//! Measured with [`Config::RECOMMENDED`]: over eight recordings of BROAD with optical reference 0.61 deg of
//! inclination without and 1.78 deg in all with the field, means of root mean squares (`aplomb estimate`); on
//! simulated legs and turns of 3 and 6 m/s2 with an accelerometer bias of 5 mg a root mean square of at most
//! 4.8 deg of tilt without GNSS and 1.1 deg with it (`tests/attitude_legs.rs`). The extrapolation by half a
//! sample reduces the error on the recordings by 0.15 deg compared with a plain product of rates.

mod heading;
mod tilt_correction;

use core::marker::PhantomData;

use super::{FieldConsistency, FieldConsistencyState, StationaryDetector, StationaryState, VelocityChange};
use crate::STANDARD_GRAVITY_M_S2;
use crate::error::{ConfigError, Problem, require_positive, require_within};
use crate::frames::{Attitude, Body, Heading, Vector, World};
use crate::math::{Libm, Math};

/// Initial tilt limit in rad. Here and below: the sine of an angle for the angle.
const INITIAL_TILT_LIMIT_RAD: f32 = 1.0;
/// Settled tilt limit in rad (2 deg), also while stationary. This and the following limits and time constants
/// without a source were tuned together with [`Config::RECOMMENDED`] on the same recordings.
const SETTLED_TILT_LIMIT_RAD: f32 = 0.035;
/// Time constant tau_s in s that scales the bias correction.
const BIAS_SCALE_S: f32 = 2.5;
/// Growth of the bias's time constant in s/s.
const BIAS_TIME_CONSTANT_GROWTH: f32 = 0.5;
/// A tilt innovation beyond this, squared (6 deg), is an acceleration or a tilt error and does not correct
/// the bias.
const BIAS_INNOVATION_SQUARED: f32 = 0.012;
/// Time constant in s of the tilt correction while stationary.
const STATIONARY_TILT_S: f32 = 0.5;
/// Time constant in s with which the bias follows the gyro while stationary.
const STATIONARY_BIAS_S: f32 = 1.0;
/// A rate beyond 140 rad/s (8000 deg/s) or a specific force beyond 400 m/s2 (40 g), squared, is no
/// measurement: four and 2.5 times the usual full scales of 2000 deg/s and 16 g (values from memory).
pub(super) const RATE_MAX_SQUARED: f32 = 2e4;
pub(super) const FORCE_MAX_SQUARED: f32 = 1.6e5;
/// A specific force below 1 m/s2 (a tenth of g: near free fall), squared, does not initialise the tilt.
const FORCE_MIN_SQUARED: f32 = 1.0;
/// A field beyond 1e6, squared, is no measurement: in nT, the smallest usual unit, Earth's is below 7e4.
const FIELD_MAX_SQUARED: f32 = 1e12;
/// The apparent gravity corrects once the tilt's time constant in s has grown beyond this: it is delayed by
/// about 0.3 s, the age of a fix and half an interval between fixes.
const MIN_GNSS_TILT_S: f32 = 1.0;
/// Interval in s between two heading corrections, at most: after an outage one sample must not correct by the
/// whole length of it. One interval of GNSS at 5 Hz.
const MAX_HEADING_INTERVAL_S: f32 = 0.2;

/// Configuration of an [`AttitudeFilter`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Time constant tau of the tilt correction in s once settled.
    pub tilt_time_constant_s: f32,
    /// The same after initialisation in s, at most `tilt_time_constant_s`; it grows by 1 s each second. The
    /// heading correction starts with it, too.
    pub initial_tilt_time_constant_s: f32,
    /// Time constant tau_b of the gyro bias in s once settled.
    pub bias_time_constant_s: f32,
    /// The same after initialisation in s, at most `bias_time_constant_s`; it grows by 0.5 s each second.
    pub initial_bias_time_constant_s: f32,
    /// Largest length of the gyro bias in rad/s.
    pub max_gyro_bias_rad_s: f32,
    /// Time constant of the heading correction in s, once settled.
    pub heading_time_constant_s: f32,
    /// Time constant of the gyro bias about the vertical, estimated from the heading, in s, once settled;
    /// before, it is shorter by the same factor as that of the other biases.
    pub heading_bias_time_constant_s: f32,
    /// Local magnetic declination in rad, east positive, -pi to pi.
    pub declination_rad: f32,
}

impl Config {
    /// Tuned on hand-held recordings with optical reference (D. Laidig, M. Caruso, A. Cereatti, T. Seel, Data
    /// 6(7):72, 2021) and on simulated legs and turns (`tests/attitude_legs.rs`), and the same for every
    /// craft: tilt 2.2 s from 0.3 s, bias 300 s from 0.5 s within 5 deg/s, heading 10 s and 200 s, no
    /// declination.
    pub const RECOMMENDED: Self = Self {
        tilt_time_constant_s: 2.2,
        initial_tilt_time_constant_s: 0.3,
        bias_time_constant_s: 300.0,
        initial_bias_time_constant_s: 0.5,
        max_gyro_bias_rad_s: 0.087_266,
        heading_time_constant_s: 10.0,
        heading_bias_time_constant_s: 200.0,
        declination_rad: 0.0,
    };
}

/// Corrections of the filter on one tick besides the accelerometer's.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Corrections {
    /// Magnetic field in any unit, body axes, on a tick with a new sample: corrects the heading.
    pub magnetic_field: Option<Vector<Body>>,
    /// Kinematic acceleration less specific force over one past interval, in m/s2: (0, 0, g) when the
    /// attitude is right. While present it is averaged instead of the accelerometer, so that long
    /// accelerations do not disturb the tilt. The acceleration must come from raw velocity differences, never
    /// from an estimate made with this attitude.
    pub apparent_gravity_m_s2: Option<Vector<World>>,
    /// A change of velocity by accelerometer and by GNSS, on a tick with a new one: corrects the heading.
    pub velocity_change: Option<VelocityChange>,
    /// The motors are off: zero-rate detection is allowed; while it reports the craft stationary the mean
    /// rate is the gyro's bias.
    pub stationary_allowed: bool,
}

/// Output of an [`AttitudeFilter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Output {
    /// Body to world, at the time of the next sample.
    pub attitude: Attitude,
    /// Angular rate in rad/s: the gyro's less its bias.
    pub rate_rad_s: Vector<Body>,
    /// Gyro bias in rad/s.
    pub gyro_bias_rad_s: Vector<Body>,
    /// Specific force in m/s2, world axes; `None` before initialisation and without a usable sample.
    pub specific_force_m_s2: Option<Vector<World>>,
    /// Sine of the angle between the averaged vertical and that of the attitude: 0 is perfect, under 0.1 is
    /// usual in flight, above 0.5 the attitude is unreliable.
    pub tilt_innovation: f32,
    /// A first accelerometer sample has been taken.
    pub is_initialised: bool,
    /// The heading has been initialised, by the field or by a change of velocity.
    pub heading_valid: bool,
    /// The craft was found stationary on this tick.
    pub stationary: bool,
}

/// The attitude filter. `M` gives the square roots.
///
/// ```
/// use aplomb::{Libm, estimate::attitude::{AttitudeFilter, Config, Corrections}, frames::Vector};
/// let mut filter = AttitudeFilter::<Libm>::new(&Config::RECOMMENDED, 1e-3).unwrap();
/// // Rolled right by 0.1 rad and still.
/// let force = Vector::new(0.0, -9.80665 * 0.1f32.sin(), -9.80665 * 0.1f32.cos());
/// let output = filter.step(Vector::ZERO, force, &Corrections::default());
/// assert!((output.attitude.to_angles::<Libm>().0 - 0.1).abs() < 1e-5);
/// ```
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AttitudeFilter<M: Math = Libm> {
    config: Config,
    period_s: f32,
    declination: Heading,
    stationary: StationaryDetector,
    field: FieldConsistency,
    filter: FilterState,
    math: PhantomData<M>,
}

/// State of an [`AttitudeFilter`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    filter: FilterState,
    stationary: StationaryState,
    field: FieldConsistencyState,
}

#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct FilterState {
    output: Output,
    /// The average u.
    average: [f32; 3],
    tilt_limit_rad: f32,
    /// Time in s for which a large tilt innovation has been that of gravity alone.
    explained_s: f32,
    /// Present time constants in s.
    tilt_time_constant_s: f32,
    bias_time_constant_s: f32,
    heading_time_constant_s: f32,
    /// Time since the last heading correction of each kind in s, at most [`MAX_HEADING_INTERVAL_S`].
    since_field_s: f32,
    since_velocity_change_s: f32,
}

impl FilterState {
    const fn initial(config: &Config, output: Output) -> Self {
        Self {
            output,
            average: [0.0, 0.0, 1.0],
            tilt_limit_rad: INITIAL_TILT_LIMIT_RAD,
            explained_s: 0.0,
            tilt_time_constant_s: config.initial_tilt_time_constant_s,
            bias_time_constant_s: config.initial_bias_time_constant_s,
            heading_time_constant_s: config.initial_tilt_time_constant_s,
            since_field_s: 0.0,
            since_velocity_change_s: 0.0,
        }
    }
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
                Err(ConfigError::new(low.0, Problem::WrongOrder(high.0)))
            }
        };
        require_positive("period_s", period_s)?;
        require_within("period_s", period_s, 0.0, 0.05)?;
        ordered(
            ("initial_tilt_time_constant_s", config.initial_tilt_time_constant_s),
            ("tilt_time_constant_s", config.tilt_time_constant_s),
        )?;
        ordered(
            ("initial_bias_time_constant_s", config.initial_bias_time_constant_s),
            ("bias_time_constant_s", config.bias_time_constant_s),
        )?;
        require_positive("max_gyro_bias_rad_s", config.max_gyro_bias_rad_s)?;
        require_positive("heading_time_constant_s", config.heading_time_constant_s)?;
        require_positive("heading_bias_time_constant_s", config.heading_bias_time_constant_s)?;
        let pi = core::f32::consts::PI;
        require_within("declination_rad", config.declination_rad, -pi, pi)?;
        Ok(Self {
            config: *config,
            period_s,
            declination: Heading::from_rad::<M>(config.declination_rad),
            stationary: StationaryDetector::new(period_s),
            field: FieldConsistency::new(),
            filter: FilterState::initial(config, Output::default()),
            math: PhantomData,
        })
    }

    /// One tick: angular rate of the gyro in rad/s, specific force in m/s2, corrections. A rate that is no
    /// measurement (NaN or beyond 140 rad/s) is replaced by the last one, a specific force (NaN or beyond 400
    /// m/s2) or a field that is not finite is left out.
    pub fn step(
        &mut self,
        gyro_rad_s: Vector<Body>,
        specific_force_m_s2: Vector<Body>,
        corrections: &Corrections,
    ) -> Output {
        let dt = self.period_s;
        let last_rate = self.filter.output.rate_rad_s;
        // False for NaN.
        let gyro = if gyro_rad_s.norm_squared() < RATE_MAX_SQUARED {
            gyro_rad_s
        } else {
            last_rate + self.filter.output.gyro_bias_rad_s
        };
        let force = (specific_force_m_s2.norm_squared() < FORCE_MAX_SQUARED).then_some(specific_force_m_s2);
        if !self.filter.output.is_initialised {
            self.initialise(gyro, force);
            return self.filter.output;
        }

        let stationary_bias = self.stationary_bias(gyro, force, corrections.stationary_allowed);
        let tilt_time_constant_s = self.adapt_time_constants(stationary_bias);
        let attitude = self.filter.output.attitude;
        let world_force = force.map(|force| attitude.to_world(force));
        let gnss_force = corrections
            .apparent_gravity_m_s2
            .filter(|gravity| gravity.norm_squared() < FORCE_MAX_SQUARED)
            .filter(|_| tilt_time_constant_s > MIN_GNSS_TILT_S)
            .map(|gravity| -gravity);
        if let Some(force) = gnss_force.or(world_force) {
            self.average(force, tilt_time_constant_s);
        }

        let tilt = self.tilt_correction(tilt_time_constant_s, gnss_force.is_some());
        if tilt.is_gross && stationary_bias.is_some() {
            // Exactly upside down the average has no horizontal part, and so no direction of correction.
            self.reinitialise();
        }
        let [x, y] = tilt.innovation;
        let body_tilt = attitude.to_body(Vector::new(x, y, 0.0));
        if tilt.corrects_bias && stationary_bias.is_none() {
            // Reduced while the tilt settles.
            let settled = tilt.time_constant_s / self.config.tilt_time_constant_s;
            let scale_s = BIAS_SCALE_S * self.filter.bias_time_constant_s;
            self.correct_bias(body_tilt * (settled * settled * dt / scale_s));
        }
        let rate = gyro - self.filter.output.gyro_bias_rad_s;
        let mut rotation = (rate * 1.5 - last_rate * 0.5) * dt + body_tilt * (dt / tilt.time_constant_s);
        rotation += self.heading_correction(corrections, stationary_bias.is_some());

        let [ux, uy, uz] = self.filter.average;
        let output = &mut self.filter.output;
        // The heading may just have been initialised.
        output.attitude = output.attitude.rotated(rotation);
        output.rate_rad_s = rate;
        output.specific_force_m_s2 = world_force;
        output.tilt_innovation = if uz < 0.0 { 1.0 } else { M::sqrt(ux * ux + uy * uy) };
        output.stationary = stationary_bias.is_some();
        *output
    }

    /// Tilt from one specific force, heading as near as possible to north; only the rate without one.
    fn initialise(&mut self, gyro: Vector<Body>, force: Option<Vector<Body>>) {
        let output = &mut self.filter.output;
        output.rate_rad_s = gyro - output.gyro_bias_rad_s;
        (output.specific_force_m_s2, output.stationary) = (None, false);
        let Some(force) = force.filter(|force| force.norm_squared() > FORCE_MIN_SQUARED) else { return };
        let down = force * (-1.0 / M::sqrt(force.norm_squared()));
        // The shortest rotation of the measured down axis onto the world's.
        let q =
            if down.z() > -0.999 { [1.0 + down.z(), down.y(), -down.x(), 0.0] } else { [0.0, 1.0, 0.0, 0.0] };
        let attitude = Attitude::from_wxyz::<M>(q).unwrap_or(Attitude::LEVEL);
        let initialised = Output {
            attitude: attitude.rotated(output.rate_rad_s * self.period_s),
            is_initialised: true,
            heading_valid: false,
            tilt_innovation: 0.0,
            ..*output
        };
        self.filter = FilterState::initial(&self.config, initialised);
        self.field.reset();
    }

    /// The gyro's mean while zero-rate detection is allowed and the craft is stationary.
    fn stationary_bias(
        &mut self,
        gyro: Vector<Body>,
        force: Option<Vector<Body>>,
        allowed: bool,
    ) -> Option<Vector<Body>> {
        if !allowed {
            self.stationary.reset();
        }
        self.stationary.step(gyro, force.filter(|_| allowed)?)
    }

    /// Increases the time constants; while stationary they have their settled values and the bias follows the
    /// gyro's mean. Returns the time constant of the tilt correction on this tick in s.
    fn adapt_time_constants(&mut self, stationary_bias: Option<Vector<Body>>) -> f32 {
        let (dt, config, filter) = (self.period_s, &self.config, &mut self.filter);
        filter.since_field_s = (filter.since_field_s + dt).min(MAX_HEADING_INTERVAL_S);
        filter.since_velocity_change_s = (filter.since_velocity_change_s + dt).min(MAX_HEADING_INTERVAL_S);
        let Some(mean) = stationary_bias else {
            filter.tilt_time_constant_s = (filter.tilt_time_constant_s + dt).min(config.tilt_time_constant_s);
            filter.bias_time_constant_s = (filter.bias_time_constant_s + BIAS_TIME_CONSTANT_GROWTH * dt)
                .min(config.bias_time_constant_s);
            return filter.tilt_time_constant_s;
        };
        let bias = filter.output.gyro_bias_rad_s;
        filter.output.gyro_bias_rad_s += (mean - bias) * (dt / STATIONARY_BIAS_S);
        let before_s = filter.tilt_time_constant_s;
        filter.tilt_time_constant_s = config.tilt_time_constant_s;
        filter.bias_time_constant_s = config.bias_time_constant_s;
        filter.tilt_limit_rad = SETTLED_TILT_LIMIT_RAD;
        before_s.min(STATIONARY_TILT_S)
    }

    /// Averages a specific force in world axes.
    fn average(&mut self, force: Vector<World>, tilt_time_constant_s: f32) {
        let share = self.period_s / (tilt_time_constant_s + self.period_s);
        let [x, y, z] = (force * (-1.0 / STANDARD_GRAVITY_M_S2)).to_array();
        for (average, new) in self.filter.average.iter_mut().zip([y, -x, z]) {
            *average += share * (new - *average);
        }
    }

    /// Subtracts a change from the bias and limits its length.
    fn correct_bias(&mut self, change: Vector<Body>) {
        let bias = &mut self.filter.output.gyro_bias_rad_s;
        *bias = (*bias - change).limited::<M>(self.config.max_gyro_bias_rad_s);
    }

    /// Initialises attitude and heading again from the next samples; the gyro bias is kept. For after a crash
    /// or a clipped gyro.
    pub fn reinitialise(&mut self) {
        self.filter.output.is_initialised = false;
        self.stationary.reset();
    }

    /// The attitude `ahead_s` later at the present rate, to compensate the delay of the gyro's own filter. A
    /// rotation of 2 rad or more, or one that is not finite, gives the present attitude.
    ///
    /// ```
    /// use aplomb::{Libm, estimate::attitude::{AttitudeFilter, Config, Corrections}, frames::Vector};
    /// let mut filter = AttitudeFilter::<Libm>::new(&Config::RECOMMENDED, 1e-3).unwrap();
    /// for _ in 0..2 {
    ///     filter.step(Vector::new(1.0, 0.0, 0.0), Vector::new(0.0, 0.0, -9.80665), &Corrections::default());
    /// }
    /// let roll = |q: aplomb::frames::Attitude| q.to_angles::<Libm>().0;
    /// assert!((roll(filter.attitude_ahead(2e-3)) - roll(filter.output().attitude) - 2e-3).abs() < 1e-6);
    /// ```
    #[must_use]
    pub fn attitude_ahead(&self, ahead_s: f32) -> Attitude {
        self.filter.output.attitude.rotated(self.filter.output.rate_rad_s * ahead_s)
    }

    /// The output of the last tick.
    #[must_use]
    pub const fn output(&self) -> &Output {
        &self.filter.output
    }

    /// Initialises the state, the gyro bias to 0.
    pub fn reset(&mut self) {
        self.filter = FilterState::initial(&self.config, Output::default());
        self.stationary.reset();
        self.field.reset();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> State {
        State { filter: self.filter, stationary: self.stationary.state(), field: self.field.state() }
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.filter = state.filter;
        self.stationary.set_state(state.stationary);
        self.field.set_state(state.field);
    }
}

#[cfg(test)]
mod tests;
