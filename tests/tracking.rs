//! A streamed trajectory: a circle of 5 m radius at 2 m/s from rest, with ideal sensors. With velocity and
//! acceleration fed forward the craft stays within half a metre of the set-point; the twin that gets
//! positions only lags by the speed over the gain of the position loop.

use aplomb::frames::{Heading, Horizontal};
use aplomb::{
    Command, Demand, FlightController, HeadingDemand, MotorCommand, PositionSetpoint, Rotors, VerticalDemand,
};
use aplomb_craft::{AirConfig, Plant, Start, sensors};
use aplomb_flight::exchange;
use aplomb_harness::input;

const RADIUS_M: f64 = 5.0;
const SPEED_M_S: f64 = 2.0;
/// Along the circle, from rest to the speed.
const ACCELERATION_M_S2: f64 = 0.5;
const TICK_S: f64 = 1e-3;
/// The start and two rounds, all of it judged.
const TICKS: u32 = 36_000;

/// Set-point at a time in s: from rest at the origin, along the circle to the right.
fn circle(time_s: f64) -> PositionSetpoint {
    let start_s = SPEED_M_S / ACCELERATION_M_S2;
    let t = time_s.min(start_s);
    let along_m = 0.5 * ACCELERATION_M_S2 * t * t + SPEED_M_S * (time_s - t);
    let speed = ACCELERATION_M_S2 * t;
    let tangential = if time_s < start_s { ACCELERATION_M_S2 } else { 0.0 };
    let (sin, cos) = (along_m / RADIUS_M).sin_cos();
    let ahead = Horizontal::new(cos as f32, sin as f32);
    let inwards = Horizontal::new(-sin as f32, cos as f32);
    PositionSetpoint {
        position_m: Horizontal::new((RADIUS_M * sin) as f32, (RADIUS_M * (1.0 - cos)) as f32),
        velocity_m_s: ahead * speed as f32,
        acceleration_m_s2: ahead * tangential as f32 + inwards * (speed * speed / RADIUS_M) as f32,
    }
}

/// Largest distance in m of the craft from the set-point, of which the controller gets what `given` leaves.
fn tracking_error_m(given: fn(PositionSetpoint) -> PositionSetpoint) -> f64 {
    let mut craft = input::demo_craft().expect("the demo is read").config;
    craft.sensors = sensors::Config::ideal();
    let config = input::demo_controller().expect("the demo is read");
    let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
    let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 1, TICK_S).expect("it hovers");
    let mut controller: FlightController = FlightController::new(&config).expect("it is built");
    controller.resume_in_flight();
    controller.estimator_mut().set_home_pressure([101_325.0]);
    let mut pending = Rotors::splat(MotorCommand::saturating(plant.truth().motor_command.front_left as f32));
    let mut worst_m = 0.0f64;
    for tick in 0..TICKS {
        let setpoint = circle(f64::from(tick) * TICK_S);
        let command = Command::fly(Demand::Position {
            setpoint: given(setpoint),
            heading: HeadingDemand::Hold(Heading::NORTH),
            vertical: VerticalDemand::Height(6.0),
        });
        let commands = controller.step(&exchange::sensors(&plant.sense(), TICK_S), &command);
        plant.advance(exchange::commands(pending));
        pending = commands;
        let at = plant.truth().position_m;
        let (north, east) = (f64::from(setpoint.position_m.north), f64::from(setpoint.position_m.east));
        worst_m = worst_m.max((at.x - north).hypot(at.y - east));
    }
    worst_m
}

#[test]
fn circle_of_5_m_at_2_m_s_is_tracked_within_half_a_metre() {
    let still = |setpoint: PositionSetpoint| PositionSetpoint::at(setpoint.position_m);
    let unaccelerated = |setpoint| PositionSetpoint { acceleration_m_s2: Horizontal::ZERO, ..setpoint };
    let all_three = tracking_error_m(|setpoint| setpoint);
    let without_acceleration = tracking_error_m(unaccelerated);
    let positions_only = tracking_error_m(still);
    println!(
        "{all_three:.2} m; without acceleration {without_acceleration:.2} m, positions only {positions_only:.2} m"
    );
    assert!(all_three < 0.5, "{all_three}");
    // Twins, each without one of the feed-forwards.
    assert!(without_acceleration > 1.3 * all_three, "{without_acceleration}");
    assert!(positions_only > 2.0, "{positions_only}");
}
