//! The tuned controller is what its file says, and better than the derived one; a craft that cannot be tuned is told.

use super::*;
use crate::input;

#[test]
fn text_holds_every_fact_and_the_factors() {
    let craft = input::demo_craft().unwrap();
    let workshop = Workshop::new(&craft).unwrap();
    let derived = workshop.controller(&[1.0; KNOBS.len()]).unwrap().config;
    let near = |a: f32, b: f32| assert!((a / b - 1.0).abs() < 2e-3, "{a} {b}");
    near(derived.rate.roll.crossover_rad_s, workshop.derived.rate.roll.crossover_rad_s);
    near(derived.thrust_curve.max_thrust_n, workshop.derived.thrust_curve.max_thrust_n);
    near(derived.velocity.crossover_rad_s, workshop.derived.velocity.crossover_rad_s);
    let mut factors = [1.0; KNOBS.len()];
    for (i, factor) in factors.iter_mut().enumerate() {
        *factor = 0.8 + 0.01 * i as f64;
    }
    let turned = workshop.controller(&factors).unwrap().config;
    for (knob, factor) in KNOBS.iter().zip(factors) {
        for place in knob.places {
            near((place.derived)(&turned), factor as f32 * (place.derived)(&workshop.derived));
        }
    }
}

#[test]
fn a_few_trials_leave_no_less_room_than_the_start_and_a_faster_pace_costs_noise() {
    let craft = input::demo_craft().unwrap();
    let tuned = tune(&craft, 14, &|| ()).unwrap();
    assert!(tuned.tried >= 10, "{}", tuned.tried);
    assert!(tuned.found.holds(), "{:?}", tuned.found.tightest(3));
    let paces = |pace: f64| tuned.trades.iter().find(|trade| trade.pace == pace).unwrap();
    assert!(paces(1.4).noise_percent > paces(0.6).noise_percent, "{:?}", tuned.trades);
    assert!(paces(1.4).tilt_deg < paces(0.6).tilt_deg, "{:?}", tuned.trades);
}

#[test]
fn a_craft_that_cannot_lift_itself_is_told_so() {
    let mut craft = input::demo_craft().unwrap();
    craft.config.mass_kg = 2.6;
    assert!(matches!(tune(&craft, 3, &|| ()), Err(TuneError::Derive(_))));
}
