//! The attitude filter and the mixer beside general-purpose crates that do a like job, on the same inputs.
//!
//! `cargo bench --manifest-path benches/peers/Cargo.toml` gives times, `benches/instructions peers` gives
//! instruction counts.

mod attitude;
#[path = "../control/inputs.rs"]
mod inputs;
mod mix;

use criterion::{criterion_group, criterion_main};

criterion_group!(benches, attitude::attitude, mix::mix);
criterion_main!(benches);
