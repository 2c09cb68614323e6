//! What a craft can do: figures from the balance of its forces, each confirmed by flying it.

mod confirm;
mod figures;
mod page;
#[cfg(test)]
mod tests;

pub use figures::{Conditions, find};
pub use page::compose;

use crate::fly::FlyError;
use crate::input::InputError;
use crate::report::number::fixed;

/// One limit of the craft.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// What it answers.
    pub question: &'static str,
    /// The answer in one plain sentence.
    pub answer: String,
    /// The figures: name, value, unit.
    pub values: Vec<(&'static str, f64, &'static str)>,
    /// The relation behind it.
    pub formula: &'static str,
    /// How a flight bears it out; absent for what is a rule rather than a property.
    pub confirmed: Option<Confirmation>,
    /// A picture, where there is something to see.
    pub picture: Option<String>,
}

/// What a flight said of a figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Confirmation {
    /// What was flown, with what came out.
    pub text: String,
    /// The difference is within [`TOLERANCE`].
    pub holds: bool,
}

/// Largest relative difference between a figure and its flight.
pub const TOLERANCE: f64 = 0.02;

/// Thrust to weight below which no controller is derived.
const LEAST_THRUST_TO_WEIGHT: f64 = 1.3;

/// Why there is no envelope.
#[derive(Debug)]
pub enum EnvelopeError {
    /// The craft has no steady flight, or cannot be built.
    Craft(aplomb_craft::ConfigError),
    /// It cannot be flown with so little thrust in excess: full thrust and weight in N.
    TooHeavy {
        /// Thrust of the four rotors at full command.
        max_thrust_n: f64,
        /// Weight with its load.
        weight_n: f64,
    },
    /// No controller can be derived for it.
    Controller(aplomb::ConfigError),
    /// A flight of ours is wrong.
    Flight(InputError),
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
        }
    }
}

impl std::fmt::Display for EnvelopeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Craft(error) => write!(f, "craft: {error}"),
            Self::TooHeavy { max_thrust_n, weight_n } => write!(
                f,
                "full thrust of {} N is {} times the weight of {} N, and a craft that is steered needs {LEAST_THRUST_TO_WEIGHT} times",
                fixed(*max_thrust_n, 1),
                fixed(max_thrust_n / weight_n, 2),
                fixed(*weight_n, 1)
            ),
            Self::Controller(error) => write!(f, "no controller can be derived: {error}"),
            Self::Flight(error) => write!(f, "{}", error.render(false)),
        }
    }
}
