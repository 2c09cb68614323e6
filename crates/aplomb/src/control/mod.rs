//! The controllers, from position inwards to rate.
//!
//! | part | from | to | runs in the demo at |
//! | --- | --- | --- | --- |
//! | [`position`] | position | velocity | 40 Hz |
//! | [`velocity`] | velocity | acceleration | 40 Hz |
//! | [`wind`] | estimated wind | acceleration against it, as feed-forward | 40 Hz |
//! | [`vertical`] | height or climb | vertical acceleration | 40 Hz |
//! | [`thrust_vector`] | acceleration | direction and size of the thrust, within the tilt and thrust limits | 40 Hz |
//! | [`heading`] | heading or heading rate | heading set-point within its rate limit | 200 Hz |
//! | [`attitude`] | attitude | body rate and its feed-forward | 200 Hz |
//! | [`rate`] | body rate | torque | 1 kHz |
//!
//! All have one form: `new(&config, period_s)` checks the configuration and computes the coefficients,
//! `step(...)` is one period, `reset()` initialises the state, `state()` and `set_state()` save and restore
//! it. A part with an integral has `achieved(...)`, called after each step with the output that was achieved.
//! Parts without state, [`position`] and [`thrust_vector`], take no period and have nothing to reset. Each
//! may be used alone; [`crate::flight`] connects them.

pub mod attitude;
pub mod heading;
mod inertia;
pub mod position;
pub mod rate;
pub mod thrust_vector;
pub mod velocity;
pub mod vertical;
pub mod wind;
