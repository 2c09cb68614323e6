//! One value for each rotor, by place, and the motor command.

/// Where a rotor sits, in reading order.
///
/// ```
/// use aplomb::Place;
/// assert_eq!(Place::FrontLeft.next(), Place::FrontRight);
/// assert_eq!(Place::RearRight.next(), Place::FrontLeft);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Place {
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

impl Place {
    /// All four, in reading order.
    pub const ALL: [Self; 4] = [Self::FrontLeft, Self::FrontRight, Self::RearLeft, Self::RearRight];

    /// The next one in reading order, the first one after the last: to take the rotors in turn.
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
}

/// One value for each of the four rotors, named by place in reading order. There is no index on purpose.
///
/// ```
/// use aplomb::Rotors;
/// let thrust_n = Rotors { front_left: 3.0, front_right: 3.1, rear_left: 2.9, rear_right: 3.0 };
/// assert_eq!(thrust_n.map(|f| f * 2.0).rear_left, 5.8);
/// assert_eq!(thrust_n.sum(), 12.0);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Rotors<T> {
    /// Front left rotor.
    pub front_left: T,
    /// Front right rotor.
    pub front_right: T,
    /// Rear left rotor.
    pub rear_left: T,
    /// Rear right rotor.
    pub rear_right: T,
}

impl<T> Rotors<T> {
    /// The same value at every place.
    #[inline]
    #[must_use]
    pub fn splat(value: T) -> Self
    where
        T: Copy,
    {
        Self { front_left: value, front_right: value, rear_left: value, rear_right: value }
    }

    /// Applies `f` at each place.
    #[inline]
    #[must_use]
    pub fn map<U>(self, mut f: impl FnMut(T) -> U) -> Rotors<U> {
        Rotors {
            front_left: f(self.front_left),
            front_right: f(self.front_right),
            rear_left: f(self.rear_left),
            rear_right: f(self.rear_right),
        }
    }

    /// Combines two sets place by place.
    #[inline]
    #[must_use]
    pub fn zip<U>(self, other: Rotors<U>) -> Rotors<(T, U)> {
        Rotors {
            front_left: (self.front_left, other.front_left),
            front_right: (self.front_right, other.front_right),
            rear_left: (self.rear_left, other.rear_left),
            rear_right: (self.rear_right, other.rear_right),
        }
    }

    /// References at each place.
    #[inline]
    #[must_use]
    pub fn as_ref(&self) -> Rotors<&T> {
        Rotors {
            front_left: &self.front_left,
            front_right: &self.front_right,
            rear_left: &self.rear_left,
            rear_right: &self.rear_right,
        }
    }

    /// The value at a place.
    ///
    /// ```
    /// use aplomb::{Place, Rotors};
    /// let mut thrust_n = Rotors { front_left: 3.0, front_right: 3.1, rear_left: 2.9, rear_right: 3.2 };
    /// *thrust_n.at_mut(Place::RearLeft) += 0.5;
    /// assert_eq!(*thrust_n.at(Place::RearLeft), 3.4);
    /// ```
    #[inline]
    #[must_use]
    pub const fn at(&self, place: Place) -> &T {
        match place {
            Place::FrontLeft => &self.front_left,
            Place::FrontRight => &self.front_right,
            Place::RearLeft => &self.rear_left,
            Place::RearRight => &self.rear_right,
        }
    }

    /// The value at a place, to change it.
    #[inline]
    #[must_use]
    pub const fn at_mut(&mut self, place: Place) -> &mut T {
        match place {
            Place::FrontLeft => &mut self.front_left,
            Place::FrontRight => &mut self.front_right,
            Place::RearLeft => &mut self.rear_left,
            Place::RearRight => &mut self.rear_right,
        }
    }

    /// The four values, to change them, in reading order.
    #[inline]
    #[must_use]
    pub const fn each_mut(&mut self) -> [&mut T; 4] {
        [&mut self.front_left, &mut self.front_right, &mut self.rear_left, &mut self.rear_right]
    }

    /// The four values in reading order: front left, front right, rear left, rear right.
    #[inline]
    #[must_use]
    pub fn into_array(self) -> [T; 4] {
        [self.front_left, self.front_right, self.rear_left, self.rear_right]
    }

    /// From four values in reading order.
    #[inline]
    #[must_use]
    pub fn from_array([front_left, front_right, rear_left, rear_right]: [T; 4]) -> Self {
        Self { front_left, front_right, rear_left, rear_right }
    }
}

impl Rotors<f32> {
    /// Sum over the four places.
    #[inline]
    #[must_use]
    pub fn sum(&self) -> f32 {
        (self.front_left + self.rear_right) + (self.front_right + self.rear_left)
    }
}

/// Sense of rotation of a rotor, seen from above.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
    ///
    /// ```
    /// assert_eq!(aplomb::Spin::CounterClockwise.reaction(), 1.0);
    /// ```
    #[inline]
    #[must_use]
    pub const fn reaction(self) -> f32 {
        match self {
            Self::Clockwise => -1.0,
            Self::CounterClockwise => 1.0,
        }
    }
}

/// Command to one motor: the share of battery voltage applied, 0 (stopped) to 1 (full).
///
/// A bare float is not a command:
///
/// ```compile_fail
/// let command: aplomb::MotorCommand = 0.5;
/// ```
///
/// ```
/// use aplomb::MotorCommand;
/// assert_eq!(MotorCommand::saturating(0.5).get(), 0.5);
/// assert_eq!(MotorCommand::saturating(7.0).get(), 1.0);
/// assert_eq!(MotorCommand::saturating(f32::NAN), MotorCommand::STOPPED);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct MotorCommand(f32);

impl MotorCommand {
    /// The motor does not turn.
    pub const STOPPED: Self = Self(0.0);
    /// The whole battery voltage.
    pub const FULL: Self = Self(1.0);

    /// The nearest valid command; NaN stops the motor.
    #[inline]
    #[must_use]
    pub fn saturating(share: f32) -> Self {
        Self::saturating_from(Self::STOPPED, share)
    }

    /// The nearest command that is valid and not below `least`, which NaN gives.
    ///
    /// ```
    /// use aplomb::MotorCommand;
    /// let idle = MotorCommand::saturating(0.1);
    /// assert_eq!(MotorCommand::saturating_from(idle, 0.05), idle);
    /// assert_eq!(MotorCommand::saturating_from(idle, 0.4).get(), 0.4);
    /// ```
    #[inline]
    #[must_use]
    pub fn saturating_from(least: Self, share: f32) -> Self {
        Self(crate::math::saturate(share, least.0, 1.0))
    }

    /// Share of battery voltage, 0 to 1, never NaN.
    #[inline]
    #[must_use]
    pub const fn get(self) -> f32 {
        self.0
    }
}
