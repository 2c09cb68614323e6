//! A change of velocity by accelerometer and by GNSS: a correction of the heading.

use crate::frames::Horizontal;

/// A horizontal change of velocity over one interval, once integrated from the accelerometer with the
/// estimated attitude and once measured by GNSS. The angle from the first, f, to the second, m, is the error
/// of the heading. Its weighted value is `f x m/((f^2 + m^2)/2 + (0.5 m/s)^2)`, so that a change within the
/// GNSS velocity noise has almost no weight.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct VelocityChange {
    /// From the accelerometer, in m/s.
    pub inertial_m_s: Horizontal,
    /// Measured from outside, in m/s.
    pub measured_m_s: Horizontal,
}

impl VelocityChange {
    /// Square of the noise of a change, (0.5 m/s)^2, and of the smallest change that initialises a heading:
    /// about 3.5 times the 0.14 m/s by which two fixes with a white noise of 0.1 m/s differ.
    const NOISE_SQUARED: f32 = 0.25;
    /// Changes beyond 100 m/s, squared, are no measurement: 50 g over the 0.2 s between two fixes.
    const MAX_SQUARED: f32 = 1e4;

    /// Parts of the measured change along and across the inertial one, times its length, and the mean of both
    /// squares, in m2/s2. `None` when it is implausible.
    fn parts(&self) -> Option<(f32, f32, f32)> {
        let (f, m) = (self.inertial_m_s, self.measured_m_s);
        let along = f.dot(m);
        let across = f.north * m.east - f.east * m.north;
        let square = 0.5 * (f.norm_squared() + m.norm_squared());
        // False for NaN.
        (square <= Self::MAX_SQUARED).then_some((along, across, square))
    }

    /// Weighted heading error in rad; `None` when the change is implausible.
    pub(super) fn heading_error_rad(&self) -> Option<f32> {
        self.parts().map(|(_, across, square)| across / (square + Self::NOISE_SQUARED))
    }

    /// Direction of the measured change relative to the inertial one, (cosine, sine) times a common factor;
    /// `None` unless both are long enough and of similar length to initialise a heading.
    pub(super) fn heading_direction(&self) -> Option<(f32, f32)> {
        let (along, across, square) = self.parts()?;
        let clear = square > Self::NOISE_SQUARED && along * along + across * across > 0.25 * square * square;
        clear.then_some((along, across))
    }
}
