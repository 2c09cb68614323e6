use core::hint::black_box;

use aplomb::frames::{Attitude, Body, Heading, Horizontal, World};
use aplomb::{Corner, Math, MotorCommand, Rotors, Spin, Tilt};

use super::{any, any_vector};

pub fn all<M: Math>() {
    let (a, b) = (any_vector::<World>(), any_vector::<World>());
    black_box((a + b, a - b, -a, a * any(), a.dot(b), a.cross(b), a.scale(b)));
    black_box((a.norm_squared(), a.norm::<M>(), a.is_finite(), a.limited::<M>(any()), a.to_array()));

    let heading = Heading::from_rad::<M>(any());
    black_box(Heading::from_components(any(), any()));
    let other = black_box(Heading::from_direction::<M>(Horizontal::new(any(), any()))).unwrap_or(heading);
    black_box((
        heading.rotated(any()),
        heading.sine_to(other),
        heading.cosine_to(other),
        heading.to_rad::<M>(),
    ));
    black_box((heading.to_world(any(), any()), heading.north(), heading.east(), heading.direction()));

    let (flat, other_flat) = (black_box(Horizontal::new(any(), any())), a.horizontal());
    black_box((
        flat + other_flat,
        flat - other_flat,
        -flat,
        flat * any(),
        flat.dot(other_flat),
        flat.with_down(any()),
    ));
    black_box((flat.norm_squared(), flat.norm::<M>(), flat.is_finite(), flat.limited::<M>(any())));

    let level = Attitude::from_angles::<M>(any(), any(), any());
    let q = black_box(Attitude::from_wxyz::<M>([any(), any(), any(), any()])).unwrap_or(level);
    let target = black_box(Attitude::from_down_and_heading::<M>(a, heading)).unwrap_or(level);
    black_box((q.to_angles::<M>(), q.wxyz(), q.down_axis(), q.cos_tilt(), q.heading::<M>()));
    black_box((q.to_world(any_vector::<Body>()), q.to_body(a), q.error_to(target), q.rotated(any_vector())));
    black_box((q.rotation_to(target), q.nose()));

    let shares = Rotors::from_array([any(), any(), any(), any()]);
    black_box((shares.map(MotorCommand::saturating), shares.zip(Rotors::splat(any())), shares.sum()));
    black_box((shares.as_ref().into_array(), black_box(Spin::Clockwise).reaction()));
    let mut rotors = shares;
    *rotors.at_mut(black_box(Corner::RearLeft)) = any();
    rotors.each_mut().into_iter().for_each(|share| *share += any());
    black_box((rotors.iter().sum::<f32>(), rotors.at(black_box(Corner::FrontLeft)).is_finite()));
    black_box((Rotors::from_fn(|corner| corner.name().len()), black_box(Corner::RearRight).next()));
    black_box(black_box(Spin::Clockwise).opposite());
    black_box(Tilt::from_roll_pitch::<M>(any(), any()).limited::<M>(any()));
}
