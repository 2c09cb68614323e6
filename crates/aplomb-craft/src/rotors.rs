//! One value per rotor, by place.

/// Four values, one per rotor, in reading order seen from above with the nose up the page.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rotors<T> {
    /// Front left.
    pub front_left: T,
    /// Front right.
    pub front_right: T,
    /// Rear left.
    pub rear_left: T,
    /// Rear right.
    pub rear_right: T,
}

impl<T> Rotors<T> {
    /// Builds each value from its corner: 0 front left, 1 front right, 2 rear left, 3 rear right.
    #[inline]
    pub fn from_fn(mut value: impl FnMut(usize) -> T) -> Self {
        Rotors { front_left: value(0), front_right: value(1), rear_left: value(2), rear_right: value(3) }
    }

    /// Applies `f` to each value.
    #[inline]
    pub fn map<U>(self, mut f: impl FnMut(T) -> U) -> Rotors<U> {
        Rotors {
            front_left: f(self.front_left),
            front_right: f(self.front_right),
            rear_left: f(self.rear_left),
            rear_right: f(self.rear_right),
        }
    }

    /// Pairs each value with the one of the same place in `other`.
    #[inline]
    pub fn zip<U>(self, other: Rotors<U>) -> Rotors<(T, U)> {
        Rotors {
            front_left: (self.front_left, other.front_left),
            front_right: (self.front_right, other.front_right),
            rear_left: (self.rear_left, other.rear_left),
            rear_right: (self.rear_right, other.rear_right),
        }
    }

    /// The values in reading order.
    #[inline]
    pub fn to_array(self) -> [T; 4] {
        [self.front_left, self.front_right, self.rear_left, self.rear_right]
    }

    /// The values in reading order, by reference.
    pub fn iter(&self) -> core::array::IntoIter<&T, 4> {
        [&self.front_left, &self.front_right, &self.rear_left, &self.rear_right].into_iter()
    }
}

impl<T: Copy> Rotors<T> {
    /// The same value at all four places.
    #[inline]
    pub fn splat(value: T) -> Self {
        Rotors::from_fn(|_| value)
    }
}

impl Rotors<f64> {
    /// Sum of the four values.
    #[inline]
    pub fn sum(self) -> f64 {
        self.front_left + self.front_right + self.rear_left + self.rear_right
    }
}

impl<T> Rotors<T> {
    /// The value at `place`.
    #[inline]
    pub fn at(&mut self, corner: Corner) -> &mut T {
        match corner {
            Corner::FrontLeft => &mut self.front_left,
            Corner::FrontRight => &mut self.front_right,
            Corner::RearLeft => &mut self.rear_left,
            Corner::RearRight => &mut self.rear_right,
        }
    }
}

impl<T> From<[T; 4]> for Rotors<T> {
    fn from([front_left, front_right, rear_left, rear_right]: [T; 4]) -> Self {
        Rotors { front_left, front_right, rear_left, rear_right }
    }
}

/// Where a rotor is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corner {
    /// Front left.
    FrontLeft,
    /// Front right.
    FrontRight,
    /// Rear left.
    RearLeft,
    /// Rear right.
    RearRight,
}

/// Sense of rotation of a rotor, seen from above.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spin {
    /// Clockwise seen from above; its reaction turns the nose left.
    Clockwise,
    /// Counter-clockwise seen from above; its reaction turns the nose right.
    CounterClockwise,
}

impl Spin {
    /// Sign of the reaction torque about body z (down): +1 counter-clockwise, -1 clockwise.
    ///
    /// ```
    /// assert_eq!(aplomb_craft::Spin::CounterClockwise.sign(), 1.0);
    /// ```
    #[inline]
    pub fn sign(self) -> f64 {
        match self {
            Spin::Clockwise => -1.0,
            Spin::CounterClockwise => 1.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_are_in_reading_order() {
        let rotors = Rotors::from_fn(|place| place as f64);
        assert_eq!(rotors.front_right, 1.0);
        assert_eq!(rotors.rear_left, 2.0);
        assert_eq!(rotors.to_array(), [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(Rotors::from(rotors.to_array()), rotors);
        assert_eq!(rotors.sum(), 6.0);
        assert_eq!(rotors.zip(rotors).map(|(a, b)| a * b).sum(), 14.0);
        assert_eq!(rotors.iter().copied().fold(0.0, f64::max), 3.0);
    }
}
