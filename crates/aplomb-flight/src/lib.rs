//! The closed loop: a controller on a simulated craft, tick by tick ([`ClosedLoop`]), and whole flights by
//! plan ([`fly()`]).
//!
//! A flight plan ([`FlightPlan`]) holds commands, air, disturbances, faults and checks; the result is a
//! [`Trace`]. An own controller implements [`Controller`], an own craft [`Plant`]: see [`fly::fly_as`].
//!
//! | word | meaning |
//! | --- | --- |
//! | tick | one period of the controller, in which it runs once |
//! | plan | what is flown, in what air, with which disturbances and faults, and what must hold |
//! | trace | truth, estimate, set-point and actuators by time |
//! | check | a limit on a figure of a flight |
//! | warm-up | rest, take-off and settling before a flight that starts in hover; not evaluated |

pub mod angle;
pub mod camera;
pub mod check;
mod closed_loop;
pub mod controller;
mod error;
pub mod exchange;
pub mod fly;
pub mod limit;
pub mod plan;
pub mod plant;
pub mod sample;
pub mod signal;
pub mod trace;
mod words;

pub use closed_loop::ClosedLoop;
pub use controller::Controller;
pub use fly::fly;
pub use plan::FlightPlan;
pub use plant::Plant;
pub use trace::Trace;
