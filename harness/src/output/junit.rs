//! The result of a verification as JUnit XML: a suite for each flight, a case for each requirement and check.

use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite};

use aplomb_study::number::figure;
use aplomb_study::verify::{Cause, Item, Judgement};

/// The XML text.
///
/// # Errors
/// A failure of the XML writer.
pub fn to_xml(judgement: &Judgement, causes: &[Cause]) -> Result<String, quick_junit::SerializeError> {
    let mut report = Report::new("aplomb verify");
    for flight in judgement.flights() {
        let mut suite = TestSuite::new(flight);
        suite.add_test_cases(judgement.of_flight(flight).map(|item| case(item, causes)));
        report.add_test_suite(suite);
    }
    let judged = |cause: &&Cause| {
        judgement.items.iter().any(|item| item.flight == cause.flight && item.id == cause.id)
    };
    let unmatched: Vec<&Cause> = causes.iter().filter(|cause| !judged(cause)).collect();
    if !unmatched.is_empty() {
        let mut suite = TestSuite::new("baseline");
        suite.add_test_cases(unmatched.into_iter().map(|cause| {
            let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
            status.set_message(cause.text.clone());
            TestCase::new(format!("{}: {}", cause.flight, cause.id), status)
        }));
        report.add_test_suite(suite);
    }
    report.to_string()
}

fn case(item: &Item, causes: &[Cause]) -> TestCase {
    let cause = causes.iter().find(|cause| cause.flight == item.flight && cause.id == item.id);
    let status = match (cause, &item.waived) {
        (Some(cause), _) => {
            let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
            status.set_message(cause.text.clone());
            status
        }
        (None, Some(reason)) => {
            let mut status = TestCaseStatus::skipped();
            status.set_message(format!("waived: {reason}"));
            status
        }
        (None, None) => TestCaseStatus::success(),
    };
    let mut case = TestCase::new(item.id.clone(), status);
    case.set_classname(item.flight.clone());
    case.set_system_out(format!("{}: {} {}", item.text, figure(item.measured), item.unit));
    case
}
