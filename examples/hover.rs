//! The controller on the simulated craft in forty lines: take-off to a hover at 3 m.
//!
//! `cargo run --release --example hover`

use aplomb::frames::Heading;
use aplomb::{
    Command, Demand, FlightController, HeadingDemand, MotorCommand, PositionSetpoint, Rotors, VerticalDemand,
};
use aplomb_craft::{AirConfig, Plant, Start};
use aplomb_flight::exchange;
use aplomb_harness::input;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (craft, controller) = (input::demo_craft()?.config, input::demo_controller()?);
    let tick_s = 1.0 / f64::from(controller.tick_hz);
    let mut plant = Plant::new(&craft, &AirConfig::default(), &Start::default(), 1, tick_s)?;
    let mut controller: FlightController = FlightController::new(&controller)?;

    let climb = Command::fly(Demand::Position {
        setpoint: PositionSetpoint::default(),
        heading: HeadingDemand::Hold(Heading::NORTH),
        vertical: VerticalDemand::Height(3.0),
    });
    let arm = Command { arm: true, ..Command::IDLE };
    let mut pending = Rotors::splat(MotorCommand::STOPPED);
    for tick in 0..15_000_u32 {
        // The command of tick k acts from tick k+1 on: computation takes one tick.
        let command = match tick {
            0..3_000 => Command::IDLE,
            3_000..4_000 => arm,
            _ => climb,
        };
        let commands = controller.step(&exchange::sensors(&plant.sense(), tick_s), &command);
        plant.advance(exchange::commands(pending));
        pending = commands;
        if tick % 1_000 == 999 {
            let truth = plant.truth();
            let tilt_deg = truth.tilt_rad().to_degrees();
            println!("{:4.1} s: {:5.2} m high, {tilt_deg:4.1} deg of tilt", truth.time_s, truth.height_m());
        }
    }
    Ok(())
}
