//! One sample through a filter at 1 kHz: a first-order low-pass, a second-order low-pass at 100 Hz, and the
//! bank of notches.
//!
//! `biquad` and `idsp` compute the same recurrence in the same transposed form; the filter here also holds
//! its output when a sample is NaN and prevents denormal numbers.

use aplomb::Rotors;
use aplomb::filter::{Biquad, BiquadState, LowPass, LowPassState, NotchBank, NotchBankConfig};
use aplomb::frames::Vector;
use biquad::{Biquad as _, Coefficients, DirectForm2Transposed, ToHertz, Type};
use criterion::Criterion;
use dsp_process::SplitProcess;
use idsp::iir;

use super::inputs::{group, measure, rows};

const PERIOD_S: f32 = 1e-3;

mod kernel {
    use super::*;
    use crate::inputs::{Rows, each};

    #[inline(never)]
    pub fn filter_low_pass_aplomb((filter, state): &mut (LowPass, LowPassState), rows: &Rows<f32>) -> f32 {
        each(rows, |&sample| filter.step(state, sample))
    }

    #[inline(never)]
    pub fn filter_biquad_aplomb((filter, state): &mut (Biquad, BiquadState), rows: &Rows<f32>) -> f32 {
        each(rows, |&sample| filter.step(state, sample))
    }

    #[inline(never)]
    pub fn filter_biquad_peer_biquad(filter: &mut DirectForm2Transposed<f32>, rows: &Rows<f32>) -> f32 {
        each(rows, |&sample| filter.run(sample))
    }

    #[inline(never)]
    pub fn filter_biquad_peer_idsp(
        (filter, state): &mut (iir::Biquad<f32>, iir::DirectForm2Transposed<f32>),
        rows: &Rows<f32>,
    ) -> f32 {
        each(rows, |&sample| filter.process(state, sample))
    }

    #[inline(never)]
    pub fn filter_notch_bank_follow_aplomb(bank: &mut NotchBank, rows: &Rows<f32>) -> f32 {
        each(rows, |&x| {
            bank.follow(Rotors::from_array([600.0, 610.0, 620.0, 630.0]).map(|speed| speed + 100.0 * x));
            x
        })
    }

    #[inline(never)]
    pub fn filter_notch_bank_three_axes_aplomb(bank: &mut NotchBank, rows: &Rows<f32>) -> f32 {
        each(rows, |&x| bank.step(Vector::new(x, -x, 0.5 * x)).x())
    }
}

pub fn filter(c: &mut Criterion) {
    let inputs = rows(|_, [sample]| sample);
    let mut group = group(c, "filter");
    let low_pass = (LowPass::new(100.0, PERIOD_S).expect("valid"), LowPassState::at(0.0));
    measure(&mut group, "low_pass_aplomb", low_pass, &inputs, kernel::filter_low_pass_aplomb);
    let own = Biquad::low_pass(100.0, PERIOD_S).expect("valid");
    measure(&mut group, "biquad_aplomb", (own, BiquadState::new()), &inputs, kernel::filter_biquad_aplomb);
    let quality = std::f32::consts::FRAC_1_SQRT_2;
    let coefficients =
        Coefficients::from_params(Type::LowPass, 1000.0.hz(), 100.0.hz(), quality).expect("valid");
    let peer = DirectForm2Transposed::new(coefficients);
    measure(&mut group, "biquad_peer_biquad", peer, &inputs, kernel::filter_biquad_peer_biquad);
    let Coefficients { b0, b1, b2, a1, a2 } = coefficients;
    let peer = (iir::Biquad { ba: [b0, b1, b2, -a1, -a2] }, iir::DirectForm2Transposed::default());
    measure(&mut group, "biquad_peer_idsp", peer, &inputs, kernel::filter_biquad_peer_idsp);
    let config = NotchBankConfig { bandwidth_hz: 20.0, harmonic: 2.0, lowest_hz: 60.0, highest_hz: 400.0 };
    let bank = || NotchBank::new(&config, PERIOD_S).expect("valid");
    measure(&mut group, "notch_bank_follow_aplomb", bank(), &inputs, kernel::filter_notch_bank_follow_aplomb);
    let name = "notch_bank_three_axes_aplomb";
    measure(&mut group, name, bank(), &inputs, kernel::filter_notch_bank_three_axes_aplomb);
    group.finish();
}
