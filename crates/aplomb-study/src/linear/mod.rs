//! Linear model of craft and controller, derived from their equations and not from the running code.
//!
//! Linearised about a steady flight (hover, or level flight at a speed), each block is a matrix of frequency
//! responses:
//!
//! ```text
//!  demand ---> actuators ----> body ----> sensors ---> control --+
//!    ^       (delays, rotors, (rigid,   (low-pass    (all loops, |  L = control * sensors * body * actuators
//!    |        battery)         drag)     of the IMU)  multirate) |
//!    +-----------------------------------------------------------+
//! ```
//!
//! A loop is broken at one signal with all others closed. With the injection d, the returned signal s_c and
//! the total s = s_c + d, the loop transfer function is `L = -s_c/s` (K. J. Astrom, R. M. Murray, Feedback
//! Systems, 2nd edition 2021, section 10.1).
//!
//! Sampling: z = e^(j w T) is exact in all filters, delays and holds. Aliases, of the held output of a slower
//! loop and of the sampled craft, are neglected. Not modelled: corrections of the estimators, noise,
//! quantisation, limits.

mod actuators;
mod body;
mod control;
mod matrix;
mod trim;
mod wind;

use aplomb::flight;
use aplomb_craft::{AirConfig, Config};
pub use matrix::C64;
pub use trim::{LinearError, Trim};

use actuators::Actuators;
pub(crate) use actuators::controller_allocation;
use body::{Body, MOTION};
use control::{Control, Responses};
use matrix::{Matrix, determinant, identity, product, solve, sum};

/// Which outer loops are closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// Tilt, heading and height are commanded.
    Tilt,
    /// Velocity and height are commanded.
    Velocity,
    /// Position is commanded.
    Position,
}

/// Where a loop is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Break {
    /// Torque demand about the roll axis.
    RollTorque,
    /// Torque demand about the pitch axis.
    PitchTorque,
    /// Torque demand about the yaw axis.
    YawTorque,
    /// Collective thrust demand.
    Thrust,
    /// Set-point of the roll rate: the attitude loop.
    RollRate,
    /// Set-point of the pitch rate: the attitude loop.
    PitchRate,
    /// Set-point of the yaw rate: the heading loop.
    YawRate,
    /// Demand of northward acceleration: the velocity loop.
    NorthAcceleration,
    /// Demand of eastward acceleration: the velocity loop.
    EastAcceleration,
    /// Set-point of the northward velocity: the position loop.
    NorthVelocity,
    /// Set-point of the eastward velocity: the position loop.
    EastVelocity,
    /// Set-point of the climb: the height loop.
    Climb,
}

impl Break {
    /// The breaks at the demands on the mixer.
    pub const DEMANDS: [Self; 4] = [Self::RollTorque, Self::PitchTorque, Self::YawTorque, Self::Thrust];
    /// The breaks at the set-points of a mode.
    #[must_use]
    pub fn setpoints(mode: Mode) -> &'static [Self] {
        const ALL: [Break; 8] = [
            Break::RollRate,
            Break::PitchRate,
            Break::YawRate,
            Break::Climb,
            Break::NorthAcceleration,
            Break::EastAcceleration,
            Break::NorthVelocity,
            Break::EastVelocity,
        ];
        match mode {
            Mode::Tilt => &ALL[..4],
            Mode::Velocity => &ALL[..6],
            Mode::Position => &ALL,
        }
    }

    /// Its name in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::RollTorque => "roll torque",
            Self::PitchTorque => "pitch torque",
            Self::YawTorque => "yaw torque",
            Self::Thrust => "thrust",
            Self::RollRate => "roll rate set-point",
            Self::PitchRate => "pitch rate set-point",
            Self::YawRate => "yaw rate set-point",
            Self::NorthAcceleration => "north acceleration set-point",
            Self::EastAcceleration => "east acceleration set-point",
            Self::NorthVelocity => "north velocity set-point",
            Self::EastVelocity => "east velocity set-point",
            Self::Climb => "climb set-point",
        }
    }

    /// True for a demand on the mixer, false for a set-point.
    #[must_use]
    pub fn is_demand(self) -> bool {
        Self::DEMANDS.contains(&self)
    }
}

/// Linear model of craft and controller about one steady flight.
#[derive(Clone, Debug)]
pub struct Model {
    actuators: Actuators,
    body: Body,
    control: Control,
    tick_s: f64,
    trim: Trim,
}

