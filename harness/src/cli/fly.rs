//! `aplomb fly`: runs flights, judges their checks, prints the table and writes the results.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::Args;
use rayon::prelude::*;

use super::arguments::{Files, Out, Threads, quoted};
use super::page::{Job, Judged};
use super::table::{self, FlightVerdicts};
use super::{FAIL, Failure, PASS, may_colour, page, print_text, progress, trace_csv, watch};
use crate::input::folder::FLIGHTS;
use crate::input::{self, InputError};
use crate::report::Repeat;
use aplomb_flight::FlightPlan;
use aplomb_flight::camera;
use aplomb_flight::fly::{Flown, fly};
use aplomb_flight::limit::Outcome;
use aplomb_flight::trace::Trace;
use aplomb_study::judge::{Evidence, Pool, evidence};

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
    arguments.out.check()?;
    print_text(&introduction(arguments, &job));
    let started = Instant::now();
    let pool = arguments.threads.pool()?;
    let (judged, simulated_s) = pool.install(|| fly_all(&job, arguments))?;
    let elapsed = started.elapsed();
    print_text(&conclusion(&job, &judged, simulated_s, elapsed));
    let folder = pool.install(|| write(&job, &judged, arguments)).map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join(REPORT).display()));
    let pass =
        judged.iter().flat_map(|flight| &flight.verdicts).all(|verdict| verdict.outcome == Outcome::Pass);
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

/// Flies every flight under every seed; only the first seed's trace is kept.
fn fly_all(job: &Job, arguments: &FlyArguments) -> Result<(Vec<Judged>, f64), Failure> {
    let progress = progress::flights(job.plans.len() as u64 * u64::from(arguments.seeds));
    let spin = job.craft.config.arms.map(|arm| arm.spin);
    let one = |plan: &FlightPlan, number: u32| -> Result<(Vec<Evidence>, Option<Trace>, f64), Failure> {
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
    let flights = job.plans.par_iter().map(|plan| {
        let mut pools: Vec<Pool> = plan.checks.iter().map(Pool::of).collect();
        let (mut trace, mut simulated_s) = (Trace::default(), 0.0);
        for first in (0..arguments.seeds).step_by(AT_ONCE as usize) {
            let numbers = first..arguments.seeds.min(first + AT_ONCE);
            let flown: Vec<_> =
                numbers.into_par_iter().map(|number| one(plan, number)).collect::<Result<_, Failure>>()?;
            for (evidence, first_trace, seconds) in flown {
                pools.iter_mut().zip(&evidence).for_each(|(pool, one)| pool.take(one));
                trace = first_trace.unwrap_or(trace);
                simulated_s += seconds;
            }
        }
        let verdicts = pools.iter().zip(&plan.checks);
        let verdicts = verdicts.map(|(pool, check)| pool.verdict(check)).collect();
        Ok((Judged { verdicts, trace }, simulated_s))
    });
    let flights: Vec<(Judged, f64)> = flights.collect::<Result<_, Failure>>()?;
    progress.finish_and_clear();
    let simulated_s = flights.iter().map(|(_, seconds)| seconds).sum();
    Ok((flights.into_iter().map(|(judged, _)| judged).collect(), simulated_s))
}

fn conclusion(job: &Job, judged: &[Judged], simulated_s: f64, elapsed: Duration) -> String {
    let rows = job.plans.iter().zip(judged);
    let rows: Vec<_> = rows
        .map(|(plan, flight)| FlightVerdicts { flight: &plan.name, verdicts: &flight.verdicts })
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

fn write(job: &Job, judged: &[Judged], arguments: &FlyArguments) -> std::io::Result<PathBuf> {
    let folder = arguments.out.open()?;
    let mut html = Vec::new();
    let repeat = Repeat::new(arguments.command_line(), seeds_words(arguments));
    crate::report::write(&page::compose(job, judged, arguments.seeds as usize, repeat), &mut html)?;
    folder.write(REPORT, &html)?;
    folder.write("columns.md", trace_csv::columns_explained().as_bytes())?;
    job.plans.par_iter().zip(judged).try_for_each(|(plan, flight)| {
        folder.write(&format!("{}.csv", plan.name), trace_csv::to_csv(&flight.trace).as_bytes())
    })?;
    folder.keep()
}
