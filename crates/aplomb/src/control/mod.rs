//! The loops, from position inwards to rate. Each is a configuration, coefficients folded at construction, a state and a
//! step, and may be used alone; [`crate::flight`] is only their wiring.
//!
//! | loop | from | to | runs in the demo at |
//! | --- | --- | --- | --- |
//! | [`position`] | place | velocity | 40 Hz |
//! | [`velocity`] | velocity | acceleration | 40 Hz |
//! | [`wind`] | estimated wind | acceleration against it, fed forward | 40 Hz |
//! | [`vertical`] | height or climb | vertical acceleration | 40 Hz |
//! | [`thrust_vector`] | acceleration | where the thrust leans, within the tilt and thrust limits | 40 Hz |
//! | [`attitude`] | attitude | body rate and its feed-forward | 200 Hz |
//! | [`rate`] | body rate | torque | 1 kHz |

pub mod attitude;
mod inertia;
pub mod position;
pub mod rate;
pub mod thrust_vector;
pub mod velocity;
pub mod vertical;
pub mod wind;
