//! Simulation of a quad-X multirotor: rigid body, rotors, battery, air and sensors, reproducible bit for bit
//! from one seed.
//!
//! The crate does not depend on a controller. Inputs are motor commands 0..1, outputs are sensor samples in
//! SI units:
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
//! # Conventions
//!
//! Axes: world north-east-down from home, body forward-right-down at the centre of mass, attitude from body
//! to world. Home is the centre of mass of the stationary craft on its landing gear, so `height_m` is 0
//! there. All numbers are `f64`. All functions the four operations and the square root are those of `libm`,
//! so results are the same on every platform.
//!
//! # Glossary
//!
//! - **plant**: the simulated craft in its air, [`Plant`]; **truth**: the true state of the craft, [`Truth`];
//! - **corner**: position of a rotor on the frame, front left to rear right, [`Corner`];
//! - **designation**: diameter x pitch of a propeller, [`propeller::Designation`];
//! - **advance ratio**: J = V/(n D), axial speed over revolutions per second times diameter;
//! - **inflow**: flow through the rotor disc; **edgewise flow**: flow in the plane of the disc;
//! - **reading**: a sensor sample with its age, [`sensors::Reading`];
//! - **turn-on bias**: bias of an inertial sensor that is constant after power-up; **bias instability**: its
//!   slow variation (IEEE Std 952);
//! - **correlated noise**: first-order Gauss-Markov process; **hard iron**, **soft iron**: constant and
//!   field-proportional disturbance of the magnetometer;
//! - **gimbal**: three-axis mount of the camera, [`gimbal`];
//! - **test stand**, **tether**: constraints of the motion, [`mount`];
//! - **static deflection**: compression of the landing gear under the weight, [`ground`];
//! - **steady flight**: flight without acceleration (trim), [`Steady`];
//! - **fault**: failure of a rotor or a sensor between two times, [`fault`].

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
pub mod sensors;
pub mod speed_controller;
mod start;
mod steady;
mod truth;
mod vibration;
mod visit;

pub use air::{AirConfig, WindStep};
pub use aplomb_types::{Corner, ROTORS, Rotors, Spin};
pub use config::{Arm, Config};
pub use dryden::Turbulence;
pub use error::{ConfigError, Reason};
pub use fault::Fault;
pub use glam;
pub use gust::Gust;
pub use mount::Mount;
pub use payload::Payload;
pub use plant::Plant;
pub use sensors::Readings;
pub use start::Start;
pub use steady::Steady;
pub use truth::Truth;

/// Compiles and runs the examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
