//! `aplomb new`: the demo's files in a new folder.

use std::fs;
use std::io;
use std::path::Path;

use super::arguments::quoted;
use super::{Failure, PASS, folder, print_text};
use crate::input::demo;

/// Writes the files; refuses an existing folder.
pub(super) fn run(folder: &Path) -> Result<u8, Failure> {
    folder::make(folder, fill)?;
    let shown = quoted(folder);
    print_text(&format!(
        "{shown} contains a craft, a controller and flights. Edit them, then:\n  \
         aplomb fly {shown}\n  \
         aplomb verify {shown}\n"
    ));
    Ok(PASS)
}

fn fill(folder: &Path) -> io::Result<()> {
    fs::create_dir(folder.join("flights"))?;
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
    fn new_folder_contains_a_valid_craft_and_flights() {
        let folder = std::env::temp_dir().join(format!("aplomb-new-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir(&folder).unwrap();
        fill(&folder).unwrap();
        input::load_craft(&folder.join("craft.toml")).unwrap();
        assert_eq!(input::load_flights(&[folder.join("flights")]).unwrap().len(), demo::FLIGHTS.len());
        fs::remove_dir_all(&folder).unwrap();
    }
}
