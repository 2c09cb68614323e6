//! Performance envelope of a craft: figures from the force balance, each confirmed by a flight.

pub mod balance;
mod confirm;
mod figures;
mod propellers;

pub use figures::{Conditions, find, find_on};
pub use propellers::accuracy_words;

use crate::forces::Interval;
use crate::number::fixed;
use aplomb_flight::fly::FlyError;

/// One figure of the envelope.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// The question.
    pub question: &'static str,
    /// The answer in one or two sentences.
    pub answer: String,
    /// The figures: name, value, unit.
    pub values: Vec<(&'static str, f64, &'static str)>,
    /// The equation.
    pub formula: &'static str,
    /// Confirmation by a flight; `None` for a rule that cannot be flown.
    pub confirmed: Option<Confirmation>,
    /// Mean forces of the flight.
    pub forces: Option<Interval>,
}

/// Comparison of a figure with a flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Confirmation {
    /// The flight with its result.
    pub text: String,
    /// The difference is within [`TOLERANCE`].
    pub holds: bool,
}

/// Largest relative difference between a figure and its flight.
pub const TOLERANCE: f64 = 0.02;

/// Thrust to weight below which no controller is derived.
const LEAST_THRUST_TO_WEIGHT: f64 = 1.3;

/// Reason for no envelope.
#[derive(Debug)]
pub enum EnvelopeError {
    /// The craft has no trim, or is invalid.
    Craft(aplomb_craft::ConfigError),
    /// The thrust-to-weight ratio is too small: full thrust and weight in N.
    TooHeavy {
        /// Thrust of the four rotors at full command.
        max_thrust_n: f64,
        /// Weight with payload.
        weight_n: f64,
    },
    /// No controller can be derived for it.
    Controller(aplomb::ConfigError),
    /// A confirming flight cannot be flown.
    Flight(FlyError),
}

impl From<aplomb_craft::ConfigError> for EnvelopeError {
    fn from(error: aplomb_craft::ConfigError) -> Self {
        Self::Craft(error)
    }
}

impl From<FlyError> for EnvelopeError {
    fn from(error: FlyError) -> Self {
        match error {
            FlyError::Craft(error) => Self::Craft(error),
            FlyError::Controller(error) => Self::Controller(error),
            FlyError::SlowClimb(_) => Self::Flight(error),
        }
    }
}

impl std::fmt::Display for EnvelopeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Craft(error) => write!(f, "craft: {error}"),
            Self::Flight(error) => write!(f, "{error}"),
            Self::TooHeavy { max_thrust_n, weight_n } => write!(
                f,
                "full thrust of {} N is {} times the weight of {} N; control needs {LEAST_THRUST_TO_WEIGHT} times",
                fixed(*max_thrust_n, 1),
                fixed(max_thrust_n / weight_n, 2),
                fixed(*weight_n, 1)
            ),
            Self::Controller(error) => write!(f, "no controller can be derived: {error}"),
        }
    }
}
