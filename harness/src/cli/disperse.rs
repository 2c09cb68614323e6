//! `aplomb disperse`: dispersion analysis of flights over random craft.

use std::collections::HashSet;
use std::io;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Mutex;
use std::time::Instant;

use clap::Args;
use rayon::prelude::*;

use super::arguments::{Out, Threads, quoted};
use super::{FAIL, Failure, PASS, print_error, print_text, progress, trace_csv};
use crate::input::Folder;
use crate::input::{self, InputError};
use crate::output::journal::{self, Found, Journal};
use crate::report::Repeat;
use aplomb_flight::limit::Outcome;
use aplomb_study::disperse::results::{self, Results};
use aplomb_study::disperse::{Campaign, Run, dispersion};

/// Arguments of `aplomb disperse`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct DisperseArguments {
    /// Folder with craft.toml, controller.toml and flights; optionally dispersions.toml. Default: the demo
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Only this flight; may be given several times
    #[arg(long = "flight", value_name = "NAME")]
    flights: Vec<String>,
    /// Number of runs of each flight, each with another craft
    #[arg(long, value_name = "COUNT", default_value_t = 200, value_parser = clap::value_parser!(u64).range(1..=10_000_000))]
    runs: u64,
    /// Seed of all draws
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    /// Required share of craft that pass, 0 to 1
    #[arg(long, value_name = "SHARE", default_value_t = 0.95, value_parser = share)]
    at_least: f64,
    /// Execute only this part of the runs, such as 3/16, into a journal to be merged
    #[arg(long, value_name = "PART/PARTS")]
    shard: Option<Shard>,
    /// Take finished runs from these journals; missing ones are executed
    #[arg(long, value_name = "JOURNAL", num_args = 1.., conflicts_with = "shard")]
    merge: Vec<PathBuf>,
    /// Journal of finished runs, from which the same command continues. Default: one in the results folder
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Repeat this run of the flight bit for bit and write its trace
    #[arg(long, value_name = "RUN", conflicts_with_all = ["shard", "merge"])]
    replay: Option<u64>,
    #[command(flatten)]
    out: Out,
    #[command(flatten)]
    threads: Threads,
}

const EXAMPLES: &str = "\
Examples:
  aplomb disperse --flight hold-in-wind --runs 1000    1000 craft in the wind of the demo
  aplomb disperse my-craft                             200 craft on each flight of a folder
  aplomb disperse my-craft --shard 3/16 --journal 3    a sixteenth of the runs, on another machine
  aplomb disperse my-craft --merge 1 2 3 ...           the combined result, the same as of one machine
  aplomb disperse my-craft --flight land --replay 17   repeat one run, with its trace

After an interrupt the same command continues with the missing runs.
Exit code: 0 pass (the whole 95 % interval is above the required share), 1 fail or inconclusive, 2 the input is wrong, 3 could not finish.";

/// Name of the dispersions file in a folder; it may be absent.
const DISPERSIONS: &str = "dispersions.toml";
/// Its name before it was renamed: a folder with it is refused.
const OLD_DISPERSIONS: &str = "spreads.toml";

/// A part of the runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Shard {
    part: u64,
    parts: u64,
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let numbers =
            text.split_once('/').and_then(|(part, parts)| Some((part.parse().ok()?, parts.parse().ok()?)));
        match numbers {
            Some((part, parts)) if 1 <= part && part <= parts => Ok(Self { part, parts }),
            _ => Err("expected PART/PARTS, such as 3/16".to_owned()),
        }
    }
}

fn share(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|share| (0.0..1.0).contains(share))
        .ok_or("expected a share from 0 to below 1".to_owned())
}

