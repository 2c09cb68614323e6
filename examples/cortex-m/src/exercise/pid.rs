use core::hint::black_box;

use aplomb::pid::{Config, Pid, State};

use super::any;

pub fn all() {
    let mut state = black_box(State::new());
    let config = black_box(Config::proportional(any(), any()));
    if let (Ok(pid), Ok(other)) = (Pid::new(&config, any()), Pid::new(&config, any())) {
        black_box(pid.step(&mut state, any(), any(), any()));
        pid.achieved(&mut state, any());
        other.retune(&mut state, &pid, any(), any(), any());
        black_box((state.integral(), state.demanded()));
        state.reset();
    }
    black_box(state);
}
