//! Calls of every public function of the control crate that a tick, a set-point or a constructor uses, with
//! arguments that the compiler cannot know. Extend it with every function that the crate gains.

mod control;
mod estimate;
mod filter;
mod flight;
mod frames;
mod gimbal;
mod mix;
mod parameters;
mod pid;
mod stages;

use core::hint::black_box;

use aplomb::frames::{Frame, Vector};
use aplomb::math::{saturate, saturate_symmetric};
use aplomb::{Libm, Math, Micromath};

/// Calls all of them.
pub fn all() {
    scalars::<Libm>();
    scalars::<Micromath>();
    frames::all::<Libm>();
    frames::all::<Micromath>();
    parameters::all();
    gimbal::all::<Libm>();
    gimbal::all::<Micromath>();
    pid::all();
    filter::all::<Libm>();
    estimate::all::<Libm>();
    estimate::all::<Micromath>();
    mix::all();
    control::all::<Libm>();
    control::all::<Micromath>();
    flight::all::<Libm>();
    flight::all::<Micromath>();
}

/// A value the compiler cannot know.
fn any() -> f32 {
    black_box(0.5)
}

fn any_vector<F: Frame>() -> Vector<F> {
    Vector::new(any(), any(), any())
}

fn scalars<M: Math>() {
    let x = any();
    black_box([M::sqrt(x), M::sin(x), M::cos(x), M::atan2(x, any()), M::asin(x)]);
    black_box([saturate(x, any(), any()), saturate_symmetric(x, any())]);
}
