//! The cost table: one line a function, with the largest and the mean count over many inputs, beside its limit.

use core::hint::black_box;

use cortex_m_semihosting::hprintln;

use crate::meter::Meter;

/// Calls measured a line.
const CALLS: u32 = 512;

/// Prints lines as it measures.
pub struct Table {
    meter: Meter,
    over: u32,
}

impl Table {
    /// Prints the head.
    #[must_use]
    pub fn begin(meter: Meter) -> Self {
        hprintln!("{:44} {:>8} {:>8} {:>8}", "instructions a call", "worst", "mean", "limit");
        Self { meter, over: 0 }
    }

    /// Measures `kernel` over inputs made by `input`, which is not counted. `limit` is for opt-level 3; at "s" it is one
    /// and a half times as much.
    pub fn row<I, O>(
        &mut self,
        name: &str,
        limit: Option<u32>,
        mut input: impl FnMut(u32) -> I,
        mut kernel: impl FnMut(I) -> O,
    ) {
        let (mut worst, mut sum) = (0, 0);
        for call in 0..CALLS {
            let x = black_box(input(call));
            let count = self.meter.instructions(|| kernel(x));
            worst = worst.max(count);
            sum += count;
        }
        self.line(name, worst, Some(sum / CALLS), limit.map(for_this_profile));
    }

    /// A line measured elsewhere.
    pub fn line(&mut self, name: &str, worst: u32, mean: Option<u32>, limit: Option<u32>) {
        let over = limit.is_some_and(|limit| worst > limit);
        self.over += u32::from(over);
        hprintln!(
            "{:44} {:>8} {:>8} {:>8}{}",
            name,
            worst,
            Cell(mean),
            Cell(limit),
            if over { "  OVER" } else { "" }
        );
    }

    /// The counter, for measurements of another shape.
    pub fn meter(&self) -> &Meter {
        &self.meter
    }

    /// How many lines were over their limit.
    #[must_use]
    pub fn over(&self) -> u32 {
        self.over
    }
}

/// The limit at the optimisation level of this build.
#[must_use]
pub fn for_this_profile(limit: u32) -> u32 {
    if env!("APLOMB_OPT_LEVEL") == "3" { limit } else { limit + limit / 2 }
}

struct Cell(Option<u32>);

impl core::fmt::Display for Cell {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self.0 {
            Some(value) => value.fmt(f),
            None => f.pad("-"),
        }
    }
}
