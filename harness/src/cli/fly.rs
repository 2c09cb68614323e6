//! `aplomb fly`: runs flights, judges their checks, prints the table and writes the results.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::Args;
use indicatif::ProgressBar;
use rayon::prelude::*;

use super::arguments::{Files, Out, Threads, quoted};
use super::page::{Job, Judged};
use super::results::ResultsFolder;
use super::table::{self, FlightVerdicts};
use super::{
    FAIL, Failure, PASS, interrupt, may_colour, memory, page, print_text, progress, trace_csv, watch,
};
use crate::input::folder::FLIGHTS;
use crate::input::{self, InputError};
use crate::report::Repeat;
use aplomb_flight::camera;
use aplomb_flight::fly::{Flown, fly};
use aplomb_flight::limit::Outcome;
use aplomb_flight::trace::Trace;
use aplomb_study::judge::{Evidence, Pool, evidence};
use aplomb_study::verdict::Verdict;

/// Arguments of `aplomb fly`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct FlyArguments {
    /// Flight files, folders of them, or a folder with craft.toml, controller.toml and flights, whose flights
    /// are all flown; default: the demo
    #[arg(value_name = "FLIGHT")]
    flights: Vec<PathBuf>,
    #[command(flatten)]
    files: Files,
    /// First seed, instead of each flight's own
    #[arg(long, value_name = "SEED")]
    seed: Option<u64>,
    /// Number of seeds of each flight
    #[arg(long, value_name = "COUNT", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub(super) seeds: u32,
    #[command(flatten)]
    out: Out,
    #[command(flatten)]
    threads: Threads,
    /// Repeat whenever one of the files is saved
    #[arg(long)]
    watch: bool,
}

const EXAMPLES: &str = "\
Examples:
  aplomb fly                                 the flights of the built-in demo
  aplomb fly --seeds 100                     under 100 seeds, figures pooled
  aplomb fly my-craft                        the flights of a folder, on its craft, by its controller
  aplomb fly --craft craft.toml hover.toml   a flight of your own on a craft of your own
  aplomb fly --watch hover.toml              repeat whenever the file is saved";

impl FlyArguments {
    /// The built-in demo.
    pub(super) fn demo() -> Self {
        Self {
            flights: Vec::new(),
            files: Files::default(),
            seed: None,
            seeds: 1,
            out: Out::default(),
            threads: Threads::default(),
            watch: false,
        }
    }

    /// The command line of this run.
    pub(super) fn command_line(&self) -> String {
        let mut words = vec!["aplomb fly".to_owned()];
        words.extend(self.files.words());
        words.extend(self.seed.map(|seed| format!("--seed {seed}")));
        words.extend((self.seeds > 1).then(|| format!("--seeds {}", self.seeds)));
        words.extend(self.flights.iter().map(|flight| quoted(flight)));
        words.join(" ")
    }

    /// Craft and controller: those given, or those of the folder of the flights.
    fn files(&self) -> Files {
        self.files.or_in(self.flights.iter().map(PathBuf::as_path).find(|path| Files::are_in(path)))
    }

    /// The paths of flights.
    fn plans(&self) -> Vec<PathBuf> {
        let path = |path: &PathBuf| if Files::are_in(path) { path.join(FLIGHTS) } else { path.clone() };
        self.flights.iter().map(path).collect()
    }
}

pub(super) fn run(arguments: &FlyArguments) -> Result<u8, Failure> {
    if arguments.watch {
        let files = arguments.flights.iter().chain(&arguments.files.craft).chain(&arguments.files.controller);
        return watch::again(&files.cloned().collect::<Vec<_>>(), || once(arguments));
    }
    once(arguments)
}

