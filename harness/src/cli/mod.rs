//! The program `aplomb`: what it is asked on the command line, and how it ends.

mod arguments;
mod compare;
mod disperse;
mod envelope;
mod estimate;
mod explain;
mod export;
mod fly;
mod folder;
mod margins;
mod new;
mod page;
mod progress;
pub mod results;
mod schema;
mod sweep;
pub mod table;
pub mod trace_csv;
mod tune;
mod verify;
mod watch;

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::OnceLock;

use clap::{CommandFactory, Parser, Subcommand};

use crate::input::InputError;

/// Where results go unless told otherwise.
const RESULTS: &str = "results";
/// Everything that was expected held.
const PASS: u8 = 0;
/// Something was missed, or cannot be told.
const FAIL: u8 = 1;
/// The input is wrong: nothing was flown.
const WRONG_INPUT: u8 = 2;
/// The run could not finish.
const UNFINISHED: u8 = 3;

const EXAMPLES: &str = "\
Examples:
  aplomb                                      fly the built-in demo
  aplomb fly --seeds 100                      fly it under 100 seeds, figures pooled
  aplomb envelope --payload-kg 0.2            say what it can lift, how long it hovers, what wind it holds
  aplomb explain                              say why it flies, with its figures and pictures
  aplomb estimate log.csv                     put a recording through the attitude filter
  aplomb margins --point hover                tell how far each loop is from instability
  aplomb tune --craft craft.toml my-craft     find a controller that meets every requirement
  aplomb new my-craft                         write the demo's files into a new folder, to change them
  aplomb fly my-craft                         fly them on it
  aplomb export --controller my-craft/controller.toml my-craft/firmware
  aplomb verify my-craft                      yes or no: every requirement on every flight
  aplomb disperse my-craft                    does it hold for every craft that is built like this one?
  aplomb compare --controller a.toml b.toml   which of two controllers is better, and in what?

Exit code: 0 held, 1 missed or cannot tell, 2 the input is wrong, 3 could not finish.
A simulation is evidence, never clearance to fly.";

/// Flies a flight-control crate on a simulated quad-X craft and tells whether what is expected of each flight holds.
/// Without a command it flies the built-in demo.
#[derive(Debug, Parser)]
#[command(name = "aplomb", version, about, after_help = EXAMPLES, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Fly flights, judge what is expected of them, write a report and traces
    Fly(fly::FlyArguments),
    /// Tell what a craft can do: lift, hover, endurance, tilt, wind, climb, descent, each confirmed by a flight
    Envelope(envelope::EnvelopeArguments),
    /// Explain why a craft flies, from flights of its own, for a reader who has never seen one
    Explain(explain::ExplainArguments),
    /// Put recordings through the attitude filter and tell the error against their reference
    Estimate(estimate::EstimateArguments),
    /// Judge every requirement and check on every flight of a folder, and compare with an accepted baseline
    Verify(verify::VerifyArguments),
    /// Tell how far each loop is from instability: measured by injection into the running code, beside the linear model
    Margins(margins::MarginsArguments),
    /// Fly many crafts drawn from declared spreads: how probable is it that everything holds, and what explains the misses
    Disperse(disperse::DisperseArguments),
    /// Fly two controllers or crafts under the same seeds: which figures differ, and how surely
    Compare(compare::CompareArguments),
    /// Vary any numbers of the files and map margins and figures
    Sweep(sweep::SweepArguments),
    /// Find a controller for a craft that meets every requirement, and tell what limits it
    Tune(tune::TuneArguments),
    /// Write the files of the built-in demo into a new folder, to start a craft of your own from
    #[command(after_help = "Examples:\n  aplomb new my-craft && aplomb verify my-craft")]
    New {
        /// Folder to make; it must not exist yet
        folder: PathBuf,
    },
    /// Write a controller for firmware into a new folder: as a Rust constant and as a parameter block
    Export(export::ExportArguments),
    /// Print the JSON Schema of a kind of file
    #[command(after_help = schema::EXAMPLES)]
    Schema {
        /// Kind of file
        #[arg(value_enum)]
        kind: schema::Kind,
    },
    /// Print what a shell needs to complete these commands
    #[command(after_help = COMPLETIONS)]
    Completions {
        /// The shell
        #[arg(value_enum)]
        shell: clap_complete::Shell,
    },
}

