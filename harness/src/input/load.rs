//! Loading of input files from paths.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use super::document::text_of;
use aplomb::flight::Config;
use aplomb_flight::FlightPlan;
use aplomb_study::craft::Craft;

use super::{InputError, controller, craft, demo, flight};

/// Reads a craft file.
pub fn load_craft(path: &Path) -> Result<Craft, InputError> {
    craft(&path.display().to_string(), &text_of(path)?)
}

/// Reads a controller file.
pub fn load_controller(path: &Path) -> Result<Config, InputError> {
    controller(&path.display().to_string(), &text_of(path)?)
}

/// Reads a flight file. The flight has the name of the file.
pub fn load_flight(path: &Path) -> Result<FlightPlan, InputError> {
    let name = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    if name.contains(char::is_control) {
        let reason = "its name, which becomes that of the flight, has control characters".to_owned();
        return Err(InputError::of_file(format!("{path:?}"), reason, Some("rename it".to_owned())));
    }
    flight(&path.display().to_string(), &name, &text_of(path)?)
}

/// Reads flights from files, and from all `.toml` files of folders in the order of their names. Flight names
/// are made unique. All mistakes of all files are reported.
pub fn load_flights(paths: &[PathBuf]) -> Result<Vec<FlightPlan>, Vec<InputError>> {
    let mut wrong = Vec::new();
    let mut flights: Vec<FlightPlan> = Vec::new();
    let mut names = HashSet::new();
    for path in paths {
        let files = files_of(path).unwrap_or_else(|error| {
            wrong.push(error);
            Vec::new()
        });
        for file in files {
            match load_flight(&file) {
                Ok(flight) => flights.push(flight),
                Err(error) => wrong.push(error),
            }
        }
    }
    for flight in &mut flights {
        let own = flight.name.clone();
        let mut number = 1;
        while !names.insert(flight.name.clone()) {
            number += 1;
            flight.name = format!("{own}-{number}");
        }
    }
    if wrong.is_empty() { Ok(flights) } else { Err(wrong) }
}

fn files_of(path: &Path) -> Result<Vec<PathBuf>, InputError> {
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let refuse = |reason: String| {
        let help = Some("give a flight file or a folder of flight files".to_owned());
        InputError::of_file(path.display().to_string(), reason, help)
    };
    let entries = std::fs::read_dir(path).and_then(|entries| entries.collect::<Result<Vec<_>, _>>());
    let entries = entries.map_err(|error| refuse(format!("cannot be read: {error}")))?;
    let mut files: Vec<PathBuf> = entries.into_iter().map(|entry| entry.path()).collect();
    files.retain(|file| file.extension().is_some_and(|extension| extension == "toml"));
    files.sort();
    if files.is_empty() { Err(refuse("contains no .toml file".into())) } else { Ok(files) }
}

/// The craft of the built-in demo.
pub fn demo_craft() -> Result<Craft, InputError> {
    craft(&built_in(demo::CRAFT), demo::CRAFT.text)
}

/// The controller of the built-in demo.
pub fn demo_controller() -> Result<Config, InputError> {
    controller(&built_in(demo::CONTROLLER), demo::CONTROLLER.text)
}

/// The flights of the built-in demo.
pub fn demo_flights() -> Result<Vec<FlightPlan>, Vec<InputError>> {
    let read = demo::FLIGHTS.iter().map(|&file| {
        let name = Path::new(file.path).file_stem().map_or(file.path.into(), |stem| stem.to_string_lossy());
        flight(&built_in(file), &name, file.text)
    });
    read.collect::<Result<_, _>>().map_err(|error| vec![error])
}

fn built_in(file: demo::File) -> String {
    format!("built-in {}", file.path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folder_gives_its_flights_in_order_and_all_mistakes() {
        let folder = std::env::temp_dir().join(format!("aplomb-load-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        let empty = load_flights(std::slice::from_ref(&folder)).unwrap_err();
        assert!(empty[0].to_string().contains("contains no .toml file"), "{}", empty[0]);
        let text = demo::FLIGHTS[0].text;
        for name in ["b.toml", "a.toml", "notes.txt"] {
            std::fs::write(folder.join(name), text).unwrap();
        }
        let names = |paths: &[PathBuf]| -> Vec<String> {
            load_flights(paths).unwrap().into_iter().map(|flight| flight.name).collect()
        };
        assert_eq!(names(std::slice::from_ref(&folder)), ["a", "b"]);
        assert_eq!(names(&[folder.join("a.toml"), folder.clone()]), ["a", "a-2", "b"]);
        std::fs::write(folder.join("a.toml"), text.replace("title", "titel")).unwrap();
        std::fs::write(folder.join("c.toml"), text.replace("purpose", "porpoise")).unwrap();
        let wrong = load_flights(&[folder.clone(), folder.join("none.toml")]).unwrap_err();
        assert_eq!(wrong.len(), 3);
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
