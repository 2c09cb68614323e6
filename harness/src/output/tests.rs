//! Causes of a failed verification and their form in the results.

use aplomb_flight::check::Pooling;
use aplomb_flight::limit::Limit;
use aplomb_study::verify::{Baseline, Item, Judgement, baseline, json, judge};

fn item(flight: &str, id: &str, measured: f64, limit: Limit) -> Item {
    Item {
        flight: flight.to_owned(),
        id: id.to_owned(),
        text: format!("{id} in words & signs"),
        measured,
        limit,
        unit: "m",
        outcome: limit.judge(measured),
        source: Some("a source".to_owned()),
        error_model: "none".to_owned(),
        pooling: Some(Pooling::Worst),
        tolerance: 0.1,
        waived: None,
    }
}

fn judgement(items: Vec<Item>) -> Judgement {
    Judgement { items, untested: Vec::new(), seeds: 10, simulated_s: 1.0 }
}

fn good() -> Judgement {
    judgement(vec![
        item("climb", "height", 0.5, Limit::AtMost(1.0)),
        item("climb", "damping", 0.5, Limit::AtLeast(0.35)),
        item("land", "position", 0.0, Limit::Between(-1.0, 1.0)),
    ])
}

fn reported(judgement: &Judgement, baseline: Option<&Baseline>) -> Vec<String> {
    baseline::causes(judgement, baseline).iter().map(ToString::to_string).collect()
}

#[test]
fn same_figures_have_no_cause() {
    let baseline = Baseline::of(&good());
    assert!(reported(&good(), Some(&baseline)).is_empty());
    let again = super::baseline::read("baseline.json", &super::baseline::to_text(&baseline)).unwrap();
    assert_eq!(again, baseline);
}

#[test]
fn each_kind_of_cause_has_its_message() {
    let baseline = Baseline::of(&good());
    let mut worse = good();
    worse.items[0] = item("climb", "height", 1.2, Limit::AtMost(1.0));
    worse.items[1] = item("climb", "damping", 0.38, Limit::AtLeast(0.35));
    worse.items.remove(2);
    worse.items.push(item("land", "sink_rate", f64::NAN, Limit::AtMost(1.0)));
    assert_eq!(
        reported(&worse, Some(&baseline)),
        [
            "climb: height: fail, passed in the baseline with 0.500 m: 1.20 m, at most 1.00 m",
            "climb: damping: margin down by 0.120 m, more than the 0.100 allowed: 0.380 m, at least 0.350 m",
            "land: sink_rate: inconclusive",
            "land: position: no longer judged, but in the baseline",
        ]
    );
    // Without a baseline the limits alone are judged.
    assert_eq!(
        reported(&worse, None),
        ["climb: height: fail: 1.20 m, at most 1.00 m", "land: sink_rate: inconclusive"]
    );
}

#[test]
fn loss_within_the_tolerance_is_no_cause_and_far_from_the_limit_a_fifth_is_allowed() {
    let baseline = Baseline::of(&judgement(vec![
        item("a", "near", 0.5, Limit::AtMost(1.0)),
        item("a", "far", -9.0, Limit::AtMost(1.0)),
    ]));
    let with = |near: f64, far: f64| {
        judgement(vec![
            item("a", "near", near, Limit::AtMost(1.0)),
            item("a", "far", far, Limit::AtMost(1.0)),
        ])
    };
    assert!(reported(&with(0.59, -7.1), Some(&baseline)).is_empty());
    assert_eq!(reported(&with(0.61, -6.9), Some(&baseline)).len(), 2);
}

#[test]
fn waived_item_is_no_cause_and_shows_its_reason() {
    let mut waived = judgement(vec![item("land", "sink_rate", 2.0, Limit::AtMost(1.0))]);
    assert!(waived.items[0].counts_against());
    waived.items[0].waived = Some("the craft lands in a net".to_owned());
    let causes = baseline::causes(&waived, None);
    assert!(causes.is_empty() && !waived.items[0].counts_against());
    assert!(
        super::summary::to_text(&waived, &causes)
            .contains("waived: land: sink_rate: the craft lands in a net")
    );
    let xml = super::junit::to_xml(&waived, &causes).unwrap();
    assert!(xml.contains("waived: the craft lands in a net"), "{xml}");
    assert!(Baseline::of(&waived).items.is_empty());
}

#[test]
fn junit_counts_every_cause_as_a_failure() {
    let baseline = Baseline::of(&good());
    let mut worse = good();
    worse.items[0] = item("climb", "height", 1.2, Limit::AtMost(1.0));
    worse.items.remove(2);
    let causes = baseline::causes(&worse, Some(&baseline));
    let xml = super::junit::to_xml(&worse, &causes).unwrap();
    let document = roxmltree::Document::parse(&xml).unwrap();
    let root = document.root_element();
    assert_eq!((root.attribute("tests"), root.attribute("failures")), (Some("3"), Some("2")));
    let suites: Vec<_> = root.children().filter_map(|suite| suite.attribute("name")).collect();
    assert_eq!(suites, ["climb", "baseline"]);
}

#[test]
fn invalid_baseline_is_reported_with_its_location() {
    let text =
        super::baseline::to_text(&Baseline::of(&good())).replace("\"seeds\": 10", "\"seeds\": \"ten\"");
    let error = super::baseline::read("baseline.json", &text).unwrap_err();
    let location = error.problems[0].location.as_ref().unwrap();
    assert_eq!(location.line, 3);
    assert!(error.to_string().contains("not a baseline: invalid type: string \"ten\""), "{error}");
}

#[test]
fn json_is_described_by_its_schema() {
    let causes = baseline::causes(&good(), None);
    let value = serde_json::to_value(json::Verification::of(&good(), &causes)).unwrap();
    let schema = serde_json::to_value(schemars::schema_for!(json::Verification)).unwrap();
    let keys =
        |value: &serde_json::Value| -> Vec<String> { value.as_object().unwrap().keys().cloned().collect() };
    assert_eq!(keys(&value), keys(&schema["properties"]));
    assert_eq!(keys(&value["items"][0]), keys(&schema["$defs"]["ItemLine"]["properties"]));
}

#[test]
fn demo_passes_and_the_result_does_not_depend_on_the_threads() {
    let mut subject = crate::input::Folder::demo().unwrap().subject;
    subject.plans.truncate(1);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| judge(&subject, 2, &|| ()).unwrap())
    };
    let (one, two) = (on(1), on(2));
    assert_eq!(one, two);
    assert!(baseline::causes(&one, None).is_empty(), "{:?}", baseline::causes(&one, None));
    assert!(one.untested.iter().any(|untested| untested.id == "tick-cost"));
}
