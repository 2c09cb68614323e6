//! The attitude: a unit quaternion from body to world.

use glam::{Quat, Vec3};

use crate::frames::{Body, Heading, Horizontal, Vector, World};
use crate::math::Math;

/// Attitude of the craft: unit Hamilton quaternion, scalar first, from body to world,
/// `v_world = q v_body q*`. The fields are private, so a non-unit attitude cannot be built.
///
/// ```
/// use aplomb_types::{Libm, frames::{Attitude, Body, Vector}};
/// // Nose up by 90 deg: the body's forward axis points to the sky.
/// let h = core::f32::consts::FRAC_1_SQRT_2;
/// let up = Attitude::from_wxyz::<Libm>([h, 0.0, h, 0.0]).unwrap();
/// let forward = up.to_world(Vector::<Body>::new(1.0, 0.0, 0.0));
/// assert!((forward.z() + 1.0).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attitude {
    raw: Quat,
}

impl Attitude {
    /// Level, nose to the north.
    pub const LEVEL: Self = Self { raw: Quat::IDENTITY };

    /// From the four components, scalar first; normalised. `None` when the length is below 1e-6 or not
    /// finite.
    #[must_use]
    pub fn from_wxyz<M: Math>([w, x, y, z]: [f32; 4]) -> Option<Self> {
        let n2 = w * w + x * x + y * y + z * z;
        if n2 > 1e-12 && n2 < f32::INFINITY {
            Some(Self { raw: Quat::from_xyzw(x, y, z, w) * (1.0 / M::sqrt(n2)) })
        } else {
            None
        }
    }

    /// From angles in rad, applied yaw, then pitch, then roll (z-y'-x'', ISO 1151-1). Uses sines and cosines:
    /// not for use on every tick.
    ///
    /// ```
    /// use aplomb_types::{Libm, frames::Attitude};
    /// let q = Attitude::from_angles::<Libm>(0.1, -0.2, 2.0);
    /// let (roll, pitch, yaw) = q.to_angles::<Libm>();
    /// assert!((roll - 0.1).abs() < 1e-6 && (pitch + 0.2).abs() < 1e-6 && (yaw - 2.0).abs() < 1e-6);
    /// ```
    #[must_use]
    pub fn from_angles<M: Math>(roll_rad: f32, pitch_rad: f32, yaw_rad: f32) -> Self {
        let half = |angle: f32| (M::sin(0.5 * angle), M::cos(0.5 * angle));
        let ((sr, cr), (sp, cp), (sy, cy)) = (half(roll_rad), half(pitch_rad), half(yaw_rad));
        Self::from_wxyz::<M>([
            cy * cp * cr + sy * sp * sr,
            cy * cp * sr - sy * sp * cr,
            cy * sp * cr + sy * cp * sr,
            sy * cp * cr - cy * sp * sr,
        ])
        .unwrap_or(Self::LEVEL)
    }

