//! Stack depth of a call, by painting the unused stack and searching the deepest changed word.

use core::hint::black_box;
use core::ptr::{read_volatile, write_volatile};

use cortex_m::register::msp;

/// Bytes painted below the stack pointer: far less than the free RAM.
const SPAN: usize = 16 * 1024;

/// Painting starts this far below the stack pointer, clear of the painter's own frame.
const CLEAR: usize = 256;

const PAINT: u32 = 0x5eed_a55a;

/// Bytes of stack that one call of `f` uses, its return address included. Depths up to [`CLEAR`] are not
/// resolved: they give 0.
pub fn depth_bytes<R>(f: impl FnOnce() -> R) -> usize {
    let top = msp::read() as usize - CLEAR;
    paint(top);
    black_box(run(f));
    let touched = touched_below(top);
    if touched == 0 { 0 } else { touched + CLEAR }
}

#[inline(never)]
fn run<R>(f: impl FnOnce() -> R) -> R {
    f()
}

#[inline(never)]
fn paint(top: usize) {
    for address in (top - SPAN..top).step_by(4) {
        // SAFETY: words of RAM below the stack pointer and above all statics; no interrupt is enabled, so
        // they are unused.
        unsafe { write_volatile(address as *mut u32, PAINT) }
    }
}

#[inline(never)]
fn touched_below(top: usize) -> usize {
    for address in (top - SPAN..top).step_by(4) {
        // SAFETY: as in `paint`, which wrote this word.
        if unsafe { read_volatile(address as *const u32) } != PAINT {
            return top - address;
        }
    }
    0
}
