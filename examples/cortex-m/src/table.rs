//! The cost table: one line a function, with the largest and the mean count over many inputs, beside its limit.

use core::hint::black_box;

use cortex_m_semihosting::hprintln;

use crate::meter::Meter;

/// Calls measured a line.
const CALLS: u32 = 512;

/// What a figure is held against. Instruction counts are limited at opt-level 3; at "s" half as much again is allowed.
#[derive(Clone, Copy)]
pub enum Limit {
    /// For information.
    None,
    /// The limit, which holds.
    AtMost(u32),
    /// A goal not reached yet, and what the figure must not grow beyond until it is.
    Open {
        /// What is to be reached.
        goal: u32,
        /// What holds today.
        ceiling: u32,
    },
}

impl Limit {
    /// The largest figure that passes.
    fn ceiling(self) -> Option<u32> {
        match self {
            Self::None => None,
            Self::AtMost(limit) => Some(limit),
            Self::Open { ceiling, .. } => Some(ceiling),
        }
    }

    /// The limit to reach.
    fn goal(self) -> Option<u32> {
        match self {
            Self::None => None,
            Self::AtMost(limit) => Some(limit),
            Self::Open { goal, .. } => Some(goal),
        }
    }
}

/// Prints lines as it measures.
pub struct Table {
    meter: Meter,
    over: u32,
    open: u32,
}

impl Table {
    /// Prints the head.
    #[must_use]
    pub fn begin(meter: Meter) -> Self {
        hprintln!("{:44} {:>8} {:>8} {:>8}", "", "worst", "mean", "limit");
        Self { meter, over: 0, open: 0 }
    }

    /// A line between groups.
    pub fn title(&self, title: &str) {
        hprintln!("{}", title);
    }

    /// Measures the instructions of `kernel` over inputs made by `input`, which are not counted.
    pub fn row<I, O>(
        &mut self,
        name: &str,
        limit: Limit,
        input: impl FnMut(u32) -> I,
        kernel: impl FnMut(I) -> O,
    ) {
        self.row_of(CALLS, name, limit, input, kernel);
    }

    /// As [`Table::row`], over as many calls as it takes to meet the worst one.
    pub fn row_of<I, O>(
        &mut self,
        calls: u32,
        name: &str,
        limit: Limit,
        mut input: impl FnMut(u32) -> I,
        mut kernel: impl FnMut(I) -> O,
    ) {
        let (mut worst, mut sum) = (0, 0);
        for call in 0..calls {
            let x = black_box(input(call));
            let count = self.meter.instructions(|| kernel(x));
            worst = worst.max(count);
            sum += count;
        }
        self.line(name, limit, worst, Some(sum / calls));
    }

    /// A line of instruction counts measured elsewhere.
    pub fn line(&mut self, name: &str, limit: Limit, worst: u32, mean: Option<u32>) {
        self.judged(name, limit, worst, mean, for_this_profile);
    }

    /// A figure with the same limit at every optimisation level.
    pub fn figure(&mut self, name: &str, limit: Limit, figure: u32) {
        self.judged(name, limit, figure, None, |limit| limit);
    }

    fn judged(&mut self, name: &str, limit: Limit, worst: u32, mean: Option<u32>, scaled: fn(u32) -> u32) {
        let above = |bound: Option<u32>| bound.map(scaled).is_some_and(|bound| worst > bound);
        let note = if above(limit.ceiling()) {
            self.over += 1;
            "  OVER"
        } else if above(limit.goal()) {
            self.open += 1;
            "  above its goal"
        } else {
            ""
        };
        hprintln!("{:44} {:>8} {:>8} {:>8}{}", name, worst, Cell(mean), Cell(limit.goal().map(scaled)), note);
    }

    /// The counter, for measurements of another shape.
    pub fn meter(&self) -> &Meter {
        &self.meter
    }

    /// True when every figure is within its limit or ceiling; prints how many are above their goal.
    #[must_use]
    pub fn end(self) -> bool {
        hprintln!("{} over their limit, {} above their goal", self.over, self.open);
        self.over == 0
    }
}

/// The limit at the optimisation level of this build.
fn for_this_profile(limit: u32) -> u32 {
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
