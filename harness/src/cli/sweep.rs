//! `aplomb sweep`: margins and figures over ranges of any values of the files.

use std::path::PathBuf;

use clap::Args;
use toml::Table;

use super::arguments::{Files as FileArguments, Out, Threads, quoted};
use super::{FAIL, Failure, PASS, print_text, progress};
use crate::input::axis::{self, Axis, Files, Which};
use crate::input::{self, demo};
use crate::output::{parquet, sweep_table};
use crate::report::{Repeat, SweepReport, write_sweep};
use aplomb_flight::FlightPlan;
use aplomb_study::sweep::{self, SpotCheck, Tried};

/// Arguments of `aplomb sweep`.
#[derive(Debug, Args)]
#[command(
    after_help = EXAMPLES,
    mut_arg("craft", |arg| arg.help("Craft file: the truth that is simulated; default: the demo's")),
    mut_arg("controller", |arg| arg.help("Controller file: the controller's model and settings; default: the demo's"))
)]
pub(super) struct SweepArguments {
    /// Axis: craft.PATH=LOW..HIGH or controller.PATH=LOW..HIGH, with the suffix xCOUNT for other than 20
    /// values; PATH is the path of the key in the file, as in
    /// controller.override.rate_roll.crossover_rad_s=20..50x30
    #[arg(long = "vary", value_name = "AXIS", required = true)]
    axes: Vec<Axis>,
    /// Draw this many points at random instead of a grid
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    random: Option<u32>,
    /// Flight file for each point; default: the demo's roll step
    #[arg(value_name = "FLIGHT")]
    flight: Option<PathBuf>,
    /// Linear margins only, without flights
    #[arg(long, conflicts_with = "flight")]
    margins_only: bool,
    /// Number of points that are also measured by injection
    #[arg(long, value_name = "COUNT", default_value_t = 20)]
    spot_checks: usize,
    #[command(flatten)]
    files: FileArguments,
    /// Seed of the random points
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    out: Out,
    #[command(flatten)]
    threads: Threads,
}

const EXAMPLES: &str = "\
Examples:
  aplomb sweep --vary controller.override.rate_roll.crossover_rad_s=15..80
  aplomb sweep --vary craft.mass_kg=1.0..1.6x10 --vary controller.override.rate_roll.crossover_rad_s=20..50x10";

/// Largest number of points.
const MOST_POINTS: usize = 1_000_000;

pub(super) fn run(arguments: &SweepArguments) -> Result<u8, Failure> {
    let (files, plan) = read(arguments)?;
    let axes = &arguments.axes;
    let size: f64 = axes.iter().map(|axis| axis.count as f64).product();
    if arguments.random.is_none() && size > MOST_POINTS as f64 {
        return Err(Failure::Argument(format!(
            "a grid of {size} points is too large: fewer values, or --random"
        )));
    }
    // An unknown path is reported before the run, with the nearest valid one.
    let middle: Vec<f64> = axes.iter().map(|axis| axis.at(0.5)).collect();
    for (axis, &value) in axes.iter().zip(&middle) {
        let file = match axis.file {
            Which::Craft => &files.craft,
            Which::Controller => &files.controller,
        };
        if axis::value_at(file, &axis.path).is_none() {
            files
                .with(std::slice::from_ref(axis), &[value])
                .map_err(|reason| Failure::Argument(format!("{}: {reason}", axis.name())))?;
        }
    }
    let disk = |error: std::io::Error| arguments.out.failed(&error);
    arguments.out.check()?;
    let pool = arguments.threads.pool()?;
    let points = match arguments.random {
        Some(count) => axis::random(axes, count as usize, arguments.seed),
        None => axis::grid(axes),
    };
    let started = std::time::Instant::now();
    let bar = progress::of(points.len() as u64, "points");
    let build = |values: &[f64]| files.with(axes, values);
    let (tried, checks) = pool.install(|| {
        let tried = sweep::sweep(&build, &points, plan.as_ref(), || bar.inc(1));
        let checks = sweep::spot_check(&build, &tried, arguments.spot_checks);
        (tried, checks)
    });
    bar.finish_and_clear();
    let findings = findings(&tried, &checks);
    print_text(&format!("{}\n{:.2} s.\n", findings.join("\n"), started.elapsed().as_secs_f64()));
    let report = SweepReport {
        title: "Sweep".to_owned(),
        subtitle: axes
            .iter()
            .map(|axis| format!("{} {} to {}", axis.name(), axis.low, axis.high))
            .collect::<Vec<_>>()
            .join(", "),
        findings,
        axes,
        tried: &tried,
        is_grid: arguments.random.is_none(),
        present: present_values(&files, axes),
        repeat: Repeat::new(command_line(arguments), arguments.seed.to_string()),
    };
    let mut html = Vec::new();
    write_sweep(&report, &mut html).map_err(disk)?;
    let folder = arguments.out.open().map_err(disk)?;
    folder.write("report.html", &html).map_err(disk)?;
    let columns = sweep_table::columns(axes, &tried, plan.as_ref());
    let csv = sweep_table::csv(&columns, &tried).map_err(disk)?;
    folder.write("sweep.csv", &csv).map_err(disk)?;
    let parquet = parquet::bytes(&columns).map_err(|error| Failure::Unfinished(error.to_string()))?;
    folder.write("sweep.parquet", &parquet).map_err(disk)?;
    let folder = folder.keep().map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join("report.html").display()));
    Ok(if tried.iter().any(Tried::is_feasible) { PASS } else { FAIL })
}

