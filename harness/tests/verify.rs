//! Runs of `aplomb verify` from outside.

mod scratch;

use scratch::{Scratch, text};
use std::fs;

/// A folder of the demo's craft with one short flight whose height error must stay within `bound`.
fn folder(scratch: &Scratch, bound: &str) {
    assert_eq!(scratch.aplomb(&["new", "mine"]).status.code(), Some(0));
    fs::remove_dir_all(scratch.0.join("mine/flights")).unwrap();
    fs::create_dir(scratch.0.join("mine/flights")).unwrap();
    scratch.write("mine/flights/hover.toml", &scratch::hover(bound));
}

fn verify(scratch: &Scratch, more: &[&str]) -> (Option<i32>, String, String) {
    let output = scratch.aplomb(&[&["verify", "mine"], more].concat());
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

#[test]
fn accepted_figures_hold_and_a_lost_margin_is_told() {
    let scratch = Scratch::new("verify-accept");
    folder(&scratch, "5.0");
    let (code, said, _) = verify(&scratch, &["--seeds", "2"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("`aplomb verify mine --accept` accepts these figures"), "{said}");
    let (code, said, _) = verify(&scratch, &["--seeds", "2", "--accept"]);
    assert!(code == Some(0) && said.contains("Accepted: mine/baseline.json"), "{said}");
    // The baseline's own seeds are taken.
    assert_eq!(verify(&scratch, &[]).0, Some(0));
    let (code, _, told) = verify(&scratch, &["--seeds", "3"]);
    assert!(code == Some(2) && told.contains("accepted under 2 seeds"), "{told}");
    // A slower reference keeps within the limits of settling, or not; either is worse than what was accepted.
    let controller = fs::read_to_string(scratch.0.join("mine/controller.toml")).unwrap();
    scratch.write("mine/controller.toml", &(controller + "reference_bandwidth_rad_s = 10.0\n"));
    let (code, said, _) = verify(&scratch, &[]);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("probe-tilt-steps: tilt-settling: missed, newly: the baseline has"), "{said}");
    let before = fs::read(scratch.0.join("mine/baseline.json")).unwrap();
    let (code, said, _) = verify(&scratch, &["--accept"]);
    assert!(code == Some(1) && said.contains("Nothing accepted"), "{said}");
    assert_eq!(fs::read(scratch.0.join("mine/baseline.json")).unwrap(), before);
}

#[test]
fn missed_without_a_baseline_ends_with_1_and_leaves_every_result() {
    let scratch = Scratch::new("verify-missed");
    folder(&scratch, "0.0");
    let (code, said, told) = verify(&scratch, &["--seeds", "1"]);
    assert_eq!(code, Some(1));
    assert!(said.contains("\nhover: height error, peak, 0 to 2 s: missed: "), "{said}");
    assert!(told.is_empty() && !said.contains('\u{1b}'));
    let [results] = scratch.results().try_into().unwrap();
    let mut names: Vec<_> = fs::read_dir(&results)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["junit.xml", "report.html", "summary.md", "verify.json"]);
    let html = fs::read_to_string(results.join("report.html")).unwrap();
    roxmltree::Document::parse(html.strip_prefix("<!DOCTYPE html>\n").unwrap()).unwrap();
    assert!(html.contains("Not verified, for one cause"));
    assert!(
        fs::read_to_string(results.join("summary.md")).unwrap().starts_with("## aplomb verify: did not hold")
    );
}

#[test]
fn wrong_files_end_with_2_and_all_of_them_are_told() {
    let scratch = Scratch::new("verify-wrong");
    folder(&scratch, "5.0");
    scratch.write("mine/requirements.toml", "[[waive]]\nid = \"gust\"\nreason = \"no\"\n");
    scratch.write("mine/baseline.json", "{");
    scratch.write("mine/flights/hover.toml", &scratch::hover("\"small\""));
    let (code, said, told) = verify(&scratch, &[]);
    assert_eq!(code, Some(2));
    assert!(told.contains("a reason must say something") && told.contains("not a baseline: "), "{told}");
    assert!(told.contains("expected a finite number, found a text"), "{told}");
    assert!(said.is_empty() && scratch.results().is_empty());
    assert_eq!(scratch.aplomb(&["verify", "none"]).status.code(), Some(2));
    assert_eq!(scratch.aplomb(&["verify", "--accept"]).status.code(), Some(2));
}

#[test]
fn results_that_cannot_be_written_end_with_3() {
    let scratch = Scratch::new("verify-disk");
    folder(&scratch, "5.0");
    scratch.write("taken", "a file where a folder is wanted");
    assert_eq!(verify(&scratch, &["--out", "taken"]).0, Some(3));
}

#[test]
fn starter_that_new_writes_passes_as_it_is() {
    let scratch = Scratch::new("verify-new");
    assert_eq!(scratch.aplomb(&["new", "mine"]).status.code(), Some(0));
    let (code, said, told) = verify(&scratch, &["--seeds", "1"]);
    assert_eq!(code, Some(0), "{said}{told}");
    assert!(said.contains(" held, 1 seeds") && !said.contains("missed"), "{said}");
}
