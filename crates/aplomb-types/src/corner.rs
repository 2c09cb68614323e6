//! The corners of a quad-X.

use core::fmt;

use crate::ROTORS;

/// Corner of a quad-X: the position of one rotor. The order is front left, front right, rear left, rear
/// right.
///
/// ```
/// use aplomb_types::Corner;
/// assert_eq!(Corner::FrontLeft.next(), Corner::FrontRight);
/// assert_eq!(Corner::RearRight.next(), Corner::FrontLeft);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Corner {
    /// Front left.
    #[default]
    FrontLeft,
    /// Front right.
    FrontRight,
    /// Rear left.
    RearLeft,
    /// Rear right.
    RearRight,
}

impl Corner {
    /// All corners: front left, front right, rear left, rear right.
    pub const ALL: [Self; ROTORS] = [Self::FrontLeft, Self::FrontRight, Self::RearLeft, Self::RearRight];

    /// The next corner in the order of [`Corner::ALL`]; the first one follows the last.
    #[inline]
    #[must_use]
    pub const fn next(self) -> Self {
        match self {
            Self::FrontLeft => Self::FrontRight,
            Self::FrontRight => Self::RearLeft,
            Self::RearLeft => Self::RearRight,
            Self::RearRight => Self::FrontLeft,
        }
    }

    /// The corner's name in lower-case words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::FrontLeft => "front left",
            Self::FrontRight => "front right",
            Self::RearLeft => "rear left",
            Self::RearRight => "rear right",
        }
    }
}

/// [`Corner::name`].
///
/// ```
/// # extern crate std;
/// assert_eq!(std::format!("{}", aplomb_types::Corner::RearLeft), "rear left");
/// ```
impl fmt::Display for Corner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn next_visits_every_corner_in_order() {
        let mut corner = Corner::default();
        for expected in Corner::ALL {
            assert_eq!(corner, expected);
            corner = corner.next();
        }
        assert_eq!(corner, Corner::FrontLeft);
    }
}
