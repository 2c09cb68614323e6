//! A file of the machine that runs the emulator, read through semihosting.

use cortex_m_semihosting::{nr, syscall};

/// An open file.
pub struct HostFile {
    handle: usize,
}

impl HostFile {
    /// Opens `name`, which ends with a zero, in the folder that the emulator was started in. `None` when it
    /// cannot be read.
    #[must_use]
    pub fn open(name: &core::ffi::CStr) -> Option<Self> {
        let bytes = name.to_bytes();
        // SAFETY: the call reads the name, which has the given length and ends with a zero.
        let handle = unsafe { syscall!(OPEN, bytes.as_ptr(), nr::open::R_BINARY, bytes.len()) };
        (handle != usize::MAX).then_some(Self { handle })
    }

    /// Fills `buffer` and returns how many bytes could be filled; fewer at the end of the file.
    pub fn read(&mut self, buffer: &mut [u8]) -> usize {
        // SAFETY: the call writes into the buffer, which has the given length and is borrowed for it.
        let unfilled = unsafe { syscall!(READ, self.handle, buffer.as_mut_ptr(), buffer.len()) };
        buffer.len().saturating_sub(unfilled)
    }
}
