//! Prints the instructions of each part, alone. Apart from `tick`, since a second caller of a part changes
//! what the compiler inlines into the tick.
#![no_std]
#![no_main]

mod kernels;
mod mixer;
mod stages;

use core::panic::PanicInfo;

use aplomb::{Libm, Micromath};
use aplomb_cortex_m::{fail, meter::Meter, stop, table};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    fail(info)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let meter = Meter::of_board();
    table::title("parts of the tick, Libm: instructions");
    stages::rows::<Libm>(&meter);
    table::title("parts of the tick, Micromath: instructions");
    stages::rows::<Micromath>(&meter);
    table::title("functions of all kinds: instructions");
    kernels::rows(&meter);
    mixer::rows(&meter);
    stop(true)
}
