//! The tuned controller: consistent with its file, better than the derived one; refusal of a craft that
//! cannot be tuned.

use aplomb_harness::input;
use aplomb_study::controller_model;
use aplomb_study::craft::Craft;
use aplomb_study::tune::parameter::{PARAMETERS, Setting};
use aplomb_study::tune::{Effort, TuneError, Tuned, tune};

#[test]
fn text_contains_every_parameter_and_the_factors() {
    let craft = input::demo_craft().unwrap();
    let derived = controller_model::controller(&craft).unwrap();
    let settings = |factor: &dyn Fn(usize) -> f64| -> Vec<Setting> {
        (0..PARAMETERS.len())
            .map(|parameter| Setting { parameter, factor: factor(parameter), derived })
            .collect()
    };
    let near = |a: f32, b: f32| assert!((a / b - 1.0).abs() < 2e-3, "{a} {b}");
    let plain = input::tune::build(&craft, &[]).unwrap();
    near(plain.rate.roll.crossover_rad_s, derived.rate.roll.crossover_rad_s);
    near(plain.thrust_curve.max_thrust_n, derived.thrust_curve.max_thrust_n);
    near(plain.velocity.crossover_rad_s, derived.velocity.crossover_rad_s);
    let factor = |i: usize| 0.8 + 0.01 * i as f64;
    let adjusted = input::tune::build(&craft, &settings(&factor)).unwrap();
    for (i, parameter) in PARAMETERS.iter().enumerate() {
        for key in parameter.keys {
            near((key.derived)(&adjusted), factor(i) as f32 * (key.derived)(&derived));
        }
    }
}

fn tuned(craft: &Craft, trials: usize, seeds: u32) -> Result<Tuned, TuneError> {
    let build = |craft: &Craft, settings: &[Setting]| {
        input::tune::build(craft, settings).map_err(|error| error.render(false))
    };
    tune(craft, &input::tune::flights().unwrap(), &build, Effort { trials, seeds }, &|| ())
}

#[test]
fn few_trials_pass_and_a_larger_gain_scale_costs_noise() {
    let craft = input::demo_craft().unwrap();
    let tuned = tuned(&craft, 40, 1).unwrap();
    assert!(tuned.tried >= 3, "{}", tuned.tried);
    assert!(tuned.found.passes(), "{:?}", tuned.found.limiting(3));
    assert!(tuned.found.rank.order(&tuned.start.rank).is_le());
    let at = |gain_scale: f64| tuned.trades.iter().find(|trade| trade.gain_scale == gain_scale).unwrap();
    assert!(at(1.4).noise_percent > at(0.6).noise_percent, "{:?}", tuned.trades);
    assert!(at(1.4).tilt_deg < at(0.6).tilt_deg, "{:?}", tuned.trades);
}

#[test]
fn craft_that_cannot_lift_itself_is_refused() {
    let mut craft = input::demo_craft().unwrap();
    craft.config.mass_kg = 2.6;
    assert!(matches!(tuned(&craft, 3, 1), Err(TuneError::Derive(_))));
}
