//! Settings of the attitude filter, for comparison on the same recordings.

use std::path::Path;

use aplomb::estimate::attitude::Config;

use crate::input::{InputError, attitude_settings, text_of};

/// One set of settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Name on screen.
    pub name: String,
    /// Configuration of the filter.
    pub config: Config,
}

impl Settings {
    /// Recommended settings of the control crate.
    #[must_use]
    pub fn recommended() -> Self {
        Self { name: "recommended".to_owned(), config: Config::RECOMMENDED }
    }

    /// From a TOML file with the keys of `[override.attitude_estimate]` of a controller file; omitted keys
    /// have the recommended values. Named after the file.
    ///
    /// # Errors
    /// All errors of the file.
    pub fn load(path: &Path) -> Result<Self, InputError> {
        let config = attitude_settings(&path.display().to_string(), &text_of(path)?)?;
        let name = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
        Ok(Self { name, config })
    }
}
