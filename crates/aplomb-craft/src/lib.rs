//! A simulated quad-X multirotor: rigid body, rotors, battery, air and sensors, the same bits on every run from one seed.
//!
//! The craft knows nothing of any controller. Motor commands 0..1 go in, sensor samples in SI units come out:
//!
//! ```
//! use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start};
//! let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
//! let mut plant = Plant::new(&Config::weir_gauge(), &AirConfig::default(), &start, 1, 0.001)?;
//! let hover = plant.truth().motor_command;
//! for _ in 0..500 {
//!     let readings = plant.sense();
//!     assert!(readings.imu.is_some());
//!     plant.advance(hover);
//! }
//! let truth = plant.truth();
//! assert!((truth.time_s - 0.5).abs() < 1e-9 && (truth.height_m() - 6.0).abs() < 0.02);
//! # Ok::<(), aplomb_craft::ConfigError>(())
//! ```
//!
//! Axes: world north-east-down from home, body forward-right-down at the centre of mass, attitude from body to world.
//! Home is the centre of mass of the craft at rest on its feet, so `height_m` is 0 there. Everything is `f64`, and every
//! function beyond the four operations and the square root is `libm`'s, so results do not hang on the platform.

pub mod air;
pub mod atmosphere;
pub mod battery;
pub mod body;
mod config;
mod divider;
pub mod drag;
pub mod dryden;
mod error;
pub mod fault;
mod forces;
pub mod gimbal;
pub mod gravity;
pub mod ground;
pub mod ground_effect;
pub mod gust;
mod hover;
mod lanes;
mod motor;
pub mod mount;
mod payload;
mod plant;
pub mod propeller;
mod propulsion;
pub mod random;
pub mod rotor;
mod rotors;
pub mod sensors;
pub mod speed_controller;
mod start;
mod steady;
mod truth;
mod vibration;

pub use air::{AirConfig, WindStep};
pub use config::{Arm, Config};
pub use dryden::Turbulence;
pub use error::{ConfigError, Reason};
pub use fault::Fault;
pub use glam;
pub use gust::Gust;
pub use mount::Mount;
pub use payload::Payload;
pub use plant::Plant;
pub use rotors::{Corner, Rotors, Spin};
pub use sensors::Readings;
pub use start::Start;
pub use steady::Steady;
pub use truth::Truth;

/// The examples of the README compile and run.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
