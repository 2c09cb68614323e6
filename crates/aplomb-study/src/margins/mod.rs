//! Stability margins of each loop: measured by injection into the running code and craft, and by the linear
//! model.

pub mod curve;
pub mod figures;
pub mod judge;
mod measure;
mod multisine;
pub mod point;
mod steady_flight;

use aplomb::flight;
use aplomb_craft::Config;

use crate::linear::{Break, C64, LinearError, Model, Response};
use aplomb_flight::fly::FlyError;
use curve::Curve;
use figures::{Figures, is_stable};
pub use measure::{Bench, COHERENT, Line, Measured, NotMeasured, Probe};
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

/// Lowest frequency in rad/s of the linear curves: only integrators act there.
const LOWEST_RAD_S: f64 = 1e-2;
/// Points of the linear curves in a decade.
const PER_DECADE: f64 = 48.0;

/// The loops `breaks` of the linear model at a point.
///
/// # Errors
/// A craft without this trim.
pub fn linear(
    craft: &Config,
    controller: &flight::Config,
    point: &Point,
    breaks: &[Break],
) -> Result<Vec<Linear>, LinearError> {
    let speed_m_s = point.speed_m_s(controller);
    let model = Model::new(&point.craft(craft), controller, &point.air(), point.mode, speed_m_s)?;
    let decades = libm::log10(0.9 * model.highest_rad_s() / LOWEST_RAD_S);
    let count = (PER_DECADE * decades) as usize;
    let grid: Vec<f64> =
        (0..=count).map(|i| LOWEST_RAD_S * libm::pow(10.0, decades * i as f64 / count as f64)).collect();
    let responses: Vec<_> = grid.iter().map(|&w| (w, model.response(w))).collect();
    let curve = |of: &dyn Fn(&Response) -> C64| {
        Curve::new(&responses.iter().map(|(w, response)| (*w, of(response))).collect::<Vec<_>>())
    };
    let stable = is_stable(&curve(&Response::determinant));
    let loops = breaks.iter().map(|&broken| {
        let curve = curve(&|response| response.at(broken));
        let figures = if stable { Figures::of(&curve) } else { Figures::UNKNOWN };
        Linear { broken, curve, figures, stable }
    });
    Ok(loops.collect())
}

/// Reason for no margins.
#[derive(Clone, Copy, Debug, PartialEq)]
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