fn once(arguments: &FlyArguments) -> Result<u8, Failure> {
    let job = read(arguments).map_err(Failure::Input)?;
    let disk = |error: std::io::Error| arguments.out.failed(&error);
    let folder = arguments.out.open().map_err(disk)?;
    print_text(&introduction(arguments, &job));
    interrupt::finish_what_flies();
    let started = Instant::now();
    let pool = arguments.threads.pool_for(job.plans.iter().map(|plan| plan.duration_s), &job.controller)?;
    let (judged, simulated_s) = pool.install(|| fly_all(&job, arguments, &folder))?;
    let elapsed = started.elapsed();
    let seeds = judged.iter().map(|flight| flight.seeds).sum::<u32>();
    let total = arguments.seeds * job.plans.len() as u32;
    print_text(&conclusion(&judged, simulated_s, elapsed));
    let pass =
        judged.iter().flat_map(|flight| &flight.verdicts).all(|verdict| verdict.outcome == Outcome::Pass);
    let folder = write(&job, judged, arguments, folder).map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join(REPORT).display()));
    if seeds < total {
        return Err(Failure::Unfinished(format!(
            "interrupted: the results are of the first {seeds} of {total} flights"
        )));
    }
    Ok(if pass { PASS } else { FAIL })
}

/// Reads all files and collects all their errors.
fn read(arguments: &FlyArguments) -> Result<Job, Vec<InputError>> {
    let mut wrong = Vec::new();
    let files = arguments.files();
    let craft = files.read_craft().map_err(|error| wrong.push(error)).ok();
    let controller = files.read_controller().map_err(|error| wrong.push(error)).ok();
    let plans = match arguments.plans().as_slice() {
        [] => input::demo_flights(),
        paths => input::load_flights(paths),
    };
    let plans = plans.map_err(|errors| wrong.extend(errors)).ok();
    match (craft, controller, plans) {
        (Some(craft), Some(controller), Some(plans)) => Ok(Job { craft, controller, plans }),
        _ => Err(wrong),
    }
}

/// Header of the output: craft, controller, flights and seeds.
fn introduction(arguments: &FlyArguments, job: &Job) -> String {
    let files = arguments.files();
    let named = |given: Option<&Path>| given.map_or("built in".to_owned(), |path| path.display().to_string());
    let flights =
        if arguments.flights.is_empty() { "built in".to_owned() } else { job.plans.len().to_string() };
    format!(
        "Craft: {} ({})\nController: {}\nFlights: {flights}, {}\n\n",
        job.craft.words(),
        named(files.craft.as_deref()),
        named(files.controller.as_deref()),
        seeds_words(arguments),
    )
}

/// Description of the seeds.
pub(super) fn seeds_words(arguments: &FlyArguments) -> String {
    match (arguments.seed, arguments.seeds) {
        (None, 1) => "seed of each flight file".to_owned(),
        (None, count) => format!("{count} seeds from that of each flight file on"),
        (Some(first), 1) => format!("seed {first}"),
        (Some(first), count) => format!("seeds {first} to {}", first.saturating_add(u64::from(count) - 1)),
    }
}

/// Number of seeds in parallel. Their evidence is accumulated in the order of the seeds, so that memory does
/// not grow with them.
const AT_ONCE: u32 = 32;

/// Flies every flight under every seed, draws it and writes the first seed's trace. Flights whose traces fit
/// into memory together are flown in parallel. After an interrupt no further flight starts.
fn fly_all(
    job: &Job,
    arguments: &FlyArguments,
    folder: &ResultsFolder,
) -> Result<(Vec<Judged>, f64), Failure> {
    let progress = progress::flights(job.plans.len() as u64 * u64::from(arguments.seeds));
    let mut judged = Vec::new();
    let mut simulated_s = 0.0;
    for group in memory::groups(job.plans.iter().map(|plan| plan.duration_s), &job.controller) {
        let flown = group.into_par_iter().map(|index| {
            let flown = fly_seeds(job, index, arguments, &progress)?;
            flown.map(|flown| conclude(job, index, flown, arguments, folder)).transpose()
        });
        for (flight, seconds) in flown.collect::<Result<Vec<_>, Failure>>()?.into_iter().flatten() {
            judged.push(flight);
            simulated_s += seconds;
        }
    }
    progress.finish_and_clear();
    Ok((judged, simulated_s))
}

/// A flight under its seeds.
struct FlownSeeds {
    pools: Vec<Pool>,
    /// Trace under the first seed.
    trace: Trace,
    simulated_s: f64,
    seeds: u32,
}

