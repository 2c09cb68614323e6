//! The ceiling of the rotors' thrust follows battery and air: a craft that climbs with an almost empty battery in thin air
//! reports the limit whenever a motor is at full command, and only then. Its twin with a charged battery at sea level flies
//! the same without a motor at full command and without a report.

use aplomb::flight;
use aplomb_craft::Config;
use aplomb_harness::fly::fly;
use aplomb_harness::input;
use aplomb_harness::trace::{Row, Trace};

const ELEVATION_M: f64 = 2500.0;
/// Density of the standard atmosphere at 2500 m in kg/m3 (ISO 2533:1975).
const DENSITY_KG_M3: f32 = 0.9570;

/// The demo's craft with 1.4 kg climbs, with a share of its charge left and in air of the density in the controller model.
fn climbed(state_of_charge: f64, elevation_m: f64, density_kg_m3: f32) -> Trace {
    let demo = input::demo_craft().expect("the demo is read").config;
    let mut craft = Config { mass_kg: 1.4, ..demo };
    craft.battery.state_of_charge = state_of_charge;
    let controller = input::demo_controller().expect("the demo is read").config;
    let controller = flight::Config { air_density_kg_m3: density_kg_m3, ..controller };
    let plans = input::demo_flights().expect("the demo is read");
    let mut plan = plans.into_iter().find(|plan| plan.name == "climb").expect("a flight of the demo");
    plan.air.elevation_m = elevation_m;
    fly(&craft, &controller, &plan, 1).expect("it flies").trace
}

fn full(row: &Row) -> bool {
    row.command.into_array().into_iter().any(|command| command > 0.9999)
}

fn limited(row: &Row) -> bool {
    row.flags.roll_pitch_saturated || row.flags.thrust_saturated || row.flags.yaw_saturated
}

/// Number of rows: a motor at full command; of those, with a limit reported; a limit reported and no motor at full command.
fn counts(name: &str, trace: &Trace) -> [usize; 3] {
    let count = |of: &dyn Fn(&Row) -> bool| trace.rows.iter().filter(|row| of(row)).count();
    let counts =
        [count(&full), count(&|row| full(row) && limited(row)), count(&|row| limited(row) && !full(row))];
    let tilt_deg = trace.rows.iter().fold(0.0f64, |tilt, row| tilt.max(row.truth.tilt_deg));
    println!("{name}: {counts:?} of {} rows, largest tilt {tilt_deg:.1} deg", trace.rows.len());
    counts
}

#[test]
fn flight_reports_its_limit_when_a_motor_is_at_full_command_and_only_then() {
    let thin = climbed(0.25, ELEVATION_M, DENSITY_KG_M3);
    let [at_full, reported, no_motor] = counts("a quarter of the charge, 2500 m", &thin);
    assert!(at_full > 50, "the flight must reach full command: {at_full}");
    assert_eq!((reported, no_motor), (at_full, 0));
    let charged = climbed(0.9, 0.0, aplomb::mix::REFERENCE_DENSITY_KG_M3);
    assert_eq!(counts("charged, sea level", &charged), [0, 0, 0]);
}
