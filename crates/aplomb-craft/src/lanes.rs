//! Arithmetic on all four rotors at once: plain arrays without branches, of which the compiler makes vector instructions.

/// The value at each of the four places.
#[inline(always)]
pub(crate) fn each(value: impl FnMut(usize) -> f64) -> [f64; 4] {
    each_of(value)
}

/// The value at each of N places. A plain loop over it is what the compiler knows how to make vectors of.
#[inline(always)]
pub(crate) fn each_of<const N: usize>(mut value: impl FnMut(usize) -> f64) -> [f64; N] {
    let mut all = [0.0; N];
    for (i, one) in all.iter_mut().enumerate() {
        *one = value(i);
    }
    all
}

/// The sum over the four places.
#[inline(always)]
pub(crate) fn sum(value: impl Fn(usize) -> f64) -> f64 {
    (value(0) + value(2)) + (value(1) + value(3))
}

/// The last bit of a sum with it counts ones: 1.5 * 2^52.
pub(crate) const LAST_BIT_IS_ONE: f64 = 6_755_399_441_055_744.0;

/// The nearest whole number, the even one of two, for magnitudes below 2^51.
#[inline(always)]
pub(crate) fn nearest(value: f64) -> f64 {
    (value + LAST_BIT_IS_ONE) - LAST_BIT_IS_ONE
}

/// The larger one; the second where one is not a number. One instruction, unlike `f64::max`.
#[inline(always)]
pub(crate) fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// The smaller one; the second where one is not a number.
#[inline(always)]
pub(crate) fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}
