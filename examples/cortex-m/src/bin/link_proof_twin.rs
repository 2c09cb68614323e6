//! The link proof with one panic path added: an index that the compiler cannot bound. It must not link.
#![no_std]
#![no_main]

#[path = "../exercise/mod.rs"]
mod exercise;

use core::{hint::black_box, panic::PanicInfo};

unsafe extern "C" {
    safe fn a_panic_path_is_left() -> !;
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    a_panic_path_is_left()
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let table = black_box([1.0f32, 2.0, 3.0]);
    loop {
        exercise::all();
        let place: usize = black_box(2);
        black_box(table[place]);
    }
}
