//! The cost table: one row per figure, printed as it is measured. `run.sh` checks the gated rows.

use core::hint::black_box;

use cortex_m_semihosting::hprintln;

use crate::meter::{Count, Meter};

/// Clock of the core that the shares are for, in Hz.
const CORE_HZ: f32 = 168e6;
/// Tick rates that the shares are for, in kHz.
const TICK_RATES_KHZ: [u16; 4] = [1, 2, 4, 8];

/// Prints a title and the head of its columns.
pub fn title(title: &str) {
    hprintln!("{:44} {:>9} {:>9}", title, "mean", "worst");
}

/// Prints a row of instruction counts.
pub fn count(name: &str, count: &Count) {
    hprintln!("{:44} {:>9} {:>9}", name, count.mean(), count.worst());
}

/// Prints a row of bytes.
pub fn bytes(name: &str, bytes: usize) {
    hprintln!("{:44} {:>9} {:>9}", name, "", bytes);
}

/// Prints the shares of a core that a tick of so many instructions takes at each tick rate: `n f / f_core`,
/// which assumes one instruction per clock cycle. A real core needs more cycles: loads, divisions, square
/// roots and wait states of the flash.
pub fn shares(count: &Count) {
    let percent = |instructions: u32, khz| 100.0 * instructions as f32 * f32::from(khz) * 1e3 / CORE_HZ;
    for khz in TICK_RATES_KHZ {
        let (mean, worst) = (percent(count.mean(), khz), percent(count.worst(), khz));
        hprintln!("  share of a 168 MHz core at {} kHz, % {:8} {:>9.1} {:>9.1}", khz, "", mean, worst);
    }
}

/// Prints a row for the instructions of `kernel` over `calls` inputs made by `input`, which are not counted.
pub fn measure<I, O>(
    meter: &Meter,
    name: &str,
    calls: u32,
    mut input: impl FnMut() -> I,
    mut kernel: impl FnMut(I) -> O,
) {
    let mut measured = Count::new();
    for _ in 0..calls {
        let x = black_box(input());
        measured.add(meter.instructions(|| kernel(x)));
    }
    count(name, &measured);
}
