//! Results folder of a run: new for each run, created atomically.

use std::fs;
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use super::interrupt;

/// A folder under a temporary name. [`ResultsFolder::keep`] gives it its final name; dropped before that, it
/// is removed.
#[derive(Debug)]
pub struct ResultsFolder {
    parent: PathBuf,
    temporary: PathBuf,
    kept: bool,
}

/// Largest number of results per day.
const MOST_A_DAY: u32 = 9999;

impl ResultsFolder {
    /// A new folder under `parent`, which is created if missing.
    pub fn new(parent: &Path) -> io::Result<Self> {
        fs::create_dir_all(parent)?;
        let temporary = parent.join(format!(".unfinished-{}", std::process::id()));
        // A remainder of an aborted process with the same id.
        if temporary.exists() {
            fs::remove_dir_all(&temporary)?;
        }
        fs::create_dir(&temporary)?;
        interrupt::set_unfinished_folder(Some(temporary.clone()));
        Ok(Self { parent: parent.to_owned(), temporary, kept: false })
    }

    /// Writes one file into it.
    pub fn write(&self, name: &str, contents: &[u8]) -> io::Result<()> {
        fs::write(self.temporary.join(name), contents)
    }

    /// Creates one file in it, to be written in parts and flushed.
    pub fn create(&self, name: &str) -> io::Result<BufWriter<fs::File>> {
        fs::File::create(self.temporary.join(name)).map(BufWriter::new)
    }

    /// Gives the folder the first free name of the day, such as `2026-11-25-001`, and returns its path.
    pub fn keep(mut self) -> io::Result<PathBuf> {
        let today = &humantime::format_rfc3339_seconds(std::time::SystemTime::now()).to_string()[..10];
        for number in 1..=MOST_A_DAY {
            let own = self.parent.join(format!("{today}-{number:03}"));
            if own.exists() {
                continue;
            }
            match fs::rename(&self.temporary, &own) {
                Ok(()) => {
                    self.kept = true;
                    interrupt::set_unfinished_folder(None);
                    return Ok(own);
                }
                // Another run took the name in the meantime: renaming refuses a folder with contents.
                Err(_) if own.exists() => {}
                Err(error) => return Err(error),
            }
        }
        Err(io::Error::other(format!("no free name for the results of {today} in {}", self.parent.display())))
    }
}

impl Drop for ResultsFolder {
    fn drop(&mut self) {
        if !self.kept {
            interrupt::set_unfinished_folder(None);
            // A folder that cannot be removed stays.
            let _ = fs::remove_dir_all(&self.temporary);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scratch(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("aplomb-results-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        folder
    }

    #[test]
    fn each_run_gets_a_new_folder_and_existing_ones_stay() {
        let parent = scratch("new");
        let mut kept = Vec::new();
        for text in ["one", "two"] {
            let folder = ResultsFolder::new(&parent).unwrap();
            folder.write("report.html", text.as_bytes()).unwrap();
            kept.push(folder.keep().unwrap());
        }
        assert_ne!(kept[0], kept[1]);
        assert!(kept[0].to_str().unwrap().ends_with("-001"));
        for (folder, text) in kept.iter().zip(["one", "two"]) {
            assert_eq!(fs::read_to_string(folder.join("report.html")).unwrap(), text);
        }
        assert_eq!(fs::read_dir(&parent).unwrap().count(), 2);
        fs::remove_dir_all(&parent).unwrap();
    }

    #[test]
    fn folder_that_is_not_kept_leaves_nothing() {
        let parent = scratch("dropped");
        let folder = ResultsFolder::new(&parent).unwrap();
        folder.write("trace.csv", b"half").unwrap();
        assert_eq!(fs::read_dir(&parent).unwrap().count(), 1);
        drop(folder);
        assert_eq!(fs::read_dir(&parent).unwrap().count(), 0);
        fs::remove_dir_all(&parent).unwrap();
    }

    #[test]
    fn parent_that_is_a_file_is_refused() {
        let parent = scratch("file");
        fs::write(&parent, b"x").unwrap();
        assert!(ResultsFolder::new(&parent).is_err());
        fs::remove_file(&parent).unwrap();
    }
}
