//! Inputs beyond their bounds, hostile names, a full standard output: a clear error, and no result is lost.

mod scratch;

use scratch::{Scratch, hover, text};
use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::process::Stdio;

/// Lines of a craft file with one value replaced.
fn craft_with(from: &str, to: &str) -> String {
    let craft = include_str!("../demo/craft.toml");
    assert!(craft.contains(from));
    craft.replace(from, to)
}

/// Runs the command, which must refuse its input; its standard error.
fn refused(scratch: &Scratch, arguments: &[&str]) -> String {
    let output = scratch.aplomb(arguments);
    let stderr = text(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {stderr}");
    assert!(scratch.results().is_empty());
    stderr
}

#[test]
fn input_that_never_ends_or_is_too_large_is_refused() {
    let scratch = Scratch::new("large");
    scratch.write("hover.toml", &hover("5.0"));
    let mut large = File::create(scratch.0.join("large.toml")).unwrap();
    for i in 0..200_000 {
        writeln!(large, "key_number_{i} = 1 # padding").unwrap();
    }
    let mut files = vec!["large.toml"];
    if cfg!(unix) {
        files.push("/dev/zero");
    }
    for file in files {
        let stderr = refused(&scratch, &["fly", "--craft", file, "hover.toml"]);
        assert!(stderr.contains("is larger than 4 MiB"), "{file}: {stderr}");
    }
}

#[test]
fn first_twenty_errors_are_shown_and_the_others_counted() {
    let scratch = Scratch::new("many");
    let many: String = (0..100_000).map(|i| format!("key_number_{i} = 1\n")).collect();
    scratch.write("many.toml", &many);
    let stderr = refused(&scratch, &["fly", "many.toml"]);
    // With the missing keys of a flight.
    assert_eq!(stderr.matches("error: ").count(), 20);
    let counted: usize =
        stderr.split("many.toml: ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    assert!((99_980..=100_000).contains(&counted), "{counted}");
}

#[test]
fn impossible_numbers_of_seeds_in_a_baseline_are_refused() {
    let scratch = Scratch::new("baseline");
    assert_eq!(scratch.aplomb(&["new", "own"]).status.code(), Some(0));
    let path = scratch.0.join("own/baseline.json");
    for seeds in ["0", "1000000000"] {
        fs::write(&path, format!("{{\"aplomb\": \"0.1.0\", \"seeds\": {seeds}, \"items\": []}}\n")).unwrap();
        let stderr = refused(&scratch, &["verify", "own"]);
        assert!(stderr.contains("`seeds` must lie between 1 and 100000"), "{stderr}");
        assert!(stderr.contains(" --> own/baseline.json:1:21\n"), "{stderr}");
    }
}

#[test]
fn slow_climb_and_impossible_parts_are_refused() {
    let scratch = Scratch::new("slow");
    scratch.write("hover.toml", &hover("5.0"));
    let slow = format!("{}\n[override.vertical]\nclimb_limit_m_s = 0.0001\n", {
        let text = include_str!("../demo/controller.toml");
        &text[..text.find("\n[override").unwrap()]
    });
    scratch.write("slow.toml", &slow);
    let stderr = refused(&scratch, &["fly", "--controller", "slow.toml", "hover.toml"]);
    assert!(stderr.contains("the climb to the start takes") && stderr.contains("limit of 900 s"), "{stderr}");
    for (from, to, expected) in [
        ("diameter_in = 9.0", "diameter_in = 225000.0", "must lie between 0.5 and 200"),
        ("capacity_ah = 4.0", "capacity_ah = 1e6", "must lie between 0.001 and 1000"),
        ("blades = 2", "blades = 0", "must lie between 1 and 8"),
    ] {
        scratch.write("craft.toml", &craft_with(from, to));
        let stderr = refused(&scratch, &["envelope", "--craft", "craft.toml"]);
        let key = to.split(' ').next().unwrap();
        assert!(stderr.contains(expected) && stderr.contains(key), "{stderr}");
    }
}

#[test]
fn names_reach_no_terminal_file_or_shell_unescaped() {
    let scratch = Scratch::new("names");
    scratch.write("hover.toml", &hover("5.0"));
    for (name, expected) in [
        ("name = \"weir\\u001b[31m gauge\"", "expected a text without control characters"),
        ("name = \"weir\\nmass_kg = 9\"", "must be one line"),
    ] {
        scratch.write("craft.toml", &craft_with("name = \"weir gauge\"", name));
        let stderr = refused(&scratch, &["fly", "--craft", "craft.toml", "hover.toml"]);
        assert!(stderr.contains(expected) && !stderr.contains('\u{1b}'), "{stderr}");
    }
    // A line to paste is quoted.
    fs::rename(scratch.0.join("hover.toml"), scratch.0.join("my hover; $(date).toml")).unwrap();
    assert_eq!(scratch.aplomb(&["fly", "my hover; $(date).toml"]).status.code(), Some(0));
    let [folder] = scratch.results().try_into().unwrap();
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    assert!(page.contains("aplomb fly &#39;my hover; $(date).toml&#39;"));
}

#[cfg(target_os = "linux")]
#[test]
fn full_standard_output_loses_no_result_and_keeps_the_exit_code() {
    let scratch = Scratch::new("full");
    scratch.write("hover.toml", &hover("5.0"));
    let full = OpenOptions::new().write(true).open("/dev/full").unwrap();
    let output =
        scratch.command(&["fly", "hover.toml"]).stdout(full).stderr(Stdio::piped()).output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let stderr = text(&output.stderr);
    assert_eq!(stderr.matches("warning: standard output: ").count(), 1, "{stderr}");
    let [folder] = scratch.results().try_into().unwrap();
    assert!(folder.join("report.html").is_file() && folder.join("hover.csv").is_file());
    // Twin: where the output is the only result, it is an error.
    let full = OpenOptions::new().write(true).open("/dev/full").unwrap();
    let output = scratch.command(&["schema", "craft"]).stdout(full).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
}

#[test]
fn tune_sees_at_once_that_its_folder_cannot_be_made() {
    let scratch = Scratch::new("tune");
    scratch.write("file", "not a folder");
    let output = scratch.aplomb(&["tune", "file/inside"]);
    assert_eq!(output.status.code(), Some(3), "{}", text(&output.stderr));
    assert!(text(&output.stderr).contains("file/inside: "), "{}", text(&output.stderr));
    assert!(output.stdout.is_empty());
}

#[test]
fn wrong_numbers_on_the_command_line_are_named() {
    let scratch = Scratch::new("numbers");
    scratch.write("log.csv", "time_s\n");
    for (arguments, expected) in [
        (["fly", "--seeds", "-5"].as_slice(), "-5 is not in 1..=100000"),
        (&["estimate", "--add-gyro-bias-deg-s", "nan", "log.csv"], "expected a finite number"),
        (&["disperse", "--merge", "none.journal", "--out", "out"], "none.journal: "),
    ] {
        let stderr = refused(&scratch, arguments);
        assert!(stderr.contains(expected), "{arguments:?}: {stderr}");
    }
}

#[cfg(unix)]
#[test]
fn interrupted_seeds_are_judged_and_written() {
    let scratch = Scratch::new("interrupt");
    scratch.write("hover.toml", &hover("5.0"));
    let run = scratch
        .command(&["fly", "--seeds", "100000", "hover.toml"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    std::thread::sleep(std::time::Duration::from_secs(3));
    let interrupt =
        std::process::Command::new("kill").args(["-INT", &run.id().to_string()]).status().unwrap();
    assert!(interrupt.success());
    let output = run.wait_with_output().unwrap();
    let stderr = text(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{stderr}");
    let counted = stderr.split("the results are of the first ").nth(1).unwrap().split(' ').next().unwrap();
    let counted: u32 = counted.parse().unwrap();
    assert!(counted.is_multiple_of(32) && (32..100_000).contains(&counted), "{stderr}");
    let [folder] = scratch.results().try_into().unwrap();
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    assert!(page.contains(&format!("figures pooled over {counted},")), "{counted}");
    assert!(folder.join("hover.csv").is_file() && text(&output.stdout).contains("1 pass, 0 fail"));
}
