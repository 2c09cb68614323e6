//! Arithmetic on all four rotors at once: plain arrays without branches, of which the compiler makes vector instructions.

/// The value at each place.
#[inline(always)]
pub(crate) fn each(value: impl FnMut(usize) -> f64) -> [f64; 4] {
    core::array::from_fn(value)
}

/// The sum over the four places.
#[inline(always)]
pub(crate) fn sum(value: impl Fn(usize) -> f64) -> f64 {
    (value(0) + value(2)) + (value(1) + value(3))
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
