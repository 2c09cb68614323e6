//! The standard acceleration of free fall.

/// Standard acceleration of free fall, exact by definition: 9.80665 m/s2 (3rd General Conference on Weights
/// and Measures, 1901; ISO 80000-3:2019).
pub const STANDARD_M_S2: f64 = 9.80665;

/// [`STANDARD_M_S2`] rounded to `f32`.
///
/// ```
/// assert_eq!(aplomb_types::gravity::STANDARD_M_S2_F32, 9.80665_f32);
/// ```
pub const STANDARD_M_S2_F32: f32 = STANDARD_M_S2 as f32;
