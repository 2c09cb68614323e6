//! Settings of the attitude filter, to be compared on the same recordings.

use std::path::Path;

use aplomb::estimate::attitude::Config;

use crate::input::{InputError, attitude_settings, text_of};

/// One set of settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Name on screen.
    pub name: String,
    /// What the filter is built from.
    pub config: Config,
}

impl Settings {
    /// What the crate recommends.
    #[must_use]
    pub fn recommended() -> Self {
        Self { name: "recommended".to_owned(), config: Config::RECOMMENDED }
    }

    /// From a TOML file with the keys of `[override.attitude_estimate]` of a controller file; what is left out is as
    /// recommended. Named after the file.
    ///
    /// # Errors
    /// Everything wrong with the file.
    pub fn load(path: &Path) -> Result<Self, InputError> {
        let config = attitude_settings(&path.display().to_string(), &text_of(path)?)?;
        let name = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
        Ok(Self { name, config })
    }
}
