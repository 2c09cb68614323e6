//! Sweeps over values of the files.

use aplomb_flight::FlightPlan;
use aplomb_harness::input::axis::{Axis, Files, grid, random};
use aplomb_harness::input::demo;
use aplomb_study::sweep::{Tried, sweep};
use toml::Table;

fn files() -> Files {
    let text = |file: demo::File| file.text.parse::<Table>().unwrap();
    Files { craft: text(demo::CRAFT), controller: text(demo::CONTROLLER) }
}

fn swept(axes: &[Axis], points: &[Vec<f64>], plan: Option<&FlightPlan>) -> Vec<Tried> {
    let files = files();
    sweep(&|values: &[f64]| files.with(axes, values), points, plan, || {})
}

fn axes(texts: &[&str]) -> Vec<Axis> {
    texts.iter().map(|text| text.parse().unwrap()).collect()
}

#[test]
fn faster_rate_loop_loses_margin_and_then_stability() {
    let axes = axes(&["controller.override.rate_roll.crossover_rad_s=35..300x8"]);
    let tried = swept(&axes, &grid(&axes), None);
    let roll = |tried: &Tried| tried.loops[0].figures.upper_gain_margin_db;
    assert!(roll(&tried[0]) > roll(&tried[1]) && tried[0].is_feasible(), "{}", tried[0].margin_ratio());
    assert!(!tried[7].loops[0].stable && tried[7].margin_ratio() == 0.0);
}

#[test]
fn unknown_path_is_refused_with_the_nearest_one() {
    let axes = axes(&["controller.override.rate_roll.crosover_rad_s=20..50x2"]);
    let reason = files().with(&axes, &[30.0]).unwrap_err();
    assert!(reason.contains("`crossover_rad_s`"), "{reason}");
    let axes = axes_of_craft();
    assert!(files().with(&axes, &[1.0]).unwrap_err().contains("`mass_kg`"));
}

fn axes_of_craft() -> Vec<Axis> {
    axes(&["craft.mas_kg=1..2x2"])
}

#[test]
fn grid_has_every_pair_and_random_points_repeat() {
    let axes = axes(&["craft.mass_kg=1..2x3", "craft.motor.inertia_kg_m2=0.02..0.04x2"]);
    let points = grid(&axes);
    assert_eq!(points.len(), 6);
    assert_eq!(
        (points[0].as_slice(), points[5].as_slice()),
        ([1.0, 0.02].as_slice(), [2.0, 0.04].as_slice())
    );
    let drawn = random(&axes, 50, 3);
    assert_eq!(drawn, random(&axes, 50, 3));
    assert_ne!(drawn, random(&axes, 50, 4));
    assert!(drawn.iter().all(|p| (1.0..2.0).contains(&p[0]) && (0.02..0.04).contains(&p[1])));
}
