//! Prints what the control crate costs on the target: instructions of one call, by emulation.
#![no_std]
#![no_main]

use core::hint::black_box;
use core::panic::PanicInfo;

use aplomb::{Libm, Math, Micromath};
use aplomb_cortex_m::{meter::Meter, stop};
use cortex_m_semihosting::{debug, hprintln};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    hprintln!("{}", info);
    stop(debug::EXIT_FAILURE)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(meter) = cortex_m::Peripherals::take().and_then(|p| Meter::start(p.SYST)) else {
        panic!("SysTick does not count instructions: run under -icount");
    };
    hprintln!("{}", meter.instructions(|| Libm::sqrt(black_box(2.0))));
    hprintln!("{}", meter.instructions(|| Libm::sin(black_box(1.0))));
    hprintln!("{}", meter.instructions(|| Micromath::sin(black_box(1.0))));
    hprintln!("{}", meter.instructions(|| cortex_m::asm::delay(2000)));
    stop(debug::EXIT_SUCCESS)
}