pub(super) fn run(arguments: &DisperseArguments) -> Result<u8, Failure> {
    let campaign = campaign(arguments)?;
    if let Some(number) = arguments.replay {
        return replay(arguments, &campaign, number);
    }
    let fingerprint = campaign.fingerprint();
    let disk = |path: &Path, error: io::Error| Failure::Unfinished(format!("{}: {error}", path.display()));
    let path = arguments.journal.clone().unwrap_or_else(|| default_journal(arguments, &fingerprint));
    if let Some(parent) = path.parent() {
        std::fs::create_dir_all(parent).map_err(|error| disk(parent, error))?;
    }
    let (journal, found) = Journal::open(&path, &fingerprint).map_err(|error| disk(&path, error))?;
    report_damage(&path, &found);
    let mut finished = found.runs;
    for part in &arguments.merge {
        let found = journal::read(part, &fingerprint)
            .map_err(|error| Failure::Argument(format!("{}: {error}", part.display())))?;
        report_damage(part, &found);
        finished.extend(found.runs);
    }
    let started = Instant::now();
    let flown = fly(arguments, &campaign, &journal, &mut finished)?;
    if let Some(Shard { part, parts }) = arguments.shard {
        print_text(&format!("Part {part} of {parts} is in {}. Merge it with the others.\n", path.display()));
        return Ok(PASS);
    }
    let results = Results::of(&campaign, arguments.runs, &finished);
    print_text(&summary(&results));
    print_text(&format!(
        "\n{flown} runs flown in {:.2} s, the others taken from journals.\n",
        started.elapsed().as_secs_f64()
    ));
    let folder = write(arguments, &campaign, &results, &finished)
        .map_err(|error| disk(arguments.out.path(), error))?;
    print_text(&format!("Report: {}\n", folder.join("report.html").display()));
    let pass = results.flights.iter().all(|flight| flight.probability_low >= arguments.at_least);
    Ok(if pass { PASS } else { FAIL })
}

fn report_damage(journal: &Path, found: &Found) {
    if found.damaged > 0 {
        print_error(&format!(
            "warning: {}: {} damaged lines; runs that are missing are flown again",
            journal.display(),
            found.damaged
        ));
    }
}

fn campaign(arguments: &DisperseArguments) -> Result<Campaign, Failure> {
    let mut wrong: Vec<InputError> = Vec::new();
    let folder = arguments.folder.as_deref().map_or_else(Folder::demo, Folder::load);
    let folder = folder.map_err(|errors| wrong.extend(errors)).ok();
    if let Some(old) =
        arguments.folder.as_ref().map(|folder| folder.join(OLD_DISPERSIONS)).filter(|old| old.exists())
    {
        return Err(Failure::Argument(format!("{}: the file is now named `{DISPERSIONS}`", old.display())));
    }
    let file = arguments.folder.as_ref().map(|folder| folder.join(DISPERSIONS)).filter(|file| file.exists());
    let varies = file.map_or(Ok(dispersion::defaults()), |file| {
        input::dispersions(&file.display().to_string(), &input::text_of(&file)?)
    });
    let varies = varies.map_err(|error| wrong.push(error)).ok();
    let (Some(folder), Some(varies)) = (folder, varies) else { return Err(Failure::Input(wrong)) };
    Campaign::new(folder.subject, &arguments.flights, varies, arguments.seed).map_err(Failure::Argument)
}

fn default_journal(arguments: &DisperseArguments, fingerprint: &str) -> PathBuf {
    let part = arguments.shard.map_or(String::new(), |shard| format!("-{}-of-{}", shard.part, shard.parts));
    arguments.out.path().join(format!("dispersion-{fingerprint}{part}.journal"))
}

/// Executes the missing runs and returns their number. Each finished run is written before the next one
/// starts.
fn fly(
    arguments: &DisperseArguments,
    campaign: &Campaign,
    journal: &Journal,
    finished: &mut Vec<Run>,
) -> Result<usize, Failure> {
    let there: HashSet<(usize, u64)> = finished.iter().map(|run| (run.flight, run.number)).collect();
    let flights = campaign.plans().len() as u64;
    let own = |job: &u64| arguments.shard.is_none_or(|shard| job % shard.parts == shard.part - 1);
    let jobs: Vec<(usize, u64)> = (0..arguments.runs * flights)
        .filter(own)
        .map(|job| ((job % flights) as usize, job / flights))
        .filter(|job| !there.contains(job))
        .collect();
    super::interrupt::set_message(format!(
        "interrupted: finished runs are in {}; the same command continues with the others",
        journal.path().display()
    ));
    let bar = progress::flights(jobs.len() as u64);
    let new = Mutex::new(Vec::with_capacity(jobs.len()));
    let one = |&(flight, number): &(usize, u64)| {
        let run = campaign.fly(flight, number).map_err(|error| {
            let name = &campaign.plans()[flight].name;
            Failure::Argument(format!(
                "invalid craft drawn from the dispersions: {name}, run {number}: {error}"
            ))
        })?;
        let disk = |error: io::Error| Failure::Unfinished(format!("{}: {error}", journal.path().display()));
        journal.add(&run).map_err(disk)?;
        new.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push(run);
        bar.inc(1);
        Ok(())
    };
    let durations_s = campaign.plans().iter().map(|plan| plan.duration_s);
    let pool = arguments.threads.pool_for(durations_s, campaign.controller())?;
    pool.install(|| jobs.par_iter().try_for_each(one))?;
    bar.finish_and_clear();
    let new = new.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    let count = new.len();
    finished.extend(new);
    Ok(count)
}

