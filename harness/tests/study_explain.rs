//! The explanation: its checks pass on the demo and fail on exchanged flights.

use aplomb_harness::{input, pages, report};
use aplomb_study::controller_model;
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
        "in the steady climb",
        "heading set-point",
        "at the start of the rotation",
        "mean drift",
        "sink rate",
    ] {
        assert!(failed.iter().any(|text| text.contains(part)), "{part}: {failed:#?}");
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
