//! Linear model of craft and controller, by differences of the running code about a steady flight.
//!
//! A loop is broken at one signal with all others closed. With the addition d, the signal y that returns and
//! the total s = y + d, the loop transfer function is `L = -y/s` (K. J. Astrom, R. M. Murray, Feedback
//! Systems, 2nd edition 2021, section 10.1). The loops run at several rates, so that the model repeats with a
//! period of some ticks (module `periodic`); its stability is judged by its eigenvalues.
//!
//! The sensors have no noise, bias and quantisation, but their filters, rates and delays. Limits, guard and
//! all that the code decides stay as in the steady flight. Aliases of the frequency of an addition are not
//! part of a response, as in a measurement.

mod closed_loop;
mod difference;
mod export;
mod flat;
mod periodic;
mod sparse;

use std::sync::OnceLock;

use aplomb::flight::{self, Excitation};
use aplomb::record::Record;
use aplomb::{Command, ConfigError, FlightController, MotorCommand, Rotors, Sensors};
use aplomb_craft::Config;

use rayon::prelude::*;

use crate::margins::point::Point;
use crate::margins::steady_flight::SteadyFlight;
use aplomb_flight::fly::FlyError;
use closed_loop::{Linearised, linearise};
pub use export::{Array, Description};
pub(crate) use flat::{Flat, NotFlat};
use periodic::Responses;

/// Complex number.
pub type C64 = num_complex::Complex64;

/// Number of breaks.
pub const BREAKS: usize = 12;

/// A growth that doubles in this time in s, or slower, counts as neutral: in `f32` a number that stays is not
/// distinguished from one that grows by 1e-7 in a tick.
const SLOWEST_DOUBLING_S: f64 = 300.0;

/// Frequencies in rad/s of the curves from here on: only integrators act below.
const LOWEST_RAD_S: f64 = 0.01;
/// Points of the curves in a decade.
const PER_DECADE: f64 = 20.0;

/// Frequencies that are computed at once.
const AT_ONCE: usize = 16;

/// Time in s to settle under the little push.
const PUSHED_S: f64 = 15.0;

/// A controller that can be linearised: its state can be read and written as numbers.
pub(crate) trait Linearisable: Clone + Send + Sync {
    fn new(settings: &flight::Config) -> Result<Self, ConfigError>;
    fn resume_in_flight(&mut self);
    fn step_excited(
        &mut self,
        sensors: &Sensors,
        command: &Command,
        excitation: &mut impl Excitation,
    ) -> Rotors<MotorCommand>;
    fn record(&self) -> &Record;
    fn flat(&self) -> Result<Flat, NotFlat>;
    fn names(&self) -> Result<Vec<String>, NotFlat>;
    fn set_flat(&mut self, state: &mut Flat) -> Result<(), NotFlat>;
}

impl Linearisable for FlightController {
    fn new(settings: &flight::Config) -> Result<Self, ConfigError> {
        Self::new(settings)
    }

    fn resume_in_flight(&mut self) {
        self.resume_in_flight();
    }

    fn step_excited(
        &mut self,
        sensors: &Sensors,
        command: &Command,
        excitation: &mut impl Excitation,
    ) -> Rotors<MotorCommand> {
        self.step_excited(sensors, command, excitation)
    }

    fn record(&self) -> &Record {
        self.record()
    }

    fn flat(&self) -> Result<Flat, NotFlat> {
        Flat::of(&self.save())
    }

    fn names(&self) -> Result<Vec<String>, NotFlat> {
        Flat::names(&self.save())
    }

    fn set_flat(&mut self, state: &mut Flat) -> Result<(), NotFlat> {
        self.restore(&state.value()?);
        Ok(())
    }
}

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
    /// All breaks.
    pub const ALL: [Self; BREAKS] = [
        Self::RollTorque,
        Self::PitchTorque,
        Self::YawTorque,
        Self::Thrust,
        Self::RollRate,
        Self::PitchRate,
        Self::YawRate,
        Self::NorthAcceleration,
        Self::EastAcceleration,
        Self::NorthVelocity,
        Self::EastVelocity,
        Self::Climb,
    ];

    /// Its index in [`Break::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// A torque, the thrust, or a rate.
    #[must_use]
    pub const fn is_inner(self) -> bool {
        self.index() <= Self::YawRate.index()
    }

    /// An addition acts only on the steps of the velocity controller, and is held in between.
    #[must_use]
    pub const fn is_held(self) -> bool {
        matches!(self, Self::NorthAcceleration | Self::EastAcceleration)
    }

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

    /// All breaks of a mode, the demands on the mixer first.
    #[must_use]
    pub fn of(mode: Mode) -> Vec<Self> {
        Self::DEMANDS.iter().chain(Self::setpoints(mode)).copied().collect()
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

/// Reason for no linear model.
#[derive(Clone, Debug, PartialEq)]
pub enum LinearError {
    /// The craft or the controller is invalid.
    Fly(FlyError),
    /// The state of the controller cannot be read and written as numbers, or it does not fly the craft.
    NotFlat,
}

impl std::fmt::Display for LinearError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Fly(error) => error.fmt(f),
            Self::NotFlat => {
                f.write_str("no linear model: the controller does not fly, or its state is not readable")
            }
        }
    }
}

impl std::error::Error for LinearError {}

impl From<FlyError> for LinearError {
    fn from(error: FlyError) -> Self {
        Self::Fly(error)
    }
}

/// A pole that grows.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Growth {
    /// Time in which its motion doubles in s.
    pub doubling_s: f64,
    /// Its frequency in rad/s.
    pub rad_s: f64,
}

