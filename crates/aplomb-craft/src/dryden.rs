//! Dryden turbulence at low altitude, MIL-F-8785C (1980), discretised exactly.
//!
//! Scales and intensities over the height h in feet, 10 to 1000 ft (fig. 10, fig. 11, 3.7.3.4):
//! `Lw = h`, `Lu = Lv = h/(0.177 + 0.000823 h)^1.2`, `sw = 0.1 u20`, `su = sv = sw/(0.177 + 0.000823 h)^0.4`.
//! Above 1000 ft the turbulence is isotropic: the scale goes linearly to 1750 ft, which holds from 2000 ft on
//! (3.7.2.1). The intensity stays that of 1000 ft, 0.1 u20: chosen here, since the specification gives it
//! there by probability of exceedance. Forming filters (3.7.1.2), driven by white noise of unit two-sided
//! density, T = L/V:
//! `Hu = su sqrt(2 T) / (1 + T s)`, `Hv,w = s sqrt(T) (1 + sqrt(3) T s) / (1 + T s)^2`.
//! Each filter is advanced by its exact solution over the tick: one state for u, two with a correlated pair
//! of noises for v and w. The states have unit variance, so height and wind may change at any time without a
//! jump. u is along the mean wind, w is vertical (3.7.5). V is the speed of the mean wind, with a lower
//! bound: the craft hovers in air that is convected past it.

use crate::error::{ConfigError, not_negative};
use crate::random::{Source, Stream};
use glam::DVec3;

/// One foot (m).
pub const FOOT_M: f64 = 0.3048;
/// One international knot, 1852 m/h (m/s).
pub const KNOT_M_S: f64 = 1852.0 / 3600.0;
/// Lower bound of the convection speed (m/s), chosen here: otherwise turbulence in still air would be
/// constant in time.
pub const CARRY_FLOOR_M_S: f64 = 1.0;

const LOWEST_FT: f64 = 10.0;
const HIGHEST_FT: f64 = 1000.0;
/// Scale above 2000 ft (MIL-F-8785C 3.7.2.1) (ft).
const ALOFT_FT: f64 = 1750.0;

/// Intensity of the turbulence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turbulence {
    /// Mean wind at 20 ft that sets the intensity (m/s).
    pub u20_m_s: f64,
}

impl Turbulence {
    /// Light: u20 = 15 kt (MIL-F-8785C 3.7.3.1).
    pub const fn light() -> Self {
        Turbulence { u20_m_s: 15.0 * KNOT_M_S }
    }

    /// Moderate: u20 = 30 kt (MIL-F-8785C 3.7.3.1).
    pub const fn moderate() -> Self {
        Turbulence { u20_m_s: 30.0 * KNOT_M_S }
    }

    /// Severe: u20 = 45 kt (MIL-F-8785C 3.7.3.1).
    pub const fn severe() -> Self {
        Turbulence { u20_m_s: 45.0 * KNOT_M_S }
    }

    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        not_negative("air.turbulence.u20_m_s", self.u20_m_s)
    }
}

/// Scales and intensities at one height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Profile {
    /// Lu = Lv (m).
    pub horizontal_scale_m: f64,
    /// Lw (m).
    pub vertical_scale_m: f64,
    /// su = sv (m/s).
    pub horizontal_m_s: f64,
    /// sw (m/s).
    pub vertical_m_s: f64,
}

impl Profile {
    /// Profile at `height_m` above ground, at least 10 ft.
    ///
    /// ```
    /// use aplomb_craft::dryden::{Profile, Turbulence};
    /// let profile = Profile::at(30.48, Turbulence::moderate().u20_m_s);
    /// assert!((profile.horizontal_scale_m - 153.976).abs() < 1e-3 && (profile.horizontal_m_s - 2.6481).abs() < 1e-4);
    /// ```
    pub fn at(height_m: f64, u20_m_s: f64) -> Profile {
        let height_ft = height_m / FOOT_M;
        if height_ft > HIGHEST_FT {
            // From 1000 ft at 1000 ft linearly to 1750 ft at 2000 ft, the same along all axes.
            let share = ((height_ft - HIGHEST_FT) / HIGHEST_FT).min(1.0);
            let scale_m = FOOT_M * (HIGHEST_FT + share * (ALOFT_FT - HIGHEST_FT));
            let intensity_m_s = 0.1 * u20_m_s;
            return Profile {
                horizontal_scale_m: scale_m,
                vertical_scale_m: scale_m,
                horizontal_m_s: intensity_m_s,
                vertical_m_s: intensity_m_s,
            };
        }
        let feet = height_ft.max(LOWEST_FT);
        let base = libm::log(0.177 + 0.000823 * feet);
        let vertical_m_s = 0.1 * u20_m_s;
        Profile {
            horizontal_scale_m: FOOT_M * feet * libm::exp(-1.2 * base),
            vertical_scale_m: FOOT_M * feet,
            horizontal_m_s: vertical_m_s * libm::exp(-0.4 * base),
            vertical_m_s,
        }
    }
}

/// The filter of u with unit variance: `x' = a x + b n`, `a = e^(-V dt/L)`, `b = sqrt(1 - a^2)`.
#[derive(Clone, Copy, Debug)]
pub struct Along {
    /// Decay factor over a tick.
    pub keep: f64,
    /// Standard deviation of the increment.
    pub new: f64,
    state: f64,
}

impl Along {
    /// Starts in the stationary distribution. `steps` is V dt / L, the fraction of a length per tick.
    pub fn new(steps: f64, stream: &mut Stream) -> Self {
        let mut filter = Along { keep: 0.0, new: 0.0, state: stream.normal() };
        filter.set(steps);
        filter
    }