impl Model {
    /// Linearised about level flight to the north at `speed_m_s` in still air.
    ///
    /// # Errors
    /// A craft without this trim.
    pub fn new(
        craft: &Config,
        controller: &flight::Config,
        air: &AirConfig,
        mode: Mode,
        speed_m_s: f64,
    ) -> Result<Self, LinearError> {
        let tick_s = 1.0 / f64::from(controller.tick_hz);
        let trim = Trim::find(craft, air, speed_m_s, tick_s)?;
        Ok(Self {
            actuators: Actuators::new(craft, controller, &trim, tick_s),
            body: Body::new(craft, &trim, tick_s),
            control: Control::new(controller, &trim, mode),
            tick_s,
            trim,
        })
    }

    /// The trim.
    #[must_use]
    pub const fn trim(&self) -> &Trim {
        &self.trim
    }

    /// Nyquist frequency in rad/s: half the tick rate.
    #[must_use]
    pub fn highest_rad_s(&self) -> f64 {
        std::f64::consts::PI / self.tick_s
    }

    /// Frequency response of all loops at a frequency in rad/s.
    #[must_use]
    pub fn response(&self, rad_s: f64) -> Response {
        let clock = Clock::new(rad_s, self.tick_s);
        let motion = product(&self.body.motion(&clock), &self.actuators.wrench(&clock));
        let control = self.control.at(&clock);
        let open_loop = product(&control.wrench(), &motion);
        Response { motion, control, return_difference: sum(&identity(), &open_loop) }
    }
}

/// The model at one frequency.
#[derive(Clone, Debug)]
pub struct Response {
    /// Demand on the mixer to motion.
    motion: Matrix<MOTION, 4>,
    control: Responses,
    /// 1 + L with all four demands broken at once.
    return_difference: Matrix<4, 4>,
}

impl Response {
    /// Determinant of 1 + L with all four demands on the mixer broken. The open loop then contains no closed
    /// loop, so the encirclements of the determinant give the stability of the closed loop (multivariable
    /// Nyquist criterion; S. Skogestad, I. Postlethwaite, Multivariable Feedback Control, 2nd edition 2005,
    /// section 4.9).
    #[must_use]
    pub fn determinant(&self) -> C64 {
        determinant(self.return_difference)
    }

    /// Loop transfer function of `broken`, with all other loops closed.
    #[must_use]
    pub fn at(&self, broken: Break) -> C64 {
        let (row, column) = self.control.tap(broken);
        let back: [C64; 4] = std::array::from_fn(|k| (0..MOTION).map(|m| row[m] * self.motion[m][k]).sum());
        // All loops except this one are closed. At a demand the row is that of the identity, which avoids
        // cancellation at gains of 1e16.
        let open = |i: usize| broken.is_demand() && column[i].norm() > 0.0;
        let others: Matrix<4, 4> = std::array::from_fn(|i| {
            if open(i) {
                return std::array::from_fn(|j| C64::from(if i == j { 1.0 } else { 0.0 }));
            }
            std::array::from_fn(|j| self.return_difference[i][j] - column[i] * back[j])
        });
        let driven = solve(others, column);
        back.iter().zip(driven).map(|(k, x)| k * x).sum()
    }
}

/// A sampling clock at one frequency.
#[derive(Clone, Copy, Debug)]
struct Clock {
    /// j w.
    s: C64,
    /// Delay of one tick, e^(-j w T).
    delay: C64,
    tick_s: f64,
}

impl Clock {
    fn new(rad_s: f64, tick_s: f64) -> Self {
        let angle = rad_s * tick_s;
        Self { s: C64::new(0.0, rad_s), delay: C64::new(libm::cos(angle), -libm::sin(angle)), tick_s }
    }

    /// Delay of some ticks.
    fn ticks(&self, count: usize) -> C64 {
        (0..count).fold(C64::new(1.0, 0.0), |delay, _| delay * self.delay)
    }

    /// Zero-order hold over one period: (1 - e^(-s T))/(s T).
    fn hold(&self) -> C64 {
        (1.0 - self.delay) / (self.s * self.tick_s)
    }

    /// First-order lag with a time constant in s.
    fn lag(&self, time_s: f64) -> C64 {
        1.0 / (1.0 + self.s * time_s)
    }

    /// A slower clock with a period of `count` ticks.
    fn every(&self, count: usize) -> Self {
        Self { delay: self.ticks(count), tick_s: self.tick_s * count as f64, ..*self }
    }

    /// Hold of a value sampled on every `count`-th tick: (1 + z^-1 + ... )/count.
    fn held(&self, count: usize) -> C64 {
        (0..count).map(|k| self.ticks(k)).sum::<C64>() / count as f64
    }

    /// Ramp with a slope sampled on every `count`-th tick.
    fn ramped(&self, count: usize) -> C64 {
        (0..count).map(|k| self.ticks(k) * k as f64).sum::<C64>() * self.tick_s / count as f64
    }

    /// Integrator (backward Euler): sum of all samples including the present one, times the period.
    fn summed(&self) -> C64 {
        self.tick_s / (1.0 - self.delay)
    }
}
