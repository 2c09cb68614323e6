//! One value for each rotor.

use core::ops::Add;

use crate::Corner;

/// Number of rotors.
pub const ROTORS: usize = 4;

/// One value for each of the four rotors, named by corner. There is no numeric index, since rotor numbers
/// differ from project to project.
///
/// ```
/// use aplomb_types::Rotors;
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
    /// The same value at every corner.
    #[inline]
    #[must_use]
    pub fn splat(value: T) -> Self
    where
        T: Copy,
    {
        Self { front_left: value, front_right: value, rear_left: value, rear_right: value }
    }

    /// Computes the value of each corner, in the order of [`Corner::ALL`].
    ///
    /// ```
    /// use aplomb_types::{Corner, Rotors};
    /// let front = Rotors::from_fn(|corner| matches!(corner, Corner::FrontLeft | Corner::FrontRight));
    /// assert_eq!(front.into_array(), [true, true, false, false]);
    /// ```
    #[inline]
    #[must_use]
    pub fn from_fn(f: impl FnMut(Corner) -> T) -> Self {
        Self::from_array(Corner::ALL.map(f))
    }

    /// Applies `f` to each value, in the order of [`Corner::ALL`].
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

    /// Pairs the values of two sets corner by corner.
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

    /// References to the four values.
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

    /// The value at a corner.
    ///
    /// ```
    /// use aplomb_types::{Corner, Rotors};
    /// let mut thrust_n = Rotors { front_left: 3.0, front_right: 3.1, rear_left: 2.9, rear_right: 3.2 };
    /// *thrust_n.at_mut(Corner::RearLeft) += 0.5;
    /// assert_eq!(*thrust_n.at(Corner::RearLeft), 3.4);
    /// ```
    #[inline]
    #[must_use]
    pub const fn at(&self, corner: Corner) -> &T {
        match corner {
            Corner::FrontLeft => &self.front_left,
            Corner::FrontRight => &self.front_right,
            Corner::RearLeft => &self.rear_left,
            Corner::RearRight => &self.rear_right,
        }
    }

    /// Mutable reference to the value at a corner.
    #[inline]
    #[must_use]
    pub const fn at_mut(&mut self, corner: Corner) -> &mut T {
        match corner {
            Corner::FrontLeft => &mut self.front_left,
            Corner::FrontRight => &mut self.front_right,
            Corner::RearLeft => &mut self.rear_left,
            Corner::RearRight => &mut self.rear_right,
        }
    }

    /// References to the four values, in the order of [`Corner::ALL`].
    pub fn iter(&self) -> core::array::IntoIter<&T, ROTORS> {
        self.as_ref().into_array().into_iter()
    }

    /// Mutable references to the four values, in the order of [`Corner::ALL`].
    #[inline]
    #[must_use]
    pub const fn each_mut(&mut self) -> [&mut T; ROTORS] {
        [&mut self.front_left, &mut self.front_right, &mut self.rear_left, &mut self.rear_right]
    }

    /// The four values: front left, front right, rear left, rear right.
    #[inline]
    #[must_use]
    pub fn into_array(self) -> [T; ROTORS] {
        [self.front_left, self.front_right, self.rear_left, self.rear_right]
    }

    /// From four values: front left, front right, rear left, rear right.
    #[inline]
    #[must_use]
    pub fn from_array([front_left, front_right, rear_left, rear_right]: [T; ROTORS]) -> Self {
        Self { front_left, front_right, rear_left, rear_right }
    }
}

impl<T: Copy + Add<Output = T>> Rotors<T> {
    /// Sum of the four values, diagonal by diagonal.
    #[inline]
    #[must_use]
    pub fn sum(self) -> T {
        (self.front_left + self.rear_right) + (self.front_right + self.rear_left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_access_keeps_the_value_at_its_corner() {
        let mut rotors = Rotors { front_left: 0.0, front_right: 1.0, rear_left: 2.0, rear_right: 3.0 };
        assert_eq!(rotors.into_array(), [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(Rotors::from_array([0.0, 1.0, 2.0, 3.0]), rotors);
        assert_eq!(rotors.as_ref().map(|x| *x), rotors);
        assert!(rotors.iter().eq(&[0.0, 1.0, 2.0, 3.0]));
        assert_eq!(Corner::ALL.map(|corner| *rotors.at(corner)), [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(Rotors::from_fn(|corner| *rotors.at(corner)), rotors);
        assert_eq!(rotors.zip(rotors).map(|(a, b)| a * b).sum(), 14.0);
        for corner in Corner::ALL {
            *rotors.at_mut(corner) += 10.0;
        }
        for (value, more) in rotors.each_mut().into_iter().zip([0.0, 1.0, 2.0, 3.0]) {
            *value += more;
        }
        assert_eq!(rotors.into_array(), [10.0, 12.0, 14.0, 16.0]);
    }
}
