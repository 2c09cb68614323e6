//! End-to-end runs of `aplomb verify`.

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
fn accepted_figures_pass_and_a_lost_margin_fails() {
    let scratch = Scratch::new("verify-accept");
    folder(&scratch, "5.0");
    let (code, stdout, _) = verify(&scratch, &["--seeds", "2"]);
    assert_eq!(code, Some(0), "{stdout}");
    assert!(stdout.contains("`aplomb verify mine --accept` accepts these figures"), "{stdout}");
    let (code, stdout, _) = verify(&scratch, &["--seeds", "2", "--accept"]);
    assert!(code == Some(0) && stdout.contains("Accepted: mine/baseline.json"), "{stdout}");
    // The number of seeds of the baseline is used.
    assert_eq!(verify(&scratch, &[]).0, Some(0));
    let (code, _, stderr) = verify(&scratch, &["--seeds", "3"]);
    assert!(code == Some(2) && stderr.contains("accepted under 2 seeds"), "{stderr}");
    // A slower reference is worse than the accepted figures, within the limit of settling or not.
    let controller = fs::read_to_string(scratch.0.join("mine/controller.toml")).unwrap();
    scratch.write("mine/controller.toml", &(controller + "reference_bandwidth_rad_s = 10.0\n"));
    let (code, stdout, _) = verify(&scratch, &[]);
    assert_eq!(code, Some(1), "{stdout}");
    assert!(
        stdout.contains("probe-tilt-steps: tilt-settling: fail, passed in the baseline with"),
        "{stdout}"
    );
    let before = fs::read(scratch.0.join("mine/baseline.json")).unwrap();
    let (code, stdout, _) = verify(&scratch, &["--accept"]);
    assert!(code == Some(1) && stdout.contains("Nothing accepted"), "{stdout}");
    assert_eq!(fs::read(scratch.0.join("mine/baseline.json")).unwrap(), before);
}

#[test]
fn fail_without_a_baseline_ends_with_1_and_writes_every_result() {
    let scratch = Scratch::new("verify-fail");
    folder(&scratch, "0.0");
    let (code, stdout, stderr) = verify(&scratch, &["--seeds", "1"]);
    assert_eq!(code, Some(1));
    assert!(stdout.contains("\nhover: height error, peak, 0 to 2 s: fail: "), "{stdout}");
    assert!(stderr.is_empty() && !stdout.contains('\u{1b}'));
    let [results] = scratch.results().try_into().unwrap();
    let mut names: Vec<_> = fs::read_dir(&results)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["junit.xml", "report.html", "summary.md", "verify.csv", "verify.json"]);
    let html = fs::read_to_string(results.join("report.html")).unwrap();
    roxmltree::Document::parse(html.strip_prefix("<!DOCTYPE html>\n").unwrap()).unwrap();
    assert!(html.contains("Fail, one cause"));
    assert!(fs::read_to_string(results.join("summary.md")).unwrap().starts_with("## aplomb verify: fail"));
}

#[test]
fn wrong_files_end_with_2_and_all_are_reported() {
    let scratch = Scratch::new("verify-wrong");
    folder(&scratch, "5.0");
    scratch.write("mine/requirements.toml", "[[waive]]\nid = \"gust\"\nreason = \"no\"\n");
    scratch.write("mine/baseline.json", "{");
    scratch.write("mine/flights/hover.toml", &scratch::hover("\"small\""));
    let (code, stdout, stderr) = verify(&scratch, &[]);
    assert_eq!(code, Some(2));
    assert!(stderr.contains("the reason is too short") && stderr.contains("not a baseline: "), "{stderr}");
    assert!(stderr.contains("expected a finite number, found a text"), "{stderr}");
    assert!(stdout.is_empty() && scratch.results().is_empty());
    assert_eq!(scratch.aplomb(&["verify", "none"]).status.code(), Some(2));
    assert_eq!(scratch.aplomb(&["verify", "--accept"]).status.code(), Some(2));
}

#[test]
fn results_that_cannot_be_written_end_with_3() {
    let scratch = Scratch::new("verify-disk");
    folder(&scratch, "5.0");
    scratch.write("taken", "a file instead of a folder");
    assert_eq!(verify(&scratch, &["--out", "taken"]).0, Some(3));
}

#[test]
fn starter_that_new_writes_passes_as_it_is() {
    let scratch = Scratch::new("verify-new");
    assert_eq!(scratch.aplomb(&["new", "mine"]).status.code(), Some(0));
    let (code, stdout, stderr) = verify(&scratch, &["--seeds", "1"]);
    assert_eq!(code, Some(0), "{stdout}{stderr}");
    assert!(stdout.contains(" pass, 1 seeds") && !stdout.contains("fail"), "{stdout}");
}
