//! `aplomb explain`: why this craft flies, from its own flights.

use std::path::PathBuf;

use clap::Args;

use super::results::ResultsFolder;
use super::{Failure, HELD, MISSED, say};
use crate::explain::{self, ExplainError, Lesson};
use crate::input::{self, Craft};
use crate::report::Repeat;
use crate::{belief, cli::RESULTS};

/// What `aplomb explain` is told.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct ExplainArguments {
    /// Craft file; without it, the demo's
    #[arg(long, value_name = "FILE")]
    craft: Option<PathBuf>,
    /// Controller file; without it, one that is derived from the craft
    #[arg(long, value_name = "FILE")]
    controller: Option<PathBuf>,
    /// Seed of all random numbers
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    /// Folder in which each run's results get a new folder of their own
    #[arg(long, value_name = "FOLDER", default_value = RESULTS)]
    out: PathBuf,
}

const EXAMPLES: &str = "\
Examples:
  aplomb explain                      with the demo's craft
  aplomb explain --craft craft.toml   with a craft of your own";

pub(super) fn run(arguments: &ExplainArguments) -> Result<u8, Failure> {
    let (craft, controller) = read(arguments)?;
    let lessons = explain::explain(&craft, &controller, arguments.seed).map_err(|error| match error {
        ExplainError::Flight(error) => Failure::Input(vec![error]),
        ExplainError::Fly(error) => Failure::Unfinished(error.to_string()),
    })?;
    say(&format!("{}\n\n{}", craft.words(), lessons.iter().map(told).collect::<String>()))?;
    let disk = |error: std::io::Error| Failure::Unfinished(format!("{}: {error}", arguments.out.display()));
    let folder = ResultsFolder::new(&arguments.out).map_err(disk)?;
    let page = explain::compose(&craft, &lessons, &repeat(arguments));
    folder.write("explained.html", page.as_bytes()).map_err(disk)?;
    let folder = folder.keep().map_err(disk)?;
    say(&format!("With pictures: {}\n", folder.join("explained.html").display()))?;
    let holds = lessons.iter().flat_map(|lesson| &lesson.claims).all(|claim| claim.holds);
    Ok(if holds { HELD } else { MISSED })
}

/// Reads the files, so that all mistakes are told at once.
fn read(arguments: &ExplainArguments) -> Result<(Craft, aplomb::flight::Config), Failure> {
    let craft = arguments.craft.as_deref().map_or_else(input::demo_craft, input::load_craft);
    let controller = arguments.controller.as_deref().map(input::load_controller).transpose();
    let (craft, controller) = match (craft, controller) {
        (Ok(craft), Ok(controller)) => (craft, controller),
        (craft, controller) => {
            return Err(Failure::Input(craft.err().into_iter().chain(controller.err()).collect()));
        }
    };
    let config = match controller {
        Some(controller) => controller.config,
        None => belief::controller(&craft).map_err(|error| {
            Failure::Argument(format!("no controller can be derived for {}: {error}", craft.name))
        })?,
    };
    Ok((craft, config))
}

/// A lesson in words.
fn told(lesson: &Lesson) -> String {
    let claims: String = lesson
        .claims
        .iter()
        .map(|claim| format!("  {} {}\n", if claim.holds { "holds:" } else { "DOES NOT HOLD:" }, claim.text))
        .collect();
    let wrapped = textwrap::fill(
        &lesson.answer,
        textwrap::Options::new(100).initial_indent("  ").subsequent_indent("  "),
    );
    format!("{}\n{wrapped}\n  [{}]\n{claims}\n", lesson.question, lesson.formula)
}

fn repeat(arguments: &ExplainArguments) -> Repeat {
    let mut words = vec!["aplomb explain".to_owned()];
    let files = [("--craft", &arguments.craft), ("--controller", &arguments.controller)];
    words
        .extend(files.iter().filter_map(|(flag, file)| Some(format!("{flag} {}", file.as_ref()?.display()))));
    words.push(format!("--seed {}", arguments.seed));
    Repeat {
        command: words.join(" "),
        versions: vec![("aplomb".to_owned(), env!("CARGO_PKG_VERSION").to_owned())],
        seeds: arguments.seed.to_string(),
    }
}
