//! Fast approximate square roots instead of the exact ones, over every demo flight.

use aplomb::{FlightController, Libm, Micromath};
use aplomb_craft::Plant;
use aplomb_craft::glam::{DQuat, DVec3};
use aplomb_flight::fly::fly_as;
use aplomb_flight::trace::{Motion, Row};
use aplomb_harness::input;

/// Angle in deg of the rotation between two true attitudes.
fn apart_deg(a: &Row, b: &Row) -> f64 {
    let attitude = |row: &Row| {
        let Motion { roll_deg, pitch_deg, heading_deg, .. } = row.truth;
        let turn = |axis: DVec3, deg: f64| DQuat::from_axis_angle(axis, deg.to_radians());
        turn(DVec3::Z, heading_deg) * turn(DVec3::Y, pitch_deg) * turn(DVec3::X, roll_deg)
    };
    let between = attitude(a).conjugate() * attitude(b);
    2.0 * DVec3::new(between.x, between.y, between.z).length().min(1.0).asin().to_degrees()
}

#[test]
fn flight_with_approximate_roots_stays_within_half_a_degree() {
    let craft = input::demo_craft().expect("the demo is read").config;
    let controller = input::demo_controller().expect("the demo is read");
    for plan in input::demo_flights().expect("the demo is read") {
        let exact =
            fly_as::<FlightController<Libm>, Plant>(&craft, &controller, &plan, plan.seed).expect("it flies");
        let fast = fly_as::<FlightController<Micromath>, Plant>(&craft, &controller, &plan, plan.seed)
            .expect("it flies");
        assert_ne!(exact.digest, fast.digest, "{}: the roots are the same", plan.name);
        let rows = exact.trace.rows.iter().zip(&fast.trace.rows);
        let worst = rows.map(|(a, b)| apart_deg(a, b)).fold(0.0, f64::max);
        println!("{}: {worst:.4} deg", plan.name);
        assert!(worst < 0.5, "{}: {worst} deg", plan.name);
    }
}
