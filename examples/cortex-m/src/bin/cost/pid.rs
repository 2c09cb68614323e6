//! The PID controller.

use core::hint::black_box;

use aplomb::pid::{Config, Pid, State};
use aplomb_cortex_m::{
    inputs::Inputs,
    table::{Limit, Table},
};

pub fn rows(table: &mut Table) {
    let config =
        Config { integral_time_s: Some(0.5), derivative_time_s: 0.05, ..Config::proportional(2.0, 1.0) };
    let pid = Pid::new(&config, 1e-3).expect("valid");
    let mut random = Inputs::new();
    // Set-point, measurement and feed-forward; a third of the outputs meet the limit.
    let mut input = |_| random.array::<3>(1.0);
    // The first step, which starts the derivative, is not measured.
    let started = || {
        let mut state = State::new();
        pid.step(&mut state, 0.0, 0.0, 0.0);
        state
    };
    let mut state = started();
    table.row("PID core", Limit::None, &mut input, |[r, y, f]| {
        let u = pid.step(&mut state, r, y, f);
        pid.achieved(&mut state, u);
        u
    });
    let limited = Pid::new(&Config { integral_limit: 1e-3, ..config }, 1e-3).expect("valid");
    let mut state = started();
    table.row("  its integral at the limit", Limit::None, &mut input, |[r, y, f]| {
        let u = limited.step(&mut state, r, y, f);
        limited.achieved(&mut state, u);
        u
    });
    // The difference equations alone: no set-point weights, no check of the inputs, no limit of the integral.
    let [k, ki, decay, kd, kt, low, high] = black_box([2.0, 0.004, 0.8, 4.0, 0.01, -1.0, 1.0f32]);
    let (mut integral, mut derivative, mut previous) = (0.0, 0.0, 0.0);
    table.row("  its difference equations alone", Limit::None, &mut input, |[r, y, f]| {
        derivative = decay * derivative - kd * (y - previous);
        previous = y;
        let v = k * (r - y) + integral + derivative + f;
        let u = if v > low { v } else { low };
        let u = if u < high { u } else { high };
        integral += ki * (r - y) + kt * (u - v);
        u
    });
}
