//! Error type of the crate: an invalid number in a configuration.

use core::fmt;

/// An invalid field and the reason.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConfigError {
    /// Path of the field, e.g. `rotor.time_constant_s`.
    pub field: &'static str,
    /// Reason.
    pub reason: Reason,
}

/// Reason why a field is invalid.
#[non_exhaustive]
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reason {
    /// NaN or infinite.
    NotFinite,
    /// Must be above zero.
    NotPositive,
    /// Must be zero or above.
    Negative,
    /// Must be within the two bounds (inclusive).
    OutOfRange(f64, f64),
    /// The matrix is not symmetric.
    NotSymmetric,
    /// Not an inertia tensor: a principal moment is not positive, or exceeds the sum of the other two.
    NotAnInertia,
    /// Times must be in ascending order.
    NotAscending,
    /// No set of upward thrusts at these arms balances the weight without torque.
    NoTrim,
    /// The rotors cannot carry the craft with this battery.
    CannotHover,
    /// Longer than the stored history of samples or commands.
    TooLong,
    /// Must be another rotor.
    SameRotor,
    /// Must be the gyro or the accelerometer, not both.
    NeedsGyroOrAccelerometer,
    /// Not fitted to the craft.
    NotFitted,
    /// No static row (advance ratio 0) in the measurement.
    NoStaticRow,
    /// Two rows of the measurement with the same key.
    Duplicate,
    /// A test stand requires an airborne start.
    StandOnGround,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.field)?;
        match self.reason {
            Reason::NotFinite => write!(f, "must be a finite number"),
            Reason::NotPositive => write!(f, "must be above zero"),
            Reason::Negative => write!(f, "must not be negative"),
            Reason::OutOfRange(low, high) => write!(f, "must lie between {low} and {high}"),
            Reason::NotSymmetric => write!(f, "must be symmetric"),
            Reason::NotAnInertia => write!(
                f,
                "is not an inertia tensor: each principal moment must be positive and at most the sum of the other two"
            ),
            Reason::NotAscending => write!(f, "times must be in ascending order"),
            Reason::NoTrim => {
                write!(f, "no upward thrusts at these arms balance the weight without torque")
            }
            Reason::CannotHover => write!(f, "the rotors cannot carry the craft on this battery"),
            Reason::TooLong => write!(f, "is longer than the stored history"),
            Reason::SameRotor => write!(f, "must be another rotor"),
            Reason::NeedsGyroOrAccelerometer => {
                write!(f, "must be the gyro or the accelerometer, not both")
            }
            Reason::StandOnGround => write!(f, "must be true: a test stand requires an airborne start"),
            Reason::NotFitted => write!(f, "is not fitted to this craft"),
            Reason::NoStaticRow => write!(f, "has no static row"),
            Reason::Duplicate => {
                write!(f, "has two static rows at the same speed, or two rows at the same advance ratio")
            }
        }
    }
}

impl core::error::Error for ConfigError {}

const fn refuse<T>(field: &'static str, reason: Reason) -> Result<T, ConfigError> {
    Err(ConfigError { field, reason })
}

pub(crate) fn fail<T>(field: &'static str, reason: Reason) -> Result<T, ConfigError> {
    refuse(field, reason)
}

pub(crate) fn finite(field: &'static str, value: f64) -> Result<(), ConfigError> {
    if value.is_finite() { Ok(()) } else { refuse(field, Reason::NotFinite) }
}

pub(crate) fn positive(field: &'static str, value: f64) -> Result<(), ConfigError> {
    finite(field, value)?;
    if value > 0.0 { Ok(()) } else { refuse(field, Reason::NotPositive) }
}

pub(crate) fn not_negative(field: &'static str, value: f64) -> Result<(), ConfigError> {
    finite(field, value)?;
    if value >= 0.0 { Ok(()) } else { refuse(field, Reason::Negative) }
}

pub(crate) fn within(field: &'static str, value: f64, low: f64, high: f64) -> Result<(), ConfigError> {
    finite(field, value)?;
    if value >= low && value <= high { Ok(()) } else { refuse(field, Reason::OutOfRange(low, high)) }
}

pub(crate) fn all_finite(field: &'static str, values: &[f64]) -> Result<(), ConfigError> {
    values.iter().try_for_each(|&value| finite(field, value))
}

pub(crate) fn none_negative(field: &'static str, values: &[f64]) -> Result<(), ConfigError> {
    values.iter().try_for_each(|&value| not_negative(field, value))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn message_names_field_and_reason() {
        let error = within("rotor.time_constant_s", 3.0, 0.0, 1.0).unwrap_err();
        assert_eq!(error.to_string(), "rotor.time_constant_s: must lie between 0 and 1");
        assert_eq!(positive("x", f64::NAN).unwrap_err().reason, Reason::NotFinite);
        assert_eq!(positive("x", 0.0).unwrap_err().reason, Reason::NotPositive);
        assert_eq!(not_negative("x", -1.0).unwrap_err().reason, Reason::Negative);
        assert!(not_negative("x", 0.0).is_ok());
    }
}
