//! Prints what the control crate costs on the target: instructions of one call, stack and state. Fails when a figure is
//! over its limit.
#![no_std]
#![no_main]

mod estimate;
mod filter;
mod flight;
mod mix;
mod pid;
mod scalars;

use core::panic::PanicInfo;

use aplomb::{Libm, Micromath};
use aplomb_cortex_m::{
    fail,
    meter::Meter,
    stop,
    table::{Limit, Table},
};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    fail(info)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut table = Table::begin(Meter::of_board());
    table.title("instructions a call, Libm");
    scalars::rows::<Libm>(&mut table);
    estimate::rows::<Libm>(&mut table);
    let exact = flight::rows::<Libm>(&mut table);
    table.title("instructions a call, Micromath");
    scalars::rows::<Micromath>(&mut table);
    estimate::rows::<Micromath>(&mut table);
    let approximate = flight::rows::<Micromath>(&mut table);
    let limit = Limit::Open { goal: 95, ceiling: 100 };
    table.figure("worst tick, % of the one with Libm", limit, (100 * approximate).div_ceil(exact));
    table.title("instructions a call, without scalar functions");
    pid::rows(&mut table);
    filter::rows(&mut table);
    mix::rows(&mut table);
    stop(table.end())
}
