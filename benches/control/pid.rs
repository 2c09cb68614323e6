//! A PID step from set-point and measurement to an output within +-1, with integral and derivative, at 1 kHz.
//!
//! `pid` limits each term and filters no derivative; its integral is limited by size, not by what was
//! achieved. `idsp` is a biquad with a clamped output: derivative on the error, anti-windup by its stored
//! clamped output. Neither has a feed-forward or anti-windup by an achieved output; both pass NaN on.

use aplomb::pid::{Config, Pid, State};
use criterion::Criterion;
use dsp_process::SplitProcess;
use idsp::iir;

use super::inputs::{group, measure, rows};

const PERIOD_S: f32 = 1e-3;

mod kernel {
    use super::*;
    use crate::inputs::{Rows, each};

    #[inline(never)]
    pub fn pid_step_aplomb((pid, state): &mut (Pid, State), rows: &Rows<[f32; 2]>) -> f32 {
        each(rows, |&[setpoint, measured]| {
            let output = pid.step(state, setpoint, measured, 0.0);
            pid.achieved(state, output);
            output
        })
    }

    #[inline(never)]
    pub fn pid_step_peer_pid(pid: &mut ::pid::Pid<f32>, rows: &Rows<[f32; 2]>) -> f32 {
        each(rows, |&[setpoint, measured]| {
            pid.setpoint(setpoint);
            pid.next_control_output(measured).output
        })
    }

    #[inline(never)]
    pub fn pid_step_peer_idsp(
        (biquad, state): &mut (iir::BiquadClamp<f32>, iir::DirectForm2Transposed<f32>),
        rows: &Rows<[f32; 2]>,
    ) -> f32 {
        each(rows, |&[setpoint, measured]| biquad.process(state, setpoint - measured))
    }
}

pub fn pid(c: &mut Criterion) {
    let config =
        Config { integral_time_s: Some(0.5), derivative_time_s: 0.05, ..Config::proportional(2.0, 1.0) };
    let own = Pid::new(&config, PERIOD_S).expect("valid");
    let mut peer = ::pid::Pid::new(0.0_f32, 1.0_f32);
    peer.p(2.0_f32, 1.0_f32).i(2.0 * PERIOD_S / 0.5, 1.0_f32).d(2.0 * 0.05 / PERIOD_S, 1.0_f32);
    let gains =
        iir::pid::Pid::default().kp(2.0).ki(2.0 / 0.5).kd(2.0 * 0.05).limit_d(20.0).output_limits(-1.0, 1.0);
    let filter: iir::BiquadClamp<f32> =
        gains.try_build(&iir::pid::Units { t: PERIOD_S, x: 1.0, y: 1.0 }).expect("valid");

    let inputs = rows(|_, [setpoint, measured]| [setpoint, measured]);
    let mut group = group(c, "pid");
    measure(&mut group, "step_aplomb", (own, State::new()), &inputs, kernel::pid_step_aplomb);
    measure(&mut group, "step_peer_pid", peer, &inputs, kernel::pid_step_peer_pid);
    let filter = (filter, iir::DirectForm2Transposed::default());
    measure(&mut group, "step_peer_idsp", filter, &inputs, kernel::pid_step_peer_idsp);
    group.finish();
}
