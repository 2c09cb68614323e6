//! End-to-end runs of `aplomb disperse`: no run is lost or counted twice, and merged parts equal the whole.

mod scratch;

use scratch::{Scratch, text};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};

const RUNS: &str = "24";

/// Results of one dispersion of a short flight: everything that was written, by name.
fn results(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let [results]: [PathBuf; 1] =
        entries.filter(|path| path.is_dir()).collect::<Vec<_>>().try_into().unwrap();
    let mut files: Vec<(String, Vec<u8>)> = fs::read_dir(results)
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap()))
        .collect();
    files.sort();
    files
}

fn disperse(scratch: &Scratch, more: &[&str]) -> (Option<i32>, String) {
    let arguments = ["disperse", "--flight", "torque-push", "--runs", RUNS];
    let output = scratch.aplomb(&[&arguments, more].concat());
    (output.status.code(), text(&output.stdout) + &text(&output.stderr))
}

#[test]
fn one_thread_two_threads_and_merged_parts_give_the_same_bytes() {
    let scratch = Scratch::new("disperse-same");
    let (code, stdout) = disperse(&scratch, &["--threads", "1", "--out", "one", "--at-least", "0.5"]);
    assert_eq!(code, Some(0), "{stdout}");
    assert!(stdout.contains("torque-push: 2") && stdout.contains("with 95 % confidence"), "{stdout}");
    let one = results(&scratch.0.join("one"));
    let names: Vec<&str> = one.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["dispersion.json", "report.html", "torque-push.csv"]);
    disperse(&scratch, &["--threads", "2", "--out", "two", "--at-least", "0.5"]);
    assert!(one == results(&scratch.0.join("two")));
    for part in ["1/3", "2/3", "3/3"] {
        let (code, stdout) =
            disperse(&scratch, &["--shard", part, "--journal", &part[..1], "--out", "parts"]);
        assert!(code == Some(0) && stdout.contains("Merge it with the others"), "{stdout}");
    }
    let merge = ["--merge", "1", "2", "3", "--journal", "all", "--out", "merged", "--at-least", "0.5"];
    let (code, stdout) = disperse(&scratch, &merge);
    assert!(code == Some(0) && stdout.contains("0 runs flown"), "{stdout}");
    assert!(one == results(&scratch.0.join("merged")));
    // A journal of another seed is refused.
    let (code, stdout) = disperse(&scratch, &["--seed", "2", "--merge", "1", "--journal", "other"]);
    assert!(code == Some(2) && stdout.contains("belongs to other files"), "{stdout}");
}

#[test]
fn killed_run_continues_where_it_ended() {
    let scratch = Scratch::new("disperse-kill");
    disperse(&scratch, &["--out", "whole"]);
    let whole = results(&scratch.0.join("whole"));
    let arguments =
        ["disperse", "--flight", "torque-push", "--runs", RUNS, "--threads", "1", "--out", "killed"];
    let arguments = [&arguments[..], &["--journal", "journal"]].concat();
    let mut killed = scratch.command(&arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let started = Instant::now();
    let lines = || fs::read_to_string(scratch.0.join("journal")).unwrap_or_default().matches('\n').count();
    while lines() < 4 && started.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(2));
    }
    killed.kill().unwrap();
    killed.wait().unwrap();
    // The title and at least three runs, but not all.
    let there = lines() - 1;
    assert!((3..24).contains(&there), "{there}");
    let (_, stdout) = disperse(&scratch, &["--out", "killed", "--journal", "journal"]);
    assert!(stdout.contains(&format!("{} runs flown", 24 - there)), "{stdout}");
    assert!(whole == results(&scratch.0.join("killed")));
}

#[test]
fn any_run_is_repeated_from_its_number() {
    let scratch = Scratch::new("disperse-replay");
    disperse(&scratch, &["--out", "whole"]);
    let files = results(&scratch.0.join("whole"));
    let csv = text(&files.iter().find(|(name, _)| name == "torque-push.csv").unwrap().1);
    let digest = csv.lines().nth(6).unwrap().split(',').nth(1).unwrap();
    let (code, stdout) = disperse(&scratch, &["--replay", "5", "--out", "again"]);
    assert!(matches!(code, Some(0 | 1)));
    assert!(stdout.starts_with(&format!("torque-push, run 5, motor commands {digest}\n")), "{stdout}");
}

#[test]
fn wrong_input_ends_with_2() {
    let scratch = Scratch::new("disperse-wrong");
    let (code, stdout) = disperse(&scratch, &["--flight", "none"]);
    assert!(code == Some(2) && stdout.contains("no flight `none`"), "{stdout}");
    assert_eq!(disperse(&scratch, &["--shard", "4/3"]).0, Some(2));
    assert_eq!(disperse(&scratch, &["--at-least", "1.5"]).0, Some(2));
    assert_eq!(scratch.aplomb(&["disperse", "--replay", "1"]).status.code(), Some(2));
    assert_eq!(scratch.aplomb(&["new", "mine"]).status.code(), Some(0));
    scratch.write("mine/spreads.toml", "");
    let (code, stdout) = disperse(&scratch, &["mine"]);
    assert!(code == Some(2) && stdout.contains("now named `dispersions.toml`"), "{stdout}");
}
