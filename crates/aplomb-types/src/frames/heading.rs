//! Heading as a unit vector, so that a tick needs no sine.

use crate::frames::Horizontal;
use crate::math::Math;

/// Horizontal direction of the nose: a unit vector (north, east).
///
/// ```
/// use aplomb_types::{Libm, frames::Heading};
/// let east = Heading::from_rad::<Libm>(core::f32::consts::FRAC_PI_2);
/// assert!((east.east() - 1.0).abs() < 1e-6);
/// assert!((east.rotated(-core::f32::consts::FRAC_PI_2 / 100.0).to_rad::<Libm>() - 1.5551).abs() < 1e-4);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(try_from = "Components"))]
pub struct Heading {
    north: f32,
    east: f32,
}

/// North and east before their check on deserialisation.
#[cfg(feature = "serde")]
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Components {
    north: f32,
    east: f32,
}

#[cfg(feature = "serde")]
impl TryFrom<Components> for Heading {
    type Error = &'static str;

    fn try_from(Components { north, east }: Components) -> Result<Self, Self::Error> {
        Self::from_components(north, east).ok_or("a heading is a direction of length 1")
    }
}

impl Heading {
    /// Nose to the north.
    pub const NORTH: Self = Self { north: 1.0, east: 0.0 };

    /// From an angle in rad, clockwise from north. Uses a sine and a cosine: not for use on every
    /// tick.
    #[must_use]
    pub fn from_rad<M: Math>(heading_rad: f32) -> Self {
        Self::from_direction::<M>(Horizontal::new(M::cos(heading_rad), M::sin(heading_rad)))
            .unwrap_or(Self::NORTH)
    }

    /// From any horizontal direction; `None` when it is shorter than 1e-6 or not finite.
    #[inline]
    #[must_use]
    pub fn from_direction<M: Math>(direction: Horizontal) -> Option<Self> {
        let n2 = direction.norm_squared();
        if n2 > 1e-12 && n2 < f32::INFINITY {
            let Horizontal { north, east } = direction * (1.0 / M::sqrt(n2));
            Some(Self { north, east })
        } else {
            None
        }
    }

    /// From the components of a heading, kept bit for bit; `None` when their length is not 1 to 1e-6.
    ///
    /// ```
    /// use aplomb_types::{Libm, frames::Heading};
    /// let heading = Heading::from_rad::<Libm>(2.4);
    /// assert_eq!(Heading::from_components(heading.north(), heading.east()), Some(heading));
    /// assert_eq!(Heading::from_components(1.0, 0.1), None);
    /// ```
    #[inline]
    #[must_use]
    pub fn from_components(north: f32, east: f32) -> Option<Self> {
        let excess = north * north + east * east - 1.0;
        (excess.abs() < 2e-6).then_some(Self { north, east })
    }

    /// North component (the cosine of the heading).
    #[inline]
    #[must_use]
    pub const fn north(self) -> f32 {
        self.north
    }

    /// East component (the sine of the heading).
    #[inline]
    #[must_use]
    pub const fn east(self) -> f32 {
        self.east
    }

    /// The heading as a unit vector.
    #[inline]
    #[must_use]
    pub const fn direction(self) -> Horizontal {
        Horizontal::new(self.north, self.east)
    }

    /// Rotated clockwise by a small angle in rad, by the rational rotation (1 - h^2, 2 h)/(1 + h^2), h =
    /// angle/2, which keeps the length exactly and errs by angle^3/12. An angle that is not
    /// finite leaves the heading unchanged.
    #[inline]
    #[must_use]
    pub fn rotated(self, angle_rad: f32) -> Self {
        if !angle_rad.is_finite() {
            return self;
        }
        let h = 0.5 * angle_rad;
        let k = 1.0 / (1.0 + h * h);
        let (c, s) = ((1.0 - h * h) * k, 2.0 * h * k);
        let (north, east) = (self.north * c - self.east * s, self.east * c + self.north * s);
        // One Newton step towards unit length keeps round-off from adding up over hours.
        let fix = 0.5 * (3.0 - (north * north + east * east));
        Self { north: north * fix, east: east * fix }
    }

    /// Sine of the angle from `self` to `target`, clockwise positive.
    #[inline]
    #[must_use]
    pub fn sine_to(self, target: Self) -> f32 {
        self.north * target.east - self.east * target.north
    }

    /// Cosine of the angle between the two headings.
    #[inline]
    #[must_use]
    pub fn cosine_to(self, target: Self) -> f32 {
        self.north * target.north + self.east * target.east
    }

    /// A horizontal vector given by its components along this heading and to its right, in world axes.
    #[inline]
    #[must_use]
    pub fn to_world(self, forward: f32, right: f32) -> Horizontal {
        Horizontal::new(self.north * forward - self.east * right, self.east * forward + self.north * right)
    }

    /// The angle in rad, -pi to pi, clockwise from north. Uses an arc tangent: not for use on every
    /// tick.
    #[must_use]
    pub fn to_rad<M: Math>(self) -> f32 {
        M::atan2(self.east, self.north)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    #[test]
    fn rotated_a_thousand_small_steps_completes_the_angle_and_keeps_unit_length() {
        let mut heading = Heading::NORTH;
        for _ in 0..1000 {
            heading = heading.rotated(1e-3);
        }
        assert!((heading.to_rad::<Libm>() - 1.0).abs() < 2e-6);
        assert!((heading.north().powi(2) + heading.east().powi(2) - 1.0).abs() < 1e-6);
        assert_eq!(heading.rotated(f32::NAN), heading);
    }

    #[test]
    fn forward_of_an_east_heading_is_east() {
        let east = Heading::from_rad::<Libm>(core::f32::consts::FRAC_PI_2);
        let v = east.to_world(2.0, 1.0);
        assert!((v.east - 2.0).abs() < 1e-6 && (v.north + 1.0).abs() < 1e-6);
        assert_eq!(Heading::from_direction::<Libm>(east.direction() * 3.0), Some(east));
        assert!((Heading::NORTH.sine_to(east) - 1.0).abs() < 1e-6);
    }
}
