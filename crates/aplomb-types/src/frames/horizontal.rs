//! A horizontal vector in the world.

use core::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

use crate::frames::{Vector, World};
use crate::math::Math;

/// North and east component of a world vector: a position, velocity or acceleration of the horizontal loops,
/// whose vertical component is controlled separately. The unit is in the name of the field that holds it.
///
/// ```
/// use aplomb_types::{Libm, frames::{Horizontal, Vector}};
/// let velocity_m_s = Vector::new(3.0, 4.0, -1.0).horizontal();
/// assert_eq!(velocity_m_s, Horizontal::new(3.0, 4.0));
/// assert_eq!(velocity_m_s.norm::<Libm>(), 5.0);
/// assert_eq!(velocity_m_s.with_down(-1.0), Vector::new(3.0, 4.0, -1.0));
/// ```
///
/// A vector with a down component is not converted implicitly:
///
/// ```compile_fail,E0308
/// use aplomb_types::frames::{Horizontal, Vector};
/// let velocity_m_s: Horizontal = Vector::new(3.0, 4.0, -1.0);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Horizontal {
    /// North component.
    pub north: f32,
    /// East component.
    pub east: f32,
}

impl Horizontal {
    /// Both components 0.
    pub const ZERO: Self = Self::new(0.0, 0.0);

    /// From its components.
    #[inline]
    #[must_use]
    pub const fn new(north: f32, east: f32) -> Self {
        Self { north, east }
    }

    /// The world vector with this horizontal part and the given down component.
    #[inline]
    #[must_use]
    pub const fn with_down(self, down: f32) -> Vector<World> {
        Vector::new(self.north, self.east, down)
    }

    /// Scalar product.
    #[inline]
    #[must_use]
    pub fn dot(self, other: Self) -> f32 {
        self.north * other.north + self.east * other.east
    }

    /// Square of the length.
    #[inline]
    #[must_use]
    pub fn norm_squared(self) -> f32 {
        self.dot(self)
    }

    /// Length.
    #[inline]
    #[must_use]
    pub fn norm<M: Math>(self) -> f32 {
        M::sqrt(self.norm_squared())
    }

    /// True when neither component is NaN or infinite.
    #[inline]
    #[must_use]
    pub fn is_finite(self) -> bool {
        self.north.is_finite() && self.east.is_finite()
    }

    /// The vector shortened to length `limit` if it is longer. NaN or infinity in a component gives zero, and
    /// so does a length beyond 1.8e19, whose square overflows.
    ///
    /// ```
    /// use aplomb_types::{Libm, frames::Horizontal};
    /// let acceleration_m_s2 = Horizontal::new(6.0, -8.0).limited::<Libm>(5.0);
    /// assert!((acceleration_m_s2 - Horizontal::new(3.0, -4.0)).norm_squared() < 1e-12);
    /// assert_eq!(Horizontal::new(0.6, 0.8).limited::<Libm>(5.0), Horizontal::new(0.6, 0.8));
    /// assert_eq!(Horizontal::new(f32::NAN, 0.8).limited::<Libm>(5.0), Horizontal::ZERO);
    /// ```
    #[inline]
    #[must_use]
    pub fn limited<M: Math>(self, limit: f32) -> Self {
        let n2 = self.norm_squared();
        if n2 <= limit * limit {
            self
        } else if n2 < f32::INFINITY {
            self * (limit / M::sqrt(n2))
        } else {
            Self::ZERO
        }
    }
}

impl From<Vector<World>> for Horizontal {
    /// [`Vector::horizontal`].
    #[inline]
    fn from(v: Vector<World>) -> Self {
        v.horizontal()
    }
}

impl Add for Horizontal {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self::new(self.north + other.north, self.east + other.east)
    }
}
impl AddAssign for Horizontal {
    #[inline]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}
impl Sub for Horizontal {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self::new(self.north - other.north, self.east - other.east)
    }
}
impl SubAssign for Horizontal {
    #[inline]
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}
impl Mul<f32> for Horizontal {
    type Output = Self;
    #[inline]
    fn mul(self, factor: f32) -> Self {
        Self::new(self.north * factor, self.east * factor)
    }
}
impl Neg for Horizontal {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self::new(-self.north, -self.east)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    /// The two components behave as those of a world vector with a down component of 0.
    #[test]
    fn operations_match_those_of_a_world_vector() {
        let (a, b) = (Horizontal::new(1.5, -2.25), Horizontal::new(-0.5, 4.0));
        let (v, w) = (a.with_down(0.0), b.with_down(0.0));
        let (mut sum, mut difference) = (a, a);
        sum += b;
        difference -= b;
        assert_eq!((a + b, sum), ((v + w).horizontal(), (v + w).into()));
        assert_eq!((a - b, difference), ((v - w).horizontal(), (v - w).into()));
        assert_eq!((a * 3.0, -a), ((v * 3.0).horizontal(), (-v).horizontal()));
        assert_eq!((a.dot(b), a.norm_squared()), (v.dot(w), v.norm_squared()));
        assert_eq!(a.norm::<Libm>(), v.norm::<Libm>());
        for limit in [0.0, 0.5, 2.0, 3.0] {
            let apart = a.limited::<Libm>(limit).with_down(0.0) - v.limited::<Libm>(limit);
            assert!(apart.norm_squared() < 1e-12, "{limit}: {apart:?}");
        }
    }

    #[test]
    fn limited_gives_zero_for_what_is_not_finite_or_overflows() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e20] {
            for v in [Horizontal::new(bad, 1.0), Horizontal::new(1.0, bad)] {
                assert_eq!(v.limited::<Libm>(2.0), Horizontal::ZERO);
                assert_eq!(v.is_finite(), bad == 1e20);
            }
        }
    }
}
