//! End-to-end runs of the binary `aplomb`: exit codes, standard output, standard error, files.

mod scratch;

use scratch::{Scratch, hover, text};
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

#[test]
fn pass_ends_with_0_and_writes_report_and_trace() {
    let scratch = Scratch::new("pass");
    scratch.write("hover.toml", &hover("5.0"));
    let output = scratch.aplomb(&["fly", "hover.toml"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let stdout = text(&output.stdout);
    assert!(stdout.contains("hover   height error, peak, 0 to 2 s"), "{stdout}");
    assert!(stdout.contains("1 pass, 0 fail, 0 inconclusive."), "{stdout}");
    // In a pipe: no colour, no progress.
    assert!(!stdout.contains('\u{1b}') && output.stderr.is_empty());
    let [folder] = scratch.results().try_into().unwrap();
    let mut names: Vec<_> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["columns.md", "hover.csv", "report.html"]);
    let path = Path::new("results").join(folder.file_name().unwrap()).join("report.html");
    assert!(stdout.ends_with(&format!("Report: {}\n", path.display())), "{stdout}");
}

#[test]
fn fail_ends_with_1_and_a_second_run_gets_a_second_folder() {
    let scratch = Scratch::new("fail");
    scratch.write("hover.toml", &hover("0.0"));
    for runs in 1..=2 {
        let output = scratch.aplomb(&["fly", "hover.toml"]);
        assert_eq!(output.status.code(), Some(1), "{}", text(&output.stderr));
        assert!(text(&output.stdout).contains("fail"));
        assert_eq!(scratch.results().len(), runs);
    }
}

#[test]
fn wrong_input_ends_with_2_and_writes_nothing() {
    let scratch = Scratch::new("wrong");
    scratch.write("hover.toml", &hover("0.3").replace("height_m", "height"));
    scratch.write("other.toml", &hover("\"small\""));
    let output = scratch.aplomb(&["fly", "--craft", "none.toml", "hover.toml", "other.toml"]);
    assert_eq!(output.status.code(), Some(2));
    let stderr = text(&output.stderr);
    assert!(stderr.contains("none.toml: cannot be read: "), "{stderr}");
    assert!(stderr.contains("error: unknown key `height`\n --> hover.toml:5:1\n"), "{stderr}");
    assert!(stderr.contains("did you mean `height_m`?"), "{stderr}");
    assert!(
        stderr.contains("error: expected a finite number, found a text\n --> other.toml:9:11\n"),
        "{stderr}"
    );
    assert!(!stderr.contains('\u{1b}'));
    assert!(output.stdout.is_empty() && scratch.results().is_empty());
}

#[test]
fn results_that_cannot_be_written_end_with_3() {
    let scratch = Scratch::new("disk");
    scratch.write("hover.toml", &hover("0.3"));
    scratch.write("taken", "a file instead of a folder");
    let output = scratch.aplomb(&["fly", "--out", "taken", "hover.toml"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(text(&output.stderr).starts_with("could not finish: taken: "), "{}", text(&output.stderr));
}

#[test]
fn new_folder_can_be_flown_and_is_never_overwritten() {
    let scratch = Scratch::new("new");
    assert_eq!(scratch.aplomb(&["new", "mine"]).status.code(), Some(0));
    let files =
        ["--craft", "mine/craft.toml", "--controller", "mine/controller.toml", "mine/flights/climb.toml"];
    let output = scratch.aplomb(&[&["fly"], files.as_slice()].concat());
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}", text(&output.stderr));
    assert!(text(&output.stdout).contains("(mine/craft.toml)"));
    scratch.write("mine/craft.toml", "mine");
    let again = scratch.aplomb(&["new", "mine"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("exists already"));
    assert_eq!(fs::read_to_string(scratch.0.join("mine/craft.toml")).unwrap(), "mine");
}

#[test]
fn folder_gives_craft_controller_and_flights() {
    let scratch = Scratch::new("folder");
    assert_eq!(scratch.aplomb(&["new", "my-craft"]).status.code(), Some(0));
    let mine = scratch.0.join("my-craft");
    let craft = fs::read_to_string(mine.join("craft.toml")).unwrap();
    fs::write(mine.join("craft.toml"), craft.replace("name = \"weir gauge\"", "name = \"mine\"")).unwrap();
    for flight in fs::read_dir(mine.join("flights")).unwrap().map(|entry| entry.unwrap().path()) {
        if flight.file_stem().unwrap() != "roll-step" {
            fs::remove_file(flight).unwrap();
        }
    }
    for (command, answer) in [
        (&["fly", "my-craft"][..], "Flights: 1, seed of each flight file"),
        (&["envelope", "my-craft"], "mine, 1.23 kg"),
        (&["explain", "my-craft"], "mine, 1.23 kg"),
        (&["margins", "my-craft", "--point", "hover", "--torques"], "mine, 1.23 kg"),
    ] {
        let output = scratch.aplomb(command);
        let stdout = text(&output.stdout);
        assert!(stdout.contains("mine, 1.23 kg") && stdout.contains(answer), "{command:?}: {stdout}");
    }
    // A given file takes precedence over that of the folder.
    let demo = scratch.aplomb(&["envelope", "my-craft", "--craft", "none.toml"]);
    assert!(text(&demo.stderr).contains("none.toml: cannot be read: "));
    // A folder of flights alone flies on the demo's craft.
    let demo = scratch.aplomb(&["fly", "my-craft/flights"]);
    assert!(text(&demo.stdout).contains("weir gauge, 1.23 kg"));
}

#[test]
fn same_seed_gives_the_same_trace_on_any_number_of_threads_and_another_seed_another() {
    let scratch = Scratch::new("seed");
    scratch.write("hover.toml", &hover("5.0"));
    let mut traces = Vec::new();
    for (seed, threads) in [("7", "1"), ("7", "2"), ("8", "2")] {
        let out = format!("seed-{seed}-{threads}");
        let arguments =
            ["fly", "--seed", seed, "--seeds", "3", "--threads", threads, "--out", &out, "hover.toml"];
        let output = scratch.aplomb(&arguments);
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        let folder = fs::read_dir(scratch.0.join(out)).unwrap().next().unwrap().unwrap().path();
        traces.push(fs::read(folder.join("hover.csv")).unwrap());
    }
    assert!(traces[0] == traces[1] && traces[1] != traces[2]);
}

#[test]
fn export_writes_a_new_folder_with_a_block_that_reads_back_and_refuses_an_old_one() {
    let scratch = Scratch::new("export");
    let output = scratch.aplomb(&["export", "firmware"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let block = fs::read(scratch.0.join("firmware/controller.bin")).unwrap();
    let config = aplomb_harness::input::demo_controller().unwrap();
    assert_eq!(aplomb::parameters::read(&block), Ok(config));
    let source = fs::read_to_string(scratch.0.join("firmware/controller.rs")).unwrap();
    assert!(source.contains("pub const CONTROLLER: aplomb::flight::Config"), "{source}");
    let again = scratch.aplomb(&["export", "firmware"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("exists already"));
    scratch.write("bad.toml", "mass_kg = -1.0\n");
    let refused = scratch.aplomb(&["export", "--controller", "bad.toml", "other"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(!scratch.0.join("other").exists());
}

#[test]
fn margins_prints_measured_beside_linear_and_writes_every_frequency() {
    let scratch = Scratch::new("margins");
    let output = scratch.aplomb(&["margins", "--torques", "--point", "hover", "--threads", "1"]);
    let stdout = text(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{stdout}{}", text(&output.stderr));
    assert!(
        stdout.contains("roll torque") && stdout.contains("25 pass, 0 fail, 0 inconclusive."),
        "{stdout}"
    );
    let results = scratch.results();
    let read = |name: &str| fs::read_to_string(results[0].join(name)).unwrap();
    let report = read("report.html");
    assert!(
        report.contains("Bode")
            && report.contains("Nyquist")
            && report.contains("aplomb margins --point hover")
    );
    assert_eq!(read("margins.csv").lines().count(), 1 + 2 * 3);
    assert!(read("points.csv").lines().count() > 90);
    let refused = scratch.aplomb(&["margins", "--point", "hoover"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("hover-by-tilt"), "{}", text(&refused.stderr));
}

#[test]
fn sweep_maps_a_number_of_a_file_and_refuses_an_unknown_path() {
    let scratch = Scratch::new("sweep");
    let axis = "controller.override.rate_roll.crossover_rad_s=35..300x3";
    let output = scratch.aplomb(&["sweep", "--margins-only", "--spot-checks", "1", "--vary", axis]);
    let stdout = text(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{stdout}{}", text(&output.stderr));
    assert!(
        stdout.contains("3 points: 1 feasible") && stdout.contains("at 1 points, 1 measured"),
        "{stdout}"
    );
    let results = scratch.results();
    let table = fs::read_to_string(results[0].join("sweep.csv")).unwrap();
    assert_eq!(table.lines().count(), 1 + 3);
    assert!(
        table.starts_with("controller.override.rate_roll.crossover_rad_s,feasible,stable,margin_ratio,"),
        "{table}"
    );
    assert!(fs::read_to_string(results[0].join("report.html")).unwrap().contains("Margin ratio"));
    let refused = scratch.aplomb(&["sweep", "--margins-only", "--vary", "craft.mas_kg=1..2"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("`mass_kg`"), "{}", text(&refused.stderr));
    assert_eq!(scratch.results().len(), 1);
}

#[test]
fn saved_file_is_flown_again_and_an_error_does_not_end_the_watch() {
    let scratch = Scratch::new("watch");
    scratch.write("hover.toml", &hover("5.0"));
    let stdout = scratch.0.join("stdout");
    let file = fs::File::create(&stdout).unwrap();
    let mut command = scratch.command(&["fly", "--watch", "hover.toml"]);
    let mut watching = command.stdout(file.try_clone().unwrap()).stderr(file).spawn().unwrap();
    let waits_for = |count: usize| {
        let started = Instant::now();
        let rounds =
            || fs::read_to_string(&stdout).unwrap().matches("Waiting for a file to be saved").count();
        while rounds() < count && started.elapsed() < Duration::from_secs(120) {
            std::thread::sleep(Duration::from_millis(20));
        }
        rounds() == count
    };
    let first = waits_for(1);
    scratch.write("hover.toml", "title = 3\n");
    let second = waits_for(2);
    // As editors do it: a new file takes the name of the old one.
    scratch.write("passing", &hover("0.0"));
    fs::rename(scratch.0.join("passing"), scratch.0.join("hover.toml")).unwrap();
    let third = waits_for(3);
    watching.kill().unwrap();
    watching.wait().unwrap();
    let stdout = fs::read_to_string(&stdout).unwrap();
    assert!(first && second && third, "{stdout}");
    let order = ["1 pass", "hover.toml:1:9", "1 fail"].map(|part| stdout.find(part).unwrap_or(0));
    assert!(0 < order[0] && order.is_sorted(), "{order:?}: {stdout}");
    assert_eq!(scratch.results().len(), 2);
}

#[test]
fn watch_of_the_built_in_demo_is_refused() {
    let scratch = Scratch::new("watch-demo");
    assert_eq!(scratch.aplomb(&["fly", "--watch"]).status.code(), Some(2));
    assert_eq!(scratch.aplomb(&["verify", "--watch"]).status.code(), Some(2));
}

#[test]
fn completions_and_schemas_are_printed_and_nothing_else() {
    let scratch = Scratch::new("printed");
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let output = scratch.aplomb(&["completions", shell]);
        assert!(output.status.success() && output.stderr.is_empty());
        assert!(text(&output.stdout).contains("disperse"), "{shell}");
    }
    let output = scratch.aplomb(&["schema", "craft"]);
    assert!(output.status.success() && output.stderr.is_empty());
    let schema: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(schema["properties"]["mass_kg"]["type"], "number");
    assert_eq!(scratch.aplomb(&["schema", "motor"]).status.code(), Some(2));
}

#[test]
fn help_of_every_command_shows_examples() {
    let scratch = Scratch::new("help");
    let help = text(&scratch.aplomb(&["--help"]).stdout);
    let commands = help.lines().skip_while(|line| !line.starts_with("Commands:")).skip(1);
    let commands: Vec<&str> = commands
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.len() >= 12, "{commands:?}");
    for name in commands {
        let help = text(&scratch.aplomb(&[name, "--help"]).stdout);
        assert!(help.contains("Examples:") && help.contains(&format!("aplomb {name}")), "{name}: {help}");
    }
}

#[test]
fn tune_refuses_a_folder_that_exists_and_a_craft_that_cannot_lift_itself() {
    let scratch = Scratch::new("tune");
    fs::create_dir(scratch.0.join("taken")).unwrap();
    let refused = scratch.aplomb(&["tune", "taken"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("exists already"), "{}", text(&refused.stderr));
    let heavy = aplomb_harness::input::demo::CRAFT.text.replace("mass_kg = 1.23", "mass_kg = 2.6");
    scratch.write("heavy.toml", &heavy);
    let refused = scratch.aplomb(&["tune", "--craft", "heavy.toml", "new"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("no controller can be derived"), "{}", text(&refused.stderr));
    assert!(!scratch.0.join("new").exists());
}

#[test]
fn closed_pipe_is_quiet_and_the_files_are_written() {
    let scratch = Scratch::new("pipe");
    scratch.write("hover.toml", &hover("5.0"));
    let mut run = scratch
        .command(&["fly", "hover.toml"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    // The reader is gone before the first line, as `head` is after its last one.
    drop(run.stdout.take());
    let output = run.wait_with_output().unwrap();
    assert_eq!(text(&output.stderr), "");
    assert_eq!(output.status.code(), Some(0));
    let [folder] = scratch.results().try_into().unwrap();
    assert!(folder.join("report.html").is_file() && folder.join("hover.csv").is_file());
}
