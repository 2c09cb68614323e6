//! Inputs, the same on every run, and the loop over them.

use std::hint::black_box;

use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, Criterion, Throughput};

/// Calls of one kernel.
pub const ROWS: usize = 256;

/// Inputs of [`ROWS`] calls.
pub type Rows<T> = [T; ROWS];

/// A table of inputs made from `N` numbers each, evenly spread over -1 to 1.
pub fn rows<T, const N: usize>(make: impl Fn(usize, [f32; N]) -> T) -> Rows<T> {
    // Marsaglia's 32-bit xorshift (2003, triple 13, 17, 5).
    let mut state = 0x9e37_79b9_u32;
    let mut unit = || {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        (state as i32 as f32) * (1.0 / 2_147_483_648.0)
    };
    std::array::from_fn(|row| make(row, std::array::from_fn(|_| unit())))
}

/// Calls `step` for each row; the sum keeps the results in use.
#[inline(always)]
pub fn each<T>(rows: &Rows<T>, step: impl FnMut(&T) -> f32) -> f32 {
    rows.iter().map(step).sum()
}

/// A group whose throughput is in calls.
pub fn group<'a>(c: &'a mut Criterion, name: &str) -> BenchmarkGroup<'a, WallTime> {
    let mut group = c.benchmark_group(name);
    group.throughput(Throughput::Elements(ROWS as u64));
    group
}

/// Measures `kernel` on `subject`, which keeps its state, and `rows`.
pub fn measure<S, T>(
    group: &mut BenchmarkGroup<'_, WallTime>,
    name: &str,
    mut subject: S,
    rows: &Rows<T>,
    kernel: fn(&mut S, &Rows<T>) -> f32,
) {
    group.bench_function(name, |b| b.iter(|| kernel(black_box(&mut subject), black_box(rows))));
}
