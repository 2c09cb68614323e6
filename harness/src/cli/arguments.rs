//! Arguments that several commands share: craft, controller, threads, results folder.

use std::io;
use std::path::{Path, PathBuf};

use clap::Args;

use super::results::ResultsFolder;
use super::{Failure, RESULTS, memory};
use crate::input::folder::{CONTROLLER, CRAFT};
use crate::input::{self, InputError};
use aplomb::flight::Config;
use aplomb_study::craft::Craft;

/// Craft and controller: files, or those of a folder, or the demo's.
#[derive(Clone, Debug, Default, Args)]
pub(super) struct Files {
    /// Craft file: the truth that is simulated; default: that of the folder or the demo
    #[arg(long, value_name = "FILE")]
    pub(super) craft: Option<PathBuf>,
    /// Controller file: the controller's model and settings; default: that of the folder or the demo
    #[arg(long, value_name = "FILE")]
    pub(super) controller: Option<PathBuf>,
}

impl Files {
    /// Files that are not given are those of `folder`.
    pub(super) fn or_in(&self, folder: Option<&Path>) -> Self {
        let or = |given: &Option<PathBuf>, name| given.clone().or_else(|| Some(folder?.join(name)));
        Self { craft: or(&self.craft, CRAFT), controller: or(&self.controller, CONTROLLER) }
    }

    /// True for a folder that holds a craft.
    pub(super) fn are_in(folder: &Path) -> bool {
        folder.join(CRAFT).is_file()
    }

    pub(super) fn read_craft(&self) -> Result<Craft, InputError> {
        self.craft.as_deref().map_or_else(input::demo_craft, input::load_craft)
    }

    pub(super) fn read_controller(&self) -> Result<Config, InputError> {
        self.controller.as_deref().map_or_else(input::demo_controller, input::load_controller)
    }

    /// Reads both files and collects all their errors.
    pub(super) fn read(&self) -> Result<(Craft, Config), Vec<InputError>> {
        match (self.read_craft(), self.read_controller()) {
            (Ok(craft), Ok(controller)) => Ok((craft, controller)),
            (craft, controller) => Err(craft.err().into_iter().chain(controller.err()).collect()),
        }
    }

    /// The arguments of a command line with these files.
    pub(super) fn words(&self) -> impl Iterator<Item = String> {
        let files = [("--craft", self.craft.as_deref()), ("--controller", self.controller.as_deref())];
        files.into_iter().filter_map(|(flag, file)| Some(format!("{flag} {}", quoted(file?))))
    }
}

/// The path as a word of a shell's command line.
pub(super) fn quoted(path: &Path) -> String {
    let shown = path.display().to_string();
    // A path with a NUL byte does not exist.
    shlex::try_quote(&shown).map_or_else(|_| shown.clone(), std::borrow::Cow::into_owned)
}

/// Number of threads.
#[derive(Clone, Copy, Debug, Default, Args)]
pub(super) struct Threads {
    /// Number of threads; default: one per core
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=1024))]
    threads: Option<u32>,
}

impl Threads {
    /// A pool with this number of threads, or one per core.
    pub(super) fn pool(self) -> Result<rayon::ThreadPool, Failure> {
        Self::build(self.threads.map_or(0, |threads| threads as usize))
    }

    /// A pool for flights of these durations; fewer threads where their traces would not fit into memory.
    pub(super) fn pool_for(
        self,
        durations_s: impl IntoIterator<Item = f64>,
        controller: &Config,
    ) -> Result<rayon::ThreadPool, Failure> {
        let longest_s = durations_s.into_iter().fold(1.0, f64::max);
        let cores = || std::thread::available_parallelism().map_or(1, usize::from);
        let count = self.threads.map_or_else(cores, |threads| threads as usize);
        Self::build(count.min(memory::flights_at_once(longest_s, controller)))
    }

    fn build(count: usize) -> Result<rayon::ThreadPool, Failure> {
        let built = rayon::ThreadPoolBuilder::new().num_threads(count).build();
        built.map_err(|error| Failure::Unfinished(error.to_string()))
    }
}

/// Results folder.
#[derive(Clone, Debug, Args)]
pub(super) struct Out {
    /// Folder in which each run creates a new results folder
    #[arg(long, value_name = "FOLDER", default_value = RESULTS)]
    out: PathBuf,
}

impl Default for Out {
    fn default() -> Self {
        Self { out: RESULTS.into() }
    }
}

impl Out {
    pub(super) fn path(&self) -> &Path {
        &self.out
    }

    /// Checks before the run that the folder is writable.
    pub(super) fn check(&self) -> Result<(), Failure> {
        self.open().map(drop).map_err(|error| self.failed(&error))
    }

    /// Creates a results folder.
    pub(super) fn open(&self) -> io::Result<ResultsFolder> {
        ResultsFolder::new(&self.out)
    }

    pub(super) fn failed(&self, error: &io::Error) -> Failure {
        Failure::Unfinished(format!("{}: {error}", self.out.display()))
    }
}
