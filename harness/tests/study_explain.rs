//! The explanation: its checks pass on the demo and fail on exchanged flights.

use std::fs;
use std::path::Path;

use aplomb_harness::{input, pages, report};
use aplomb_study::controller_model;
use aplomb_study::craft::Craft;
use aplomb_study::envelope::{self, Conditions};
use aplomb_study::explain::{Flights, Lesson, explain, lessons};

fn failing(lessons: &[Lesson]) -> Vec<&str> {
    let checks = lessons.iter().flat_map(|lesson| &lesson.checks);
    checks.filter(|check| !check.passes).map(|check| check.text.as_str()).collect()
}

#[test]
fn checks_pass_on_the_demo_and_fail_on_exchanged_flights() {
    let craft = input::demo_craft().unwrap();
    let controller = controller_model::controller(&craft).unwrap();
    let flown = input::explain::flights().unwrap().flown(&craft, &controller, 1).unwrap();
    let all = lessons(&craft, &controller, &flown);
    assert_eq!(failing(&all), Vec::<&str>::new());
    assert_eq!(all.len(), 11);

    let idle = Flights {
        climb: flown.hover.clone(),
        yaw: flown.hover.clone(),
        tilt: flown.hover.clone(),
        wind: flown.tilt.clone(),
        ..flown
    };
    let all = lessons(&craft, &controller, &idle);
    let failed = failing(&all);
    for part in [
        "smallest increase of a rotor speed",
        "smallest increase of a thrust",
        "the power in the steady climb",
        "counter-clockwise pair has",
        "heading set-point",
        "at the start of the rotation",
        "the front rotors are",
        "afterwards the front pair",
        "mean drift",
        "accelerate the craft (at most 10 %)",
        "the force balance at the mean wind",
        "sink rate",
    ] {
        assert!(failed.iter().any(|text| text.contains(part)), "{part}: {failed:#?}");
    }
}

fn examples() -> Vec<Craft> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/craft");
    let files = fs::read_dir(folder).unwrap().map(|file| file.unwrap().path());
    let craft: Vec<Craft> = files.map(|file| input::load_craft(&file).unwrap()).collect();
    assert!(craft.len() >= 12, "{}", craft.len());
    craft
}

/// The number before " m/s" in the first check with `part`.
fn wind(lesson: &Lesson, part: &str) -> Option<f64> {
    let text = &lesson.checks.iter().find(|check| check.text.contains(part))?.text;
    text.split(part).nth(1)?.split(" m/s").next()?.trim().parse().ok()
}

/// The wind at which the tilt first stays at its limit in a flight, the force balance and the envelope are
/// one figure: within 2 % on the demo and on every example.
#[test]
fn strongest_wind_of_flight_balance_and_envelope_agree() {
    let plans = input::explain::flights().unwrap();
    let mut answered = 0;
    for craft in examples().into_iter().chain([input::demo_craft().unwrap()]) {
        let controller = controller_model::controller(&craft).unwrap();
        let all = explain(&craft, &controller, &plans, 1).unwrap();
        let lesson = all.iter().find(|lesson| lesson.question == "Which wind is too strong?").unwrap();
        assert_eq!(failing_of(lesson, "force balance"), Vec::<&str>::new(), "{}", craft.name);
        let Some(balance) = wind(lesson, "the force balance gives") else { continue };
        let figures = envelope::find(&craft, &Conditions::default()).unwrap();
        let mut values = figures.iter().flat_map(|figure| &figure.values);
        let (_, strongest, _) = values.find(|(name, ..)| *name == "strongest steady wind").unwrap();
        assert!((balance / strongest - 1.0).abs() < 0.003, "{}: {balance}, {strongest}", craft.name);
        answered += 1;
    }
    assert!(answered >= 7, "{answered}");
}

fn failing_of<'a>(lesson: &'a Lesson, part: &str) -> Vec<&'a str> {
    failing(std::slice::from_ref(lesson)).into_iter().filter(|text| text.contains(part)).collect()
}

/// The twin: with another tilt limit in the balance than in the flight, they do not agree.
#[test]
fn strongest_wind_of_another_tilt_limit_does_not_agree() {
    let craft = input::demo_craft().unwrap();
    let controller = controller_model::controller(&craft).unwrap();
    let flown = input::explain::flights().unwrap().flown(&craft, &controller, 1).unwrap();
    let mut other = controller;
    other.thrust.tilt_limit_rad *= 0.95;
    let all = lessons(&craft, &other, &flown);
    assert!(failing(&all).iter().any(|text| text.contains("the force balance gives")));
}

/// Four published files give no drag. Their questions about wind are not answered, which is no failed check.
#[test]
fn questions_about_wind_need_a_drag() {
    let plans = input::explain::flights().unwrap();
    let without: Vec<Craft> = examples()
        .into_iter()
        .filter(|craft| craft.config.drag.rotor_drag_per_s == [0.0; 3])
        .filter(|craft| craft.config.drag.body_drag_n_s_m == [0.0; 3])
        .collect();
    assert_eq!(without.len(), 4);
    for craft in without {
        let controller = controller_model::controller(&craft).unwrap();
        let all = explain(&craft, &controller, &plans, 1).unwrap();
        assert_eq!(failing(&all), Vec::<&str>::new(), "{}", craft.name);
        let unanswered = all.iter().filter(|lesson| lesson.answer.starts_with("Not answered"));
        assert_eq!(unanswered.count(), 3);
        assert!(all.iter().any(|lesson| lesson.answer.contains("rotor_drag_per_s")));
    }
}

#[test]
fn page_is_well_formed_and_contains_every_question() {
    let craft = input::demo_craft().unwrap();
    let plans = input::explain::flights().unwrap();
    let lessons = explain(&craft, &input::demo_controller().unwrap(), &plans, 2).unwrap();
    let page = pages::explain::compose(&craft, &lessons, &report::Repeat::default());
    roxmltree::Document::parse_with_options(
        &page,
        roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() },
    )
    .unwrap();
    assert!(lessons.iter().all(|lesson| page.contains(lesson.question)));
}
