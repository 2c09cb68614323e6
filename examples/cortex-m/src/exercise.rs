//! Calls of every public function of the control crate that a tick, a set-point or a constructor uses, with arguments
//! that the compiler cannot know. Extend it with every function you add to the crate.

use core::hint::black_box;

use aplomb::frames::{Attitude, Body, Heading, Vector, World};
use aplomb::math::{saturate, saturate_symmetric};
use aplomb::{Lean, Libm, Math, Micromath, MotorCommand, Rotors, Spin};

/// A value the compiler cannot know.
fn any() -> f32 {
    black_box(0.5)
}

fn any_vector<F: aplomb::frames::Frame>() -> Vector<F> {
    Vector::new(any(), any(), any())
}

/// Everything.
pub fn all() {
    scalars::<Libm>();
    scalars::<Micromath>();
    frames::<Libm>();
    frames::<Micromath>();
    rotors();
}

fn scalars<M: Math>() {
    let x = any();
    black_box([M::sqrt(x), M::recip_sqrt(x), M::sin(x), M::cos(x), M::atan2(x, any()), M::asin(x)]);
    black_box([saturate(x, any(), any()), saturate_symmetric(x, any())]);
}

fn frames<M: Math>() {
    let (a, b) = (any_vector::<World>(), any_vector::<World>());
    black_box((a + b, a - b, -a, a * any(), a.dot(b), a.cross(b), a.scale(b)));
    black_box((a.norm_squared(), a.norm::<M>(), a.is_finite(), a.limited::<M>(any()), a.to_array()));

    let heading = Heading::from_rad::<M>(any());
    let other = black_box(Heading::from_direction::<M>(any(), any())).unwrap_or(heading);
    black_box((
        heading.turned(any()),
        heading.sine_to(other),
        heading.cosine_to(other),
        heading.to_rad::<M>(),
    ));
    black_box(heading.to_world(any(), any(), any()));

    let level = Attitude::from_angles::<M>(any(), any(), any());
    let q = black_box(Attitude::from_wxyz::<M>([any(), any(), any(), any()])).unwrap_or(level);
    let target = black_box(Attitude::from_down_and_heading::<M>(a, heading)).unwrap_or(level);
    black_box((q.to_angles::<M>(), q.wxyz(), q.down_axis(), q.cos_tilt(), q.heading::<M>()));
    black_box((q.to_world(any_vector::<Body>()), q.to_body(a), q.error_to(target), q.turned(any_vector())));
}

fn rotors() {
    let shares = Rotors::from_array([any(), any(), any(), any()]);
    black_box((shares.map(MotorCommand::saturating), shares.zip(Rotors::splat(any())), shares.sum()));
    black_box((shares.as_ref().into_array(), black_box(Spin::Clockwise).reaction()));
    black_box(Lean::from_roll_pitch::<Libm>(any(), any()));
}
