//! Ground effect on the whole craft: Cheeseman and Bennett 1955, ARC R&M 3021.

use aplomb_craft::{AirConfig, Config, Plant, Start, WindStep};

/// The demo craft without drag.
fn craft() -> Config {
    Config { drag: Default::default(), ..Config::weir_gauge() }
}

/// Upward acceleration (m/s2) of a craft at the rotor speeds of hover out of ground effect, with its hubs
/// `per_radius` radii above the ground.
fn lift_m_s2(craft: &Config, per_radius: f64, wind_m_s: f64) -> f64 {
    let (radius_m, ground) = (0.1143, craft.ground);
    // The hubs are 0.02 m above the centre of mass, which at home is 0.076 m above the ground.
    let height_m = per_radius * radius_m - 0.02 - (ground.foot_z_m - ground.static_deflection_m);
    let start = Start { airborne: true, height_m, ..Start::default() };
    let air = AirConfig {
        winds: vec![WindStep { at_s: 0.0, from_deg: 0.0, speed_m_s: wind_m_s, ramp_s: 0.0 }],
        ..AirConfig::default()
    };
    -Plant::new(craft, &air, &start, 1, 0.001).unwrap().truth().acceleration_m_s2.z
}

#[test]
fn validate_thrust_near_the_ground() {
    let open = Config { ground_effect: None, ..craft() };
    for (per_radius, ratio) in [(1.0, 1.066_667), (2.0, 1.015_873), (4.0, 1.003_922)] {
        let found = 1.0 + lift_m_s2(&craft(), per_radius, 0.0) / 9.80665;
        assert!((found - ratio).abs() < 2e-6, "{per_radius}: {found}");
        // The twin: without the effect the craft hovers.
        assert!(lift_m_s2(&open, per_radius, 0.0).abs() < 1e-6);
    }
}

#[test]
fn validate_wind_reduces_the_effect() {
    let gain = |wind_m_s| {
        let open = Config { ground_effect: None, ..craft() };
        lift_m_s2(&craft(), 1.0, wind_m_s) - lift_m_s2(&open, 1.0, wind_m_s)
    };
    // A tenth remains at 12 m/s, about twice the induced velocity.
    assert!(gain(4.0) < 0.9 * gain(0.0) && gain(12.0) < 0.1 * gain(0.0), "{} {}", gain(4.0), gain(12.0));
}

#[test]
fn effect_is_small_where_it_is_neglected() {
    let (inside, outside) = (lift_m_s2(&craft(), 9.0, 0.0), lift_m_s2(&craft(), 11.0, 0.0));
    assert!(inside > 0.0 && inside < 0.01, "{inside}");
    assert!(outside.abs() < 1e-6, "{outside}");
}
