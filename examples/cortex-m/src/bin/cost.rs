//! Prints what the control crate costs on the target: instructions of one call, stack and state. Fails when a figure is
//! over its limit.
#![no_std]
#![no_main]

use core::panic::PanicInfo;

use aplomb::pid::{Config, Pid, SlewLimit, SlewState, State};
use aplomb::{Libm, Math, Micromath};
use aplomb_cortex_m::{inputs::Inputs, meter::Meter, stop, table::Table};
use cortex_m_semihosting::{
    debug::{EXIT_FAILURE, EXIT_SUCCESS},
    hprintln,
};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    hprintln!("{}", info);
    stop(EXIT_FAILURE)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(meter) = cortex_m::Peripherals::take().and_then(|p| Meter::start(p.SYST)) else {
        panic!("SysTick does not count instructions: run under -icount");
    };
    let mut table = Table::begin(meter);
    scalars::<Libm>(&mut table, "Libm");
    scalars::<Micromath>(&mut table, "Micromath");
    pid(&mut table);
    stop(if table.over() == 0 { EXIT_SUCCESS } else { EXIT_FAILURE })
}

fn scalars<M: Math>(table: &mut Table, name: &str) {
    hprintln!("{}", name);
    let mut random = Inputs::new();
    let mut positive = |_| 1.5 + random.unit();
    table.row("  square root", None, &mut positive, M::sqrt);
    table.row("  inverse square root", None, &mut positive, M::recip_sqrt);
    table.row("  sine (not on the tick's path)", None, &mut positive, M::sin);
}

fn pid(table: &mut Table) {
    let config =
        Config { integral_time_s: Some(0.5), derivative_time_s: 0.05, ..Config::proportional(2.0, 1.0) };
    let (Ok(pid), Ok(slew)) = (Pid::new(&config, 1e-3), SlewLimit::new(200.0, 200.0, 1e-3)) else {
        panic!("a valid configuration was refused");
    };
    let mut random = Inputs::new();
    let mut input = |_| random.array::<3>(1.0);
    let mut state = State::new();
    table.row("PID core", Some(45), &mut input, |[r, y, f]| {
        let u = pid.step(&mut state, r, y, f);
        pid.achieved(&mut state, u);
        u
    });
    let mut state = State::new();
    let mut last = SlewState::at(0.0);
    table.row("PID with slew and hold", Some(75), &mut input, |[r, y, f]| {
        state.freeze(r > 0.9);
        let u = slew.step(&mut last, pid.step(&mut state, r, y, f));
        pid.achieved(&mut state, u);
        u
    });
}
