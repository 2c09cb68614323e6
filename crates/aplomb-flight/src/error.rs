//! Errors of a flight.

/// Why a flight could not be flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FlyError {
    /// The craft or its air is invalid.
    Craft(aplomb_craft::ConfigError),
    /// The controller configuration is invalid.
    Controller(aplomb::ConfigError),
    /// The climb to the start takes longer than [`LONGEST_WARM_UP_S`](crate::fly::LONGEST_WARM_UP_S): the
    /// time in s.
    SlowClimb(f64),
}

impl std::fmt::Display for FlyError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Craft(error) => write!(f, "craft: {error}"),
            Self::Controller(error) => write!(f, "controller: {error}"),
            Self::SlowClimb(warm_up_s) => write!(
                f,
                "controller: with its climb limits the climb to the start takes {warm_up_s:.0} s, more than the limit of {} s",
                crate::fly::LONGEST_WARM_UP_S
            ),
        }
    }
}

impl std::error::Error for FlyError {}

impl From<aplomb_craft::ConfigError> for FlyError {
    fn from(error: aplomb_craft::ConfigError) -> Self {
        Self::Craft(error)
    }
}

impl From<aplomb::ConfigError> for FlyError {
    fn from(error: aplomb::ConfigError) -> Self {
        Self::Controller(error)
    }
}
