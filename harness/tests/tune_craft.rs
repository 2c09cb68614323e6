//! The tuning on many craft: each passes, or ends infeasible with the limiting effect; none is worse than its
//! derived controller. One craft with few trials on every run, all of them in `.ci/long`.

use std::fs;
use std::path::Path;
use std::time::Instant;

use aplomb_harness::input;
use aplomb_study::craft::Craft;
use aplomb_study::tune::parameter::{PARAMETERS, Setting};
use aplomb_study::tune::{Effort, Tuned, tune};

fn tuned(craft: &Craft, effort: Effort) -> Tuned {
    let build = |craft: &Craft, settings: &[Setting]| {
        input::tune::build(craft, settings).map_err(|error| error.render(false))
    };
    let plans = input::tune::flights().unwrap();
    let tuned =
        tune(craft, &plans, &build, effort, &|| ()).unwrap_or_else(|error| panic!("{}: {error}", craft.name));
    assert!(tuned.found.rank.order(&tuned.start.rank).is_le(), "{}: worse than derived", craft.name);
    for (parameter, factor) in PARAMETERS.iter().zip(tuned.factors) {
        assert!((parameter.range.0..=parameter.range.1).contains(&factor), "{}: {factor}", parameter.name);
    }
    if tuned.found.passes() {
        assert!(tuned.effects.is_empty());
    } else {
        assert!(!tuned.effects.is_empty() && tuned.trades.is_empty(), "{}", craft.name);
        // Every item that fails comes before those that pass.
        assert!(tuned.found.limiting(1)[0].counts_against(), "{}", craft.name);
    }
    tuned
}

fn example(name: &str) -> String {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../examples/craft/{name}.toml"));
    fs::read_to_string(file).unwrap()
}

/// The text with every `old` replaced; each must occur.
fn with(text: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(text.to_owned(), |text, (old, new)| {
        assert!(text.contains(old), "{old}");
        text.replace(old, new)
    })
}

fn craft(text: &str) -> Craft {
    input::craft("craft.toml", text).unwrap_or_else(|error| panic!("{}", error.render(false)))
}

fn demo() -> String {
    input::demo::CRAFT.text.to_owned()
}

fn slow_speed_controllers() -> String {
    let slow = [("[speed_controller]", "[speed_controller]\nslew_percent_s = 40.0")];
    with(&example("invented-25kg"), &slow)
}

fn light_4_by_3() -> String {
    with(
        &example("invented-250g"),
        &[
            ("diameter_in = 5.0", "diameter_in = 4.0"),
            ("pitch_in = 4.5", "pitch_in = 3.0"),
            ("kv_rpm_per_v = 1810.0", "kv_rpm_per_v = 3450.0"),
            ("inertia_kg_m2 = 5e-6", "inertia_kg_m2 = 2e-6"),
        ],
    )
}

/// Rotors 0.20 m ahead and 0.17 m behind, 0.11 m to the left and 0.13 m to the right of the centre of mass.
fn uneven_h() -> String {
    with(
        &demo(),
        &[
            ("[0.0113, 0.0122, 0.0214]", "[0.0085, 0.0180, 0.0240]"),
            ("x_m = 0.16, y_m = -0.16", "x_m = 0.20, y_m = -0.11"),
            ("x_m = 0.16, y_m = 0.16", "x_m = 0.20, y_m = 0.13"),
            ("x_m = -0.16, y_m = -0.16", "x_m = -0.17, y_m = -0.11"),
            ("x_m = -0.16, y_m = 0.16", "x_m = -0.17, y_m = 0.13"),
        ],
    )
}

#[test]
fn uneven_frame_does_not_become_worse_with_few_trials() {
    tuned(&craft(&uneven_h()), Effort { trials: 6, seeds: 1 });
}

/// Every craft with all trials. Prints a table.
#[test]
#[ignore = "takes several minutes; run by .ci/long"]
fn every_craft_passes_or_ends_with_the_limiting_effect() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/craft");
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    let mut texts: Vec<(String, String)> = files
        .iter()
        .map(|file| {
            (file.file_stem().unwrap().to_string_lossy().into_owned(), fs::read_to_string(file).unwrap())
        })
        .collect();
    texts.extend([
        ("demo".to_owned(), demo()),
        ("demo on 9 x 6".to_owned(), with(&demo(), &[("pitch_in = 5.0", "pitch_in = 6.0")])),
        ("uneven H frame".to_owned(), uneven_h()),
        ("250 g on 4 x 3".to_owned(), light_4_by_3()),
        ("25 kg, slew limit".to_owned(), slow_speed_controllers()),
    ]);
    println!("craft | failures at start | at end | s | limiting effect");
    for (name, text) in texts {
        let started = Instant::now();
        let tuned = tuned(&craft(&text), Effort::new(120));
        let effect = tuned.limiting_effect().map_or("-", |effect| effect.name);
        let (start, end) = (tuned.start.rank.failures, tuned.found.rank.failures);
        assert!(name != "25 kg, slew limit" || end < start, "{end} of {start}");
        println!("{name} | {start} | {end} | {:.0} | {effect}", started.elapsed().as_secs_f64());
    }
}
