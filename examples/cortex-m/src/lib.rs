//! What the firmware programs in `src/bin` share.
#![no_std]

pub mod craft;
pub mod host_file;
pub mod inputs;
pub mod meter;
pub mod recording;
pub mod stack;
pub mod table;

use core::panic::PanicInfo;

use cortex_m_semihosting::debug::{self, EXIT_FAILURE, EXIT_SUCCESS};
use cortex_m_semihosting::hprintln;

/// Ends the emulation; the emulator's exit code tells whether all that was to be shown held.
pub fn stop(held: bool) -> ! {
    loop {
        debug::exit(if held { EXIT_SUCCESS } else { EXIT_FAILURE });
    }
}

/// What a panic handler does: says why and fails.
pub fn fail(info: &PanicInfo<'_>) -> ! {
    hprintln!("{}", info);
    stop(false)
}
