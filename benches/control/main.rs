//! Cost of each function of the control crate on this machine, beside general-purpose crates for the same
//! task.
//!
//! `cargo bench --bench control` gives times, `benches/instructions` gives reproducible instruction counts.
//! On the microcontroller: `examples/cortex-m/run.sh cost`. Peers with large dependency trees are in
//! `benches/peers`.
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