    /// Roll (-pi to pi), pitch (-pi/2 to pi/2) and yaw (-pi to pi) in rad, z-y'-x''. At a pitch of +-pi/2
    /// only the sum or the difference of roll and yaw is determined. Uses arc functions: not for use on every
    /// tick.
    #[must_use]
    pub fn to_angles<M: Math>(self) -> (f32, f32, f32) {
        let [w, x, y, z] = self.wxyz();
        let roll = M::atan2(2.0 * (w * x + y * z), 1.0 - 2.0 * (x * x + y * y));
        let pitch = M::asin(2.0 * (w * y - z * x));
        let yaw = M::atan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z));
        (roll, pitch, yaw)
    }

    /// The attitude whose body down axis is along `down` and whose nose has the azimuth `heading`. `None`
    /// when `down` is shorter than 1e-6 or not finite, or when it is horizontal and perpendicular to the
    /// heading, so that the direction of the nose is undetermined.
    #[must_use]
    pub fn from_down_and_heading<M: Math>(down: Vector<World>, heading: Heading) -> Option<Self> {
        let n2 = down.norm_squared();
        if !(n2 > 1e-12 && n2 < f32::INFINITY) {
            return None;
        }
        let z = down.glam() * (1.0 / M::sqrt(n2));
        // The nose is perpendicular to the down axis and its horizontal part lies along the heading.
        let (n, e) = (heading.north(), heading.east());
        let along = n * z.x + e * z.y;
        let x2 = z.z * z.z + along * along;
        if x2 < 1e-6 {
            return None;
        }
        let k = 1.0 / M::sqrt(x2);
        let k = if z.z < 0.0 { -k } else { k };
        let x = Vec3::new(n * z.z, e * z.z, -along) * k;
        let y = z.cross(x);
        // Quaternion of a rotation matrix with columns x, y, z, by the largest component (Shepperd 1978).
        let trace = x.x + y.y + z.z;
        let raw = if trace > 0.0 {
            let r = 1.0 + trace;
            [r, y.z - z.y, z.x - x.z, x.y - y.x]
        } else if x.x >= y.y && x.x >= z.z {
            let r = 1.0 + x.x - y.y - z.z;
            [y.z - z.y, r, y.x + x.y, z.x + x.z]
        } else if y.y >= z.z {
            let r = 1.0 - x.x + y.y - z.z;
            [z.x - x.z, y.x + x.y, r, z.y + y.z]
        } else {
            let r = 1.0 - x.x - y.y + z.z;
            [x.y - y.x, z.x + x.z, z.y + y.z, r]
        };
        Self::from_wxyz::<M>(raw)
    }

    /// The four components, scalar first.
    #[inline]
    #[must_use]
    pub const fn wxyz(self) -> [f32; 4] {
        [self.raw.w, self.raw.x, self.raw.y, self.raw.z]
    }

    /// A body vector in world axes.
    #[inline]
    #[must_use]
    pub fn to_world(self, v: Vector<Body>) -> Vector<World> {
        Vector::from_glam(self.raw * v.glam())
    }

    /// A world vector in body axes.
    #[inline]
    #[must_use]
    pub fn to_body(self, v: Vector<World>) -> Vector<Body> {
        Vector::from_glam(self.raw.conjugate() * v.glam())
    }

    /// The body's down axis in world axes: (0, 0, 1) when level. Thrust acts in the opposite direction.
    #[inline]
    #[must_use]
    pub fn down_axis(self) -> Vector<World> {
        let [w, x, y, z] = self.wxyz();
        Vector::new(2.0 * (x * z + w * y), 2.0 * (y * z - w * x), 1.0 - 2.0 * (x * x + y * y))
    }

    /// Cosine of the tilt: 1 when level, 0 at 90 deg, -1 upside down.
    #[inline]
    #[must_use]
    pub fn cos_tilt(self) -> f32 {
        let [_, x, y, _] = self.wxyz();
        1.0 - 2.0 * (x * x + y * y)
    }

    /// Horizontal part of the body's forward axis: the heading times the cosine of the pitch.
    #[inline]
    #[must_use]
    pub fn nose(self) -> Horizontal {
        let [w, x, y, z] = self.wxyz();
        Horizontal::new(1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z))
    }

    /// Horizontal direction of the nose; `None` when the nose points straight up or down.
    #[inline]
    #[must_use]
    pub fn heading<M: Math>(self) -> Option<Heading> {
        Heading::from_direction::<M>(self.nose())
    }

    /// Rotation from this attitude to `target` in body axes, `q* q_target`, with a scalar part of at least 0:
    /// the shorter way round.
    #[inline]
    #[must_use]
    pub fn error_to(self, target: Self) -> [f32; 4] {
        let e = self.rotation_to(target);
        if e[0] < 0.0 { e.map(|x| -x) } else { e }
    }

    /// Rotation from this attitude to `target` in body axes, `q* q_target`, with a scalar part of either sign
    /// (q and -q are the same rotation).
    #[inline]
    #[must_use]
    pub fn rotation_to(self, target: Self) -> [f32; 4] {
        let e = self.raw.conjugate() * target.raw;
        [e.w, e.x, e.y, e.z]
    }

    /// The attitude rotated by the rotation vector `rotation_rad` (body axes):
    /// `q <- q (cos |h|, h sin |h|/|h|)`, h half of it, sine and cosine by their series to fourth order, and
    /// one Newton step towards unit length, `q <- q (3 - |q|^2)/2`. The error is of seventh order in the
    /// angle. A rotation of 2 rad or more, or one that is not finite, leaves the attitude unchanged.
    #[inline]
    #[must_use]
    pub fn rotated(self, rotation_rad: Vector<Body>) -> Self {
        let h = rotation_rad.glam() * 0.5;
        let n2 = h.length_squared();
        if n2 < 1.0 {
            let c = 1.0 - n2 * (0.5 - n2 * (1.0 / 24.0));
            let s = 1.0 - n2 * ((1.0 / 6.0) - n2 * (1.0 / 120.0));
            let q = self.raw * Quat::from_xyzw(h.x * s, h.y * s, h.z * s, c);
            Self { raw: q * (0.5 * (3.0 - q.length_squared())) }
        } else {
            self
        }
    }
}

