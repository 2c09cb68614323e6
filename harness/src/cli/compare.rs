//! `aplomb compare`: compares two controllers or two craft, A and B.

use std::io;
use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::Args;

use super::arguments::{Out, Threads, quoted};
use super::{FAIL, Failure, PASS, print_text, progress};
use crate::input::{self, Folder};
use crate::report::Repeat;
use crate::{output, pages};
use aplomb_study::compare::{Comparison, Finding, compare};
use aplomb_study::disperse::{Campaign, dispersion};
use aplomb_study::requirements::{Probe, Size};
use aplomb_study::verify::Subject;

/// Arguments of `aplomb compare`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
#[command(group = clap::ArgGroup::new("sides").required(true))]
pub(super) struct CompareArguments {
    /// Two controller files on the same craft
    #[arg(long, value_names = ["A", "B"], num_args = 2, group = "sides")]
    controller: Vec<PathBuf>,
    /// Two craft files under the same controller
    #[arg(long, value_names = ["A", "B"], num_args = 2, group = "sides")]
    craft: Vec<PathBuf>,
    /// Folder with the other files: craft.toml, controller.toml and flights. Default: the demo
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Only this flight or probe; may be given several times
    #[arg(long = "flight", value_name = "NAME")]
    flights: Vec<String>,
    /// Number of seeds of each flight, the same for both
    #[arg(long, value_name = "COUNT", default_value_t = SEEDS, value_parser = clap::value_parser!(u64).range(2..=100_000))]
    seeds: u64,
    /// First seed
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    /// Draw another craft for each seed, the same for both, from the default dispersions
    #[arg(long)]
    dispersions: bool,
    #[command(flatten)]
    out: Out,
    #[command(flatten)]
    threads: Threads,
}

/// Default number of seeds: Student's t is within 5 % of the normal.
const SEEDS: u64 = 40;

const EXAMPLES: &str = "\
Examples:
  aplomb compare --controller a.toml b.toml             on the craft and flights of the demo
  aplomb compare --controller a.toml b.toml my-craft    on a folder of your own
  aplomb compare --craft light.toml heavy.toml my-craft --flight gust --seeds 100

Exit code: 0 B is worse in no figure, 1 B is worse in some figure, 2 the input is wrong, 3 could not finish.
An inconclusive figure is reported with the number of seeds it needs.";

pub(super) fn run(arguments: &CompareArguments) -> Result<u8, Failure> {
    let (a, b) = sides(arguments)?;
    let disk = |error: io::Error| arguments.out.failed(&error);
    arguments.out.check()?;
    let started = Instant::now();
    let bar = progress::flights(a.plans().len() as u64 * arguments.seeds);
    let durations_s = a.plans().iter().map(|plan| plan.duration_s);
    let pool = arguments.threads.pool_for(durations_s, a.controller())?;
    let comparison = pool.install(|| compare(&a, &b, arguments.seeds, &|| bar.inc(1)));
    let comparison = comparison.map_err(|error| Failure::Argument(error.to_string()))?;
    bar.finish_and_clear();
    print_text(&summary(&comparison));
    print_text(&format!(
        "\n{} seeds, paired, in {:.2} s.\n",
        arguments.seeds,
        started.elapsed().as_secs_f64()
    ));
    let folder = write(arguments, &a, &comparison).map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join("report.html").display()));
    let worse = comparison.metrics.iter().any(|line| line.finding == Finding::Worse);
    Ok(if worse { FAIL } else { PASS })
}

fn sides(arguments: &CompareArguments) -> Result<(Campaign, Campaign), Failure> {
    let folder = arguments.folder.as_deref().map_or_else(Folder::demo, Folder::load);
    let folder = folder.map_err(Failure::Input)?;
    let mut wrong = Vec::new();
    let mut side = |number: usize| {
        let mut subject = folder.subject.clone();
        if let Some(file) = arguments.controller.get(number) {
            input::load_controller(file)
                .map_or_else(|error| wrong.push(error), |one| subject.controller = one);
        }
        if let Some(file) = arguments.craft.get(number) {
            input::load_craft(file).map_or_else(|error| wrong.push(error), |one| subject.craft = one);
        }
        subject.size = Size::of(&subject.craft, &subject.controller);
        subject
    };
    let (a, b) = (side(0), side(1));
    if !wrong.is_empty() {
        return Err(Failure::Input(wrong));
    }
    let names = if arguments.flights.is_empty() { all_flights(&a, &b) } else { arguments.flights.clone() };
    let campaign = |subject: Subject| {
        let varies = if arguments.dispersions { dispersion::defaults() } else { Vec::new() };
        Campaign::new(subject, &names, varies, arguments.seed).map_err(Failure::Argument)
    };
    Ok((campaign(a)?, campaign(b)?))
}

/// The probes that apply to both, and the flights of the folder.
fn all_flights(a: &Subject, b: &Subject) -> Vec<String> {
    let applies = |subject: &Subject, probe: Probe| {
        probe.obstacle(&subject.craft.config, &subject.controller).is_none()
    };
    let probes = Probe::ALL.into_iter().filter(|probe| applies(a, *probe) && applies(b, *probe));
    let flights = a.plans.iter().map(|plan| plan.name.clone());
    probes.map(|probe| probe.name().to_owned()).chain(flights).collect()
}

fn summary(comparison: &Comparison) -> String {
    let mut text = String::new();
    let mut flight = "";
    for line in &comparison.metrics {
        if line.flight != flight {
            flight = &line.flight;
            text += &format!("{flight}\n");
        }
        text += &format!("  {}: {}\n", line.id, line.sentence);
    }
    let count = |finding: Finding| comparison.metrics.iter().filter(|line| line.finding == finding).count();
    text += &format!(
        "\nB is better in {} figures, worse in {}, no relevant difference in {}; {} inconclusive.\n",
        count(Finding::Better),
        count(Finding::Worse),
        count(Finding::Same) + count(Finding::NoRelevantDifference),
        count(Finding::Inconclusive)
    );
    text
}

fn write(arguments: &CompareArguments, flown: &Campaign, comparison: &Comparison) -> io::Result<PathBuf> {
    let (flag, files) = if arguments.craft.is_empty() {
        ("--controller", &arguments.controller)
    } else {
        ("--craft", &arguments.craft)
    };
    let name = |index: usize| files.get(index).map_or(String::new(), |file: &PathBuf| quoted(file));
    let (a, b) = (name(0), name(1));
    let folder =
        arguments.folder.as_deref().map_or(String::new(), |folder: &Path| format!(" {}", quoted(folder)));
    let flights: String = arguments.flights.iter().map(|flight| format!(" --flight {flight}")).collect();
    let dispersions = if arguments.dispersions { " --dispersions" } else { "" };
    let how = Repeat::new(
        format!(
            "aplomb compare {flag} {a} {b}{folder}{flights} --seeds {} --seed {}{dispersions}",
            arguments.seeds, arguments.seed
        ),
        format!("{} to {}", arguments.seed, arguments.seed.saturating_add(arguments.seeds - 1)),
    );
    let results = arguments.out.open()?;
    let title_of = |flight: &str| {
        let plan = flown.plans().iter().find(|plan| plan.name == flight);
        plan.map_or_else(|| pages::verify::title_of(flight), |plan| plan.title.clone())
    };
    let page = pages::compare::page(comparison, [&a, &b], &title_of, &how);
    results.write("report.html", page.as_bytes())?;
    results.write(pages::compare::CSV, &output::csv::of_items(&comparison.metrics)?)?;
    results.write("comparison.json", (serde_json::to_string_pretty(comparison)? + "\n").as_bytes())?;
    results.keep()
}