const COMPLETIONS: &str = "\
Examples:
  aplomb completions bash > ~/.local/share/bash-completion/completions/aplomb
  aplomb completions zsh > ~/.zfunc/_aplomb
  aplomb completions fish > ~/.config/fish/completions/aplomb.fish";

/// Why a run ended early.
enum Failure {
    /// The input is wrong.
    Input(Vec<InputError>),
    /// An argument is wrong.
    Argument(String),
    /// The disk, or a fault of our own. An interrupt ends the program with the same code.
    Unfinished(String),
}

/// What an interrupt leaves behind, where that is something.
static WHEN_INTERRUPTED: OnceLock<String> = OnceLock::new();

/// Sets what is said when an interrupt ends the program from now on; the first one counts.
fn interrupted_says(text: String) {
    let _ = WHEN_INTERRUPTED.set(text);
}

/// Runs the program on the process's arguments.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    // Nothing is half-written: a results folder gets its name when it is complete.
    let interrupted = || {
        complain(WHEN_INTERRUPTED.get().map_or("interrupted: nothing was written", String::as_str));
        std::process::exit(i32::from(UNFINISHED));
    };
    if let Err(error) = ctrlc::set_handler(interrupted) {
        complain(&format!("an interrupt will not be told as such: {error}"));
    }
    let run = || match arguments.command {
        None => fly::run(&fly::FlyArguments::demo()),
        Some(Command::Fly(arguments)) => fly::run(&arguments),
        Some(Command::Envelope(arguments)) => envelope::run(&arguments),
        Some(Command::Explain(arguments)) => explain::run(&arguments),
        Some(Command::Estimate(arguments)) => estimate::run(&arguments),
        Some(Command::Verify(arguments)) => verify::run(&arguments),
        Some(Command::Margins(arguments)) => margins::run(&arguments),
        Some(Command::Disperse(arguments)) => disperse::run(&arguments),
        Some(Command::Compare(arguments)) => compare::run(&arguments),
        Some(Command::Sweep(arguments)) => sweep::run(&arguments),
        Some(Command::Tune(arguments)) => tune::run(&arguments),
        Some(Command::New { folder }) => new::run(&folder),
        Some(Command::Export(arguments)) => export::run(&arguments),
        Some(Command::Schema { kind }) => schema::run(kind),
        Some(Command::Completions { shell }) => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Arguments::command(), "aplomb", &mut script);
            say(&String::from_utf8_lossy(&script)).map(|()| PASS)
        }
    };
    let ended = std::panic::catch_unwind(std::panic::AssertUnwindSafe(run));
    ExitCode::from(match ended {
        Ok(Ok(code)) => code,
        Ok(Err(failure)) => complain_of(failure),
        // The panic's own message is out already.
        Err(_) => UNFINISHED,
    })
}

/// Tells why a run ended early and returns the exit code for it.
fn complain_of(failure: Failure) -> u8 {
    match failure {
        Failure::Input(errors) => {
            let coloured = may_colour(&std::io::stderr());
            complain(&errors.iter().map(|error| error.render(coloured)).collect::<Vec<_>>().join("\n\n"));
            WRONG_INPUT
        }
        Failure::Argument(reason) => {
            complain(&format!("error: {reason}"));
            WRONG_INPUT
        }
        Failure::Unfinished(reason) => {
            complain(&format!("could not finish: {reason}"));
            UNFINISHED
        }
    }
}

/// Says something on standard error; there is nobody left to tell if that is closed.
fn complain(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}

/// Says something on standard output.
fn say(text: &str) -> Result<(), Failure> {
    let written = std::io::stdout().write_all(text.as_bytes());
    written.map_err(|error| Failure::Unfinished(format!("standard output: {error}")))
}

/// Colour only on a terminal, and not where `NO_COLOR` asks for none (<https://no-color.org>).
fn may_colour(stream: &impl IsTerminal) -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    stream.is_terminal() && !refused
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_are_consistent() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn wrong_arguments_end_with_the_code_for_wrong_input() {
        for line in ["aplomb hover", "aplomb fly --seeds 0", "aplomb fly --seeds many", "aplomb new"] {
            let error = Arguments::try_parse_from(line.split(' ')).unwrap_err();
            assert_eq!(error.exit_code(), i32::from(WRONG_INPUT), "{line}");
        }
    }
}
