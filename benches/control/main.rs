//! What each function of the control crate costs on this machine, beside general-purpose crates that do a
//! like job.
//!
//! `cargo bench --bench control` gives times, `benches/instructions` gives instruction counts, which repeat
//! to the last one. On the microcontroller: `examples/cortex-m/run.sh cost`. Peers with large dependency
//! trees stand in `benches/peers`.
//!
//! Every kernel is called for each of 256 rows of the same pseudo-random inputs; a figure is for one call,
//! the loop included.

mod estimate;
mod filter;
mod inputs;
mod loops;
mod mix;
mod pid;

use criterion::{criterion_group, criterion_main};

criterion_group!(benches, pid::pid, filter::filter, estimate::estimate, loops::loops, mix::mix);
criterion_main!(benches);