fn read(arguments: &SweepArguments) -> Result<(Files, Option<FlightPlan>), Failure> {
    let table = |given: &Option<PathBuf>, built_in: demo::File| -> Result<Table, Failure> {
        let text = match given {
            Some(path) => input::text_of(path).map_err(|error| Failure::Input(vec![error]))?,
            None => built_in.text.to_owned(),
        };
        text.parse().map_err(|error: toml::de::Error| Failure::Argument(error.to_string()))
    };
    // The files are read unchanged first, so that an error is reported with its location.
    let mut wrong = Vec::new();
    if let Some(path) = &arguments.files.craft {
        wrong.extend(input::load_craft(path).err());
    }
    if let Some(path) = &arguments.files.controller {
        wrong.extend(input::load_controller(path).err());
    }
    let plan = match &arguments.flight {
        _ if arguments.margins_only => Ok(None),
        Some(path) => input::load_flight(path).map(Some),
        None => Ok(input::demo_flights()
            .ok()
            .and_then(|all| all.into_iter().find(|plan| plan.name == "roll-step"))),
    };
    let plan = plan.map_err(|error| wrong.push(error)).ok().flatten();
    if !wrong.is_empty() {
        return Err(Failure::Input(wrong));
    }
    let files = Files {
        craft: table(&arguments.files.craft, demo::CRAFT)?,
        controller: table(&arguments.files.controller, demo::CONTROLLER)?,
    };
    Ok((files, plan))
}

fn present_values(files: &Files, axes: &[Axis]) -> Vec<Option<f64>> {
    let value = |axis: &Axis| match axis.file {
        Which::Craft => axis::value_at(&files.craft, &axis.path),
        Which::Controller => axis::value_at(&files.controller, &axis.path).or_else(|| {
            let (craft, controller) = files.with(&[], &[]).ok()?;
            drop(craft);
            input::in_force(&controller, axis.path.strip_prefix("override.")?)
        }),
    };
    axes.iter().map(value).collect()
}

fn findings(tried: &[Tried], checks: &[SpotCheck]) -> Vec<String> {
    let count = |is: fn(&Tried) -> bool| tried.iter().filter(|tried| is(tried)).count();
    let mut all = vec![format!(
        "{} points: {} feasible, {} stable, {} refused.",
        tried.len(),
        count(Tried::is_feasible),
        count(|tried| tried.loops.first().is_some_and(|first| first.stable)),
        count(|tried| tried.refused.is_some())
    )];
    let valid = checks
        .iter()
        .filter(|check| check.upper_gain_margin_db.is_finite() && check.phase_margin_deg.is_finite());
    let (mut db, mut deg, mut measured) = (0.0_f64, 0.0_f64, 0);
    for check in valid {
        (db, deg) = (db.max(check.upper_gain_margin_db.abs()), deg.max(check.phase_margin_deg.abs()));
        measured += 1;
    }
    if !checks.is_empty() {
        all.push(format!(
            "Spot checks by injection at {} points, {measured} measured: the linear model errs by at most {db:.2} dB in gain margin \
             and {deg:.2} deg in phase margin.",
            checks.len()
        ));
    }
    all
}

fn command_line(arguments: &SweepArguments) -> String {
    let mut words = vec!["aplomb sweep".to_owned()];
    words.extend(arguments.files.words());
    words.extend(
        arguments
            .axes
            .iter()
            .map(|axis| format!("--vary {}={}..{}x{}", axis.name(), axis.low, axis.high, axis.count)),
    );
    words.extend(arguments.random.map(|count| format!("--random {count} --seed {}", arguments.seed)));
    words.extend(arguments.margins_only.then(|| "--margins-only".to_owned()));
    words.extend(arguments.flight.as_ref().map(|path| quoted(path)));
    words.join(" ")
}
