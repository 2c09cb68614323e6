//! A change of velocity as felt and as measured: an aid for the heading.

use crate::frames::{Vector, World};

/// A change of velocity over the same stretch of time, once felt by the accelerometer and turned by the attitude, once
/// measured from outside. The angle between the horizontal parts f and m is the error of the heading. The error counts by
/// `f x m/((f^2 + m^2)/2 + (0.5 m/s)^2)`, so that a change within the noise of a receiver does next to nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Course {
    /// Parts of the measured change along and across the felt one, times its length, in m2/s2.
    pub(super) along: f32,
    pub(super) across: f32,
    /// Half the sum of both squares in m2/s2.
    pub(super) squares: f32,
}

impl Course {
    /// Square of the noise of a change in m2/s2, and the square of the change that sets a first heading.
    pub(super) const NOISE_SQUARED: f32 = 0.25;

    /// From the changes felt and measured in m/s.
    #[must_use]
    pub fn new(felt_m_s: Vector<World>, measured_m_s: Vector<World>) -> Self {
        let (f, m) = (felt_m_s, measured_m_s);
        Self {
            along: f.x() * m.x() + f.y() * m.y(),
            across: f.x() * m.y() - f.y() * m.x(),
            squares: 0.5 * (f.x() * f.x() + f.y() * f.y() + m.x() * m.x() + m.y() * m.y()),
        }
    }
}
