use core::hint::black_box;

use aplomb::pid::{Config, Pid, SlewLimit, SlewState, State};

use super::any;

pub fn all() {
    let mut state = black_box(State::new());
    let config = black_box(Config::proportional(any(), any()));
    if let (Ok(pid), Ok(other)) = (Pid::new(&config, any()), Pid::new(&config, any())) {
        black_box(pid.step(&mut state, any(), any(), any()));
        pid.achieved(&mut state, any());
        pid.preset(&mut state, any(), any(), any(), any());
        other.adopt(&mut state, &pid, any(), any());
        black_box((state.integral(), state.demanded()));
        state.reset();
    }
    if let Ok(slew) = SlewLimit::new(any(), any(), any()) {
        black_box(slew.step(&mut black_box(SlewState::at(any())), any()));
    }
    black_box(state);
}
