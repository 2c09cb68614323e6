//! Atomic creation of a folder given by the user.

use std::fs;
use std::io;
use std::path::Path;

use super::Failure;

/// Checks before long work that `folder` can be created.
pub(super) fn check(folder: &Path) -> Result<(), Failure> {
    make(folder, |_| Ok(()))?;
    let failed = |error: io::Error| Failure::Unfinished(format!("{}: {error}", folder.display()));
    fs::remove_dir(folder).map_err(failed)
}

/// Creates `folder` with the contents written by `fill`; refuses an existing one.
pub(super) fn make(folder: &Path, fill: impl FnOnce(&Path) -> io::Result<()>) -> Result<(), Failure> {
    write(folder, fill).map_err(|error| {
        let reason = format!("{}: {error}", folder.display());
        match error.kind() {
            io::ErrorKind::AlreadyExists => Failure::Argument(reason),
            _ => Failure::Unfinished(reason),
        }
    })
}

/// Fills a temporary folder, then renames it.
fn write(folder: &Path, fill: impl FnOnce(&Path) -> io::Result<()>) -> io::Result<()> {
    if folder.exists() {
        return Err(io::Error::new(io::ErrorKind::AlreadyExists, "exists already; give a new one"));
    }
    let temporary = folder.with_file_name(format!(".unfinished-{}", std::process::id()));
    let written = fs::create_dir_all(&temporary)
        .and_then(|()| fill(&temporary))
        .and_then(|()| fs::rename(&temporary, folder));
    if written.is_err() {
        // The first error is reported.
        let _ = fs::remove_dir_all(&temporary);
    }
    written
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folder_is_complete_or_absent_and_an_existing_one_is_unchanged() {
        let folder = std::env::temp_dir().join(format!("aplomb-folder-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        let half = |inside: &Path| {
            fs::write(inside.join("first"), "1")?;
            Err(io::Error::other("the disk is full"))
        };
        assert!(matches!(make(&folder, half), Err(Failure::Unfinished(_))));
        assert!(!folder.exists());
        check(&folder).ok().unwrap();
        assert!(!folder.exists());
        make(&folder, |inside| fs::write(inside.join("first"), "mine")).ok().unwrap();
        assert!(matches!(check(&folder), Err(Failure::Argument(_))));
        assert!(matches!(make(&folder, |_| Ok(())), Err(Failure::Argument(_))));
        assert_eq!(fs::read_to_string(folder.join("first")).unwrap(), "mine");
        fs::remove_dir_all(&folder).unwrap();
    }
}