    /// Sets V dt / L.
    pub fn set(&mut self, steps: f64) {
        self.keep = libm::exp(-steps);
        self.new = libm::sqrt(-libm::expm1(-2.0 * steps));
    }

    /// Next value, of unit variance.
    #[inline]
    pub fn advance(&mut self, stream: &mut Stream) -> f64 {
        self.state = self.keep * self.state + self.new * stream.normal();
        self.state
    }
}

/// The filter of v and w with unit variance.
///
/// With `T x1' = -x1 + sqrt(T) n` and `T x2' = x1 - x2` the output is `sqrt(3) x1 + (1 - sqrt(3)) x2`. Over a
/// tick, with `d = V dt/L` and `e = e^-d`: `x1' = e x1 + n1`, `x2' = d e x1 + e x2 + n2`; the covariance of
/// (n1, n2) is the integral of `(1, t)(1, t)^T e^(-2t)` over 0..d.
#[derive(Clone, Copy, Debug)]
pub struct Across {
    keep: f64,
    pass: f64,
    first: f64,
    shared: f64,
    second: f64,
    state: [f64; 2],
}

impl Across {
    /// Starts in the stationary distribution; `steps` is V dt / L.
    pub fn new(steps: f64, stream: &mut Stream) -> Self {
        // Stationary covariance: 1/2, 1/4, 1/4.
        let (a, b) = (stream.normal(), stream.normal());
        let state = [core::f64::consts::FRAC_1_SQRT_2 * a, 0.5 * core::f64::consts::FRAC_1_SQRT_2 * (a + b)];
        let mut filter = Across { keep: 0.0, pass: 0.0, first: 0.0, shared: 0.0, second: 0.0, state };
        filter.set(steps);
        filter
    }

    /// Sets V dt / L.
    pub fn set(&mut self, steps: f64) {
        self.keep = libm::exp(-steps);
        self.pass = steps * self.keep;
        let [q11, q12, q22] = covariance(steps);
        self.first = libm::sqrt(q11);
        self.shared = if q11 > 0.0 { q12 / self.first } else { 0.0 };
        self.second = libm::sqrt((q22 - self.shared * self.shared).max(0.0));
    }

    /// Next value, of unit variance.
    #[inline]
    pub fn advance(&mut self, stream: &mut Stream) -> f64 {
        const SQRT_3: f64 = 1.732_050_807_568_877_2;
        let (a, b) = (stream.normal(), stream.normal());
        let [x1, x2] = self.state;
        self.state = [
            self.keep * x1 + self.first * a,
            self.pass * x1 + self.keep * x2 + self.shared * a + self.second * b,
        ];
        SQRT_3 * self.state[0] + (1.0 - SQRT_3) * self.state[1]
    }
}

/// Integrals of `t^n e^(-2t)` over 0..d for n = 0, 1, 2: closed forms, and series where those cancel.
fn covariance(d: f64) -> [f64; 3] {
    if d > 0.5 {
        let e = libm::exp(-2.0 * d);
        return [0.5 * (1.0 - e), 0.25 - e * (0.5 * d + 0.25), 0.25 - e * (0.5 * d * d + 0.5 * d + 0.25)];
    }
    core::array::from_fn(|n| {
        let mut term = (0..=n).fold(1.0, |power, _| power * d);
        let mut sum = 0.0;
        for k in 0..24_u32 {
            sum += term / (n as f64 + f64::from(k) + 1.0);
            if term.abs() < 1e-17 * sum {
                break;
            }
            term *= -2.0 * d / (f64::from(k) + 1.0);
        }
        sum
    })
}

/// Turbulence at the craft.
#[derive(Clone, Debug)]
pub(crate) struct Dryden {
    u20_m_s: f64,
    profile: Profile,
    streams: [Stream; 3],
    along: Along,
    across: Across,
    vertical: Across,
}

impl Dryden {
    pub(crate) fn new(turbulence: &Turbulence, height_m: f64, wind_m_s: f64, tick_s: f64, seed: u64) -> Self {
        let mut streams = [
            Stream::new(seed, Source::TurbulenceAlong),
            Stream::new(seed, Source::TurbulenceAcross),
            Stream::new(seed, Source::TurbulenceVertical),
        ];
        let mut dryden = Dryden {
            u20_m_s: turbulence.u20_m_s,
            profile: Profile::at(height_m, turbulence.u20_m_s),
            along: Along::new(1.0, &mut streams[0]),
            across: Across::new(1.0, &mut streams[1]),
            vertical: Across::new(1.0, &mut streams[2]),
            streams,
        };
        dryden.refresh(height_m, wind_m_s, tick_s);
        dryden
    }

    /// Sets the height above ground and the mean wind speed.
    pub(crate) fn refresh(&mut self, height_m: f64, wind_m_s: f64, tick_s: f64) {
        self.profile = Profile::at(height_m, self.u20_m_s);
        let travel = wind_m_s.max(CARRY_FLOOR_M_S) * tick_s;
        self.along.set(travel / self.profile.horizontal_scale_m);
        self.across.set(travel / self.profile.horizontal_scale_m);
        self.vertical.set(travel / self.profile.vertical_scale_m);
    }

    /// Next (u, v, w): along the mean wind, to its right, down (m/s).
    #[inline]
    pub(crate) fn advance(&mut self) -> DVec3 {
        let [along, across, vertical] = &mut self.streams;
        DVec3::new(
            self.profile.horizontal_m_s * self.along.advance(along),
            self.profile.horizontal_m_s * self.across.advance(across),
            self.profile.vertical_m_s * self.vertical.advance(vertical),
        )
    }
}
