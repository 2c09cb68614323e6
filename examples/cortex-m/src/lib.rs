//! What the firmware programs in `src/bin` share.
#![no_std]

pub mod craft;
pub mod host_file;
pub mod inputs;
pub mod meter;
pub mod recording;
pub mod stack;
pub mod table;

use cortex_m_semihosting::debug::{self, ExitStatus};

/// Ends the emulation.
pub fn stop(status: ExitStatus) -> ! {
    loop {
        debug::exit(status);
    }
}
