//! Replays a recorded flight on the target and compares every motor command by its bits with what the host
//! computed.
//!
//! The controller is the exported constant, compiled in; the exported parameter block must hold the same.
//! `controller.bin` and `flight.bin` are read from the folder that the emulator was started in. Fails at the
//! first difference and prints the flight recorder: the last records up to that tick.
#![no_std]
#![no_main]

use core::panic::PanicInfo;

use aplomb::record::Record;
use aplomb::recorder::{Config, Recorder};
use aplomb::{FlightController, parameters};
use aplomb_cortex_m::host_file::HostFile;
use aplomb_cortex_m::recording::{BYTES, Tick};
use aplomb_cortex_m::{fail, stop};
use cortex_m_semihosting::hprintln;

include!(env!("APLOMB_CONTROLLER", "name the exported controller.rs by its whole path"));

/// Records printed when the replay fails.
const RECORDS: usize = 8;

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    fail(info)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    stop(match check_block().and_then(|()| replay()) {
        Ok(ticks) => {
            hprintln!("{} ticks replayed: every motor command has the host's bits", ticks);
            true
        }
        Err(reason) => {
            hprintln!("the replay failed: {}", reason);
            false
        }
    })
}

/// The parameter block, read here, holds what the constant holds.
fn check_block() -> Result<(), &'static str> {
    let mut file = HostFile::open(c"controller.bin").ok_or("controller.bin cannot be opened")?;
    let mut block = [0; parameters::SIZE];
    file.read(&mut block);
    let config = parameters::read(&block).map_err(|_| "the parameter block is refused")?;
    if parameters::write(&config) == parameters::write(&CONTROLLER) {
        Ok(())
    } else {
        Err("the parameter block and the constant differ")
    }
}

/// One line of the flight recorder.
fn print(record: &Record) {
    let Record { tick, phase, estimate, achieved, commands, .. } = record;
    hprintln!(
        "record {}: {:?}, rate {:?} rad/s, torque {:?} N m, thrust {} N, commands {:?}",
        tick,
        phase,
        estimate.rate_rad_s.to_array(),
        achieved.torque_nm.to_array(),
        achieved.thrust_n,
        commands.map(|command| command.get())
    );
}

fn replay() -> Result<u32, &'static str> {
    let mut file = HostFile::open(c"flight.bin").ok_or("flight.bin cannot be opened")?;
    let mut controller: FlightController =
        FlightController::new(&CONTROLLER).map_err(|_| "the controller is refused")?;
    let mut recorder = Recorder::<Record, RECORDS>::new(&Config::EVERY_TICK)
        .map_err(|_| "the flight recorder is refused")?;
    let mut bytes = [0; BYTES];
    let mut ticks = 0;
    loop {
        match file.read(&mut bytes) {
            BYTES => {}
            0 if ticks > 0 => return Ok(ticks),
            _ => return Err("the recording is empty or cut off"),
        }
        let tick = Tick::from_bytes(&bytes).ok_or("the recording is damaged")?;
        let here = controller.step(&tick.sensors, &tick.command).map(|command| command.get().to_bits());
        let host = tick.motors.map(|command| command.get().to_bits());
        recorder.step(controller.record(), here != host);
        if here != host {
            recorder.iter().for_each(print);
            hprintln!("tick {}: {:08x?} here, {:08x?} on the host", ticks, here, host);
            return Err("a motor command differs");
        }
        ticks += 1;
    }
}
