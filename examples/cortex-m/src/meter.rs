//! Counts instructions with the SysTick timer of an emulator that advances its clock by a fixed time an
//! instruction (`-icount shift=N`: 2^N ns). The rate is measured against a loop of known length, not assumed.

use core::arch::asm;
use core::hint::black_box;
use core::sync::atomic::{Ordering, compiler_fence};

use cortex_m::peripheral::{SYST, syst::SystClkSource};

/// SysTick is a 24-bit down counter.
const SPAN: u32 = 1 << 24;

/// Loops of the shortest calibration run.
const CALIBRATION_LOOPS: u32 = 100_000;

/// A running counter.
pub struct Meter {
    ticks_per_instruction: f32,
    overhead_ticks: u32,
}

impl Meter {
    /// The counter of this board, started.
    ///
    /// # Panics
    /// When SysTick does not count instructions, or is in use.
    #[must_use]
    pub fn of_board() -> Self {
        let started = cortex_m::Peripherals::take().and_then(|board| Self::start(board.SYST));
        started.expect("SysTick does not count instructions: run under -icount")
    }

    /// Starts SysTick and calibrates it. `None` when the clock does not advance evenly with the instructions,
    /// as on a real core or without `-icount`.
    #[must_use]
    pub fn start(mut syst: SYST) -> Option<Self> {
        syst.set_clock_source(SystClkSource::Core);
        syst.set_reload(SPAN - 1);
        syst.clear_current();
        syst.enable_counter();
        let loop_ticks = |count: u32| {
            let begin = SYST::get_current();
            two_instructions_a_loop(count);
            elapsed(begin, SYST::get_current())
        };
        // The difference of two runs removes the cost of the call.
        let short = loop_ticks(CALIBRATION_LOOPS);
        let (once, twice) =
            (loop_ticks(2 * CALIBRATION_LOOPS) - short, loop_ticks(3 * CALIBRATION_LOOPS) - short);
        let ticks_per_instruction = once as f32 / (2 * CALIBRATION_LOOPS) as f32;
        if twice.abs_diff(2 * once) > 1 + once / 10_000 || ticks_per_instruction < 1.0 {
            return None;
        }
        let mut meter = Self { ticks_per_instruction, overhead_ticks: 0 };
        meter.overhead_ticks = meter.ticks(|| ());
        Some(meter)
    }

    /// Instructions of one call of `f`, without the call itself.
    pub fn instructions<R>(&self, f: impl FnOnce() -> R) -> u32 {
        let ticks = self.ticks(f).saturating_sub(self.overhead_ticks);
        (ticks as f32 / self.ticks_per_instruction + 0.5) as u32
    }

    /// Not inlined: the caller would otherwise save registers between the two readings.
    #[inline(never)]
    fn ticks<R>(&self, f: impl FnOnce() -> R) -> u32 {
        let begin = SYST::get_current();
        let result = apart(f);
        let end = SYST::get_current();
        // Storing the result is not part of the call.
        black_box(result);
        elapsed(begin, end)
    }
}

/// Largest and mean of many counts.
pub struct Count {
    worst: u32,
    sum: u32,
    calls: u32,
}

impl Default for Count {
    fn default() -> Self {
        Self::new()
    }
}

impl Count {
    /// Nothing counted yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { worst: 0, sum: 0, calls: 0 }
    }

    /// One more count.
    pub fn add(&mut self, count: u32) {
        self.worst = self.worst.max(count);
        self.sum += count;
        self.calls += 1;
    }

    /// The largest.
    #[must_use]
    pub const fn worst(&self) -> u32 {
        self.worst
    }

    /// The mean, 0 without any.
    #[must_use]
    pub fn mean(&self) -> u32 {
        self.sum / self.calls.max(1)
    }
}

/// The loop of known length.
fn two_instructions_a_loop(count: u32) {
    // SAFETY: touches nothing but the register that it is given.
    unsafe { asm!("2:", "subs {0}, #1", "bne 2b", inout(reg) count => _, options(nomem, nostack)) }
}

/// A call that the compiler neither inlines nor moves.
#[inline(never)]
fn apart<R>(f: impl FnOnce() -> R) -> R {
    compiler_fence(Ordering::SeqCst);
    f()
}

fn elapsed(begin: u32, end: u32) -> u32 {
    begin.wrapping_sub(end) % SPAN
}