fn summary(results: &Results) -> String {
    let mut text = String::new();
    for flight in &results.flights {
        text += &format!("{}\n", flight.words(results.runs));
        for metric in flight.metrics.iter().filter(|metric| metric.fail > 0) {
            text += &format!("  fail in {} runs: {}\n", metric.fail, metric.id);
        }
        for line in flight.ranking.iter().filter(|line| line.p_value < 0.05).take(3) {
            text += &format!("  associated with {}: {}\n", line.what, line.words());
        }
        if let Some(run) = flight.failed.first() {
            text += &format!("  repeat: --flight {} --replay {run}\n", flight.flight);
        }
    }
    text
}

fn how(arguments: &DisperseArguments, more: &str) -> Repeat {
    let folder = arguments.folder.as_ref().map_or(String::new(), |folder| format!(" {}", quoted(folder)));
    let flights: String = arguments.flights.iter().map(|flight| format!(" --flight {flight}")).collect();
    Repeat::new(
        format!("aplomb disperse{folder}{flights} --runs {} --seed {}{more}", arguments.runs, arguments.seed),
        format!("{} on, one per run", arguments.seed),
    )
}

fn write(
    arguments: &DisperseArguments,
    campaign: &Campaign,
    results: &Results,
    finished: &[Run],
) -> io::Result<PathBuf> {
    let folder = arguments.out.open()?;
    let page = crate::pages::disperse::page(campaign, results, arguments.at_least, &how(arguments, ""));
    folder.write("report.html", page.as_bytes())?;
    folder.write("dispersion.json", (serde_json::to_string_pretty(results)? + "\n").as_bytes())?;
    for (flight, plan) in campaign.plans().iter().enumerate() {
        let csv = results::to_csv(campaign, flight, arguments.runs, finished);
        folder.write(&format!("{}.csv", plan.name), csv.as_bytes())?;
    }
    folder.keep()
}

/// Repeats one run and writes its trace.
fn replay(arguments: &DisperseArguments, campaign: &Campaign, number: u64) -> Result<u8, Failure> {
    let [plan] = campaign.plans() else {
        return Err(Failure::Argument(
            "--replay repeats a run of one flight: select it with --flight".to_owned(),
        ));
    };
    let (flown, run) = campaign.replay(0, number).map_err(|error| Failure::Argument(error.to_string()))?;
    let metrics = campaign.metrics(0);
    let mut text = format!("{}, run {number}, motor commands {:016x}\n", plan.name, run.digest);
    for (vary, draw) in campaign.varies.iter().zip(dispersion::draws(&campaign.varies, campaign.seed, number))
    {
        text += &format!("  {:28} {draw:+.3} {}\n", vary.quantity.key(), vary.quantity.unit());
    }
    for (metric, figure) in metrics.iter().zip(&run.figures) {
        let Some(figure) = figure else { continue };
        let word = match metric.limit.judge(*figure) {
            Outcome::Pass => "pass",
            Outcome::Fail => "fail",
            Outcome::Inconclusive => "inconclusive",
        };
        text +=
            &format!("  {word}: {}: {} {}\n", metric.id, aplomb_study::number::figure(*figure), metric.unit);
    }
    print_text(&text);
    let disk = |error: io::Error| arguments.out.failed(&error);
    let folder = arguments.out.open().map_err(disk)?;
    folder.write("columns.md", trace_csv::columns_explained().as_bytes()).map_err(disk)?;
    trace_csv::save(&folder, &plan.name, &flown.trace).map_err(disk)?;
    print_text(&format!("Trace: {}\n", folder.keep().map_err(disk)?.display()));
    Ok(if run.passes(&metrics) { PASS } else { FAIL })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shard_has_part_and_parts() {
        assert_eq!("3/16".parse(), Ok(Shard { part: 3, parts: 16 }));
        for wrong in ["0/4", "5/4", "3", "a/b", "/"] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }
}
