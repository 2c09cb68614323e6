//! The controller file: derivation, overrides, refusals; and the list of all keys.

use super::demo;
use super::*;

const TEXT: &str = include_str!("../../demo/controller.toml");

/// The model parameters of the demo without its overrides.
fn model() -> &'static str {
    &TEXT[..TEXT.find("\n[override").unwrap() + 1]
}

fn controller(extra: &str) -> Result<aplomb::flight::Config, InputError> {
    crate::input::controller("controller.toml", &format!("{}{extra}", model()))
}

/// `text | reason` of each problem.
fn reported(extra: &str) -> Vec<String> {
    let error = controller(extra).unwrap_err();
    let problems = error.problems.iter();
    problems
        .map(|problem| format!("{} | {}", problem.location.as_ref().unwrap().text, problem.reason))
        .collect()
}

#[test]
fn overrides_replace_what_is_derived_and_nothing_else() {
    let derived = controller("").unwrap();
    let overridden =
        controller("[override.thrust]\ntilt_limit_deg = 25\n[override.rate_roll]\ncrossover_rad_s = 20\n")
            .unwrap();
    assert!((f64::from(overridden.thrust.tilt_limit_rad).to_degrees() - 25.0).abs() < 1e-5);
    let mut config = overridden;
    assert_eq!(config.rate.roll.crossover_rad_s, 20.0);
    assert!(
        derived.rate.roll.crossover_rad_s != 20.0
            && derived.thrust.tilt_limit_rad != config.thrust.tilt_limit_rad
    );
    config.rate.roll.crossover_rad_s = derived.rate.roll.crossover_rad_s;
    config.thrust.tilt_limit_rad = derived.thrust.tilt_limit_rad;
    assert_eq!(config, derived);
}

#[test]
fn impossible_overrides_are_all_reported_each_at_its_key() {
    let extra = "[override.position]\ncrossover_rad_s = -1.0\n[override.velocity]\ncrossover_rad_s = 1.0\n\
                 [override.thrust]\ntilt_limit_deg = 100.0\n[override.loops]\ntick_hz = 5\n";
    assert_eq!(
        reported(extra),
        [
            "-1.0 | `crossover_rad_s` must be greater than 0",
            "100.0 | `tilt_limit_deg` must lie between 0 and 80.21",
            "5 | `tick_hz` must lie between 100 and 8000"
        ]
    );
    assert_eq!(
        reported("[override.tilt]\ncrossover_hz = 1\n"),
        ["crossover_hz | unknown key `crossover_hz`"]
    );
}

#[test]
fn impossible_parameters_are_reported_at_their_keys() {
    for (from, to, expected) in [
        ("max_thrust_n = 6.9", "max_thrust_n = 3.0", "3.0 | cannot lift 1.3 times the weight of `mass_kg`"),
        ("mass_kg = 1.2", "mass_kg = -1.2", "-1.2 | must lie between 0.001 and 1000"),
        (
            "lowest_voltage_v = 9.0",
            "lowest_voltage_v = 13",
            "13 | is in the wrong order with `highest_voltage_v`",
        ),
    ] {
        let error = crate::input::controller("controller.toml", &TEXT.replace(from, to)).unwrap_err();
        let [problem] = error.problems.try_into().unwrap();
        assert_eq!(format!("{} | {}", problem.location.unwrap().text, problem.reason), expected);
    }
}

/// The valid keys that the refusal of an unknown key lists.
fn valid_keys(error: &InputError) -> Vec<String> {
    let help = error
        .problems
        .iter()
        .find(|problem| problem.reason.contains("zzzzzzzzzzzzzzzz"))
        .unwrap()
        .help
        .clone();
    let help = help.unwrap();
    help.strip_prefix("valid here: ").unwrap().split(", ").map(str::to_owned).collect()
}

#[test]
fn every_key_of_every_table_is_in_the_list_for_readers() {
    const UNKNOWN: &str = "zzzzzzzzzzzzzzzz = 1\n";
    let mut keys = Vec::new();
    let in_table =
        |text: &str, table: &str| text.replace(&format!("[{table}]\n"), &format!("[{table}]\n{UNKNOWN}"));
    let craft = |text: &str| valid_keys(&crate::input::craft("craft.toml", text).unwrap_err());
    let base =
        demo::CRAFT.text.replace("accel.turn_on_bias_m_s2", "low_pass_hz") + "[imu.gyro]\n[imu.accel]\n";
    keys.extend(craft(&(UNKNOWN.to_owned() + &base)));
    let parts = "arms propeller motor speed_controller battery drag landing_gear imu imu.gyro imu.accel";
    for table in parts.split(' ').chain(["barometer", "gnss", "magnetometer"]) {
        keys.extend(craft(&in_table(&base, table)));
    }
    let controller = |text: &str| valid_keys(&crate::input::controller("controller.toml", text).unwrap_err());
    let model = model();
    keys.extend(controller(&(UNKNOWN.to_owned() + model)));
    keys.extend(controller(&in_table(model, "propeller")));
    keys.extend(controller(&in_table(model, "thrust_curve")));
    let overrides = controller(&format!("{model}[override]\n{UNKNOWN}"));
    for table in overrides.iter().filter(|key| !key.ends_with("_divider")) {
        keys.extend(controller(&format!("{model}[override.{table}]\n{UNKNOWN}")));
    }
    keys.extend(overrides);
    let flight = |text: &str| valid_keys(&crate::input::flight("flight.toml", "flight", text).unwrap_err());
    let base = demo::FLIGHTS[0].text;
    keys.extend(flight(&(UNKNOWN.to_owned() + base)));
    for table in ["[air]", "[turbulence]", "[[wind]]", "[[gust]]", "[[push]]", "[[command]]", "[[check]]"] {
        keys.extend(flight(&format!("{base}\n{table}\n{UNKNOWN}")));
    }
    assert!(keys.len() > 200, "{}", keys.len());
    let listed = demo::KEYS.text;
    let unlisted: Vec<_> = keys
        .iter()
        .filter(|key| {
            let forms =
                [format!("`{key}`"), format!("`{key} = "), format!("[{key}]"), format!("[override.{key}]")];
            !forms.iter().any(|form| listed.contains(form.as_str()))
        })
        .collect();
    assert!(unlisted.is_empty(), "{unlisted:?}");
}
