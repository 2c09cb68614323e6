//! Vectors, attitude and heading with their frame in the type.
//!
//! [`World`] is north-east-down from home, [`Body`] is forward-right-down at the centre of mass (ISO 1151-1).
//! The frame is a type parameter without run-time cost. Mixing frames does not compile; each of these has
//! only the frame wrong (E0308, mismatched types), and the same lines with the right frame follow and run.
//!
//! ```compile_fail,E0308
//! use aplomb_types::frames::{Body, Vector, World};
//! let sum = Vector::<World>::new(1.0, 0.0, 0.0) + Vector::<Body>::new(1.0, 0.0, 0.0);
//! ```
//!
//! ```compile_fail,E0308
//! use aplomb_types::frames::{Body, Vector, World};
//! let along = Vector::<World>::new(1.0, 0.0, 0.0).dot(Vector::<Body>::new(1.0, 0.0, 0.0));
//! ```
//!
//! ```compile_fail,E0308
//! use aplomb_types::frames::{Attitude, Vector, World};
//! // `to_world` takes a body vector.
//! let twice = Attitude::LEVEL.to_world(Vector::<World>::new(1.0, 0.0, 0.0));
//! ```
//!
//! ```
//! use aplomb_types::frames::{Attitude, Body, Vector, World};
//! let sum = Vector::<World>::new(1.0, 0.0, 0.0) + Vector::<World>::new(1.0, 0.0, 0.0);
//! let along = Vector::<World>::new(1.0, 0.0, 0.0).dot(Vector::<World>::new(1.0, 0.0, 0.0));
//! let once = Attitude::LEVEL.to_world(Vector::<Body>::new(1.0, 0.0, 0.0));
//! assert_eq!((sum.x(), along, once.x()), (2.0, 1.0, 1.0));
//! ```
//!
//! The types do not check the unit (it is in the name of each field) or the time of a vector.

mod attitude;
mod heading;
mod horizontal;
mod vector;

pub use attitude::Attitude;
pub use heading::Heading;
pub use horizontal::Horizontal;
pub use vector::{Body, Camera, Frame, Vector, World};
