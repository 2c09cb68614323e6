//! The scalar functions the crate needs, behind one trait with two real implementations.
//!
//! The control tick needs only [`Math::sqrt`] and [`Math::recip_sqrt`]: attitude is a quaternion and a tilt is a
//! direction, so no sine, cosine or arc tangent is on its path. The other functions serve construction,
//! set-points given as angles and reporting.
//!
//! [`Libm`] is the default: results are the same bits on a host and on a microcontroller. `Micromath` (feature
//! `micromath`) is the fast approximate one. Firmware may bring its own, for example a hardware square root, which
//! is correctly rounded and so gives the same bits as [`Libm`].

/// Scalar functions of `f32`. Implementations hold no state: all functions are associated.
pub trait Math {
    /// Square root. Argument at least 0; a negative or NaN argument gives NaN or 0.
    fn sqrt(x: f32) -> f32;
    /// 1/sqrt(x) for x > 0.
    fn recip_sqrt(x: f32) -> f32;
    /// Sine of an angle in radians.
    fn sin(x_rad: f32) -> f32;
    /// Cosine of an angle in radians.
    fn cos(x_rad: f32) -> f32;
    /// Angle of the point (x, y) in radians, -pi to pi.
    fn atan2(y: f32, x: f32) -> f32;
    /// Arc sine in radians; the argument is saturated to -1..1 first.
    fn asin(x: f32) -> f32;
}

/// Correctly rounded or near-correctly rounded functions of the `libm` crate; the same bits on every platform.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Libm;

impl Math for Libm {
    #[inline]
    fn sqrt(x: f32) -> f32 {
        libm::sqrtf(x)
    }
    #[inline]
    fn recip_sqrt(x: f32) -> f32 {
        1.0 / libm::sqrtf(x)
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
/// The inverse square root is refined by two Newton steps, which takes its largest relative error from 3.4e-2 to
/// about 5e-6 (`micromath_inverse_root_is_refined`). Sine and cosine err by up to 1.2e-3, `atan2` by 3e-3 rad and
/// `asin` by 2e-2 rad; none of these three is on the path of a tick.
#[cfg(feature = "micromath")]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Micromath;

#[cfg(feature = "micromath")]
impl Math for Micromath {
    #[inline]
    fn sqrt(x: f32) -> f32 {
        // The seed of the inverse root is finite at 0, so 0 gives 0.
        if x > 0.0 { x * Self::recip_sqrt(x) } else { 0.0 }
    }
    #[inline]
    fn recip_sqrt(x: f32) -> f32 {
        let half = 0.5 * x;
        let y = micromath::F32Ext::invsqrt(x);
        let y = y * (1.5 - half * y * y);
        y * (1.5 - half * y * y)
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

/// `x` confined to `low..=high`. NaN gives `low`, and an empty range (`low > high`) gives `high`, so the result never is
/// NaN unless `high` is.
///
/// ```
/// # use aplomb::math::saturate;
/// assert_eq!(saturate(3.0, -1.0, 1.0), 1.0);
/// assert_eq!(saturate(f32::NAN, -1.0, 1.0), -1.0);
/// ```
#[inline]
#[must_use]
pub fn saturate(x: f32, low: f32, high: f32) -> f32 {
    least(most(x, low), high)
}

/// `x` confined to `-limit..=limit`; NaN gives 0. `limit` must not be negative.
///
/// ```
/// # use aplomb::math::saturate_symmetric;
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

/// 1/sqrt(x): for x from 0.25 to 1, where the squares of cosines and of quaternions mostly lie, by a cubic (relative
/// error 7e-3, minimax) and two Newton steps to 2e-7, which costs a third of a root; for any other x by `M`.
#[inline(never)]
pub(crate) fn recip_sqrt_of_share<M: Math>(x: f32) -> f32 {
    if (0.25..=1.0).contains(&x) {
        let half = 0.5 * x;
        let y = 3.112_375_2 + x * (-5.910_908 + x * (6.229_946 - x * 2.438_454));
        let y = y * (1.5 - half * y * y);
        y * (1.5 - half * y * y)
    } else {
        M::recip_sqrt(x)
    }
}

/// sqrt(x) for a finite x >= 0 to 3e-7, the same bits everywhere, for the roots of a thrust: an inverse root from the halved exponent
/// (3.4e-2) and three Newton steps, a third of [`Libm`]'s 55 instructions.
#[inline]
pub(crate) fn root(x: f32) -> f32 {
    let half = 0.5 * x;
    let y = f32::from_bits(0x5f37_5a86_u32.wrapping_sub(x.to_bits() >> 1));
    let y = y * (1.5 - half * y * y);
    let y = y * (1.5 - half * y * y);
    x * (y * (1.5 - half * y * y))
}

/// The smaller one; `b` if `a` is NaN. Four instructions, where `f32::min` calls a function on a Cortex-M4F.
#[inline]
pub(crate) fn least(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The larger one; `b` if `a` is NaN.
#[inline]
pub(crate) fn most(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// sqrt(x) for x from 0 to 1, from 0.25 on without a root, to 2e-7.
#[inline(never)]
pub(crate) fn sqrt_of_share<M: Math>(x: f32) -> f32 {
    if x >= 0.25 { x * recip_sqrt_of_share::<M>(x) } else { M::sqrt(x) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_root_of_a_share_is_good_to_two_ulp() {
        let worst = (1..=30_000u32).map(|i| i as f32 * 5e-5).fold(0.0f64, |worst, x| {
            let exact = 1.0 / libm::sqrt(f64::from(x));
            worst.max((f64::from(recip_sqrt_of_share::<Libm>(x)) / exact - 1.0).abs())
        });
        assert!(worst < 2.0e-7, "{worst}");
    }

    #[test]
    fn root_is_good_to_three_parts_in_ten_million() {
        let worst = (1..=40_000u32).map(|i| i as f32 * 1e-2).map(|x| x * x * x).fold(0.0f64, |worst, x| {
            let exact = libm::sqrt(f64::from(x));
            worst.max((f64::from(root(x)) / exact - 1.0).abs())
        });
        assert!(worst < 3e-7, "{worst}");
        assert_eq!(root(0.0), 0.0);
        assert!(root(f32::NAN).is_nan());
    }

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
            worst = worst.max(error(Micromath::recip_sqrt(x)));
            raw_worst = raw_worst.max(error(micromath::F32Ext::invsqrt(x)));
        }
        assert!(worst < 6e-6, "{worst}");
        assert!(raw_worst > 1e-2, "the twin without refinement must be worse: {raw_worst}");
        assert_eq!(Micromath::sqrt(0.0), 0.0);
        assert!((Micromath::sqrt(2.0) - core::f32::consts::SQRT_2).abs() < 1e-5);
    }
}
