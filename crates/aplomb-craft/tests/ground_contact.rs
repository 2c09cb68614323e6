//! Standing, landing, sliding and tip-over.

use aplomb_craft::glam::DVec3;
use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start, WindStep, rotor};

fn drop_from(config: &Config, start: Start, seconds: usize) -> (Plant, f64) {
    let mut plant = Plant::new(config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    let mut lowest: f64 = 0.0;
    for _ in 0..seconds * 1000 {
        plant.advance(Rotors::splat(0.0));
        lowest = lowest.min(plant.truth().height_m());
    }
    (plant, lowest)
}

fn falling(height_m: f64) -> Start {
    Start { airborne: true, rotors_stopped: true, height_m, ..Start::default() }
}

#[test]
fn standing_craft_keeps_its_position_in_wind() {
    let wind = WindStep { at_s: 0.0, from_deg: 30.0, speed_m_s: 8.0, ramp_s: 0.0 };
    let air = AirConfig { winds: vec![wind], ..AirConfig::default() };
    let drift = |friction: f64| {
        let mut config = Config::weir_gauge();
        config.ground.friction = friction;
        let mut plant = Plant::new(&config, &air, &Start::default(), 1, 0.001).unwrap();
        for _ in 0..10_000 {
            plant.advance(Rotors::splat(0.0));
        }
        plant.truth().position_m.truncate().length()
    };
    // Coulomb friction holds it; the twin without friction is blown away.
    assert!(drift(0.7) < 2e-3, "{}", drift(0.7));
    assert!(drift(0.0) > 1.0, "{}", drift(0.0));
}

#[test]
fn sliding_distance_follows_from_friction() {
    // v^2 / (2 mu g) from 2 m/s at mu 0.7, all other drag off.
    let config = Config { drag: Default::default(), ..Config::weir_gauge() };
    let (plant, _) = drop_from(&config, Start { velocity_m_s: [2.0, 0.0, 0.0], ..falling(0.0) }, 3);
    let expected = 4.0 / (2.0 * 0.7 * 9.80665);
    let found = plant.truth().position_m.x;
    // A pitch rotation on the landing gear shifts the load but not its sum: within 3 %.
    assert!((found / expected - 1.0).abs() < 0.03, "{found} {expected}");
    assert!(plant.truth().velocity_m_s.length() < 1e-6);
}

#[test]
fn dropped_craft_comes_to_rest_on_its_landing_gear() {
    let (plant, lowest) = drop_from(&Config::weir_gauge(), falling(0.3), 3);
    let truth = plant.truth();
    assert!(truth.on_ground && !truth.tipped_over && truth.tilt_rad() < 1e-6);
    assert!(truth.height_m().abs() < 1e-6 && truth.velocity_m_s.length() < 1e-6, "{truth:?}");
    // 2.4 m/s into springs of 49.5 rad/s without damping would go 49 mm deep.
    assert!((-0.049..-0.01).contains(&lowest), "{lowest}");
}

#[test]
fn contact_without_damping_conserves_energy() {
    let mut config = Config { drag: Default::default(), ..Config::weir_gauge() };
    config.rotor.inflow = rotor::Inflow::Constant;
    config.ground.damping_ratio = 0.0;
    let start = falling(0.2);
    let mut plant = Plant::new(&config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    let mut highest: f64 = 0.0;
    for tick in 0..4000 {
        plant.advance(Rotors::splat(0.0));
        if tick > 3000 {
            highest = highest.max(plant.truth().height_m());
        }
    }
    // Touchdown within a step costs some accuracy: back to 0.2 m within 1 %.
    assert!((highest / 0.2 - 1.0).abs() < 0.01, "{highest}");
}

#[test]
fn inverted_craft_on_the_ground_has_tipped_over_and_is_stationary() {
    let (plant, _) = drop_from(&Config::weir_gauge(), Start { roll_rad: 2.6, ..falling(0.5) }, 5);
    let truth = plant.truth();
    assert!(truth.on_ground && truth.tipped_over);
    assert!(truth.velocity_m_s.length() < 1e-3 && truth.body_rate_rad_s.length() < 1e-2, "{truth:?}");
    // The twin: from 20 deg of roll it falls back onto the landing gear.
    let (plant, _) = drop_from(&Config::weir_gauge(), Start { roll_rad: 0.35, ..falling(0.3) }, 5);
    assert!(plant.truth().on_ground && !plant.truth().tipped_over && plant.truth().tilt_rad() < 0.01);
}

#[test]
fn full_command_lifts_off() {
    let mut plant =
        Plant::new(&Config::weir_gauge(), &AirConfig::default(), &Start::default(), 1, 0.001).unwrap();
    assert!(plant.truth().on_ground);
    for _ in 0..1000 {
        plant.advance(Rotors::splat(0.8));
    }
    let truth = plant.truth();
    assert!(!truth.on_ground && truth.height_m() > 0.5 && truth.tilt_rad() < 1e-6, "{truth:?}");
    assert!(truth.position_m.truncate().length() < 1e-9);
}

#[test]
fn external_force_accelerates_the_craft_and_non_finite_ones_do_not() {
    let start = Start { airborne: true, height_m: 5.0, ..Start::default() };
    let mut config = Config::weir_gauge();
    config.drag = Default::default();
    let mut plant = Plant::new(&config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    let hover = plant.truth().motor_command;
    plant.push(DVec3::new(1.2, 0.0, 0.0), DVec3::splat(f64::NAN));
    for _ in 0..1000 {
        plant.advance(hover);
    }
    assert!((plant.truth().velocity_m_s.x - 1.0).abs() < 1e-9);
    assert!(plant.truth().attitude.is_finite() && plant.truth().tilt_rad() < 1e-9);
}

#[test]
fn standing_is_stable_at_every_control_period() {
    for tick_s in [1e-4, 1e-3, 2.5e-3, 5e-3] {
        let mut plant =
            Plant::new(&Config::weir_gauge(), &AirConfig::default(), &falling(0.1), 1, tick_s).unwrap();
        for _ in 0..(3.0 / tick_s) as usize {
            plant.advance(Rotors::splat(0.0));
        }
        let truth = plant.truth();
        assert!(
            truth.on_ground && truth.velocity_m_s.length() < 1e-6 && truth.height_m().abs() < 1e-6,
            "{tick_s}"
        );
    }
}
