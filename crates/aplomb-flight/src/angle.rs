//! Angles in deg.

/// Wraps an angle in deg to -180..180.
#[must_use]
pub fn half_turn(angle_deg: f64) -> f64 {
    angle_deg - 360.0 * libm::round(angle_deg / 360.0)
}
