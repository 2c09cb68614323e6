//! `aplomb verify`: yes or no, with one line for each cause.

use std::io;
use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::Args;

use super::arguments::{Out, Threads};
use super::{FAIL, Failure, PASS, progress, say, watch};
use crate::report::Repeat;
use crate::verify::{self, Baseline, Cause, Folder, Judgement, baseline, folder, json, junit, summary};

/// What `aplomb verify` is told.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct VerifyArguments {
    /// Folder with craft.toml, controller.toml and flights; perhaps requirements.toml and baseline.json. Without it, the demo
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// How many seeds in a row each flight is flown under; without it, those of the baseline, or 10
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    seeds: Option<u32>,
    /// Accept the figures: write them into the folder's baseline.json
    #[arg(long, requires = "folder")]
    accept: bool,
    #[command(flatten)]
    out: Out,
    #[command(flatten)]
    threads: Threads,
    /// Do it again whenever a file of the folder is saved
    #[arg(long, requires = "folder", conflicts_with = "accept")]
    watch: bool,
}

const EXAMPLES: &str = "\
Examples:
  aplomb verify                        the built-in demo, against its own baseline
  aplomb verify my-craft               every requirement on every flight of a folder
  aplomb verify my-craft --accept      accept the figures as the baseline of the next verifications
  aplomb verify my-craft --seeds 100   slower, and surer
  aplomb verify my-craft --watch       again whenever a file is saved

Results: report.html for people, verify.json (its form: aplomb schema verify), junit.xml, summary.md.
Exit code: 0 held, 1 missed or a margin lost, 2 the input is wrong, 3 could not finish.";

const SEEDS: u32 = 10;

pub(super) fn run(arguments: &VerifyArguments) -> Result<u8, Failure> {
    if arguments.watch {
        let folder: Vec<PathBuf> = arguments.folder.iter().cloned().collect();
        return watch::again(&folder, || once(arguments));
    }
    once(arguments)
}

fn once(arguments: &VerifyArguments) -> Result<u8, Failure> {
    let folder = arguments.folder.as_deref().map_or_else(Folder::demo, Folder::load);
    let mut folder = folder.map_err(Failure::Input)?;
    let accepted = folder.baseline.as_ref().map(|baseline| baseline.seeds);
    let seeds = arguments.seeds.or(accepted).unwrap_or(SEEDS);
    if let Some(accepted) = accepted.filter(|&accepted| accepted != seeds) {
        if arguments.accept {
            folder.baseline = None;
        } else {
            return Err(Failure::Argument(format!(
                "the baseline was accepted under {accepted} seeds: leave --seeds out, or accept anew with it"
            )));
        }
    }
    let disk = |error: io::Error| arguments.out.failed(&error);
    arguments.out.check()?;
    let started = Instant::now();
    let bar = progress::flights(verify::suite::flights(&folder, seeds));
    let pool = arguments.threads.pool()?;
    let judgement = pool.install(|| verify::judge(&folder, seeds, &|| bar.inc(1)));
    let judgement = judgement.map_err(|error| Failure::Unfinished(error.to_string()))?;
    bar.finish_and_clear();
    // What is to be accepted is judged by its limits alone.
    let before = if arguments.accept { None } else { folder.baseline.as_ref() };
    let causes = baseline::causes(&judgement, before);
    say(&summary::to_text(&judgement, &causes))?;
    say(&format!(
        "\n{}: {}, {} seeds. {:.0} s flown in {:.2} s.\n",
        if causes.is_empty() { "Held" } else { "Not held" },
        summary::Counts::of(&judgement.items).words(),
        judgement.seeds,
        judgement.simulated_s,
        started.elapsed().as_secs_f64()
    ))?;
    let results = write(arguments, &folder, &judgement, &causes).map_err(disk)?;
    say(&format!("Report: {}\n", results.join("report.html").display()))?;
    conclude(arguments, &folder, &judgement, &causes)?;
    Ok(if causes.is_empty() { PASS } else { FAIL })
}

/// Writes the baseline if asked to, and says how to if there is none.
fn conclude(
    arguments: &VerifyArguments,
    folder: &Folder,
    judgement: &Judgement,
    causes: &[Cause],
) -> Result<(), Failure> {
    let Some(path) = &arguments.folder else { return Ok(()) };
    let file = path.join(folder::BASELINE);
    match (arguments.accept, causes.is_empty()) {
        (true, true) => {
            let disk = |error: io::Error| Failure::Unfinished(format!("{}: {error}", file.display()));
            Baseline::of(judgement).write(&file).map_err(disk)?;
            say(&format!("Accepted: {}\n", file.display()))
        }
        (true, false) => {
            let requirements = path.join(folder::REQUIREMENTS);
            say(&format!("Nothing accepted: mend it, or waive it in {}\n", requirements.display()))
        }
        (false, _) if folder.baseline.is_none() => {
            let shown = path.display();
            say(&format!("No baseline yet: `aplomb verify {shown} --accept` accepts these figures as one\n"))
        }
        (false, _) => Ok(()),
    }
}

fn write(
    arguments: &VerifyArguments,
    folder: &Folder,
    judgement: &Judgement,
    causes: &[Cause],
) -> io::Result<PathBuf> {
    let results = arguments.out.open()?;
    let target =
        arguments.folder.as_deref().map_or(String::new(), |path: &Path| format!(" {}", path.display()));
    let how = Repeat::new(
        format!("aplomb verify{target} --seeds {}", judgement.seeds),
        format!("{} from that of each flight's file on", judgement.seeds),
    );
    results.write("report.html", verify::page(folder, judgement, causes, &how).as_bytes())?;
    let lines = json::Verification::of(judgement, causes);
    results.write("verify.json", (serde_json::to_string_pretty(&lines)? + "\n").as_bytes())?;
    let xml = junit::to_xml(judgement, causes).map_err(io::Error::other)?;
    results.write("junit.xml", xml.as_bytes())?;
    results.write("summary.md", summary::to_markdown(judgement, causes).as_bytes())?;
    results.keep()
}
