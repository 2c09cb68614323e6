//! Joint angles as sine and cosine, and their rotations, without trigonometric functions.

use glam::{Mat3, Vec3};

use crate::math::Math;

/// One value for each joint, from the craft to the camera.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Joints<T> {
    /// About the down axis of the craft; outermost.
    pub yaw: T,
    /// About the forward axis after the yaw rotation.
    pub roll: T,
    /// About the right axis of the camera; innermost.
    pub pitch: T,
}

/// An angle as its sine and cosine, the outputs of a magnetic angle sensor.
///
/// ```
/// use aplomb::{Libm, gimbal::Angle};
/// let angle = Angle::from_rad::<Libm>(0.5);
/// assert!((angle.sine() - 0.479_425_5).abs() < 1e-6 && (angle.cosine() - 0.877_582_6).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(deny_unknown_fields, try_from = "SineCosine")
)]
pub struct Angle {
    sine: f32,
    cosine: f32,
}

/// Sine and cosine before their check on deserialisation.
#[cfg(feature = "serde")]
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct SineCosine {
    sine: f32,
    cosine: f32,
}

#[cfg(feature = "serde")]
impl TryFrom<SineCosine> for Angle {
    type Error = &'static str;

    fn try_from(SineCosine { sine, cosine }: SineCosine) -> Result<Self, Self::Error> {
        // The squares add up to 1 within the round-off of a text of six digits; the bits are kept.
        if (sine * sine + cosine * cosine - 1.0).abs() < 1e-5 {
            Ok(Self { sine, cosine })
        } else {
            Err("sine and cosine of one angle: their squares must add up to 1")
        }
    }
}

impl Default for Angle {
    fn default() -> Self {
        Self::ZERO
    }
}

impl Angle {
    /// 0.
    pub const ZERO: Self = Self { sine: 0.0, cosine: 1.0 };

    /// From an angle in rad; one that is not finite gives [`Angle::ZERO`]. Not for use on every
    /// tick.
    #[must_use]
    pub fn from_rad<M: Math>(angle_rad: f32) -> Self {
        if angle_rad.is_finite() {
            Self { sine: M::sin(angle_rad), cosine: M::cos(angle_rad) }
        } else {
            Self::ZERO
        }
    }

    /// From the two outputs of an angle sensor, in any common unit; `None` where their length is below 1e-6
    /// or not finite.
    ///
    /// ```
    /// use aplomb::{Libm, gimbal::Angle};
    /// assert_eq!(Angle::from_sine_cosine::<Libm>(3.0, 4.0).unwrap().sine(), 0.6);
    /// assert!(Angle::from_sine_cosine::<Libm>(0.0, f32::NAN).is_none());
    /// ```
    #[must_use]
    pub fn from_sine_cosine<M: Math>(sine: f32, cosine: f32) -> Option<Self> {
        let squared = sine * sine + cosine * cosine;
        if squared > 1e-12 && squared < f32::INFINITY {
            let scale = 1.0 / M::sqrt(squared);
            Some(Self { sine: sine * scale, cosine: cosine * scale })
        } else {
            None
        }
    }

    /// The sine.
    #[must_use]
    pub const fn sine(self) -> f32 {
        self.sine
    }

    /// The cosine.
    #[must_use]
    pub const fn cosine(self) -> f32 {
        self.cosine
    }

    /// This angle limited to +-`travel`, and whether it was beyond.
    fn within(self, travel: Self) -> (Self, bool) {
        if self.cosine >= travel.cosine {
            (self, false)
        } else {
            (Self { sine: if self.sine < 0.0 { -travel.sine } else { travel.sine }, ..travel }, true)
        }
    }
}

impl Joints<Angle> {
    /// Rotation from camera to craft, `Rz(yaw) Rx(roll) Ry(pitch)`.
    pub(super) fn rotation(&self) -> Mat3 {
        let (sy, cy) = (self.yaw.sine, self.yaw.cosine);
        let (sr, cr) = (self.roll.sine, self.roll.cosine);
        let (sp, cp) = (self.pitch.sine, self.pitch.cosine);
        Mat3::from_cols(
            Vec3::new(cy * cp - sy * sr * sp, sy * cp + cy * sr * sp, -cr * sp),
            Vec3::new(-sy * cr, cy * cr, sr),
            Vec3::new(cy * sp + sy * sr * cp, sy * sp - cy * sr * cp, cr * cp),
        )
    }

    /// The joint angles of `rotation`; `None` with the roll within 6 deg of 90 deg, where the axes of yaw and
    /// pitch coincide.
    pub(super) fn from_rotation<M: Math>(rotation: &Mat3) -> Option<Self> {
        let sine = rotation.y_axis.z;
        let rest = 1.0 - sine * sine;
        if rest < 0.01 {
            return None;
        }
        let roll = Angle { sine, cosine: M::sqrt(rest) };
        let yaw = Angle::from_sine_cosine::<M>(-rotation.y_axis.x, rotation.y_axis.y)?;
        let pitch = Angle::from_sine_cosine::<M>(-rotation.x_axis.z, rotation.z_axis.z)?;
        Some(Self { yaw, roll, pitch })
    }

    /// Each joint limited to its travel, and whether any was beyond.
    pub(super) fn within(&self, travel: &Self) -> (Self, bool) {
        let (yaw, yaw_limited) = self.yaw.within(travel.yaw);
        let (roll, roll_limited) = self.roll.within(travel.roll);
        let (pitch, pitch_limited) = self.pitch.within(travel.pitch);
        (Self { yaw, roll, pitch }, yaw_limited || roll_limited || pitch_limited)
    }

    /// Joint torques for `torque` on the camera, t = A^T T with the axes of the joints in camera axes as
    /// columns of A.
    pub(super) fn torques(&self, torque: Vec3) -> Joints<f32> {
        let (sr, cr) = (self.roll.sine, self.roll.cosine);
        let (sp, cp) = (self.pitch.sine, self.pitch.cosine);
        Joints {
            yaw: cr * (cp * torque.z - sp * torque.x) + sr * torque.y,
            roll: cp * torque.x + sp * torque.z,
            pitch: torque.y,
        }
    }

    /// Every sine and cosine is finite.
    pub(super) fn is_finite(&self) -> bool {
        let Self { yaw, roll, pitch } = self;
        [yaw, roll, pitch].iter().all(|angle| angle.sine.is_finite() && angle.cosine.is_finite())
    }
}
