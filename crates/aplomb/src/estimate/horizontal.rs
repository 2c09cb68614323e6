//! Position and velocity over ground from horizontal acceleration and delayed GNSS fixes.
//!
//! A complementary filter with fixed gains, for north and east alike. With position x, velocity v, the
//! acceleration a and its bias b, and a fix T s after the one before with the innovations e_x, e_v against
//! the estimate of its own time:
//!
//! ```text
//! x' = v,  v' = a + b,  b' = 0;      x += k_x e_x,  v += alpha e_v,  b += beta/T e_v
//! k_x = 1 - exp(-w_x T),  alpha = 1 - z1 z2,  beta = 1 + z1 z2 - (z1 + z2)
//! ```
//!
//! The pair (v, b) has its poles z1, z2 = exp(T s1), exp(T s2) at s = w_v (-1 +- j)/sqrt 2: the steady Kalman
//! filter for velocity noise of density R = sigma^2 T and a bias with a random walk of density q has w_v =
//! (q/R)^(1/4). The position follows with w_x = sqrt(q_x/R_x), the velocity's own error being its random walk
//! (A. Gelb, ed., Applied Optimal Estimation, MIT Press 1974, chapter 4). Test
//! `velocity_step_response_has_the_stated_poles`.
//!
//! The output does not jump with a fix: each correction is released with time constant T, so that it does not
//! excite the loops at the rate of the fixes; test `a_fix_is_released_gradually`.

use super::{Delayed, Preintegration};
use crate::GnssFix;
use crate::error::{ConfigError, Problem, require_positive};
use crate::frames::{Horizontal, Vector, World};
use crate::math::saturate_symmetric;

/// Configuration of a [`HorizontalFilter`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Time between fixes in s.
    pub interval_s: f32,
    /// White noise of a fix's position in m, one standard deviation. Without correlated errors, which no
    /// filter removes.
    pub position_white_noise_m: f32,
    /// White noise of a fix's velocity in m/s, one standard deviation.
    pub velocity_white_noise_m_s: f32,
    /// Random walk of the acceleration's bias (tilt error times g) in m/s2 per square root of a second.
    pub bias_random_walk_m_s2_rts: f32,
    /// A fix with a larger innovation of the position than this in m is rejected.
    pub position_gate_m: f32,
    /// A fix with a larger innovation of the velocity than this in m/s is rejected.
    pub velocity_gate_m_s: f32,
    /// Since the last accepted fix the velocity gate widens by this many m/s2, the position gate by that
    /// times the time.
    pub gate_growth_m_s2: f32,
    /// A fix that states a worse accuracy of its horizontal position than this in m is rejected.
    pub max_accuracy_m: f32,
    /// Without an accepted fix for this long in s position and velocity are not valid, and the next fix
    /// initialises them.
    pub timeout_s: f32,
}

impl Config {
    /// GNSS at 5 Hz with 0.3 m and 0.1 m/s white; random walk of the bias 0.05 m/s2 per root second (0.3 deg
    /// of tilt in a second); gates of more than ten standard deviations, widening at a third of g; a stated
    /// accuracy of up to 15 m; a timeout of ten intervals. Typical of a consumer receiver (values from
    /// memory).
    pub const CONSUMER: Self = Self {
        interval_s: 0.2,
        position_white_noise_m: 0.3,
        velocity_white_noise_m_s: 0.1,
        bias_random_walk_m_s2_rts: 0.05,
        position_gate_m: 5.0,
        velocity_gate_m_s: 2.0,
        gate_growth_m_s2: 3.0,
        max_accuracy_m: 15.0,
        timeout_s: 2.0,
    };
}

/// Largest acceleration bias per axis in m/s2: that of a tilt error of 17 deg, far above the attitude
/// filter's errors; the limit keeps wrong fixes from accumulating in it.
const MAX_BIAS_M_S2: f32 = 3.0;
/// While the position is not valid the velocity decays with this time constant in s, since the integrated
/// acceleration drifts (common practice, no source).
const VELOCITY_DECAY_S: f32 = 5.0;
/// Positions beyond 1000 km, where an `f32` resolves 6 cm, and velocities beyond 1000 m/s, squared, are no
/// measurement.
const MAX_POSITION_SQUARED: f32 = 1e12;
const MAX_VELOCITY_SQUARED: f32 = 1e6;
/// Times are counted up to this many s, above any timeout.
const MAX_ELAPSED_S: f32 = 1e4;

