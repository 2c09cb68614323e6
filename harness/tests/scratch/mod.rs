//! A temporary folder for an end-to-end test.

// Not every test file uses all of it.
#![allow(dead_code)]

use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

/// A temporary folder, removed at the end.
pub struct Scratch(pub PathBuf);

impl Scratch {
    pub fn new(name: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("aplomb-run-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        Self(folder)
    }

    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.0.join(name), text).unwrap();
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_aplomb"));
        command.args(arguments).current_dir(&self.0);
        command
    }

    pub fn aplomb(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }

    pub fn results(&self) -> Vec<PathBuf> {
        let Ok(entries) = fs::read_dir(self.0.join("results")) else { return Vec::new() };
        entries.map(|entry| entry.unwrap().path()).collect()
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// A short hover whose height error must stay within `bound`.
pub fn hover(bound: &str) -> String {
    format!(
        "title = \"Hover\"\npurpose = \"Short.\"\nduration_s = 2.0\nstart = \"hover\"\nheight_m = 6.0\n\
         [[check]]\nwhat = \"height_error_m\"\nstatistic = \"peak\"\nat_most = {bound}\n"
    )
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}
