//! Shared parts of the firmware programs in `src/bin`.
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

/// Ends the emulation with the exit code of success or failure.
pub fn stop(pass: bool) -> ! {
    loop {
        debug::exit(if pass { EXIT_SUCCESS } else { EXIT_FAILURE });
    }
}

/// Body of a panic handler: prints the reason and fails.
pub fn fail(info: &PanicInfo<'_>) -> ! {
    hprintln!("{}", info);
    stop(false)
}
