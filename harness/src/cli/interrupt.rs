//! Interrupts: what they end, and what they leave.

use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use super::{UNFINISHED, print_error};

/// The command keeps what is finished when it is interrupted once.
static FINISHES: AtomicBool = AtomicBool::new(false);
/// An interrupt came.
static REQUESTED: AtomicBool = AtomicBool::new(false);
/// Message after an interrupt, if not the default.
static MESSAGE: Mutex<Option<String>> = Mutex::new(None);
/// Folder of results under its temporary name.
static UNFINISHED_FOLDER: Mutex<Option<PathBuf>> = Mutex::new(None);

/// Handles interrupts from now on.
pub(super) fn handle() {
    if let Err(error) = ctrlc::set_handler(interrupted) {
        print_error(&format!("interrupts are not handled: {error}"));
    }
}

fn interrupted() {
    let is_first = !REQUESTED.swap(true, Ordering::Relaxed);
    if is_first && FINISHES.load(Ordering::Relaxed) {
        print_error("interrupted: the flights in the air are finished; a second interrupt ends at once");
        return;
    }
    if let Some(folder) = lock(&UNFINISHED_FOLDER).take() {
        // A folder that cannot be removed stays.
        let _ = std::fs::remove_dir_all(folder);
    }
    print_error(lock(&MESSAGE).as_deref().unwrap_or("interrupted: nothing was written"));
    std::process::exit(i32::from(UNFINISHED));
}

/// Sets the message after an interrupt.
pub(super) fn set_message(text: String) {
    *lock(&MESSAGE) = Some(text);
}

/// From now on the first interrupt only makes [`is_requested`] true.
pub(super) fn finish_what_flies() {
    REQUESTED.store(false, Ordering::Relaxed);
    FINISHES.store(true, Ordering::Relaxed);
}

/// From now on an interrupt ends the program.
pub(super) fn end_at_once() {
    FINISHES.store(false, Ordering::Relaxed);
}

/// True after an interrupt.
pub(super) fn is_requested() -> bool {
    REQUESTED.load(Ordering::Relaxed)
}

/// Names the folder that an interrupt removes; `None` when it is complete.
pub(super) fn set_unfinished_folder(folder: Option<PathBuf>) {
    *lock(&UNFINISHED_FOLDER) = folder;
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}