/// The horizontal filter.
///
/// ```
/// use aplomb::{GnssFix, Sample, estimate::{DelayBuffer, HorizontalFilter, horizontal::Config}, frames::Vector};
/// let mut filter = HorizontalFilter::new(&Config::CONSUMER, 1e-3).unwrap();
/// let mut buffer = DelayBuffer::new(0.3, 1e-3).unwrap();
/// for _ in 0..300 {
///     buffer.step(Vector::ZERO);
///     filter.step(Vector::ZERO, None);
/// }
/// let fix = GnssFix {
///     position_m: Vector::new(10.0, -5.0, 0.0),
///     velocity_m_s: Vector::new(2.0, 0.0, 0.0),
///     horizontal_accuracy_m: 1.0,
///     vertical_accuracy_m: 1.5,
///     horizontal_velocity_accuracy_m_s: 0.2,
///     vertical_velocity_accuracy_m_s: 0.3,
/// };
/// let late = buffer.delayed(Sample { value: fix, age_us: 200_000 });
/// let output = filter.step(Vector::ZERO, late.as_ref());
/// // The first fix is extrapolated by its velocity over its age.
/// assert!((output.position_m.north - 10.4).abs() < 1e-5 && output.is_valid);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HorizontalFilter {
    period_s: f32,
    position_gain: f32,
    velocity_gain: f32,
    bias_gain_per_s: f32,
    position_gate_m: f32,
    velocity_gate_m_s: f32,
    gate_growth_m_s2: f32,
    max_accuracy_m: f32,
    timeout_s: f32,
    /// Share of the unreleased corrections that stays from one tick to the next.
    release: f32,
    state: State,
}

/// State of a [`HorizontalFilter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    north: Axis,
    east: Axis,
    last_accepted: Option<Accepted>,
}

/// The last accepted fix.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Accepted {
    elapsed_s: f32,
    /// Its age on arrival.
    age_s: f32,
}

/// Output of a [`HorizontalFilter`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Output {
    /// Position in m from home.
    pub position_m: Horizontal,
    /// Velocity over ground in m/s.
    pub velocity_m_s: Horizontal,
    /// Bias that is added to the acceleration in m/s2.
    pub bias_m_s2: Horizontal,
    /// A fix has been accepted within the timeout.
    pub is_valid: bool,
    /// The fix of this tick was accepted.
    pub accepted: bool,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Axis {
    position_m: f32,
    velocity_m_s: f32,
    bias_m_s2: f32,
    /// The part of the corrections that is not in the output yet.
    unreleased_m: f32,
    unreleased_m_s: f32,
}

/// Fix less the estimate of its own time.
#[derive(Clone, Copy)]
struct Innovation {
    position_m: f32,
    velocity_m_s: f32,
}

impl Axis {
    fn predict(&mut self, acceleration_m_s2: f32, dt: f32, release: f32) {
        let change = (acceleration_m_s2 + self.bias_m_s2) * dt;
        self.position_m += (self.velocity_m_s + change * 0.5) * dt;
        self.velocity_m_s += change;
        self.unreleased_m *= release;
        self.unreleased_m_s *= release;
    }

    /// Innovation of a position and a velocity that were true `age_s` ago; since then the acceleration has
    /// changed the velocity by `dv` and the position by `dx`.
    fn innovation(&self, position_m: f32, velocity_m_s: f32, age_s: f32, dv: f32, dx: f32) -> Innovation {
        let past_velocity = self.velocity_m_s - dv - self.bias_m_s2 * age_s;
        let past_position =
            self.position_m - past_velocity * age_s - dx - self.bias_m_s2 * (0.5 * age_s * age_s);
        Innovation { position_m: position_m - past_position, velocity_m_s: velocity_m_s - past_velocity }
    }

    /// Initialises position and velocity by a fix, extrapolated over its age.
    fn reinitialise(&mut self, e: Innovation, age_s: f32) {
        self.velocity_m_s += e.velocity_m_s;
        self.position_m += e.position_m + e.velocity_m_s * age_s;
        self.unreleased_m = 0.0;
        self.unreleased_m_s = 0.0;
    }
}

