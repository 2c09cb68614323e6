//! The pages of the studies.

pub mod compare;
pub mod disperse;
pub mod envelope;
pub mod explain;
pub mod tune;
pub mod verify;