/// Linear model of craft and controller about one steady flight.
#[derive(Clone, Debug)]
pub struct Model {
    linearised: Linearised,
    responses: Responses,
    /// The loops over frequency in rad/s, once computed.
    curve: OnceLock<Vec<(f64, Loops)>>,
    growths: Vec<Growth>,
    hold_ticks: usize,
    tick_s: f64,
}

impl Model {
    /// Flies to the operating point without noise and linearises there.
    ///
    /// # Errors
    /// An invalid craft or controller; no steady flight.
    pub fn new(craft: &Config, settings: &flight::Config, point: &Point) -> Result<Self, LinearError> {
        Self::of::<FlightController>(craft, settings, point)
    }

    /// [`Model::new`] with any controller.
    pub(crate) fn of<C: Linearisable>(
        craft: &Config,
        settings: &flight::Config,
        point: &Point,
    ) -> Result<Self, LinearError> {
        let craft = craft.without_errors();
        let mut flight = SteadyFlight::<C>::at(&craft, settings, point, 0)?;
        // Where the flight does not settle, the loops are closed about a hover in which the controller has no
        // part.
        if flight.has_settled() && point.mode != Mode::Velocity {
            flight.push_a_little(&craft);
            flight.settle(PUSHED_S);
        }
        if !flight.has_settled() {
            flight = SteadyFlight::hovering(&craft, settings, point)?;
            flight.push_a_little(&craft);
        }
        let linearised = linearise(&flight).ok_or(LinearError::NotFlat)?;
        let tick_s = flight.tick_s;
        let growths = growths(&linearised.system.multipliers(), linearised.system.order.len(), tick_s);
        let responses = linearised.system.responses();
        let hold_ticks = usize::from(settings.velocity_divider);
        Ok(Self { linearised, responses, curve: OnceLock::new(), growths, hold_ticks, tick_s })
    }

    /// The poles of the closed loop that grow, the fastest first.
    #[must_use]
    pub fn growths(&self) -> &[Growth] {
        &self.growths
    }

    /// All loops closed, no motion grows.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        self.growths.is_empty()
    }

    /// The growing poles with one loop open, the fastest first.
    #[must_use]
    pub fn open_loop_growths(&self, broken: Break) -> Vec<Growth> {
        let open = self.linearised.system.opened(broken.index());
        growths(&open.multipliers(), open.order.len(), self.tick_s)
    }

    /// Nyquist frequency in rad/s: half the tick rate.
    #[must_use]
    pub fn highest_rad_s(&self) -> f64 {
        std::f64::consts::PI / self.tick_s
    }

    /// All loops over frequency in rad/s, from 0.01 rad/s to 95 % of the Nyquist frequency.
    #[must_use]
    pub fn curve(&self) -> &[(f64, Loops)] {
        self.curve.get_or_init(|| {
            let decades = libm::log10(0.95 * self.highest_rad_s() / LOWEST_RAD_S);
            let count = (PER_DECADE * decades) as usize;
            let rad_s = |i: usize| LOWEST_RAD_S * libm::pow(10.0, decades * i as f64 / count as f64);
            let frequencies: Vec<f64> = (0..=count).map(rad_s).collect();
            let at = frequencies.par_chunks(AT_ONCE).flat_map_iter(|some| self.at(some));
            frequencies.iter().copied().zip(at.collect::<Vec<_>>()).collect()
        })
    }

    /// All loops at frequencies in rad/s.
    #[must_use]
    pub fn at(&self, frequencies: &[f64]) -> Vec<Loops> {
        let angles: Vec<f64> = frequencies.iter().map(|rad_s| rad_s * self.tick_s).collect();
        let returned = self.responses.at(&angles);
        let found = returned.iter().zip(&angles).map(|(returned, &angle)| {
            let held = held(angle, self.hold_ticks);
            let loops = Break::ALL.map(|broken| {
                let returned = returned[(broken.index(), broken.index())];
                if broken.is_held() {
                    // The signal contains its addition.
                    (held - returned) / returned
                } else {
                    -returned / (1.0 + returned)
                }
            });
            let at = Break::DEMANDS.map(Break::index);
            let sensitivity =
                nalgebra::Matrix4::from_fn(|i, j| returned[(at[i], at[j])] + if i == j { 1.0 } else { 0.0 });
            Loops { loops, sensitivity }
        });
        found.collect()
    }
}

/// All loops at one frequency.
#[derive(Clone, Copy, Debug)]
pub struct Loops {
    /// Transfer function of each loop with all others closed, in the order of [`Break::ALL`].
    pub loops: [C64; BREAKS],
    /// Sensitivity of the four demands on the mixer, all broken at once.
    pub sensitivity: nalgebra::Matrix4<C64>,
}

/// Fundamental of a sampled sine that is held for some ticks, over the sine, at an angle in rad per tick.
pub(crate) fn held(angle: f64, ticks: usize) -> C64 {
    (0..ticks).map(|k| C64::from_polar(1.0, -angle * k as f64)).sum::<C64>() / ticks as f64
}

fn growths(multipliers: &[C64], period: usize, tick_s: f64) -> Vec<Growth> {
    let period_s = period as f64 * tick_s;
    let mut growths: Vec<Growth> = multipliers
        .iter()
        .map(|multiplier| Growth {
            doubling_s: std::f64::consts::LN_2 * period_s / libm::log(multiplier.norm()),
            rad_s: multiplier.arg().abs() / period_s,
        })
        .filter(|growth| growth.doubling_s > 0.0 && growth.doubling_s < SLOWEST_DOUBLING_S)
        .collect();
    growths.sort_by(|a, b| a.doubling_s.total_cmp(&b.doubling_s));
    growths
}

#[cfg(test)]
mod tests;
