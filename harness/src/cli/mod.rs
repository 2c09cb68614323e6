//! The program `aplomb`: command line and exit codes.

mod arguments;
mod compare;
mod disperse;
mod envelope;
mod estimate;
mod explain;
mod export;
mod fly;
mod folder;
mod interrupt;
mod margins;
mod memory;
mod new;
mod page;
mod progress;
mod renamed;
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
use std::sync::Once;

use clap::{CommandFactory, Parser, Subcommand};

use crate::input::InputError;

/// Default folder of results.
const RESULTS: &str = "results";
/// Exit code: pass.
const PASS: u8 = 0;
/// Exit code: fail or inconclusive.
const FAIL: u8 = 1;
/// Exit code: the input is wrong, nothing was flown.
const WRONG_INPUT: u8 = 2;
/// Exit code: the run could not finish.
const UNFINISHED: u8 = 3;

const EXAMPLES: &str = "\
Examples:
  aplomb                                      fly the built-in demo
  aplomb fly --seeds 100                      the same under 100 seeds, figures pooled
  aplomb envelope --payload-kg 0.2            lift, endurance and strongest wind with a payload
  aplomb explain                              how a multirotor flies, with figures and diagrams
  aplomb estimate log.csv                     run the attitude filter on a recording
  aplomb margins --point hover                stability margins of each loop
  aplomb tune --craft craft.toml my-craft     find a controller that meets every requirement
  aplomb new my-craft                         write the demo's files to a new folder, to edit them
  aplomb fly my-craft                         fly the flights of that folder
  aplomb export --controller my-craft/controller.toml my-craft/firmware
  aplomb verify my-craft                      evaluate every requirement on every flight
  aplomb disperse my-craft                    success probability over random craft
  aplomb compare --controller a.toml b.toml   figures in which two controllers differ

Exit code: 0 pass, 1 fail or inconclusive, 2 the input is wrong, 3 could not finish.
A simulation is evidence, never clearance to fly.";

/// Closed-loop simulation of a flight-control crate on a quad-X craft, with checks on each flight.
/// Without a command it runs the built-in demo.
#[derive(Debug, Parser)]
#[command(name = "aplomb", version, after_help = EXAMPLES, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run flights, evaluate their checks, write a report and traces
    Fly(fly::FlyArguments),
    /// Performance envelope of a craft: lift, hover, endurance, tilt, wind, climb, descent, each confirmed by
    /// a flight
    Envelope(envelope::EnvelopeArguments),
    /// Explain how a craft flies, from its own flights, for readers without previous knowledge
    Explain(explain::ExplainArguments),
    /// Run the attitude filter on recordings and report the error against their reference
    Estimate(estimate::EstimateArguments),
    /// Evaluate every requirement and check on every flight of a folder, and compare with an accepted
    /// baseline
    Verify(verify::VerifyArguments),
    /// Stability margins of each loop: measured by injection into the running code, and by the linear model
    Margins(margins::MarginsArguments),
    /// Dispersion analysis: success probability over craft drawn at random, and the dispersions associated
    /// with failures
    Disperse(disperse::DisperseArguments),
    /// Compare two controllers or two craft under the same seeds: differences with confidence intervals
    Compare(compare::CompareArguments),
    /// Sweep any values of the files: maps of margins and figures
    Sweep(sweep::SweepArguments),
    /// Tune a controller for a craft to meet every requirement, and report the limiting requirements
    Tune(tune::TuneArguments),
    /// Write the files of the built-in demo to a new folder, as a start for your own craft
    #[command(after_help = "Examples:\n  aplomb new my-craft && aplomb verify my-craft")]
    New {
        /// New folder; it must not exist
        folder: PathBuf,
    },
    /// Export a controller for firmware to a new folder: as a Rust constant and as a parameter block
    Export(export::ExportArguments),
    /// Print the JSON Schema of a kind of file
    #[command(after_help = schema::EXAMPLES)]
    Schema {
        /// Kind of file
        #[arg(value_enum)]
        kind: schema::Kind,
    },
    /// Print the completion script of a shell
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
    /// A file system error, or an internal error. An interrupt has the same exit code.
    Unfinished(String),
}

