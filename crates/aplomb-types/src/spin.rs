//! The sense of rotation of a rotor.

/// Sense of rotation of a rotor, seen from above.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Spin {
    /// Clockwise seen from above: the reaction turns the nose left.
    Clockwise,
    /// Counter-clockwise seen from above: the reaction turns the nose right.
    CounterClockwise,
}

impl Spin {
    /// Sign of the reaction torque about the body's down axis: +1 for counter-clockwise, -1 for clockwise.
    /// Exact as `f64`, too.
    ///
    /// ```
    /// use aplomb_types::Spin;
    /// assert_eq!(Spin::CounterClockwise.reaction(), 1.0);
    /// assert_eq!(f64::from(Spin::Clockwise.reaction()), -1.0);
    /// ```
    #[inline]
    #[must_use]
    pub const fn reaction(self) -> f32 {
        match self {
            Self::Clockwise => -1.0,
            Self::CounterClockwise => 1.0,
        }
    }

    /// The other sense.
    ///
    /// ```
    /// use aplomb_types::Spin;
    /// assert_eq!(Spin::Clockwise.opposite(), Spin::CounterClockwise);
    /// ```
    #[inline]
    #[must_use]
    pub const fn opposite(self) -> Self {
        match self {
            Self::Clockwise => Self::CounterClockwise,
            Self::CounterClockwise => Self::Clockwise,
        }
    }
}
