//! Proof that the control crate has no panic path: every public function that a tick or a constructor uses is
//! called here with values unknown to the compiler, and the panic handler calls an undefined symbol. If one
//! panic path is left anywhere, this program does not link. `link_proof_twin` shows that the proof can fail.
//!
//! It is not executed.
#![no_std]
#![no_main]

#[path = "../exercise/mod.rs"]
mod exercise;

use core::panic::PanicInfo;

unsafe extern "C" {
    safe fn a_panic_path_is_left() -> !;
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    a_panic_path_is_left()
}

#[cortex_m_rt::entry]
fn main() -> ! {
    loop {
        exercise::all();
    }
}
