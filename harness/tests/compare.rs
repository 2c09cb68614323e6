//! End-to-end runs of `aplomb compare`.

mod scratch;

use scratch::{Scratch, text};
use std::fs;

#[test]
fn worse_controller_is_reported_and_the_same_one_is_the_same() {
    let scratch = Scratch::new("compare");
    assert_eq!(scratch.aplomb(&["new", "mine"]).status.code(), Some(0));
    let controller = fs::read_to_string(scratch.0.join("mine/controller.toml")).unwrap();
    scratch.write("slow.toml", &(controller + "reference_bandwidth_rad_s = 12.0\n"));
    let compare = |a: &str, b: &str| {
        let sides = ["compare", "--controller", a, b];
        let rest = ["--flight", "probe-tilt-steps", "--seeds", "8"];
        let output = scratch.aplomb(&[&sides[..], &rest].concat());
        (output.status.code(), text(&output.stdout) + &text(&output.stderr))
    };
    let (code, stdout) = compare("mine/controller.toml", "slow.toml");
    assert_eq!(code, Some(1), "{stdout}");
    assert!(stdout.contains("  tilt-rise: B is worse: "), "{stdout}");
    let (code, stdout) = compare("slow.toml", "slow.toml");
    assert!(code == Some(0) && stdout.contains("tilt-rise: the same figures under every seed"), "{stdout}");
    let (code, stdout) = compare("none.toml", "gone.toml");
    assert!(code == Some(2) && stdout.contains("none.toml") && stdout.contains("gone.toml"), "{stdout}");
    assert_eq!(scratch.aplomb(&["compare"]).status.code(), Some(2));
    let old_flag = scratch.aplomb(&["compare", "--spread", "--controller", "slow.toml", "slow.toml"]);
    assert_eq!(old_flag.status.code(), Some(2));
    assert_eq!(text(&old_flag.stderr), "error: `--spread` is now `--dispersions`\n");
    let results = scratch.results();
    assert_eq!(results.len(), 2);
    let html = fs::read_to_string(results[0].join("report.html")).unwrap();
    roxmltree::Document::parse(html.strip_prefix("<!DOCTYPE html>\n").unwrap()).unwrap();
}