/// Flies one flight under its seeds; `None` if it was interrupted before the first one.
fn fly_seeds(
    job: &Job,
    index: usize,
    arguments: &FlyArguments,
    progress: &ProgressBar,
) -> Result<Option<FlownSeeds>, Failure> {
    let plan = &job.plans[index];
    let spin = job.craft.config.arms.map(|arm| arm.spin);
    let one = |number: u32| -> Result<(Vec<Evidence>, Option<Trace>, f64), Failure> {
        let seed = arguments.seed.unwrap_or(plan.seed).wrapping_add(u64::from(number));
        // The first seed needs the whole trace for the report.
        let craft = match number {
            0 => job.craft.config,
            _ => camera::only_if_judged(&job.craft.config, plan.signals()),
        };
        let flown = fly(&craft, &job.controller, plan, seed);
        let Flown { trace, simulated_s, .. } =
            flown.map_err(|error| Failure::Argument(format!("{}: {error}", plan.name)))?;
        let evidence = plan.checks.iter().map(|check| evidence(check, &trace, &spin)).collect();
        progress.inc(1);
        Ok((evidence, (number == 0).then_some(trace), simulated_s))
    };
    let pools = plan.checks.iter().map(Pool::of).collect();
    let mut flown = FlownSeeds { pools, trace: Trace::default(), simulated_s: 0.0, seeds: 0 };
    while flown.seeds < arguments.seeds && !interrupt::is_requested() {
        let numbers = flown.seeds..arguments.seeds.min(flown.seeds + AT_ONCE);
        let found: Vec<_> = numbers.into_par_iter().map(one).collect::<Result<_, Failure>>()?;
        for (evidence, first_trace, seconds) in found {
            flown.pools.iter_mut().zip(&evidence).for_each(|(pool, one)| pool.take(one));
            flown.trace = first_trace.unwrap_or(flown.trace);
            flown.simulated_s += seconds;
            flown.seeds += 1;
        }
    }
    Ok((flown.seeds > 0).then_some(flown))
}

/// Judges and draws a flight, and writes its trace.
fn conclude(
    job: &Job,
    index: usize,
    flown: FlownSeeds,
    arguments: &FlyArguments,
    folder: &ResultsFolder,
) -> Result<(Judged, f64), Failure> {
    let plan = &job.plans[index];
    let verdicts = flown.pools.iter().zip(&plan.checks);
    let verdicts: Vec<Verdict> = verdicts.map(|(pool, check)| pool.verdict(check)).collect();
    let page = page::draw(job, index, &verdicts, &flown.trace, flown.seeds);
    trace_csv::save(folder, &plan.name, &flown.trace).map_err(|error| arguments.out.failed(&error))?;
    let judged = Judged { name: plan.name.clone(), verdicts, page, seeds: flown.seeds };
    Ok((judged, flown.simulated_s))
}

fn conclusion(judged: &[Judged], simulated_s: f64, elapsed: Duration) -> String {
    let rows: Vec<_> = judged
        .iter()
        .map(|flight| FlightVerdicts { flight: &flight.name, verdicts: &flight.verdicts })
        .collect();
    let count = |outcome| {
        judged.iter().flat_map(|flight| &flight.verdicts).filter(|verdict| verdict.outcome == outcome).count()
    };
    format!(
        "{}\n{} pass, {} fail, {} inconclusive. {simulated_s:.0} s flown in {:.2} s.\n",
        table::render(&rows, may_colour(&std::io::stdout())),
        count(Outcome::Pass),
        count(Outcome::Fail),
        count(Outcome::Inconclusive),
        elapsed.as_secs_f64(),
    )
}

const REPORT: &str = "report.html";

fn write(
    job: &Job,
    judged: Vec<Judged>,
    arguments: &FlyArguments,
    folder: ResultsFolder,
) -> std::io::Result<PathBuf> {
    let mut html = Vec::new();
    let repeat = Repeat::new(arguments.command_line(), seeds_words(arguments));
    let flights = judged.into_iter().map(|flight| flight.page).collect();
    crate::report::write(page::compose(job, flights, repeat), &mut html)?;
    folder.write(REPORT, &html)?;
    folder.write("columns.md", trace_csv::columns_explained().as_bytes())?;
    folder.keep()
}
