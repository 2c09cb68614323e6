//! The controller that is derived from a craft.

use aplomb_harness::input;
use aplomb_study::controller_model;

/// The demo's controller file was written by hand from the same numbers.
#[test]
fn derived_model_of_the_demo_agrees_with_its_controller_file() {
    let craft = input::demo_craft().unwrap();
    let (derived, written) =
        (controller_model::controller(&craft).unwrap(), input::demo_controller().unwrap());
    let near = |a: f32, b: f32, share: f32| assert!((a / b - 1.0).abs() < share, "{a} {b}");
    near(derived.thrust.mass_kg, written.thrust.mass_kg, 0.03);
    near(derived.rate.roll.crossover_rad_s, written.rate.roll.crossover_rad_s, 0.05);
    near(derived.thrust_curve.max_thrust_n, written.thrust_curve.max_thrust_n, 0.05);
    near(derived.thrust_curve.back_emf_share, written.thrust_curve.back_emf_share, 0.05);
}

#[test]
fn craft_that_cannot_lift_is_refused() {
    let mut craft = input::demo_craft().unwrap();
    craft.config.mass_kg = 2.6;
    assert_eq!(controller_model::controller(&craft).unwrap_err().field, "max_thrust_n");
}