impl HorizontalFilter {
    /// For a fixed period in s.
    ///
    /// # Errors
    /// Names the first field that is not finite or not positive; `interval_s` is out of range below one
    /// period.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        let period_s = require_positive("period_s", period_s)?;
        let interval = require_positive("interval_s", config.interval_s)?;
        if interval < period_s {
            return Err(ConfigError::new(
                "interval_s",
                Problem::OutOfRange { low: period_s, high: f32::INFINITY },
            ));
        }
        let position_noise = require_positive("position_white_noise_m", config.position_white_noise_m)?;
        let velocity_noise = require_positive("velocity_white_noise_m_s", config.velocity_white_noise_m_s)?;
        let walk = require_positive("bias_random_walk_m_s2_rts", config.bias_random_walk_m_s2_rts)?;
        // (q/R)^(1/4) with q = walk^2 and R = sigma^2 T.
        let w_v = libm::sqrtf(walk / (velocity_noise * libm::sqrtf(interval)));
        // Steady variance of the velocity, sqrt(2) w_v R, over its memory sqrt(2)/w_v: a random walk of
        // density q_x = 4 R.
        let w_x = 2.0 * velocity_noise / position_noise;
        let corner = w_v * interval * core::f32::consts::FRAC_1_SQRT_2;
        let decay = libm::expf(-corner);
        Ok(Self {
            period_s,
            position_gain: -libm::expm1f(-w_x * interval),
            velocity_gain: -libm::expm1f(-2.0 * corner),
            bias_gain_per_s: (1.0 + decay * decay - 2.0 * decay * libm::cosf(corner)) / interval,
            position_gate_m: require_positive("position_gate_m", config.position_gate_m)?,
            velocity_gate_m_s: require_positive("velocity_gate_m_s", config.velocity_gate_m_s)?,
            gate_growth_m_s2: require_positive("gate_growth_m_s2", config.gate_growth_m_s2)?,
            max_accuracy_m: require_positive("max_accuracy_m", config.max_accuracy_m)?,
            timeout_s: require_positive("timeout_s", config.timeout_s)?,
            release: 1.0 - period_s / interval,
            state: State::default(),
        })
    }

    /// One tick: world acceleration in m/s2 (gravity removed; not finite counts as 0) and, on a tick with a
    /// new one, a fix.
    ///
    /// A fix is rejected when it is not finite, older than the one before, of too poor a stated accuracy, or
    /// outside the gates. After the timeout the velocity decays with a time constant of 5 s and the next fix
    /// initialises position and velocity.
    pub fn step(&mut self, acceleration_m_s2: Vector<World>, fix: Option<&Delayed<GnssFix>>) -> Output {
        self.predict(if acceleration_m_s2.is_finite() { acceleration_m_s2 } else { Vector::ZERO });
        let accepted = fix.is_some_and(|fix| self.correct(&fix.value, &fix.since));
        let State { north, east, .. } = self.state;
        Output {
            position_m: Horizontal::new(
                north.position_m - north.unreleased_m,
                east.position_m - east.unreleased_m,
            ),
            velocity_m_s: Horizontal::new(
                north.velocity_m_s - north.unreleased_m_s,
                east.velocity_m_s - east.unreleased_m_s,
            ),
            bias_m_s2: Horizontal::new(north.bias_m_s2, east.bias_m_s2),
            is_valid: self.is_valid(),
            accepted,
        }
    }

    fn predict(&mut self, acceleration_m_s2: Vector<World>) {
        let (dt, is_valid) = (self.period_s, self.is_valid());
        let state = &mut self.state;
        state.north.predict(acceleration_m_s2.x(), dt, self.release);
        state.east.predict(acceleration_m_s2.y(), dt, self.release);
        if !is_valid {
            state.north.velocity_m_s -= state.north.velocity_m_s * (dt / VELOCITY_DECAY_S);
            state.east.velocity_m_s -= state.east.velocity_m_s * (dt / VELOCITY_DECAY_S);
        }
        if let Some(last) = &mut state.last_accepted {
            last.elapsed_s = (last.elapsed_s + dt).min(MAX_ELAPSED_S);
        }
    }

    /// Corrects the state by a fix; true when it is accepted.
    fn correct(&mut self, fix: &GnssFix, since: &Preintegration) -> bool {
        let (x, v) = (fix.position_m, fix.velocity_m_s);
        // False for NaN.
        let usable = x.norm_squared() < MAX_POSITION_SQUARED
            && v.norm_squared() < MAX_VELOCITY_SQUARED
            && fix.horizontal_accuracy_m <= self.max_accuracy_m;
        let age_s = since.duration_s;
        let last = self.state.last_accepted;
        if !usable || last.is_some_and(|last| age_s >= last.age_s + last.elapsed_s) {
            return false;
        }
        let (dv, dx) = (since.velocity_m_s, since.position_m);
        let north = self.state.north.innovation(x.x(), v.x(), age_s, dv.x(), dx.x());
        let east = self.state.east.innovation(x.y(), v.y(), age_s, dv.y(), dx.y());
        match last {
            Some(Accepted { elapsed_s, .. }) if self.is_valid() => {
                let velocity_gate = self.velocity_gate_m_s + self.gate_growth_m_s2 * elapsed_s;
                let position_gate = self.position_gate_m + self.gate_growth_m_s2 * elapsed_s * elapsed_s;
                let square = |north: f32, east: f32| north * north + east * east;
                if square(north.position_m, east.position_m) > position_gate * position_gate
                    || square(north.velocity_m_s, east.velocity_m_s) > velocity_gate * velocity_gate
                {
                    return false;
                }
                for (axis, e) in [(&mut self.state.north, north), (&mut self.state.east, east)] {
                    let change_m = self.position_gain * e.position_m;
                    let change_m_s = self.velocity_gain * e.velocity_m_s;
                    axis.position_m += change_m;
                    axis.velocity_m_s += change_m_s;
                    axis.unreleased_m += change_m;
                    axis.unreleased_m_s += change_m_s;
                    let bias = axis.bias_m_s2 + self.bias_gain_per_s * e.velocity_m_s;
                    axis.bias_m_s2 = saturate_symmetric(bias, MAX_BIAS_M_S2);
                }
            }
            _ => {
                self.state.north.reinitialise(north, age_s);
                self.state.east.reinitialise(east, age_s);
            }
        }
        self.state.last_accepted = Some(Accepted { elapsed_s: 0.0, age_s });
        true
    }

    /// A fix has been accepted within the timeout.
    fn is_valid(&self) -> bool {
        self.state.last_accepted.is_some_and(|last| last.elapsed_s <= self.timeout_s)
    }

    /// Initialises the state: stationary at home.
    pub fn reset(&mut self) {
        self.state = State::default();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }
}

#[cfg(test)]
mod tests;
