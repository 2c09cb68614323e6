use core::hint::black_box;

use aplomb::filter::{Biquad, BiquadState, LowPass, LowPassState, NotchBank, NotchBankConfig};
use aplomb::{Math, Rotors};

use super::{any, any_vector};

pub fn all<M: Math>() {
    for low_pass in
        [LowPass::new(any(), any()), LowPass::from_time_constant(any(), any())].into_iter().flatten()
    {
        let mut state = LowPassState::at(any());
        black_box((low_pass.step(&mut state, any()), low_pass.delay_s(), low_pass.gain(), state.output()));
    }
    for biquad in [Biquad::low_pass(any(), any()), Biquad::notch(any(), any(), any())].into_iter().flatten() {
        let mut state = black_box(BiquadState::new());
        black_box((biquad.step(&mut state, any()), state.output(), biquad.steady_state(any())));
        black_box((biquad.delay_s(), biquad.coefficients(), biquad.response::<M>(any(), any())));
    }
    let config =
        NotchBankConfig { bandwidth_hz: any(), harmonic: any(), lowest_hz: any(), highest_hz: any() };
    if let Ok(mut bank) = NotchBank::new(&config, any()) {
        let speeds = Rotors::from_array([any(), any(), any(), any()]);
        bank.follow(speeds);
        bank.set_state(black_box(bank.state()));
        black_box((bank.step(any_vector()), bank.delay_s()));
        bank.initialise(any_vector());
        bank.reset();
        black_box(bank);
    }
}
