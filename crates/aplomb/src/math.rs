//! The scalar functions the crate needs, behind the trait [`Math`]: those of [`aplomb_types::math`].

#[cfg(feature = "micromath")]
pub use aplomb_types::math::Micromath;
pub use aplomb_types::math::{Libm, Math, saturate, saturate_symmetric};

/// 1/sqrt(x): for x from 0.25 to 1, where the squares of cosines and of quaternions mostly lie, by a cubic
/// (relative error 7e-3, minimax) and two Newton steps to 2e-7, which costs a third of a root; for any other
/// x by `M`.
#[inline(never)]
pub(crate) fn recip_sqrt_of_share<M: Math>(x: f32) -> f32 {
    if (0.25..=1.0).contains(&x) {
        let half = 0.5 * x;
        let y = 3.112_375_2 + x * (-5.910_908 + x * (6.229_946 - x * 2.438_454));
        let y = y * (1.5 - half * y * y);
        y * (1.5 - half * y * y)
    } else {
        1.0 / M::sqrt(x)
    }
}

/// sqrt(x) for a finite x >= 0 to 3e-7, the same bits everywhere, for the roots of a thrust: an inverse root
/// from the halved exponent (3.4e-2) and three Newton steps, a third of [`Libm`]'s 55 instructions.
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
}
