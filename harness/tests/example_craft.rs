//! Every craft under `examples/craft` has a derived controller, from which tuning can start.

use std::fs;
use std::path::Path;

use aplomb_harness::input;
use aplomb_study::controller_model;
use aplomb_study::craft::Craft;
use aplomb_study::linear::Break;
use aplomb_study::margins::{linear, point::Point};

fn craft() -> Vec<Craft> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/craft");
    let files = fs::read_dir(folder).unwrap().map(|file| file.unwrap().path());
    let craft: Vec<Craft> = files.map(|file| input::load_craft(&file).unwrap()).collect();
    assert!(craft.len() >= 9, "{}", craft.len());
    craft
}

/// Smallest upper or lower gain margin in dB and smallest phase margin in deg, of the loops at the demands.
fn least(truth: &Craft, controller: &aplomb::flight::Config) -> (f64, f64) {
    let loops = linear(&truth.config, controller, &Point::ALL[0], &Break::DEMANDS).unwrap();
    loops.iter().fold((f64::INFINITY, f64::INFINITY), |(gain_db, phase_margin_deg), one| {
        assert!(one.stable, "{}: {}", truth.name, one.broken.name());
        let figures = &one.figures;
        (
            gain_db.min(figures.upper_gain_margin_db).min(figures.lower_gain_margin_db),
            phase_margin_deg.min(figures.phase_margin_deg),
        )
    })
}

/// Usual minimum: a gain margin of 2 and a phase margin of 30 deg (K. J. Astrom, R. M. Murray, Feedback
/// Systems; from memory).
#[test]
fn derived_loops_keep_6_db_and_30_deg() {
    for craft in craft() {
        let controller =
            controller_model::controller(&craft).unwrap_or_else(|error| panic!("{}: {error}", craft.name));
        let (gain_db, phase_margin_deg) = least(&craft, &controller);
        assert!(
            gain_db >= 6.0 && phase_margin_deg >= 30.0,
            "{}: {gain_db} dB, {phase_margin_deg} deg",
            craft.name
        );
    }
}

#[test]
fn rotors_twice_as_slow_as_in_the_model_lose_them() {
    for mut craft in craft() {
        let controller = controller_model::controller(&craft).unwrap();
        let (_, phase_margin_deg) = least(&craft, &controller);
        craft.config.rotor.inertia_kg_m2 *= 2.0;
        let (_, slow_deg) = least(&craft, &controller);
        assert!(
            slow_deg < phase_margin_deg - 5.0,
            "{}: {slow_deg} deg after {phase_margin_deg} deg",
            craft.name
        );
    }
}
