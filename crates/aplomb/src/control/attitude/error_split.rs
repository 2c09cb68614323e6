//! The error between two attitudes, split into tilt and heading: the equations stand in [`super`].

use crate::frames::{Attitude, Body, Vector};
use crate::math::{Math, recip_sqrt_of_share};

/// Errors of tilt (x and y) and heading (z) of a turn (w, x, y, z) or its negative: twice the vector part of each, with
/// `per_n` = 1/sqrt(w^2 + z^2).
#[inline]
fn parts([w, x, y, z]: [f32; 4], per_n: f32) -> Vector<Body> {
    let k = 2.0 * per_n;
    Vector::new(k * (w * x - y * z), k * (w * y + x * z), if w < 0.0 { -k * z } else { k * z })
}

/// Errors of tilt and heading from `from` to `to`, about the body axes of `from`.
#[inline]
pub(super) fn split_error<M: Math>(from: Attitude, to: Attitude) -> Vector<Body> {
    let turn = from.rotation_to(to);
    let [w, x, y, z] = turn;
    let n2 = w * w + z * z;
    if n2 > 1e-6 {
        parts(turn, recip_sqrt_of_share::<M>(n2))
    } else {
        // Upside down: any horizontal axis will do, and the heading can wait.
        Vector::new(2.0 * x, 2.0 * y, 0.0)
    }
}

/// The same for attitudes less than 41 deg apart in tilt and in heading, without a root; `None` beyond.
#[inline]
pub(super) fn near_error(from: Attitude, to: Attitude) -> Option<Vector<Body>> {
    let turn = from.rotation_to(to);
    let [_, x, y, z] = turn;
    let u = x * x + y * y;
    if u < 0.125 && z * z < 0.125 {
        // 1/sqrt(1 - u) to 1e-5 at the end of the range.
        let per_n = 1.0 + u * (0.5 + u * (0.375 + u * (0.3125 + u * 0.273_437_5)));
        Some(parts(turn, per_n))
    } else {
        None
    }
}
