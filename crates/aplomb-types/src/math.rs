//! The scalar functions of `f32` behind one trait with two implementations.
//!
//! A control tick needs only [`Math::sqrt`]: attitude is a quaternion and a tilt is a direction, so no sine,
//! cosine or arc tangent is on its path. The other functions serve construction, set-points given as angles
//! and reporting.
//!
//! [`Libm`] is the default: results are the same bits on a host and on a microcontroller. `Micromath`
//! (feature `micromath`) is the fast approximate one. Firmware can implement the trait itself, for example
//! with a hardware square root, which is correctly rounded and so gives the same bits as [`Libm`].

/// Scalar functions of `f32`. Implementations hold no state: all functions are associated.
pub trait Math {
    /// Square root. Argument at least 0; a negative or NaN argument gives NaN or 0.
    fn sqrt(x: f32) -> f32;
    /// Sine of an angle in radians.
    fn sin(x_rad: f32) -> f32;
    /// Cosine of an angle in radians.
    fn cos(x_rad: f32) -> f32;
    /// Angle of the point (x, y) in radians, -pi to pi.
    fn atan2(y: f32, x: f32) -> f32;
    /// Arc sine in radians; the argument is saturated to -1..1 first.
    fn asin(x: f32) -> f32;
}

/// Correctly rounded or near-correctly rounded functions of the `libm` crate; the same bits on every
/// platform.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Libm;

impl Math for Libm {
    #[inline]
    fn sqrt(x: f32) -> f32 {
        libm::sqrtf(x)
    }
    fn sin(x_rad: f32) -> f32 {
        libm::sinf(x_rad)
    }
    fn cos(x_rad: f32) -> f32 {
        libm::cosf(x_rad)
    }
    fn atan2(y: f32, x: f32) -> f32 {
        libm::atan2f(y, x)
    }
    fn asin(x: f32) -> f32 {
        libm::asinf(saturate(x, -1.0, 1.0))
    }
}

/// Fast approximations of the `micromath` crate.
///
/// The inverse square root is refined by two Newton steps, which takes its largest relative error from 3.4e-2
/// to about 5e-6 (`micromath_inverse_root_is_refined`). Sine and cosine err by up to 1.2e-3, `atan2` by 3e-3
/// rad and `asin` by 2e-2 rad; none of these three is on the path of a tick.
#[cfg(feature = "micromath")]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Micromath;

#[cfg(feature = "micromath")]
impl Math for Micromath {
    #[inline]
    fn sqrt(x: f32) -> f32 {
        if x > 0.0 { x * refined_inverse_root(x) } else { 0.0 }
    }
    fn sin(x_rad: f32) -> f32 {
        micromath::F32Ext::sin(x_rad)
    }
    fn cos(x_rad: f32) -> f32 {
        micromath::F32Ext::cos(x_rad)
    }
    fn atan2(y: f32, x: f32) -> f32 {
        micromath::F32Ext::atan2(y, x)
    }
    fn asin(x: f32) -> f32 {
        micromath::F32Ext::asin(saturate(x, -1.0, 1.0))
    }
}

/// 1/sqrt(x) for x > 0: the approximation of `micromath` and two Newton steps.
#[cfg(feature = "micromath")]
#[inline]
fn refined_inverse_root(x: f32) -> f32 {
    let half = 0.5 * x;
    let y = micromath::F32Ext::invsqrt(x);
    let y = y * (1.5 - half * y * y);
    y * (1.5 - half * y * y)
}

/// `x` confined to `low..=high`. NaN gives `low`, and an empty range (`low > high`) gives `high`, so the
/// result never is NaN unless `high` is.
///
/// ```
/// # use aplomb_types::math::saturate;
/// assert_eq!(saturate(3.0, -1.0, 1.0), 1.0);
/// assert_eq!(saturate(f32::NAN, -1.0, 1.0), -1.0);
/// ```
#[inline]
#[must_use]
pub fn saturate(x: f32, low: f32, high: f32) -> f32 {
    let raised = if x > low { x } else { low };
    if raised < high { raised } else { high }
}

/// `x` confined to `-limit..=limit`; NaN gives 0. `limit` must not be negative.
///
/// ```
/// # use aplomb_types::math::saturate_symmetric;
/// assert_eq!(saturate_symmetric(-7.0, 2.0), -2.0);
/// assert_eq!(saturate_symmetric(f32::NAN, 2.0), 0.0);
/// ```
#[inline]
#[must_use]
pub fn saturate_symmetric(x: f32, limit: f32) -> f32 {
    if x.abs() <= limit {
        x
    } else if x.is_nan() {
        0.0
    } else {
        limit.copysign(x)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn saturate_keeps_inside_values_and_sends_nan_low() {
        assert_eq!(saturate(0.25, 0.0, 1.0), 0.25);
        assert_eq!(saturate(f32::INFINITY, 0.0, 1.0), 1.0);
        assert_eq!(saturate(f32::NEG_INFINITY, 0.0, 1.0), 0.0);
        assert_eq!(saturate(f32::NAN, 0.0, 1.0), 0.0);
        assert_eq!(saturate(0.5, 2.0, 1.0), 1.0);
        assert_eq!(saturate(f32::NAN, f32::NAN, 1.0), 1.0);
        assert_eq!(saturate_symmetric(f32::NEG_INFINITY, 1.5), -1.5);
        assert_eq!(saturate_symmetric(f32::INFINITY, 1.5), 1.5);
        assert_eq!(saturate_symmetric(-1.25, 1.5), -1.25);
        assert_eq!(saturate_symmetric(f32::NAN, 0.0), 0.0);
    }

    #[cfg(feature = "micromath")]
    #[test]
    fn micromath_inverse_root_is_refined() {
        let (mut worst, mut raw_worst) = (0.0f32, 0.0f32);
        for i in 1..20_000 {
            let x = i as f32 * 1e-3;
            let exact = 1.0 / f64::from(x).sqrt();
            let error = |y: f32| ((f64::from(y) - exact) / exact).abs() as f32;
            worst = worst.max(error(refined_inverse_root(x)));
            raw_worst = raw_worst.max(error(micromath::F32Ext::invsqrt(x)));
        }
        assert!(worst < 6e-6, "{worst}");
        assert!(raw_worst > 1e-2, "the twin without refinement must be worse: {raw_worst}");
        assert_eq!(Micromath::sqrt(0.0), 0.0);
        assert!((Micromath::sqrt(2.0) - core::f32::consts::SQRT_2).abs() < 1e-5);
    }
}
