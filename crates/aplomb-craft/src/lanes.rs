//! Arithmetic on all four rotors at once: branch-free loops over arrays, which the compiler vectorises.

use crate::ROTORS;
/// The value for each of the four rotors.
#[inline(always)]
pub(crate) fn each(value: impl FnMut(usize) -> f64) -> [f64; ROTORS] {
    each_of(value)
}

/// The value for each of N rotors, as a loop that the compiler vectorises.
#[inline(always)]
pub(crate) fn each_of<const N: usize>(mut value: impl FnMut(usize) -> f64) -> [f64; N] {
    let mut all = [0.0; N];
    for (i, one) in all.iter_mut().enumerate() {
        *one = value(i);
    }
    all
}

/// Sum over the four rotors.
#[inline(always)]
pub(crate) fn sum(value: impl Fn(usize) -> f64) -> f64 {
    (value(0) + value(2)) + (value(1) + value(3))
}

/// 1.5 * 2^52: a sum with it is rounded to an integer, since its last bit has the weight 1.
pub(crate) const LAST_BIT_IS_ONE: f64 = 6_755_399_441_055_744.0;

/// Nearest integer, ties to even, for magnitudes below 2^51.
#[inline(always)]
pub(crate) fn nearest(value: f64) -> f64 {
    (value + LAST_BIT_IS_ONE) - LAST_BIT_IS_ONE
}

/// Maximum; the second argument if one is NaN. One instruction, unlike `f64::max`.
#[inline(always)]
pub(crate) fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// Minimum; the second argument if one is NaN.
#[inline(always)]
pub(crate) fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}
