//! Scalar functions behind the trait [`Math`]: those of [`aplomb_types::math`].

#[cfg(feature = "micromath")]
pub use aplomb_types::math::Micromath;
pub use aplomb_types::math::{Libm, Math, saturate, saturate_symmetric};

/// The smaller one; `b` if `a` is NaN. Four instructions; `f32::min` is a function call on a Cortex-M4F.
#[inline]
pub(crate) fn least(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The larger one; `b` if `a` is NaN.
#[inline]
pub(crate) fn most(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}
