//! Flight control and mixing for quad-X multirotors.
#![no_std]

pub mod command;
pub mod control;
pub mod conventions;
pub mod error;
pub mod estimate;
pub mod filter;
pub mod flight;
pub mod frames;
pub mod gimbal;
pub mod guard;
pub mod math;
pub mod mix;
pub mod parameters;
pub mod pid;
pub mod pilot;
pub mod record;
mod rotors;
pub mod sensors;

pub use command::{Achieved, Command, Demand, HeadingDemand, Lean, Limited, Sticks, VerticalDemand};
pub use error::ConfigError;
pub use flight::FlightController;
#[cfg(feature = "micromath")]
pub use math::Micromath;
pub use math::{Libm, Math};
pub use rotors::{MotorCommand, Rotors, Spin};
pub use sensors::{Battery, ImuSample, Receiver, Sample, Sensors};

/// Standard acceleration of free fall in m/s2 (ISO 80000-3).
pub const STANDARD_GRAVITY_M_S2: f32 = 9.80665;
