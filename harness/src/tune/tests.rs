//! The tuned controller: consistent with its file, better than the derived one; refusal of a craft that
//! cannot be tuned.

use super::*;
use crate::input;

#[test]
fn text_contains_every_parameter_and_the_factors() {
    let craft = input::demo_craft().unwrap();
    let evaluator = Evaluator::new(&craft).unwrap();
    let derived = evaluator.controller(&[1.0; PARAMETERS.len()]).unwrap().config;
    let near = |a: f32, b: f32| assert!((a / b - 1.0).abs() < 2e-3, "{a} {b}");
    near(derived.rate.roll.crossover_rad_s, evaluator.derived.rate.roll.crossover_rad_s);
    near(derived.thrust_curve.max_thrust_n, evaluator.derived.thrust_curve.max_thrust_n);
    near(derived.velocity.crossover_rad_s, evaluator.derived.velocity.crossover_rad_s);
    let mut factors = [1.0; PARAMETERS.len()];
    for (i, factor) in factors.iter_mut().enumerate() {
        *factor = 0.8 + 0.01 * i as f64;
    }
    let adjusted = evaluator.controller(&factors).unwrap().config;
    for (parameter, factor) in PARAMETERS.iter().zip(factors) {
        for key in parameter.keys {
            near((key.derived)(&adjusted), factor as f32 * (key.derived)(&evaluator.derived));
        }
    }
}

#[test]
fn few_trials_pass_and_a_larger_gain_scale_costs_noise() {
    let craft = input::demo_craft().unwrap();
    let tuned = tune(&craft, 14, &|| ()).unwrap();
    assert!(tuned.tried >= 10, "{}", tuned.tried);
    assert!(tuned.found.passes(), "{:?}", tuned.found.limiting(3));
    let at = |gain_scale: f64| tuned.trades.iter().find(|trade| trade.gain_scale == gain_scale).unwrap();
    assert!(at(1.4).noise_percent > at(0.6).noise_percent, "{:?}", tuned.trades);
    assert!(at(1.4).tilt_deg < at(0.6).tilt_deg, "{:?}", tuned.trades);
}

#[test]
fn craft_that_cannot_lift_itself_is_refused() {
    let mut craft = input::demo_craft().unwrap();
    craft.config.mass_kg = 2.6;
    assert!(matches!(tune(&craft, 3, &|| ()), Err(TuneError::Derive(_))));
}
