//! The filters.

use core::hint::black_box;

use aplomb::Rotors;
use aplomb::filter::{Biquad, BiquadState, LowPass, LowPassState, NotchBank, NotchBankConfig};
use aplomb::frames::Vector;
use aplomb_cortex_m::{
    inputs::Inputs,
    table::{Limit, Table},
};

pub fn rows(table: &mut Table) {
    let mut random = Inputs::new();
    let low_pass = LowPass::new(100.0, 1e-3).expect("valid");
    let mut state = LowPassState::at(0.0);
    table.row("first-order low-pass", Limit::None, |_| random.unit(), |x| low_pass.step(&mut state, x));
    let biquad = Biquad::low_pass(100.0, 1e-3).expect("valid");
    let mut state = BiquadState::new();
    table.row("biquad", Limit::AtMost(20), |_| random.unit(), |x| biquad.step(&mut state, x));
    // The recurrence alone: neither a check of the sample nor a held output.
    let [b0, b1, b2, a1, a2] = black_box(biquad.coefficients());
    let (mut s1, mut s2) = (0.0, 0.0);
    table.row(
        "  its recurrence alone",
        Limit::None,
        |_| random.unit(),
        |x| {
            let y = b0 * x + s1;
            s1 = b1 * x - a1 * y + s2;
            s2 = b2 * x - a2 * y;
            y
        },
    );
    let config = NotchBankConfig { bandwidth_hz: 20.0, harmonic: 2.0, lowest_hz: 60.0, highest_hz: 400.0 };
    let mut bank = NotchBank::new(&config, 1e-3).expect("valid");
    table.row(
        "notch bank: follow four rotors",
        Limit::None,
        |_| Rotors::from_array(random.array::<4>(300.0)).map(|x| 600.0 + x),
        |speed| bank.follow(speed),
    );
    table.row(
        "notch bank: four notches on three axes",
        Limit::None,
        |_| Vector::from_glam(random.array::<3>(1.0).into()),
        |x| bank.step(x),
    );
}
