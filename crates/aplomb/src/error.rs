//! Why a configuration was refused.

/// A configuration value that cannot fly: which field, and what is wrong with it.
///
/// ```
/// use aplomb::error::{ConfigError, Problem, require_positive};
/// assert_eq!(require_positive("mass_kg", -1.0), Err(ConfigError { field: "mass_kg", problem: Problem::NotPositive }));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ConfigError {
    /// Name of the field, as in the configuration struct.
    pub field: &'static str,
    /// What is wrong with it.
    pub problem: Problem,
}

/// What is wrong with a configuration value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Problem {
    /// NaN or infinite.
    NotFinite,
    /// Must be greater than 0.
    NotPositive,
    /// Must not be negative.
    Negative,
    /// Outside its range, which the field's documentation states.
    OutOfRange,
    /// A lower bound does not lie below its upper bound.
    WrongOrder,
    /// Two values contradict each other, for example rotors that cannot make an independent torque.
    Inconsistent,
}

impl core::fmt::Display for ConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let reason = match self.problem {
            Problem::NotFinite => "is not a finite number",
            Problem::NotPositive => "must be greater than 0",
            Problem::Negative => "must not be negative",
            Problem::OutOfRange => "is out of range",
            Problem::WrongOrder => "has its bounds in the wrong order",
            Problem::Inconsistent => "contradicts another value",
        };
        write!(f, "{} {reason}", self.field)
    }
}

impl core::error::Error for ConfigError {}

impl ConfigError {
    /// A refusal of `field`.
    #[must_use]
    pub const fn new(field: &'static str, problem: Problem) -> Self {
        Self { field, problem }
    }
}

/// `value` if it is finite.
pub fn require_finite(field: &'static str, value: f32) -> Result<f32, ConfigError> {
    if value.is_finite() { Ok(value) } else { Err(ConfigError::new(field, Problem::NotFinite)) }
}

/// `value` if it is finite and greater than 0.
pub fn require_positive(field: &'static str, value: f32) -> Result<f32, ConfigError> {
    let value = require_finite(field, value)?;
    if value > 0.0 { Ok(value) } else { Err(ConfigError::new(field, Problem::NotPositive)) }
}

/// `value` if it is finite and at least 0.
pub fn require_not_negative(field: &'static str, value: f32) -> Result<f32, ConfigError> {
    let value = require_finite(field, value)?;
    if value >= 0.0 { Ok(value) } else { Err(ConfigError::new(field, Problem::Negative)) }
}

/// `value` if it is finite and within `low..=high`.
pub fn require_within(field: &'static str, value: f32, low: f32, high: f32) -> Result<f32, ConfigError> {
    let value = require_finite(field, value)?;
    if value >= low && value <= high { Ok(value) } else { Err(ConfigError::new(field, Problem::OutOfRange)) }
}
