//! Every public type has the formats that the crate's documentation claims: `defmt::Format` all of them,
//! `serde` both ways the configurations, inputs, commands, outputs, records and states. The sources are
//! scanned, so that a new type cannot be forgotten; that the derives compile is shown by the builds with
//! these features.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Parts: they are built from a configuration, and deserialisation would bypass its checks. Their state is
/// saved instead.
const PARTS: &[&str] = &[
    "AirDensity",
    "AttitudeController",
    "AttitudeFilter",
    "AttitudeStage",
    "Barometers",
    "Biquad",
    "DelayBuffer",
    "Divider",
    "Estimator",
    "FieldConsistency",
    "FlightController",
    "Gimbal",
    "GnssAcceleration",
    "Guard",
    "GyroFilters",
    "HeadingRateLimiter",
    "HorizontalFilter",
    "ImuVote",
    "LeverArm",
    "LowPass",
    "NotchBank",
    "OuterLoops",
    "Pid",
    "Pilot",
    "PositionController",
    "PressureHeight",
    "QuadMixer",
    "RateController",
    "Recorder",
    "RotorNotches",
    "StationaryDetector",
    "ThrustCurve",
    "ThrustVector",
    "VelocityController",
    "VerticalController",
    "VerticalFilter",
    "WindEstimator",
    "WindFeedForward",
];

/// Errors hold the name of a field in the program's memory, and are printed, not stored; a parameter's value
/// is a view for a visitor.
const NOT_STORED: &[&str] = &["ConfigError", "Part", "Problem", "ReadError", "Value"];

/// Types without values of their own: frames and functions.
const MARKERS: &[&str] = &["Body", "Camera", "Libm", "Micromath", "World"];

struct Found {
    name: String,
    file: String,
    format: bool,
    serialize: bool,
    deserialize: bool,
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("the sources are there").flatten() {
        let path = entry.path();
        if path.is_dir() && !path.ends_with("tests") {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// Public structs and enums outside tests, with what is derived above them or implemented in their file.
fn types() -> Vec<Found> {
    let mut files = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
    let types = Path::new(env!("CARGO_MANIFEST_DIR")).join("../aplomb-types/src");
    if types.exists() {
        sources(&types, &mut files);
    }
    let mut found = Vec::new();
    for file in files {
        let text = std::fs::read_to_string(&file).expect("readable");
        let mut attributes = String::new();
        for line in text.lines() {
            let declared = line.strip_prefix("pub struct ").or_else(|| line.strip_prefix("pub enum "));
            if let Some(rest) = declared {
                let name: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                let has = |what: &str, by_hand: &str| {
                    attributes.contains(what)
                        || text.lines().any(|line| {
                            line.contains(&format!("{by_hand} for {name}")) && line.starts_with("impl")
                        })
                };
                found.push(Found {
                    file: file.display().to_string(),
                    format: has("defmt::Format", "defmt::Format"),
                    serialize: has("serde::Serialize", "serde::Serialize"),
                    deserialize: has("serde::Deserialize", "serde::Deserialize<'de>"),
                    name,
                });
            }
            // Attributes are in a block directly above the type, possibly over several lines.
            if line.is_empty() || line == "}" {
                attributes.clear();
            }
            attributes.push_str(line);
        }
    }
    found
}

#[test]
fn every_public_type_has_the_formats_that_are_claimed() {
    let found = types();
    assert!(found.len() > 80, "{}", found.len());
    let mut missing = Vec::new();
    for Found { name, file, format, serialize, deserialize } in &found {
        if !format && !["Body", "Camera", "World"].contains(&name.as_str()) {
            missing.push(format!("defmt::Format of {name} in {file}"));
        }
        let stored = ![PARTS, NOT_STORED, MARKERS].iter().any(|list| list.contains(&name.as_str()));
        if stored && !(*serialize && *deserialize) {
            missing.push(format!("serde of {name} in {file}"));
        }
        if PARTS.contains(&name.as_str()) && *deserialize {
            missing.push(format!("{name} in {file} is a part and must not be deserialised"));
        }
    }
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn every_exception_is_a_type() {
    let names: BTreeSet<String> = types().into_iter().map(|found| found.name).collect();
    for list in [PARTS, NOT_STORED, MARKERS] {
        for name in list {
            assert!(names.contains(*name), "{name}");
        }
    }
}