/// Runs the program on the process's arguments.
#[must_use]
pub fn main() -> ExitCode {
    if let Some(message) = renamed::old_flag(std::env::args().skip(1)) {
        return ExitCode::from(report_failure(Failure::Argument(message)));
    }
    let arguments = Arguments::parse();
    interrupt::handle();
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
            print_alone(&String::from_utf8_lossy(&script))
        }
    };
    let ended = std::panic::catch_unwind(std::panic::AssertUnwindSafe(run));
    ExitCode::from(match ended {
        Ok(Ok(code)) => code,
        Ok(Err(failure)) => report_failure(failure),
        // The panic has printed its message.
        Err(_) => UNFINISHED,
    })
}

/// Prints why a run ended early and returns its exit code.
fn report_failure(failure: Failure) -> u8 {
    match failure {
        Failure::Input(errors) => {
            let coloured = may_colour(&std::io::stderr());
            print_error(&errors.iter().map(|error| error.render(coloured)).collect::<Vec<_>>().join("\n\n"));
            WRONG_INPUT
        }
        Failure::Argument(reason) => {
            print_error(&format!("error: {reason}"));
            WRONG_INPUT
        }
        Failure::Unfinished(reason) => {
            print_error(&format!("could not finish: {reason}"));
            UNFINISHED
        }
    }
}

/// Prints to standard error. A closed standard error is ignored.
fn print_error(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}

/// Prints to standard output. The run goes on without it, writes its files and keeps its exit code: a closed
/// pipe, as of `| head`, is ignored; another error is reported once.
fn print_text(text: &str) {
    static REPORTED: Once = Once::new();
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            REPORTED.call_once(|| print_error(&format!("warning: standard output: {error}")));
        }
        _ => {}
    }
}

/// Prints what is the only result of a command to standard output. A closed pipe, as of `| head`, is ignored.
fn print_alone(text: &str) -> Result<u8, Failure> {
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::Unfinished(format!("standard output: {error}")))
        }
        _ => Ok(PASS),
    }
}

/// True for a terminal unless `NO_COLOR` is set (<https://no-color.org>).
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
    fn help_begins_with_the_introduction() {
        for help in [Arguments::command().render_help(), Arguments::command().render_long_help()] {
            let help = help.to_string();
            assert!(
                help.starts_with("Closed-loop simulation of a flight-control crate on a quad-X craft"),
                "{help}"
            );
            assert!(help.contains("Without a command it runs the built-in demo"), "{help}");
        }
    }

    /// Help of an argument of a command.
    fn help_of(command: &str, argument: &str) -> String {
        let mut all = Arguments::command();
        let command = all.find_subcommand_mut(command).unwrap();
        let argument = command.get_arguments().find(|one| one.get_id() == argument).unwrap();
        argument.get_help().unwrap().to_string()
    }

    #[test]
    fn help_of_the_files_states_the_default_of_each_command() {
        assert!(help_of("sweep", "craft").ends_with("default: the demo's"));
        assert!(help_of("sweep", "controller").ends_with("default: the demo's"));
        let explained = help_of("explain", "controller");
        assert!(
            explained.ends_with("default: that of the folder, else derived from the craft"),
            "{explained}"
        );
        assert!(help_of("fly", "controller").ends_with("default: that of the folder or the demo"));
    }

    #[test]
    fn wrong_arguments_end_with_the_code_for_wrong_input() {
        for line in ["aplomb hover", "aplomb fly --seeds 0", "aplomb fly --seeds many", "aplomb new"] {
            let error = Arguments::try_parse_from(line.split(' ')).unwrap_err();
            assert_eq!(error.exit_code(), i32::from(WRONG_INPUT), "{line}");
        }
    }
}
