//! The built-in demo: the weir gauge and its flights, as the files that `aplomb new` writes out.

/// A file that is part of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct File {
    /// Path within the demo folder.
    pub path: &'static str,
    /// Text.
    pub text: &'static str,
}

macro_rules! files {
    ($($path:literal),+ $(,)?) => {
        &[$(File { path: $path, text: include_str!(concat!("../../demo/", $path)) }),+]
    };
}

/// The craft.
pub const CRAFT: File = File { path: "craft.toml", text: include_str!("../../demo/craft.toml") };

/// Its controller.
pub const CONTROLLER: File =
    File { path: "controller.toml", text: include_str!("../../demo/controller.toml") };

/// The flights, in the order in which they are flown.
pub const FLIGHTS: &[File] = files![
    "flights/take-off.toml",
    "flights/climb.toml",
    "flights/turn.toml",
    "flights/roll-step.toml",
    "flights/pitch-step.toml",
    "flights/torque-push.toml",
    "flights/fly-out.toml",
    "flights/hold-in-wind.toml",
    "flights/rough-air.toml",
    "flights/gust.toml",
    "flights/cannot-hold-position.toml",
    "flights/land.toml",
];

/// Requirements that the demo adds, tightens and waives.
pub const REQUIREMENTS: File =
    File { path: "requirements.toml", text: include_str!("../../demo/requirements.toml") };

/// Accepted figures of the demo. `aplomb new` does not write them.
pub const BASELINE: File = File { path: "baseline.json", text: include_str!("../../demo/baseline.json") };

/// Reference of all keys.
pub const KEYS: File = File { path: "FILES.md", text: include_str!("../../demo/FILES.md") };

/// The files of a new folder.
pub const ALL: &[&[File]] = &[&[CRAFT, CONTROLLER, REQUIREMENTS, KEYS], FLIGHTS];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_is_valid() {
        crate::input::craft(CRAFT.path, CRAFT.text).unwrap_or_else(|error| panic!("{error}"));
        crate::input::controller(CONTROLLER.path, CONTROLLER.text).unwrap_or_else(|error| panic!("{error}"));
        for file in FLIGHTS {
            crate::input::flight(file.path, "demo", file.text).unwrap_or_else(|error| panic!("{error}"));
        }
    }

    #[test]
    fn every_flight_in_the_folder_is_listed() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/flights");
        let mut on_disk: Vec<_> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        let mut listed: Vec<_> = FLIGHTS.iter().map(|file| file.path.replace("flights/", "")).collect();
        on_disk.sort();
        listed.sort();
        assert_eq!(on_disk, listed);
    }
}
