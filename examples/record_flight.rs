//! Flies one flight with the built-in demo's craft and controller and writes what a microcontroller needs to
//! replay it:
//!
//! `cargo run --example record_flight -- FLIGHT.toml FOLDER`
//!
//! `controller.rs` and `controller.bin`, the controller as a constant and as a parameter block, and
//! `flight.bin`, samples, command and motor commands of each tick. Two more folders hold the same recording
//! with one bit changed: in `changed-answer` of a motor command, in `changed-sample` of a gyro sample. A
//! replay of either must fail.

use std::fs;
use std::path::Path;
use std::process::ExitCode;

use aplomb::FlightController;
use aplomb_flight::fly;
use aplomb_harness::{export, input};

#[path = "cortex-m/src/recording.rs"]
mod recording;

use recording::Tick;

type Failure = Box<dyn std::error::Error>;

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("{failure}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [flight, folder] = arguments.as_slice() else {
        return Err("give a flight file and a folder".into());
    };
    let config = input::demo_controller()?;
    let ticks = record(Path::new(flight), &config)?;
    check(&ticks, &config)?;
    let write = |folder: &Path, ticks: &[Tick]| -> Result<(), Failure> {
        fs::create_dir_all(folder)?;
        let bytes: Option<Vec<_>> = ticks.iter().copied().map(Tick::to_bytes).collect();
        fs::write(folder.join("flight.bin"), bytes.ok_or("a demand that recordings do not know")?.concat())?;
        fs::write(folder.join("controller.bin"), export::block(&config))?;
        Ok(())
    };
    let folder = Path::new(folder);
    write(folder, &ticks)?;
    fs::write(folder.join("controller.rs"), export::constant(&config, "the built-in demo"))?;

    let middle = ticks.len() / 2;
    let mut changed = ticks.clone();
    let answer = &mut changed[middle].motors.rear_left;
    *answer = aplomb::MotorCommand::saturating(f32::from_bits(answer.get().to_bits() ^ 1));
    write(&folder.join("changed-answer"), &changed)?;

    // Half a thousandth of the value: the lowest bits are below the rounding of the gyro's low-pass.
    let mut changed = ticks.clone();
    let increment = &mut changed[middle].sensors.imu[0].angle_increment_rad;
    let [roll, pitch, yaw] = increment.to_array();
    *increment = aplomb::frames::Vector::new(f32::from_bits(roll.to_bits() ^ 1 << 12), pitch, yaw);
    write(&folder.join("changed-sample"), &changed)?;
    println!("{} ticks recorded in {}", ticks.len(), folder.display());
    Ok(())
}

fn record(flight: &Path, config: &aplomb::flight::Config) -> Result<Vec<Tick>, Failure> {
    let plan = input::load_flight(flight)?;
    let mut ticks = Vec::new();
    fly::fly_watched(&input::demo_craft()?.config, config, &plan, plan.seed, |tick| {
        ticks.push(Tick { sensors: *tick.sensors, command: *tick.command, motors: tick.motors });
    })?;
    Ok(ticks)
}

/// Checks that the recording is complete: its replay gives the motor commands of the flight.
fn check(ticks: &[Tick], config: &aplomb::flight::Config) -> Result<(), Failure> {
    let mut controller: FlightController = FlightController::new(config)?;
    for (number, tick) in ticks.iter().enumerate() {
        let read = tick.to_bytes().and_then(|bytes| Tick::from_bytes(&bytes));
        let Tick { sensors, command, motors } = read.ok_or(format!("tick {number} cannot be recorded"))?;
        let answer = controller.step(&sensors, &command);
        if answer != motors || motors != tick.motors {
            return Err(
                format!("tick {number}: the host's own replay gives {answer:?}, not {motors:?}").into()
            );
        }
    }
    Ok(())
}
