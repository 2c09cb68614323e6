//! `--watch`: repeats a run whenever a file is saved.

use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use notify::{EventKind, RecursiveMode, Watcher};

use super::{Failure, interrupt, print_error, print_text, report_failure};

/// Time without changes after which a save is complete: editors save in several steps.
const QUIET: Duration = Duration::from_millis(200);

/// Executes `run` now and after each change of `paths`, until interrupted. Invalid input is reported and does
/// not end the loop.
///
/// Folders are watched rather than files, since editors replace a file by a new one of the same name.
pub(super) fn again(paths: &[PathBuf], run: impl Fn() -> Result<u8, Failure>) -> Result<u8, Failure> {
    if paths.is_empty() {
        return Err(Failure::Argument(
            "--watch requires files: the built-in demo does not change".to_owned(),
        ));
    }
    let unfinished = |error: notify::Error| Failure::Unfinished(format!("cannot watch: {error}"));
    let real: Vec<PathBuf> = paths.iter().filter_map(|path| path.canonicalize().ok()).collect();
    let (changed, changes) = mpsc::channel();
    let mut watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
        let Ok(event) = event else { return };
        let counts = matches!(event.kind, EventKind::Create(_) | EventKind::Modify(_) | EventKind::Remove(_));
        let is_ours = |path: &PathBuf| {
            path.extension().is_some_and(|end| end == "toml") && real.iter().any(|own| path.starts_with(own))
        };
        if counts && event.paths.iter().any(is_ours) {
            let _ = changed.send(());
        }
    })
    .map_err(unfinished)?;
    for path in paths {
        let (folder, mode) = match path.is_dir() {
            true => (path.as_path(), RecursiveMode::Recursive),
            false => (folder_of(path), RecursiveMode::NonRecursive),
        };
        watcher
            .watch(&folder.canonicalize().unwrap_or_else(|_| folder.to_owned()), mode)
            .map_err(unfinished)?;
    }
    loop {
        match run() {
            Err(Failure::Unfinished(reason)) => return Err(Failure::Unfinished(reason)),
            Err(wrong) => drop(report_failure(wrong)),
            Ok(_) => {}
        }
        interrupt::end_at_once();
        interrupt::set_message("ended; the results of finished runs are kept".to_owned());
        print_text("Waiting for a file to be saved; interrupt to end.\n");
        if changes.recv().is_err() {
            return Err(Failure::Unfinished("files can no longer be watched".to_owned()));
        }
        while changes.recv_timeout(QUIET).is_ok() {}
        print_error("");
    }
}

/// The folder that a file is in.
fn folder_of(file: &Path) -> &Path {
    file.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}
