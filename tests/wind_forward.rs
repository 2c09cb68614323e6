//! A place taken up in the wind: after half a minute leant by hand the velocity loop's integral knows nothing of the wind, but
//! the estimate does. With the feed-forward the craft stays; its twin without is pushed away until the integral has learnt it.

use aplomb::frames::{Heading, Vector, World};
use aplomb::{
    Command, Demand, FlightController, HeadingDemand, Libm, MotorCommand, Rotors, Tilt, VerticalDemand,
};
use aplomb_craft::{AirConfig, Plant, Start, WindStep};
use aplomb_harness::{exchange, input};

const HEADING: HeadingDemand = HeadingDemand::Hold(Heading::NORTH);
const VERTICAL: VerticalDemand = VerticalDemand::Height(6.0);
const LEANT_TICKS: u32 = 30_000;
const HELD_TICKS: u32 = 5_000;

/// Farthest in m, as believed, that the craft is pushed down the wind in 5 s after it was told to hold the place where it was.
fn pushed_m(wind_share: f32) -> f32 {
    let craft = input::demo_craft().expect("the demo is read").config;
    let config = input::demo_controller().expect("the demo is read").config;
    let config = aplomb::flight::Config { wind_share, ..config };
    let wind = WindStep { at_s: 0.0, from_deg: 0.0, speed_m_s: 8.0, ramp_s: 0.0 };
    let mut air = AirConfig::default();
    air.winds.push(wind);
    let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
    let mut plant = Plant::new(&craft, &air, &start, 3, 1e-3).expect("it hovers");
    let mut controller: FlightController = FlightController::new(&config).expect("it is built");
    controller.resume_in_flight();
    controller.estimator_mut().set_home_pressure([101_325.0]);
    let mut waiting = Rotors::splat(MotorCommand::saturating(plant.truth().motor_command.front_left as f32));
    let (mut held_m, mut farthest_m) = (Vector::<World>::ZERO, 0.0f32);
    for tick in 0..LEANT_TICKS + HELD_TICKS {
        let demand = if tick < LEANT_TICKS {
            // About what stands against the drag of 8 m/s: sin(atan(0.25 * 8/9.81)).
            Demand::Tilt { tilt: Tilt { forward: 0.20, right: 0.0 }, heading: HEADING, vertical: VERTICAL }
        } else {
            Demand::Position { position_m: held_m, heading: HEADING, vertical: VERTICAL }
        };
        let commands = controller.step(&exchange::sensors(&plant.sense(), 1e-3), &Command::fly(demand));
        plant.advance(exchange::commands(waiting));
        waiting = commands;
        let position_m = controller.state().position_m;
        if tick < LEANT_TICKS {
            held_m = position_m;
            let [north, east, _] = controller.acceleration_integral_m_s2().to_array();
            assert_eq!((north, east), (0.0, 0.0), "the velocity loop has learnt while another led");
        } else {
            farthest_m = farthest_m.max(held_m.x() - position_m.x());
        }
    }
    let believed_m_s = controller.state().wind_m_s;
    println!(
        "share {wind_share}: pushed {farthest_m:.2} m; wind believed {:.2} m/s",
        believed_m_s.norm::<Libm>()
    );
    farthest_m
}

#[test]
fn a_place_is_taken_up_in_the_wind_without_being_pushed_away() {
    let (with, without) = (pushed_m(0.2), pushed_m(0.0));
    assert!(with < 0.2 && without > 0.5, "{with} m with, {without} m without");
}
