//! Nothing but the tick of a controller: what `code_controller` holds without the constructors. It is never run.
#![no_std]
#![no_main]

use core::{hint::black_box, panic::PanicInfo};

use aplomb::{Command, FlightController, MotorCommand, Rotors, Sensors};

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}

fn step(controller: &mut FlightController, sensors: &Sensors, command: &Command) -> Rotors<MotorCommand> {
    controller.step(sensors, command)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    black_box(step as fn(&mut FlightController, &Sensors, &Command) -> Rotors<MotorCommand>);
    loop {
        cortex_m::asm::wfi();
    }
}
