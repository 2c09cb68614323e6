//! Position hold in steady wind: mean tilt in closed loop against published drag.
//!
//! In a steady hold the thrust's horizontal part balances the drag: tan(tilt) = dx V/g for rotor drag per
//! mass dx, k V/(m g) for linear drag k, rho CdA V^2/(2 m g) for a drag area CdA.

use aplomb_craft::{Config, WindStep};
use aplomb_flight::fly::fly;
use aplomb_harness::input;
use aplomb_study::measure;

/// Mean tilt in deg into a wind from the north, with the nose to the wind.
fn mean_tilt_deg(craft: &Config, wind_m_s: f64) -> f64 {
    let plans = input::demo_flights().expect("the demo is read");
    let mut plan = plans.into_iter().find(|plan| plan.name == "hold-in-wind").expect("a flight of the demo");
    plan.duration_s = 40.0;
    plan.air = aplomb_craft::AirConfig::default();
    plan.air.winds.push(WindStep { at_s: 0.0, from_deg: 0.0, speed_m_s: wind_m_s, ramp_s: 0.0 });
    let controller = input::demo_controller().expect("the demo is read");
    let flown = fly(craft, &controller, &plan, 1).expect("it flies");
    let nose_down: Vec<f64> = flown.trace.window(15.0, 40.0).iter().map(|row| -row.truth.pitch_deg).collect();
    measure::mean(&nose_down)
}

/// The weir gauge without any drag.
fn bare() -> Config {
    let mut craft = input::demo_craft().expect("the demo is read").config;
    craft.drag.rotor_drag_per_s = [0.0; 3];
    craft.drag.body_drag_n_s_m = [0.0; 3];
    craft.drag.drag_area_m2 = [0.0; 3];
    craft
}

/// The table's tilts in deg for 2, 5 and 8 m/s, computed with g = 9.80665 and 1.225 kg/m3.
fn check(craft: &Config, rows: [(f64, f64); 3]) {
    for (wind_m_s, expected_deg) in rows {
        let tilt = mean_tilt_deg(craft, wind_m_s);
        assert!((tilt - expected_deg).abs() < 1.0, "{wind_m_s} m/s: {tilt} deg against {expected_deg}");
    }
}

// Faessler, Franchi and Scaramuzza 2018, RA-L 3(2), sec. VII-C: dx 0.544 1/s.
#[test]
fn validate_tilt_with_published_rotor_drag() {
    let mut craft = bare();
    craft.drag.rotor_drag_per_s = [0.544, 0.386, 0.0];
    check(&craft, [(2.0, 6.331), (5.0, 15.502), (8.0, 23.931)]);
}

// Hattenberger, Bronz and Condomines 2022, IMAV: k 0.153 N s/m at 0.547 kg; the same drag per mass here.
#[test]
fn validate_tilt_with_published_linear_drag() {
    let mut craft = bare();
    craft.drag.body_drag_n_s_m = [0.153 * craft.mass_kg / 0.547; 3];
    check(&craft, [(2.0, 3.265), (5.0, 8.116), (8.0, 12.854)]);
}

// Chen and Bai 2022, IFAC-PapersOnLine 55-37:19-24, table 1: CdA 0.03265 m2 at 0.389 kg; the same area per
// mass here.
#[test]
fn validate_tilt_with_published_drag_area() {
    let mut craft = bare();
    craft.drag.drag_area_m2 = [0.03265 * craft.mass_kg / 0.389; 3];
    check(&craft, [(2.0, 1.201), (5.0, 7.466), (8.0, 18.547)]);
}

// The twin: without rotor drag the craft does not tilt into the wind, and no row of the first table is met.
#[test]
fn validate_tilt_fails_without_rotor_drag() {
    let craft = bare();
    for (wind_m_s, published_deg) in [(2.0, 6.331), (5.0, 15.502), (8.0, 23.931)] {
        let tilt = mean_tilt_deg(&craft, wind_m_s);
        assert!(tilt.abs() < 1.0 && (tilt - published_deg).abs() > 1.0, "{wind_m_s} m/s: {tilt} deg");
    }
}