impl Default for Attitude {
    fn default() -> Self {
        Self::LEVEL
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Attitude {
    fn format(&self, f: defmt::Formatter<'_>) {
        let [w, x, y, z] = self.wxyz();
        defmt::write!(f, "({}, {}, {}, {})", w, x, y, z);
    }
}

#[cfg(feature = "serde")]
impl serde::Serialize for Attitude {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_newtype_struct("Attitude", &self.wxyz())
    }
}

/// Keeps the components bit for bit; refuses a length that is not 1 to 1e-5.
#[cfg(feature = "serde")]
impl<'de> serde::Deserialize<'de> for Attitude {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(serde::Deserialize)]
        #[serde(rename = "Attitude")]
        struct Components([f32; 4]);

        let Components([w, x, y, z]) = Components::deserialize(deserializer)?;
        let raw = Quat::from_xyzw(x, y, z, w);
        if (raw.length_squared() - 1.0).abs() < 2e-5 {
            Ok(Self { raw })
        } else {
            Err(serde::de::Error::custom("an attitude is a quaternion of length 1"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    #[test]
    fn down_and_heading_round_trip_over_a_grid() {
        for roll in [-1.2f32, -0.3, 0.0, 0.7] {
            for pitch in [-0.9f32, 0.0, 0.4] {
                for yaw in [-3.0f32, -1.5, 0.0, 1.0, 3.1] {
                    let q = Attitude::from_angles::<Libm>(roll, pitch, yaw);
                    let again =
                        Attitude::from_down_and_heading::<Libm>(q.down_axis(), q.heading::<Libm>().unwrap())
                            .unwrap();
                    let [w, ..] = q.error_to(again);
                    assert!(w > 1.0 - 1e-6, "{roll} {pitch} {yaw}: {w}");
                }
            }
        }
    }

    #[test]
    fn any_down_axis_gives_an_attitude_of_unit_length() {
        let numbers = [0.0f32, -0.0, 1.0, -1.0, 1e-7, 1e18, -1e30, f32::INFINITY, f32::NAN];
        for x in numbers {
            for y in numbers {
                for z in numbers {
                    let down = Vector::new(x, y, z);
                    let q = Attitude::from_down_and_heading::<Libm>(down, Heading::NORTH).unwrap_or_default();
                    let n2 = q.wxyz().iter().map(|x| x * x).sum::<f32>();
                    assert!((n2 - 1.0).abs() < 1e-6, "{down:?}: {n2}");
                }
            }
        }
    }

    #[test]
    fn degenerate_input_is_refused() {
        assert!(Attitude::from_wxyz::<Libm>([0.0; 4]).is_none());
        assert!(Attitude::from_wxyz::<Libm>([f32::NAN, 0.0, 0.0, 0.0]).is_none());
        assert!(Attitude::from_down_and_heading::<Libm>(Vector::ZERO, Heading::NORTH).is_none());
        let sideways = Vector::new(0.0, 1.0, 0.0);
        assert!(Attitude::from_down_and_heading::<Libm>(sideways, Heading::NORTH).is_none());
    }

    #[test]
    fn rotation_at_a_constant_rate_matches_the_exact_rotation() {
        // Exact for a fixed axis: q exp(w t/2) (Sola 2017, arXiv:1711.02508, eq. 214).
        let mut q = Attitude::LEVEL;
        for _ in 0..1000 {
            q = q.rotated(Vector::new(2e-3, 1e-3, -1.5e-3));
        }
        let angle = (2.0f32.powi(2) + 1.0 + 1.5f32.powi(2)).sqrt();
        let (s, c) = (0.5 * angle).sin_cos();
        let exact = [c, 2.0 * s / angle, s / angle, -1.5 * s / angle];
        for (a, b) in q.wxyz().iter().zip(exact) {
            assert!((a - b).abs() < 2e-6);
        }
        assert_eq!(q.rotated(Vector::new(f32::NAN, 0.0, 0.0)), q);
        // One step of 1 rad: 2 (h^7/720 - h^7/5040) with h = 0.5 is 1.9e-5 rad; of 2 rad: not applied.
        let (roll, ..) = Attitude::LEVEL.rotated(Vector::new(1.0, 0.0, 0.0)).to_angles::<Libm>();
        assert!((roll - 1.0).abs() < 2e-5 && (roll - 1.0).abs() > 1.6e-5, "{roll}");
        assert_eq!(q.rotated(Vector::new(2.0, 0.0, 0.0)), q);
    }
}
