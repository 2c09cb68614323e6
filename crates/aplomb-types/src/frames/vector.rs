//! A vector with its frame in the type.

use core::marker::PhantomData;
use core::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

use glam::Vec3;

use crate::frames::Horizontal;
use crate::math::Math;

mod sealed {
    pub trait Sealed {}
}

/// A coordinate frame: [`World`], [`Body`] or [`Camera`].
pub trait Frame: sealed::Sealed + Copy + 'static {}

/// North-east-down, origin at home, not rotating.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum World {}

/// Forward-right-down, origin at the centre of mass, rotating with the craft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Body {}

/// Along the line of sight, to its right, down; rotates with the camera on its gimbal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Camera {}

impl sealed::Sealed for World {}
impl sealed::Sealed for Body {}
impl sealed::Sealed for Camera {}
impl Frame for World {}
impl Frame for Body {}
impl Frame for Camera {}

/// Three components in frame `F`. The unit is in the name of the field that holds it.
///
/// ```
/// use aplomb_types::frames::{Vector, World};
/// let wind_m_s = Vector::<World>::new(3.0, 4.0, 0.0);
/// assert_eq!(wind_m_s.norm_squared(), 25.0);
/// assert_eq!(wind_m_s.dot(Vector::new(1.0, 0.0, 0.0)), 3.0);
/// ```
pub struct Vector<F: Frame> {
    raw: Vec3,
    frame: PhantomData<F>,
}

impl<F: Frame> Vector<F> {
    /// All components 0.
    pub const ZERO: Self = Self::new(0.0, 0.0, 0.0);

    /// From components: north, east, down in [`World`]; forward, right, down in [`Body`].
    #[inline]
    #[must_use]
    pub const fn new(x: f32, y: f32, z: f32) -> Self {
        Self::from_glam(Vec3::new(x, y, z))
    }

    /// From a bare vector; that it is in frame `F` is the caller's responsibility.
    #[inline]
    #[must_use]
    pub const fn from_glam(raw: Vec3) -> Self {
        Self { raw, frame: PhantomData }
    }

    /// The bare vector.
    #[inline]
    #[must_use]
    pub const fn glam(self) -> Vec3 {
        self.raw
    }

    /// First component: north or forward.
    #[inline]
    #[must_use]
    pub const fn x(self) -> f32 {
        self.raw.x
    }

    /// Second component: east or right.
    #[inline]
    #[must_use]
    pub const fn y(self) -> f32 {
        self.raw.y
    }

    /// Third component: down.
    #[inline]
    #[must_use]
    pub const fn z(self) -> f32 {
        self.raw.z
    }

    /// The three components.
    #[inline]
    #[must_use]
    pub const fn to_array(self) -> [f32; 3] {
        [self.raw.x, self.raw.y, self.raw.z]
    }

    /// Scalar product.
    #[inline]
    #[must_use]
    pub fn dot(self, other: Self) -> f32 {
        self.raw.dot(other.raw)
    }

    /// Vector product.
    #[inline]
    #[must_use]
    pub fn cross(self, other: Self) -> Self {
        Self::from_glam(self.raw.cross(other.raw))
    }

    /// Component-wise product, for diagonal matrices.
    #[inline]
    #[must_use]
    pub fn scale(self, other: Self) -> Self {
        Self::from_glam(self.raw * other.raw)
    }

    /// Square of the length.
    #[inline]
    #[must_use]
    pub fn norm_squared(self) -> f32 {
        self.raw.length_squared()
    }

    /// Length.
    #[inline]
    #[must_use]
    pub fn norm<M: Math>(self) -> f32 {
        M::sqrt(self.norm_squared())
    }

    /// True when no component is NaN or infinite.
    #[inline]
    #[must_use]
    pub fn is_finite(self) -> bool {
        self.raw.is_finite()
    }

    /// The vector shortened to length `limit` if it is longer. NaN or infinity in any component gives zero,
    /// and so does a length beyond 1.8e19, whose square overflows.
    ///
    /// ```
    /// use aplomb_types::{Libm, frames::{Vector, World}};
    /// let v = Vector::<World>::new(6.0, 8.0, 0.0).limited::<Libm>(5.0);
    /// assert!((v - Vector::new(3.0, 4.0, 0.0)).norm_squared() < 1e-12);
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

impl Vector<World> {
    /// The north and east components.
    #[inline]
    #[must_use]
    pub const fn horizontal(self) -> Horizontal {
        Horizontal::new(self.raw.x, self.raw.y)
    }
}

impl<F: Frame> Clone for Vector<F> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<F: Frame> Copy for Vector<F> {}
impl<F: Frame> Default for Vector<F> {
    fn default() -> Self {
        Self::ZERO
    }
}
impl<F: Frame> PartialEq for Vector<F> {
    fn eq(&self, other: &Self) -> bool {
        self.raw == other.raw
    }
}
impl<F: Frame> core::fmt::Debug for Vector<F> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_tuple("Vector").field(&self.raw.x).field(&self.raw.y).field(&self.raw.z).finish()
    }
}
impl<F: Frame> Add for Vector<F> {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self::from_glam(self.raw + other.raw)
    }
}
impl<F: Frame> AddAssign for Vector<F> {
    #[inline]
    fn add_assign(&mut self, other: Self) {
        self.raw += other.raw;
    }
}
impl<F: Frame> Sub for Vector<F> {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self::from_glam(self.raw - other.raw)
    }
}
impl<F: Frame> SubAssign for Vector<F> {
    #[inline]
    fn sub_assign(&mut self, other: Self) {
        self.raw -= other.raw;
    }
}
impl<F: Frame> Mul<f32> for Vector<F> {
    type Output = Self;
    #[inline]
    fn mul(self, factor: f32) -> Self {
        Self::from_glam(self.raw * factor)
    }
}
impl<F: Frame> Neg for Vector<F> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self::from_glam(-self.raw)
    }
}

#[cfg(feature = "defmt")]
impl<F: Frame> defmt::Format for Vector<F> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "({}, {}, {})", self.raw.x, self.raw.y, self.raw.z);
    }
}

#[cfg(feature = "serde")]
impl<F: Frame> serde::Serialize for Vector<F> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.to_array().serialize(serializer)
    }
}

#[cfg(feature = "serde")]
impl<'de, F: Frame> serde::Deserialize<'de> for Vector<F> {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let [x, y, z] = <[f32; 3]>::deserialize(deserializer)?;
        Ok(Self::new(x, y, z))
    }
}
