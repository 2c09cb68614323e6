//! `aplomb new`: the demo's files in a new folder.

use std::fs;
use std::io;
use std::path::Path;

use super::{Failure, HELD, say};
use crate::input::demo;

/// Writes the files; refuses a folder that exists.
pub(super) fn run(folder: &Path) -> Result<u8, Failure> {
    write(folder).map_err(|error| {
        let reason = format!("{}: {error}", folder.display());
        match error.kind() {
            io::ErrorKind::AlreadyExists => Failure::Argument(reason),
            _ => Failure::Unfinished(reason),
        }
    })?;
    let shown = folder.display();
    say(&format!(
        "{shown} holds a craft, a controller and flights. Change what you like, then:\n  \
         aplomb fly --craft {shown}/craft.toml --controller {shown}/controller.toml {shown}/flights\n"
    ))?;
    Ok(HELD)
}

/// Fills a folder beside the new one first, so that the new one is there whole or not at all.
fn write(folder: &Path) -> io::Result<()> {
    if folder.exists() {
        return Err(io::Error::new(
            io::ErrorKind::AlreadyExists,
            "exists already; name a folder that does not",
        ));
    }
    let passing = folder.with_file_name(format!(".unfinished-{}", std::process::id()));
    let written = fill(&passing).and_then(|()| fs::rename(&passing, folder));
    if written.is_err() {
        // The first error is the one to tell.
        let _ = fs::remove_dir_all(&passing);
    }
    written
}

fn fill(folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder.join("flights"))?;
    for file in demo::ALL.iter().copied().flatten() {
        fs::write(folder.join(file.path), file.text)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input;

    #[test]
    fn new_folder_flies_and_an_old_one_stays_as_it_was() {
        let folder = std::env::temp_dir().join(format!("aplomb-new-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        write(&folder).unwrap();
        input::load_craft(&folder.join("craft.toml")).unwrap();
        assert_eq!(input::load_flights(&[folder.join("flights")]).unwrap().len(), demo::FLIGHTS.len());
        fs::write(folder.join("craft.toml"), "mine").unwrap();
        assert_eq!(write(&folder).unwrap_err().kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read_to_string(folder.join("craft.toml")).unwrap(), "mine");
        fs::remove_dir_all(&folder).unwrap();
    }
}
