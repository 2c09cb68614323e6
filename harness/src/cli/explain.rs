//! `aplomb explain`: explains why a craft flies, from its own flights.

use std::path::PathBuf;

use clap::Args;

use super::arguments::{Files, Out};
use super::{FAIL, Failure, PASS, print_text};
use crate::report::Repeat;
use crate::{input, output, pages};
use aplomb_study::controller_model;
use aplomb_study::craft::Craft;
use aplomb_study::explain::{self, Lesson};

/// Arguments of `aplomb explain`.
#[derive(Debug, Args)]
#[command(
    after_help = EXAMPLES,
    mut_arg("controller", |arg| {
        arg.help("Controller file; default: that of the folder, else derived from the craft")
    })
)]
pub(super) struct ExplainArguments {
    /// Folder with craft.toml and controller.toml; default: the demo's craft with a derived controller
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    #[command(flatten)]
    files: Files,
    /// Seed of all random numbers
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    out: Out,
}

const EXAMPLES: &str = "\
Examples:
  aplomb explain                      with the demo's craft; its controller is derived
  aplomb explain my-craft             with the craft and controller of a folder
  aplomb explain --craft craft.toml   with a craft alone; its controller is derived";

impl ExplainArguments {
    fn files(&self) -> Files {
        self.files.or_in(self.folder.as_deref())
    }
}

pub(super) fn run(arguments: &ExplainArguments) -> Result<u8, Failure> {
    let (craft, controller) = read(arguments)?;
    let flights = input::explain::flights().map_err(|error| Failure::Input(vec![error]))?;
    let lessons = explain::explain(&craft, &controller, &flights, arguments.seed)
        .map_err(|error| Failure::Argument(error.to_string()))?;
    print_text(&format!("{}\n\n{}", craft.words(), lessons.iter().map(text_of).collect::<String>()));
    let disk = |error: std::io::Error| arguments.out.failed(&error);
    let folder = arguments.out.open().map_err(disk)?;
    let page = pages::explain::compose(&craft, &lessons, &repeat(arguments));
    folder.write("explained.html", page.as_bytes()).map_err(disk)?;
    let checks = lessons.iter().flat_map(|lesson| lesson.checks.iter().map(move |check| (lesson, check)));
    let rows = checks.map(|(lesson, check)| {
        let outcome = if check.passes { "pass" } else { "fail" };
        [lesson.question.to_owned(), check.text.clone(), outcome.to_owned()]
    });
    let csv = output::csv::of_rows(["question", "check", "outcome"], rows).map_err(disk)?;
    folder.write(pages::explain::CSV, &csv).map_err(disk)?;
    let folder = folder.keep().map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join("explained.html").display()));
    let all_pass = lessons.iter().flat_map(|lesson| &lesson.checks).all(|check| check.passes);
    Ok(if all_pass { PASS } else { FAIL })
}

/// Reads the files and collects all their errors.
fn read(arguments: &ExplainArguments) -> Result<(Craft, aplomb::flight::Config), Failure> {
    let files = arguments.files();
    let craft = files.read_craft();
    let controller = files.controller.as_deref().map(input::load_controller).transpose();
    let (craft, controller) = match (craft, controller) {
        (Ok(craft), Ok(controller)) => (craft, controller),
        (craft, controller) => {
            return Err(Failure::Input(craft.err().into_iter().chain(controller.err()).collect()));
        }
    };
    let config = match controller {
        Some(controller) => controller,
        None => controller_model::controller(&craft).map_err(|error| {
            Failure::Argument(format!("no controller can be derived for {}: {error}", craft.name))
        })?,
    };
    Ok((craft, config))
}

/// Text of a lesson.
fn text_of(lesson: &Lesson) -> String {
    let checks: String = lesson
        .checks
        .iter()
        .map(|check| format!("  {} {}\n", if check.passes { "pass:" } else { "fail:" }, check.text))
        .collect();
    let wrapped = textwrap::fill(
        &lesson.answer,
        textwrap::Options::new(100).initial_indent("  ").subsequent_indent("  "),
    );
    format!("{}\n{wrapped}\n  [{}]\n{checks}\n", lesson.question, lesson.formula)
}

fn repeat(arguments: &ExplainArguments) -> Repeat {
    let mut words = vec!["aplomb explain".to_owned()];
    words.extend(arguments.files().words());
    words.push(format!("--seed {}", arguments.seed));
    Repeat::new(words.join(" "), arguments.seed.to_string())
}
