//! A controller alone, constructed and stepped: `run.sh` prints the size of its text and read-only data. It
//! is not executed.
#![no_std]
#![no_main]

use core::{hint::black_box, panic::PanicInfo};

use aplomb::flight::Config;
use aplomb::{Command, FlightController, MotorCommand, Rotors, Sensors};

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}

fn build(config: &Config, controller: &mut Option<FlightController>) {
    *controller = FlightController::new(config).ok();
}

fn step(controller: &mut FlightController, sensors: &Sensors, command: &Command) -> Rotors<MotorCommand> {
    controller.step(sensors, command)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    // Opaque pointers keep both functions from being removed.
    black_box(build as fn(&Config, &mut Option<FlightController>));
    black_box(step as fn(&mut FlightController, &Sensors, &Command) -> Rotors<MotorCommand>);
    loop {
        cortex_m::asm::wfi();
    }
}
