//! Conventions of all modules: axes, signs, rotor corners, commands and time. Each sign has a doctest.
//!
//! **World**: north-east-down from home. **Body**: forward-right-down at the centre of mass (ISO 1151-1).
//! Files and plots give height upwards and heading clockwise from north.
//!
//! **Attitude**: Hamilton quaternion, scalar first, body to world.
//!
//! ```
//! use aplomb::{Libm, frames::{Attitude, Body, Vector}};
//! // Yaw nose right by 90 deg: the forward axis points east.
//! let east = Attitude::from_angles::<Libm>(0.0, 0.0, core::f32::consts::FRAC_PI_2);
//! assert!((east.to_world(Vector::<Body>::new(1.0, 0.0, 0.0)).y() - 1.0).abs() < 1e-6);
//! // Pitch nose up: the forward axis points up (down component negative).
//! let nose_up = Attitude::from_angles::<Libm>(0.0, 0.3, 0.0);
//! assert!(nose_up.to_world(Vector::<Body>::new(1.0, 0.0, 0.0)).z() < 0.0);
//! // Roll right: the right axis points down.
//! let rolled = Attitude::from_angles::<Libm>(0.3, 0.0, 0.0);
//! assert!(rolled.to_world(Vector::<Body>::new(0.0, 1.0, 0.0)).z() > 0.0);
//! ```
//!
//! **Rates** follow the right-hand rule about the body axes: a positive roll rate increases the roll angle.
//!
//! ```
//! use aplomb::{Libm, frames::{Attitude, Vector}};
//! let after = Attitude::LEVEL.rotated(Vector::new(0.1, 0.0, 0.0));
//! assert!((after.to_angles::<Libm>().0 - 0.1).abs() < 1e-6);
//! ```
//!
//! **Specific force** is what an accelerometer measures: thrust and drag, without gravity. Stationary and
//! level it is (0, 0, -9.8) m/s2 in the body.
//!
//! **Thrust** acts along the body's up axis. A craft that is tilted to the right accelerates to the right.
//!
//! ```
//! use aplomb::{Libm, frames::Attitude};
//! let rolled = Attitude::from_angles::<Libm>(0.3, 0.0, 0.0);
//! let up = -rolled.down_axis();
//! assert!(up.y() > 0.0 && up.z() < 0.0);
//! ```
//!
//! **Rotors** are named by corner: front left, front right, rear left, rear right. A rotor at (x, y) with
//! thrust f, seen along the axes above, gives roll torque -y f, pitch torque x f and yaw torque s kappa f,
//! where s = +1 for a rotor that turns counter-clockwise seen from above and kappa is its torque-to-thrust
//! ratio in m:
//!
//! | effect | rotors with more thrust |
//! | --- | --- |
//! | roll right | the left pair |
//! | pitch nose up | the front pair |
//! | yaw nose right | the counter-clockwise pair |
//!
//! ```
//! assert_eq!(aplomb::Spin::CounterClockwise.reaction(), 1.0);
//! ```
//!
//! **Motor commands** are duty cycles, 0 (stopped) to 1: the average motor voltage over the battery voltage.
//!
//! **Time** is a fixed tick. Samples of tick k are taken at t_k; the command computed from them acts over
//! t_(k+1) to t_(k+2). Ages are in microseconds.
