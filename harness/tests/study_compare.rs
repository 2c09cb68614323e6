//! Comparison of a controller with itself and with a known worse one.

use aplomb_harness::input::Folder;
use aplomb_study::compare::{Comparison, Finding, MetricLine, compare};
use aplomb_study::disperse::Campaign;
use aplomb_study::verify::Subject;

fn campaign(change: impl Fn(&mut Subject)) -> Campaign {
    let mut subject = Folder::demo().unwrap().subject;
    change(&mut subject);
    Campaign::new(subject, &["probe-tilt-steps".to_owned(), "torque-push".to_owned()], Vec::new(), 1).unwrap()
}

fn line<'a>(comparison: &'a Comparison, id: &str) -> &'a MetricLine {
    comparison.metrics.iter().find(|line| line.id == id).unwrap()
}

#[test]
fn comparison_with_itself_finds_no_difference() {
    let one = campaign(|_| ());
    let comparison = compare(&one, &one, 3, &|| ()).unwrap();
    assert!(comparison.metrics.len() > 5);
    assert!(comparison.metrics.iter().all(|line| line.finding == Finding::Same), "{comparison:?}");
}

#[test]
fn slower_reference_is_worse_in_rise_time_and_the_sentence_states_it() {
    let slow = campaign(|subject| subject.controller.attitude.tilt.reference_bandwidth_rad_s *= 0.6);
    let comparison = compare(&campaign(|_| ()), &slow, 8, &|| ()).unwrap();
    let rise = line(&comparison, "tilt-rise");
    assert_eq!(rise.finding, Finding::Worse, "{}", rise.sentence);
    assert!(rise.sentence.starts_with("B is worse: margin smaller by 0.") && rise.sentence.contains(" s ("));
    assert!(rise.improvement_high.unwrap() < 0.0 && rise.b.unwrap() > rise.a.unwrap());
    // The other way round it is better.
    let comparison = compare(&slow, &campaign(|_| ()), 8, &|| ()).unwrap();
    assert_eq!(line(&comparison, "tilt-rise").finding, Finding::Better);
}
