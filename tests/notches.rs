//! Notch filters that track the rotors, on a craft with unbalanced propellers.
//!
//! Imbalance excites the frame once per revolution with m e w^2; the gyro measures it, and the rate loop
//! passes it to the motors. The measure is the rms motor command about each rotor's mean, over a hover in
//! still air.

use aplomb::flight::Config;
use aplomb_flight::fly;
use aplomb_flight::signal::Signal;
use aplomb_harness::input;
use aplomb_study::{measure, signals};

/// 60 g mm on each rotor: a gram broken off a blade six centimetres out.
const IMBALANCE_KG_M: f64 = 6e-5;

/// Noise of the motor commands in percent of full.
fn command_noise_percent(controller: &Config, imbalance_kg_m: f64) -> f64 {
    let mut craft = input::demo_craft().expect("the demo is read").config;
    craft.rotor.imbalance_kg_m = imbalance_kg_m;
    let plans = input::demo_flights().expect("the demo is read");
    let mut plan = plans.into_iter().find(|plan| plan.name == "hold-in-wind").expect("a flight of the demo");
    plan.duration_s = 12.0;
    plan.air = aplomb_craft::AirConfig::default();
    let flown = fly::fly(&craft, controller, &plan, 1).expect("it flies");
    let noise = signals::values(
        Signal::MotorCommandNoise,
        flown.trace.window(2.0, 12.0),
        &craft.arms.map(|arm| arm.spin),
    );
    measure::rms(&noise)
}

#[test]
fn notches_attenuate_the_response_of_the_motors_to_imbalance() {
    let controller = input::demo_controller().expect("the demo is read");
    let mut without = controller;
    without.notch.bandwidth_hz = 0.0;
    let quiet = command_noise_percent(&without, 0.0);
    let (with, twin) =
        (command_noise_percent(&controller, IMBALANCE_KG_M), command_noise_percent(&without, IMBALANCE_KG_M));
    println!(
        "motor command noise: in balance {quiet:.3} %, out of balance {with:.3} % with notches, {twin:.3} % without"
    );
    assert!(twin > 2.0 * quiet, "imbalance must be visible: {twin} {quiet}");
    // Of the power that imbalance adds, less than a quarter is left.
    let added = |noise: f64| noise * noise - quiet * quiet;
    assert!(added(with) < 0.25 * added(twin), "{with} {twin}");
}
