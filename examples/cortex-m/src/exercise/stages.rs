use core::hint::black_box;

use aplomb::flight::{AttitudeStage, Config, Divider, GyroFilters, OuterLoops, RotorNotches};
use aplomb::frames::Heading;
use aplomb::{Achieved, Demand, Math, Rotors, estimate};

use super::{any, any_vector};

pub fn all<M: Math>(config: &Config, demands: &[Demand]) {
    let motion = black_box(estimate::State::default());
    let rotors = || Rotors::splat(any());
    if let (Ok(mut outer_loops), Ok(mut attitude)) =
        (OuterLoops::<M>::new(config), AttitudeStage::<M>::new(config))
    {
        for demand in demands {
            let outer = outer_loops.step(demand, black_box(true), &motion, &black_box(Achieved::default()));
            black_box(outer.direction.down::<M>(Heading::from_rad::<M>(any())));
            black_box(attitude.step(&outer, &motion, any_vector()));
        }
        black_box(outer_loops.integral_m_s2());
        outer_loops.set_state(black_box(outer_loops.state()));
        outer_loops.reset();
        attitude.set_state(black_box(attitude.state()));
        attitude.reset();
        black_box((outer_loops, attitude));
    }
    if let Ok(mut filters) = GyroFilters::<M>::new(config) {
        black_box(filters.step(any_vector(), black_box(Some(&rotors())), &rotors()));
        filters.set_state(black_box(filters.state()));
        black_box(filters.delay_s());
        filters.reset();
        black_box(filters);
    }
    black_box(config.notch.hover_delay_s(any()).is_ok());
    if let Ok(Some(mut notches)) = RotorNotches::<M>::new(&config.notch, any(), any(), any()) {
        black_box(notches.step(any_vector(), black_box(None), &rotors()));
        notches.set_state(black_box(notches.state()));
        notches.initialise(any_vector());
        black_box(notches.delay_s());
    }
    let mut divider = Divider::new(black_box(5));
    black_box(divider.is_due());
    divider.set_ticks_left(black_box(divider.ticks_left()));
    divider.reset();
    black_box(divider);
}
