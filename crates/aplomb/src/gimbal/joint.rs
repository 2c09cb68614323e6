//! Joint angles as sine and cosine, and the turns they make: nothing here needs a trigonometric function.

use glam::{Mat3, Vec3};

use crate::math::Math;

/// Something for each joint, from the frame to the camera.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Joints<T> {
    /// About the frame's down axis; outermost.
    pub yaw: T,
    /// About the axis that points forward once the yaw has turned it.
    pub roll: T,
    /// About the camera's right axis; innermost.
    pub pitch: T,
}

/// An angle as its sine and cosine, as magnetic angle sensors deliver it.
///
/// ```
/// use aplomb::{Libm, gimbal::Angle};
/// let angle = Angle::from_rad::<Libm>(0.5);
/// assert!((angle.sine() - 0.479_425_5).abs() < 1e-6 && (angle.cosine() - 0.877_582_6).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Angle {
    sine: f32,
    cosine: f32,
}

impl Default for Angle {
    fn default() -> Self {
        Self::ZERO
    }
}

impl Angle {
    /// No turn.
    pub const ZERO: Self = Self { sine: 0.0, cosine: 1.0 };

    /// From an angle in rad; one that is not finite gives [`Angle::ZERO`]. Not for the tick's path.
    #[must_use]
    pub fn from_rad<M: Math>(angle_rad: f32) -> Self {
        if angle_rad.is_finite() {
            Self { sine: M::sin(angle_rad), cosine: M::cos(angle_rad) }
        } else {
            Self::ZERO
        }
    }

    /// From the two outputs of an angle sensor, in any common unit; `None` where their length is below 1e-6 or not finite.
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

    /// Its sine.
    #[must_use]
    pub const fn sine(self) -> f32 {
        self.sine
    }

    /// Its cosine.
    #[must_use]
    pub const fn cosine(self) -> f32 {
        self.cosine
    }

    /// This angle, or `travel` on its side where it lies beyond; and whether it did.
    fn within(self, travel: Self) -> (Self, bool) {
        if self.cosine >= travel.cosine {
            (self, false)
        } else {
            (Self { sine: if self.sine < 0.0 { -travel.sine } else { travel.sine }, ..travel }, true)
        }
    }
}

impl Joints<Angle> {
    /// Turn from camera to frame, `Rz(yaw) Rx(roll) Ry(pitch)`, with its columns.
    pub(super) fn turn(&self) -> Mat3 {
        let (sy, cy) = (self.yaw.sine, self.yaw.cosine);
        let (sr, cr) = (self.roll.sine, self.roll.cosine);
        let (sp, cp) = (self.pitch.sine, self.pitch.cosine);
        Mat3::from_cols(
            Vec3::new(cy * cp - sy * sr * sp, sy * cp + cy * sr * sp, -cr * sp),
            Vec3::new(-sy * cr, cy * cr, sr),
            Vec3::new(cy * sp + sy * sr * cp, sy * sp - cy * sr * cp, cr * cp),
        )
    }

    /// The joints that make `turn`; `None` with the roll within 6 deg of 90 deg, where yaw and pitch are one axis.
    pub(super) fn of_turn<M: Math>(turn: &Mat3) -> Option<Self> {
        let sine = turn.y_axis.z;
        let rest = 1.0 - sine * sine;
        if rest < 0.01 {
            return None;
        }
        let roll = Angle { sine, cosine: M::sqrt(rest) };
        let yaw = Angle::from_sine_cosine::<M>(-turn.y_axis.x, turn.y_axis.y)?;
        let pitch = Angle::from_sine_cosine::<M>(-turn.x_axis.z, turn.z_axis.z)?;
        Some(Self { yaw, roll, pitch })
    }

    /// Each joint held within its travel, and whether any was beyond.
    pub(super) fn within(&self, travel: &Self) -> (Self, bool) {
        let (yaw, yaw_cut) = self.yaw.within(travel.yaw);
        let (roll, roll_cut) = self.roll.within(travel.roll);
        let (pitch, pitch_cut) = self.pitch.within(travel.pitch);
        (Self { yaw, roll, pitch }, yaw_cut || roll_cut || pitch_cut)
    }

    /// The joints' torques that put `torque` on the camera, t = A^T T with the joints' axes, seen from the camera, as
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
