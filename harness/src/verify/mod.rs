//! Verification of a folder: all requirements and checks on all flights, compared with an accepted baseline.

pub mod baseline;
pub mod folder;
pub mod json;
pub mod junit;
mod page;
pub mod suite;
pub mod summary;

pub use baseline::{Baseline, Cause};
pub use folder::Folder;
pub use page::page;
pub use suite::{Item, Judgement, judge};

#[cfg(test)]
mod tests;
