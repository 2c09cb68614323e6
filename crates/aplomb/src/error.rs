//! Errors of configurations: the field, its part and the problem.

/// Error of a constructor: the field of the configuration that is refused, the part that holds it, and the
/// problem.
///
/// ```
/// use aplomb::error::{ConfigError, Part, Problem, require_positive};
/// let refused = require_positive("crossover_rad_s", -1.0).unwrap_err();
/// assert_eq!(refused, ConfigError::new("crossover_rad_s", Problem::NotPositive));
/// // The constructor of each enclosing part adds its name; the outermost comes first.
/// let refused = refused.within(Part::Roll).within(Part::Rate);
/// assert_eq!(refused.to_string(), "rate.roll.crossover_rad_s must be greater than 0");
/// assert_eq!(refused.parts, [Some(Part::Rate), Some(Part::Roll)]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct ConfigError {
    /// Parts of the configuration that the field lies in, the outermost first.
    pub parts: [Option<Part>; 2],
    /// Name of the field, as in the configuration struct.
    pub field: &'static str,
    /// Problem.
    pub problem: Problem,
}

/// Part of a configuration, by the name of the field that holds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Part {
    /// `attitude`.
    Attitude,
    /// `estimate`.
    Estimate,
    /// `guard`.
    Guard,
    /// `heading`.
    Heading,
    /// `inertia`.
    Inertia,
    /// `mix`.
    Mix,
    /// `notch`.
    Notch,
    /// `pilot`.
    Pilot,
    /// `pitch`.
    Pitch,
    /// `position`.
    Position,
    /// `rate`.
    Rate,
    /// `roll`.
    Roll,
    /// `thrust`.
    Thrust,
    /// `thrust_curve`.
    ThrustCurve,
    /// `tilt`.
    Tilt,
    /// `velocity`.
    Velocity,
    /// `vertical`.
    Vertical,
    /// `yaw`.
    Yaw,
}

impl core::fmt::Display for Part {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Attitude => "attitude",
            Self::Estimate => "estimate",
            Self::Guard => "guard",
            Self::Heading => "heading",
            Self::Inertia => "inertia",
            Self::Mix => "mix",
            Self::Notch => "notch",
            Self::Pilot => "pilot",
            Self::Pitch => "pitch",
            Self::Position => "position",
            Self::Rate => "rate",
            Self::Roll => "roll",
            Self::Thrust => "thrust",
            Self::ThrustCurve => "thrust_curve",
            Self::Tilt => "tilt",
            Self::Velocity => "velocity",
            Self::Vertical => "vertical",
            Self::Yaw => "yaw",
        })
    }
}

/// Problem of a configuration value.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Problem {
    /// NaN or infinite.
    NotFinite,
    /// Must be greater than 0.
    NotPositive,
    /// Must not be negative.
    Negative,
    /// Outside the range, in the unit of the field. A bound that does not exist is infinite.
    OutOfRange {
        /// Smallest value.
        low: f32,
        /// Largest value.
        high: f32,
    },
    /// A lower bound does not lie below its upper bound: the name of the other one.
    WrongOrder(&'static str),
    /// Contradicts other values, for example arms with which the torques are not independent: the reason, as
    /// a predicate of the field.
    Inconsistent(&'static str),
}

impl core::fmt::Display for Problem {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match *self {
            Self::NotFinite => f.write_str("is not a finite number"),
            Self::NotPositive => f.write_str("must be greater than 0"),
            Self::Negative => f.write_str("must not be negative"),
            Self::OutOfRange { low, high: f32::INFINITY } => write!(f, "must be at least {low}"),
            Self::OutOfRange { low: f32::NEG_INFINITY, high } => write!(f, "must be at most {high}"),
            Self::OutOfRange { low, high } => write!(f, "must lie between {low} and {high}"),
            Self::WrongOrder(other) => write!(f, "is in the wrong order with `{other}`"),
            Self::Inconsistent(reason) => f.write_str(reason),
        }
    }
}

impl core::fmt::Display for ConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        for part in self.parts.iter().flatten() {
            write!(f, "{part}.")?;
        }
        write!(f, "{} {}", self.field, self.problem)
    }
}

impl core::error::Error for ConfigError {}

impl ConfigError {
    /// The error of `field`.
    #[must_use]
    pub const fn new(field: &'static str, problem: Problem) -> Self {
        Self { parts: [None; 2], field, problem }
    }

    /// The same error of a field within `part`. The two outermost parts are kept.
    #[must_use]
    pub const fn within(self, part: Part) -> Self {
        let [outermost, _] = self.parts;
        Self { parts: [Some(part), outermost], ..self }
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
    if value >= low && value <= high {
        Ok(value)
    } else {
        Err(ConfigError::new(field, Problem::OutOfRange { low, high }))
    }
}
