//! The types that a quad-X craft and its flight controller share: `no_std`, no heap, no `unsafe`.
//!
//! | item | contents |
//! | --- | --- |
//! | [`Corner`], [`Rotors`], [`ROTORS`] | the four corners of a quad-X and one value for each of them |
//! | [`Spin`] | sense of rotation of a rotor and the sign of its reaction torque |
//! | [`frames`] | vectors, attitude and heading, north-east-down in the world and forward-right-down in the body |
//! | [`gravity`] | the standard acceleration of free fall |
//! | [`math`] | square root and trigonometry behind the trait [`Math`] |
//!
//! ```
//! use aplomb_types::{Corner, Libm, Rotors, Spin, frames::{Attitude, Vector}, gravity::STANDARD_M_S2_F32};
//!
//! // A craft at 30 deg of roll and constant height: each rotor's thrust over its share of the weight is 1/cos(30 deg).
//! let rolled = Attitude::from_angles::<Libm>(30f32.to_radians(), 0.0, 0.0);
//! let weight_n = 1.2 * STANDARD_M_S2_F32;
//! let thrust_n = Rotors::splat(0.25 * weight_n / rolled.cos_tilt());
//! assert!((thrust_n.sum() / weight_n - 1.1547).abs() < 1e-4);
//!
//! // That thrust, along the body's up axis, balances the weight and accelerates the craft to the right: east, with the nose to the north.
//! let force_n = rolled.to_world(Vector::new(0.0, 0.0, -thrust_n.sum()));
//! assert!((force_n.z() + weight_n).abs() < 1e-5 && (force_n.y() - 0.57735 * weight_n).abs() < 1e-4);
//!
//! // The rotors of a diagonal spin alike and the diagonals oppositely, so the reaction torques cancel.
//! let spin = Rotors::from_fn(|corner| match corner {
//!     Corner::FrontLeft | Corner::RearRight => Spin::CounterClockwise,
//!     Corner::FrontRight | Corner::RearLeft => Spin::Clockwise,
//! });
//! assert_eq!(spin.zip(thrust_n).map(|(spin, thrust)| spin.reaction() * thrust).sum(), 0.0);
//! ```
//!
//! # Glossary
//!
//! - **world**, **body**: axes north-east-down from home, axes forward-right-down at the centre of mass;
//! - **corner**: position of a rotor on the frame: front left, front right, rear left, rear right;
//! - **spin**: sense of rotation of a rotor; **reaction torque**: its torque on the frame, against the spin;
//! - **attitude**: rotation from body to world, a Hamilton quaternion; **tilt**: angle between the body's up
//!   axis and the vertical; **heading**: direction of the nose, clockwise from north;
//! - **horizontal**: north and east part of a world vector.
//!
//! # Features
//!
//! None by default. `defmt` and `serde`: formats of every public type. `micromath`: fast approximate square
//! roots.
#![no_std]
#![cfg_attr(docsrs, feature(doc_cfg))]

mod corner;
pub mod frames;
pub mod gravity;
pub mod math;
mod rotors;
mod spin;

pub use corner::Corner;
#[cfg(feature = "micromath")]
pub use math::Micromath;
pub use math::{Libm, Math};
pub use rotors::{ROTORS, Rotors};
pub use spin::Spin;
