//! The flights under `examples/flights`, flown on the demo's craft and controller.

use std::path::PathBuf;

use aplomb::Demand;
use aplomb_craft::{Config, Mount};
use aplomb_flight::FlightPlan;
use aplomb_flight::fly::fly;
use aplomb_flight::limit::Outcome;
use aplomb_harness::input::{self};
use aplomb_study::judge::{evidence, verdict};
use aplomb_study::verdict::Verdict;

fn plans() -> Vec<FlightPlan> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("examples/flights");
    input::load_flights(&[folder]).expect("the flights are read")
}

fn craft() -> Config {
    input::demo_craft().expect("the demo is read").config
}

fn named(name: &str) -> FlightPlan {
    plans().into_iter().find(|plan| plan.name == name).expect("it is there")
}

fn fails(craft: &Config, plan: &FlightPlan) -> bool {
    flown(craft, plan).iter().any(|verdict| verdict.outcome == Outcome::Fail)
}

fn flown(craft: &Config, plan: &FlightPlan) -> Vec<Verdict> {
    let controller = input::demo_controller().expect("the demo is read");
    let flown = fly(craft, &controller, plan, plan.seed).expect("it flies");
    let spin = craft.arms.map(|arm| arm.spin);
    let judge = |check| verdict(check, &[evidence(check, &flown.trace, &spin)]);
    plan.checks.iter().map(judge).collect()
}

#[test]
fn flight_every_check_passes() {
    let plans = plans();
    assert!(plans.len() >= 5);
    for plan in plans {
        for verdict in flown(&craft(), &plan) {
            assert_eq!(
                verdict.outcome,
                Outcome::Pass,
                "{}: {} is {} against {:?}",
                plan.name,
                verdict.text,
                verdict.measured,
                verdict.limit
            );
        }
    }
}

#[test]
fn flight_rate_sticks_fail_their_checks_in_tilt_command() {
    let mut tilt = named("rate-sticks");
    for timed in &mut tilt.commands {
        if let Demand::RateSticks(sticks) = timed.command.demand {
            timed.command.demand = Demand::Sticks(sticks);
        }
    }
    assert!(fails(&craft(), &tilt));
}

#[test]
fn flight_longer_faults_fail() {
    // The twins: an outage longer than the time of dead reckoning, and a seized rotor.
    let mut silent = named("gnss-jump");
    silent.faults[1].until_s += 8.0;
    let mut lost = named("worn-rotor");
    lost.faults[0].what = aplomb_craft::fault::What::Rotor(
        aplomb_craft::Corner::FrontLeft,
        aplomb_craft::fault::RotorFault::Seized,
    );
    for plan in [silent, lost] {
        assert!(fails(&craft(), &plan), "{}", plan.name);
    }
}

#[test]
fn flight_on_the_stand_detects_a_wrong_inertia() {
    // Three times the inertia: the loop gain is a third of the designed one.
    let mut heavy = craft();
    heavy.inertia_kg_m2[0][0] *= 3.0;
    heavy.inertia_kg_m2[1][1] *= 3.0;
    heavy.inertia_kg_m2[2][2] *= 3.0;
    assert!(fails(&heavy, &named("stand-roll")));
}

#[test]
fn flight_without_its_tether_reaches_the_commanded_height() {
    let free = FlightPlan { mount: Mount::Free, ..named("tethered-hover") };
    assert!(fails(&craft(), &free));
}
