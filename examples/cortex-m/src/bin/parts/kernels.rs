//! Square roots, PID controller and filters, over random inputs.

use aplomb::filter::{Biquad, BiquadState, LowPass, LowPassState, NotchBank, NotchBankConfig};
use aplomb::frames::Vector;
use aplomb::pid::{Config, Pid, State};
use aplomb::{Libm, Math, Micromath, Rotors};
use aplomb_cortex_m::{inputs::Inputs, meter::Meter, table::measure};

/// Calls measured a row.
const CALLS: u32 = 512;
const PERIOD_S: f32 = 1e-3;

pub fn rows(meter: &Meter) {
    let mut random = Inputs::new();
    measure(meter, "square root, Libm", CALLS, || 1.5 + random.unit(), Libm::sqrt);
    measure(meter, "square root, Micromath", CALLS, || 1.5 + random.unit(), Micromath::sqrt);

    let config =
        Config { integral_time_s: Some(0.5), derivative_time_s: 0.05, ..Config::proportional(2.0, 1.0) };
    let pid = Pid::new(&config, PERIOD_S).expect("valid");
    let mut state = State::new();
    // The first step initialises the derivative and is not measured.
    pid.step(&mut state, 0.0, 0.0, 0.0);
    // Set-point, measurement and feed-forward; a third of the outputs are at the limit.
    measure(
        meter,
        "PID controller",
        CALLS,
        || random.array::<3>(1.0),
        |[r, y, f]| {
            let u = pid.step(&mut state, r, y, f);
            pid.achieved(&mut state, u);
            u
        },
    );

    let low_pass = LowPass::new(100.0, PERIOD_S).expect("valid");
    let mut state = LowPassState::at(0.0);
    measure(meter, "first-order low-pass", CALLS, || random.unit(), |x| low_pass.step(&mut state, x));
    let biquad = Biquad::low_pass(100.0, PERIOD_S).expect("valid");
    let mut state = BiquadState::new();
    measure(meter, "biquad", CALLS, || random.unit(), |x| biquad.step(&mut state, x));
    let config = NotchBankConfig { bandwidth_hz: 20.0, harmonic: 2.0, lowest_hz: 60.0, highest_hz: 400.0 };
    let mut bank = NotchBank::new(&config, PERIOD_S).expect("valid");
    measure(
        meter,
        "notch bank: follow four rotors",
        CALLS,
        || Rotors::from_array(random.array::<4>(300.0)).map(|x| 600.0 + x),
        |speed| bank.follow(speed),
    );
    measure(
        meter,
        "notch bank: four notches on three axes",
        CALLS,
        || Vector::from_glam(random.array::<3>(1.0).into()),
        |x| bank.step(x),
    );
}
