//! Transition to position hold in wind: after half a minute under a tilt command the integral of the velocity
//! controller is 0, but the wind is estimated. With wind feed-forward the craft holds position; the twin
//! without it drifts until the integral has converged.

use aplomb::frames::{Heading, Horizontal};
use aplomb::{
    Command, Demand, FlightController, HeadingDemand, Libm, MotorCommand, PositionSetpoint, Rotors, Tilt,
    VerticalDemand,
};
use aplomb_craft::{AirConfig, Plant, Start, WindStep};
use aplomb_flight::exchange;
use aplomb_harness::input;

const HEADING: HeadingDemand = HeadingDemand::Hold(Heading::NORTH);
const VERTICAL: VerticalDemand = VerticalDemand::Height(6.0);
const TILT_TICKS: u32 = 30_000;
const HOLD_TICKS: u32 = 5_000;

/// Largest estimated drift downwind in m within 5 s after the start of position hold.
fn drift_m(wind_share: f32) -> f32 {
    let craft = input::demo_craft().expect("the demo is read").config;
    let config = input::demo_controller().expect("the demo is read");
    let config = aplomb::flight::Config { wind_share, ..config };
    let wind = WindStep { at_s: 0.0, from_deg: 0.0, speed_m_s: 8.0, ramp_s: 0.0 };
    let mut air = AirConfig::default();
    air.winds.push(wind);
    let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
    let mut plant = Plant::new(&craft, &air, &start, 3, 1e-3).expect("it hovers");
    let mut controller: FlightController = FlightController::new(&config).expect("it is built");
    controller.resume_in_flight();
    controller.estimator_mut().set_home_pressure([101_325.0]);
    let mut pending = Rotors::splat(MotorCommand::saturating(plant.truth().motor_command.front_left as f32));
    let (mut setpoint_m, mut farthest_m) = (Horizontal::ZERO, 0.0f32);
    for tick in 0..TILT_TICKS + HOLD_TICKS {
        let demand = if tick < TILT_TICKS {
            // About the tilt that balances the drag at 8 m/s: sin(atan(0.25 * 8/9.81)).
            Demand::Tilt { tilt: Tilt { forward: 0.20, right: 0.0 }, heading: HEADING, vertical: VERTICAL }
        } else {
            Demand::Position {
                setpoint: PositionSetpoint::at(setpoint_m),
                heading: HEADING,
                vertical: VERTICAL,
            }
        };
        let commands = controller.step(&exchange::sensors(&plant.sense(), 1e-3), &Command::fly(demand));
        plant.advance(exchange::commands(pending));
        pending = commands;
        let position_m = controller.motion().position_m.horizontal();
        if tick < TILT_TICKS {
            setpoint_m = position_m;
            let [north, east, _] = controller.acceleration_integral_m_s2().to_array();
            assert_eq!((north, east), (0.0, 0.0), "the velocity integral changed under a tilt command");
        } else {
            farthest_m = farthest_m.max(setpoint_m.north - position_m.north);
        }
    }
    let estimated_m_s = controller.motion().wind_m_s;
    println!(
        "share {wind_share}: drift {farthest_m:.2} m; estimated wind {:.2} m/s",
        estimated_m_s.norm::<Libm>()
    );
    farthest_m
}

#[test]
fn position_hold_starts_in_wind_without_drift() {
    let (with, without) = (drift_m(0.2), drift_m(0.0));
    assert!(with < 0.2 && without > 3.0 * with, "{with} m with, {without} m without");
}
