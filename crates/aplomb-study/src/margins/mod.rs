//! Stability margins of each loop: measured by injection into the running code and craft, and by the linear
//! model.

pub mod curve;
pub mod disk;
pub mod figures;
pub mod judge;
mod measure;
mod multisine;
pub mod point;
pub(crate) mod steady_flight;

use aplomb::flight;
use aplomb_craft::Config;

use crate::linear::{Break, LinearError, Model};
use aplomb_flight::fly::FlyError;
use curve::Curve;
use figures::Figures;
pub use measure::{Bench, COHERENT, Line, Measured, NotMeasured};
use point::Point;

/// A loop of the linear model.
#[derive(Clone, Debug, PartialEq)]
pub struct Linear {
    /// Break of the loop.
    pub broken: Break,
    /// Loop transfer function.
    pub curve: Curve,
    /// Its figures; NaN if the craft is not stable with all loops closed.
    pub figures: Figures,
    /// The craft is stable with all loops closed.
    pub stable: bool,
}

/// Frequencies in rad/s of the linear curves of torques and rates from here on.
const LOWEST_INNER_RAD_S: f64 = 0.3;
/// Frequencies in rad/s of the linear curves up to here, for velocities, positions and height.
const HIGHEST_OUTER_RAD_S: f64 = 100.0;

/// The loops `breaks` of the linear model at a point.
///
/// # Errors
/// An invalid craft or controller; no steady flight.
pub fn linear(
    craft: &Config,
    controller: &flight::Config,
    point: &Point,
    breaks: &[Break],
) -> Result<Vec<Linear>, LinearError> {
    let model = Model::new(craft, controller, point)?;
    Ok(loops(&model, breaks))
}

/// The loops `breaks` of a model.
#[must_use]
pub fn loops(model: &Model, breaks: &[Break]) -> Vec<Linear> {
    let stable = model.is_stable();
    let covers = |broken: Break, w: f64| match broken.is_inner() {
        true => w >= LOWEST_INNER_RAD_S,
        false => w <= HIGHEST_OUTER_RAD_S,
    };
    // An unstable craft has no figures.
    let loops = breaks.iter().map(|&broken| {
        let covered = model.curve().iter().filter(|(w, _)| covers(broken, *w));
        let curve = Curve::new(&covered.map(|(w, at)| (*w, at.loops[broken.index()])).collect::<Vec<_>>());
        let figures = if stable { Figures::of(&curve) } else { Figures::UNKNOWN };
        Linear { broken, curve, figures, stable }
    });
    loops.collect()
}

/// Disk margin of the four demands on the mixer at once, and its frequency in rad/s: 0 if the craft is not
/// stable.
#[must_use]
pub fn disk_of_all(model: &Model) -> (f64, f64) {
    if !model.is_stable() {
        return (0.0, f64::NAN);
    }
    let inner = model.curve().iter().filter(|(w, _)| *w >= LOWEST_INNER_RAD_S);
    let (frequencies, sensitivities): (Vec<f64>, Vec<_>) = inner.map(|(w, at)| (*w, at.sensitivity)).unzip();
    disk::smallest_of_all(&sensitivities).map_or((f64::NAN, f64::NAN), |(size, i)| (size, frequencies[i]))
}

/// Reason for no margins.
#[derive(Clone, Debug, PartialEq)]
pub enum MarginsError {
    /// Error of the linear model.
    Linear(LinearError),
    /// Error of the flight.
    Fly(FlyError),
}

impl std::fmt::Display for MarginsError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Linear(error) => error.fmt(f),
            Self::Fly(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for MarginsError {}

impl From<LinearError> for MarginsError {
    fn from(error: LinearError) -> Self {
        Self::Linear(error)
    }
}

impl From<FlyError> for MarginsError {
    fn from(error: FlyError) -> Self {
        Self::Fly(error)
    }
}
