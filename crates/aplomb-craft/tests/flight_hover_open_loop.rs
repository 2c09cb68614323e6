//! Open-loop flights: hover command, ground, gust.

use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start};

fn hover_start() -> Start {
    Start { airborne: true, height_m: 6.0, ..Start::default() }
}

#[test]
fn hover_command_holds_height_for_a_second() {
    let mut plant =
        Plant::new(&Config::weir_gauge(), &AirConfig::default(), &hover_start(), 1, 0.001).unwrap();
    let hover = plant.truth().motor_command;
    for _ in 0..1000 {
        plant.advance(hover);
    }
    let truth = plant.truth();
    assert!((truth.height_m() - 6.0).abs() < 0.05, "{truth:?}");
    assert!(truth.tilt_rad() < 1e-9);
    // The twin: 5 % less command does not hold it.
    let mut sinking =
        Plant::new(&Config::weir_gauge(), &AirConfig::default(), &hover_start(), 1, 0.001).unwrap();
    for _ in 0..1000 {
        sinking.advance(hover.map(|share| 0.95 * share));
    }
    assert!((sinking.truth().height_m() - 6.0).abs() > 0.2, "{}", sinking.truth().height_m());
}

#[test]
fn thrust_to_weight_is_about_2_2() {
    let mut plant =
        Plant::new(&Config::weir_gauge(), &AirConfig::default(), &hover_start(), 1, 0.001).unwrap();
    for _ in 0..300 {
        plant.advance(Rotors::splat(1.0));
    }
    let ratio = plant.truth().thrust_n.sum() / (1.2 * 9.80665);
    assert!((2.1..2.3).contains(&ratio), "{ratio} {:?}", plant.truth());
}

#[test]
fn craft_rests_on_its_landing_gear() {
    let mut plant =
        Plant::new(&Config::weir_gauge(), &AirConfig::default(), &Start::default(), 1, 0.001).unwrap();
    for _ in 0..2000 {
        plant.advance(Rotors::splat(0.0));
    }
    let truth = plant.truth();
    assert!(truth.on_ground && !truth.tipped_over);
    assert!(truth.position_m.length() < 1e-4 && truth.velocity_m_s.length() < 1e-6, "{truth:?}");
}
