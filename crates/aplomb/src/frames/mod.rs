//! Vectors and attitude that know their frame.
//!
//! [`World`] is north-east-down from home, [`Body`] is forward-right-down at the centre of mass (ISO 1151-1). The frame
//! is a type parameter without run-time cost; adding vectors of two frames does not compile:
//!
//! ```compile_fail
//! use aplomb::frames::{Body, Vector, World};
//! let sum = Vector::<World>::new(1.0, 0.0, 0.0) + Vector::<Body>::new(1.0, 0.0, 0.0);
//! ```
//!
//! What the types do not guard: the unit (it is in the name of each field) and the time a vector was true.

mod attitude;
mod heading;
mod vector;

pub use attitude::Attitude;
pub use heading::Heading;
pub use vector::{Body, Camera, Frame, Vector, World};
