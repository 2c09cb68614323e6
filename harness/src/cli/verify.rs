//! `aplomb verify`: verifies a folder and prints one line per cause of failure.

use std::io;
use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::Args;

use super::arguments::{Out, Threads, quoted};
use super::{FAIL, Failure, PASS, print_text, progress, watch};
use crate::input::{Folder, folder};
use crate::output::{self, junit, summary};
use crate::pages;
use crate::report::Repeat;
use aplomb_study::verify::{self, Baseline, Cause, Judgement, baseline, json};

/// Arguments of `aplomb verify`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct VerifyArguments {
    /// Folder with craft.toml, controller.toml and flights; optionally requirements.toml and baseline.json.
    /// Default: the demo
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Number of seeds of each flight; default: that of the baseline, else 10
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    seeds: Option<u32>,
    /// Accept the figures: write them to baseline.json of the folder
    #[arg(long, requires = "folder")]
    accept: bool,
    #[command(flatten)]
    out: Out,
    #[command(flatten)]
    threads: Threads,
    /// Repeat whenever a file of the folder is saved
    #[arg(long, requires = "folder", conflicts_with = "accept")]
    watch: bool,
}

const EXAMPLES: &str = "\
Examples:
  aplomb verify                        the built-in demo, against its own baseline
  aplomb verify my-craft               every requirement on every flight of a folder
  aplomb verify my-craft --accept      accept the figures as the baseline
  aplomb verify my-craft --seeds 100   more seeds: smaller statistical error
  aplomb verify my-craft --watch       repeat whenever a file is saved

Results: report.html, verify.csv, verify.json (schema: aplomb schema verify), junit.xml, summary.md.
Exit code: 0 pass, 1 fail, inconclusive or worse than the baseline, 2 the input is wrong, 3 could not finish.";

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
                "the baseline was accepted under {accepted} seeds: omit --seeds, or accept again with it"
            )));
        }
    }
    let disk = |error: io::Error| arguments.out.failed(&error);
    arguments.out.check()?;
    let started = Instant::now();
    let bar = progress::flights(verify::suite::flights(&folder.subject, seeds));
    let subject = &folder.subject;
    let durations_s = subject.plans.iter().map(|plan| plan.duration_s);
    let pool = arguments.threads.pool_for(durations_s, &subject.controller)?;
    let judgement = pool.install(|| verify::judge(&folder.subject, seeds, &|| bar.inc(1)));
    let judgement = judgement.map_err(|error| Failure::Argument(error.to_string()))?;
    bar.finish_and_clear();
    // New figures are judged by their limits alone.
    let before = if arguments.accept { None } else { folder.baseline.as_ref() };
    let causes = baseline::causes(&judgement, before);
    print_text(&summary::to_text(&judgement, &causes));
    print_text(&format!(
        "\n{}: {}, {} seeds. {:.0} s flown in {:.2} s.\n",
        if causes.is_empty() { "Pass" } else { "Fail" },
        summary::Counts::of(&judgement.items).words(),
        judgement.seeds,
        judgement.simulated_s,
        started.elapsed().as_secs_f64()
    ));
    let results = write(arguments, &folder, &judgement, &causes).map_err(disk)?;
    print_text(&format!("Report: {}\n", results.join("report.html").display()));
    conclude(arguments, &folder, &judgement, &causes)?;
    Ok(if causes.is_empty() { PASS } else { FAIL })
}

/// Writes the baseline with `--accept`; prints a hint where there is none.
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
            output::baseline::write(&Baseline::of(judgement), &file).map_err(disk)?;
            print_text(&format!("Accepted: {}\n", file.display()));
        }
        (true, false) => {
            let requirements = path.join(folder::REQUIREMENTS);
            print_text(&format!(
                "Nothing accepted: fix the causes, or waive them in {}\n",
                requirements.display()
            ));
        }
        (false, _) if folder.baseline.is_none() => {
            let shown = quoted(path);
            print_text(&format!(
                "No baseline yet: `aplomb verify {shown} --accept` accepts these figures as one\n"
            ));
        }
        (false, _) => {}
    }
    Ok(())
}

fn write(
    arguments: &VerifyArguments,
    folder: &Folder,
    judgement: &Judgement,
    causes: &[Cause],
) -> io::Result<PathBuf> {
    let results = arguments.out.open()?;
    let target =
        arguments.folder.as_deref().map_or(String::new(), |path: &Path| format!(" {}", quoted(path)));
    let how = Repeat::new(
        format!("aplomb verify{target} --seeds {}", judgement.seeds),
        format!("{} from the seed of each flight file on", judgement.seeds),
    );
    results.write("report.html", pages::verify::page(folder, judgement, causes, &how).as_bytes())?;
    let lines = json::Verification::of(judgement, causes);
    results.write("verify.json", (serde_json::to_string_pretty(&lines)? + "\n").as_bytes())?;
    let xml = junit::to_xml(judgement, causes).map_err(io::Error::other)?;
    results.write(pages::verify::CSV, &output::csv::of_items(&lines.items)?)?;
    results.write("junit.xml", xml.as_bytes())?;
    results.write("summary.md", summary::to_markdown(judgement, causes).as_bytes())?;
    results.keep()
}
