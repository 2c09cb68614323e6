//! `aplomb estimate`: runs the attitude filter on recordings; errors as a table and over time.

use std::path::{Path, PathBuf};

use clap::Args;
use rayon::prelude::*;

use super::arguments::{Out, quoted};
use super::{FAIL, Failure, PASS, print_alone, print_text};
use crate::input::{self, InputError};
use crate::output;
use crate::report::{
    ERRORS_CSV, Line, Plot, RecordingReport, RecordingSection, Repeat, ScoreTable, write_recordings,
};
use aplomb_flight::limit::{Limit, Outcome};
use aplomb_study::estimate::{Aiding, Recording, Run, Score, Settings, run as estimate};
use aplomb_study::number::figure;
use aplomb_study::verdict::Verdict;

/// Arguments of `aplomb estimate`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct EstimateArguments {
    /// Recordings as .csv or .csv.gz; the first line names the columns with their units
    #[arg(value_name = "RECORDING", required_unless_present = "columns")]
    recordings: Vec<PathBuf>,
    /// Print the valid column names with their meaning, and exit
    #[arg(long)]
    columns: bool,
    /// Settings of the filter, with the keys of [override.attitude_estimate] of a controller file; up to four
    /// files are compared. Default: the recommended settings
    #[arg(long, value_name = "FILE")]
    settings: Vec<PathBuf>,
    /// Skip the rows before the first evaluated one, so that the filter starts in motion
    #[arg(long)]
    start_in_motion: bool,
    /// Bias in deg/s added to every gyro axis
    #[arg(long, value_name = "DEG_S", default_value_t = 0.0, value_parser = finite)]
    add_gyro_bias_deg_s: f32,
    /// Exit with 1 when the mean rms inclination error without the field is above this, in deg
    #[arg(long, value_name = "DEG")]
    inclination_at_most_deg: Option<f64>,
    /// Exit with 1 when the mean rms total error with the field is above this, in deg
    #[arg(long, value_name = "DEG")]
    total_at_most_deg: Option<f64>,
    /// Exit with 1 when the rms total error with the field of any recording is above this, in deg
    #[arg(long, value_name = "DEG")]
    each_total_at_most_deg: Option<f64>,
    #[command(flatten)]
    out: Out,
}

/// A finite number.
fn finite(text: &str) -> Result<f32, String> {
    text.parse().ok().filter(|number: &f32| number.is_finite()).ok_or("expected a finite number".to_owned())
}

const EXAMPLES: &str = "\
Examples:
  aplomb estimate log.csv     a recording, with its errors if it has a reference
  aplomb estimate --columns   valid names of its columns";

/// Largest number of settings: more are not distinguishable in a plot.
const MOST_SETTINGS: usize = 4;
const REPORT: &str = "report.html";
const HEADS: [&str; 6] =
    ["recording", "settings", "inclination, no field", "inclination", "heading", "total"];

/// One recording under one set of settings.
struct Tried {
    bare: (Run, Score),
    /// `None` where the recording has no field.
    with_field: Option<(Run, Score)>,
}

impl Tried {
    /// The four figures of the table.
    fn figures(&self) -> [f64; 4] {
        let with_field =
            |angle: fn(&Score) -> f64| self.with_field.as_ref().map_or(f64::NAN, |(_, s)| angle(s));
        [
            self.bare.1.rms.inclination_deg,
            with_field(|score| score.rms.inclination_deg),
            with_field(|score| score.rms.heading_deg),
            with_field(|score| score.rms.total_deg),
        ]
    }
}

pub(super) fn run(arguments: &EstimateArguments) -> Result<u8, Failure> {
    if arguments.columns {
        return print_alone(&input::columns_explained());
    }
    let (recordings, settings) = read(arguments).map_err(Failure::Input)?;
    let disk = |error: std::io::Error| arguments.out.failed(&error);
    arguments.out.check()?;
    let tried: Vec<Vec<Tried>> = recordings
        .par_iter()
        .map(|recording| settings.par_iter().map(|settings| try_out(recording, settings)).collect())
        .collect::<Result<_, _>>()?;
    let verdicts = judge(arguments, &settings, &tried);
    let rows = table_rows(&recordings, &settings, &tried);
    print_text(&conclusion(&rows, &verdicts));
    let report = RecordingReport {
        title: "Attitude filter on recordings".to_owned(),
        subtitle: format!("{} recordings, {} settings", recordings.len(), settings.len()),
        verdicts: &verdicts,
        table: ScoreTable {
            caption: "Rms error in deg over the evaluated rows".to_owned(),
            heads: HEADS.map(str::to_owned).to_vec(),
            rows: rows.iter().map(|row| row.to_vec()).collect(),
        },
        sections: recordings.iter().zip(&tried).map(|(r, tried)| section(r, &settings, tried)).collect(),
        repeat: Repeat::new(arguments.command_line(), "none: nothing is random".to_owned()),
    };
    let mut html = Vec::new();
    write_recordings(&report, &mut html).map_err(disk)?;
    let folder = arguments.out.open().map_err(disk)?;
    folder.write(REPORT, &html).map_err(disk)?;
    folder.write(ERRORS_CSV, &output::csv::of_rows(HEADS, rows).map_err(disk)?).map_err(disk)?;
    let folder = folder.keep().map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join(REPORT).display()));
    Ok(if verdicts.iter().all(|verdict| verdict.outcome == Outcome::Pass) { PASS } else { FAIL })
}

impl EstimateArguments {
    /// The command line of this run.
    fn command_line(&self) -> String {
        let shown = |path: &PathBuf| quoted(path);
        let mut words = vec!["aplomb estimate".to_owned()];
        words.extend(self.settings.iter().map(|file| format!("--settings {}", shown(file))));
        words.extend(self.start_in_motion.then(|| "--start-in-motion".to_owned()));
        let bias = self.add_gyro_bias_deg_s;
        words.extend((bias != 0.0).then(|| format!("--add-gyro-bias-deg-s {bias}")));
        let limits = [
            ("inclination", self.inclination_at_most_deg),
            ("total", self.total_at_most_deg),
            ("each-total", self.each_total_at_most_deg),
        ];
        let limits =
            limits.iter().filter_map(|(name, limit)| Some(format!("--{name}-at-most-deg {}", (*limit)?)));
        words.extend(limits);
        words.extend(self.recordings.iter().map(shown));
        words.join(" ")
    }
}

/// Reads all files and collects all their errors.
fn read(arguments: &EstimateArguments) -> Result<(Vec<Recording>, Vec<Settings>), Vec<InputError>> {
    let mut wrong = Vec::new();
    let read: Vec<_> = arguments.recordings.par_iter().map(|path| input::load_recording(path)).collect();
    let mut recordings: Vec<Recording> =
        read.into_iter().filter_map(|read| read.map_err(|error| wrong.push(error)).ok()).collect();
    let named = arguments.settings.iter().map(|path: &PathBuf| input::load_settings(Path::new(path)));
    let mut settings: Vec<_> =
        named.filter_map(|read| read.map_err(|error| wrong.push(error)).ok()).collect();
    if !wrong.is_empty() {
        return Err(wrong);
    }
    if settings.is_empty() {
        settings.push(Settings::recommended());
    }
    for recording in &mut recordings {
        if arguments.start_in_motion {
            recording.start_in_motion();
        }
        recording.add_gyro_bias(arguments.add_gyro_bias_deg_s.to_radians());
    }
    Ok((recordings, settings))
}

fn try_out(recording: &Recording, settings: &Settings) -> Result<Tried, Failure> {
    let one = |aiding| {
        let run = estimate(recording, &settings.config, aiding);
        let run = run.map_err(|error| Failure::Unfinished(format!("{}: {error}", recording.name)))?;
        let score = run.score(recording);
        Ok((run, score))
    };
    Ok(Tried {
        bare: one(Aiding::None)?,
        with_field: recording.has_field().then(|| one(Aiding::Field)).transpose()?,
    })
}

fn mean(tried: &[Vec<Tried>], settings: usize, column: usize) -> f64 {
    let figures = tried.iter().filter_map(|by_settings| by_settings.get(settings));
    figures.map(|tried| tried.figures()[column]).sum::<f64>() / tried.len() as f64
}

/// Judges each settings' figures by the limits given.
fn judge(arguments: &EstimateArguments, settings: &[Settings], tried: &[Vec<Tried>]) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for (index, settings) in settings.iter().enumerate() {
        let largest = tried
            .iter()
            .map(|by_settings| by_settings[index].figures()[3])
            .fold(0.0, |a: f64, b| if b.is_nan() { b } else { a.max(b) });
        for (what, limit, measured) in [
            ("mean inclination error, no field", arguments.inclination_at_most_deg, mean(tried, index, 0)),
            ("mean total error", arguments.total_at_most_deg, mean(tried, index, 3)),
            ("largest total error of a recording", arguments.each_total_at_most_deg, largest),
        ] {
            if let Some(limit) = limit.map(Limit::AtMost) {
                let text = format!("{what}, {}", settings.name);
                let outcome = limit.judge(measured);
                verdicts.push(Verdict { text, measured, limit, unit: "deg", outcome, source: None });
            }
        }
    }
    verdicts
}

fn table_rows(recordings: &[Recording], settings: &[Settings], tried: &[Vec<Tried>]) -> Vec<[String; 6]> {
    let row = |recording: &str, settings: &Settings, figures: [f64; 4]| {
        let [a, b, c, d] = figures.map(figure);
        [recording.to_owned(), settings.name.clone(), a, b, c, d]
    };
    let mut rows = Vec::new();
    for (recording, tried) in recordings.iter().zip(tried) {
        rows.extend(settings.iter().zip(tried).map(|(s, tried)| row(&recording.name, s, tried.figures())));
    }
    if recordings.len() > 1 {
        let means = |index| std::array::from_fn(|column| mean(tried, index, column));
        rows.extend(settings.iter().enumerate().map(|(index, s)| row("mean", s, means(index))));
    }
    rows
}

fn conclusion(rows: &[[String; 6]], verdicts: &[Verdict]) -> String {
    let heads = HEADS.map(str::to_owned);
    let lines: Vec<&[String; 6]> = std::iter::once(&heads).chain(rows).collect();
    let widths: [usize; 6] = std::array::from_fn(|column| {
        lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0)
    });
    let mut text = "Rms error in deg over the evaluated rows:\n".to_owned();
    for line in lines {
        let [name, settings, figures @ ..] = line;
        text += &format!("{name:<0$}  {settings:<1$}", widths[0], widths[1]);
        figures.iter().zip(&widths[2..]).for_each(|(figure, width)| text += &format!("  {figure:>width$}"));
        text.push('\n');
    }
    for Verdict { text: what, measured, limit, outcome, .. } in verdicts {
        let word = match outcome {
            Outcome::Pass => "pass",
            Outcome::Fail => "fail",
            Outcome::Inconclusive => "inconclusive",
        };
        let Limit::AtMost(limit) = limit else { continue };
        text += &format!("{what}: {measured:.3} deg, at most {limit}: {word}\n");
    }
    text
}

fn section(recording: &Recording, settings: &[Settings], tried: &[Tried]) -> RecordingSection {
    let time_s: Vec<f64> = recording.rows.iter().map(|row| row.time_s).collect();
    let lines = |values: &dyn Fn(&Tried) -> Vec<f64>| -> Vec<Line> {
        let pairs = settings.iter().zip(tried).take(MOST_SETTINGS);
        pairs.map(|(s, tried)| Line { label: s.name.clone(), values: values(tried) }).collect()
    };
    let plot = |title: &str, caption: &str, name: &str, values: &dyn Fn(&Tried) -> Vec<f64>| Plot {
        title: title.to_owned(),
        caption: caption.to_owned(),
        name: name.to_owned(),
        time_s: time_s.clone(),
        lines: lines(values),
        not_counted: not_counted(recording),
    };
    let mut plots = Vec::new();
    if recording.has_reference() {
        let error = |run: &Run, angle: fn(&aplomb_study::estimate::ErrorAngles) -> f64| {
            run.error.iter().map(|error| error.as_ref().map_or(f64::NAN, angle)).collect()
        };
        plots.push(plot(
            "Inclination error without the field",
            "Angle between the estimated and the true vertical.",
            "inclination error, deg",
            &|tried| error(&tried.bare.0, |error| error.inclination_deg),
        ));
        if recording.has_field() {
            plots.push(plot(
                "Total error with the field",
                "Angle of the whole rotation from the true to the estimated attitude.",
                "total error, deg",
                &|tried| {
                    tried
                        .with_field
                        .as_ref()
                        .map_or(Vec::new(), |(run, _)| error(run, |error| error.total_deg))
                },
            ));
        }
    }
    for (axis, name) in ["forward", "right", "down"].into_iter().enumerate() {
        plots.push(plot(&format!("Gyro bias, {name}"), "Estimated gyro bias.", "bias, deg/s", &|tried| {
            let run = tried.with_field.as_ref().map_or(&tried.bare.0, |(run, _)| run);
            run.gyro_bias_rad_s.iter().map(|bias| f64::from(bias[axis]).to_degrees()).collect()
        }));
    }
    let details = format!(
        "{:.0} s at {:.1} Hz, {} rows evaluated{}.",
        f64::from(recording.period_s) * recording.rows.len() as f64,
        1.0 / recording.period_s,
        tried.first().map_or(0, |tried| tried.bare.1.rows),
        if recording.has_field() { "" } else { ", no magnetic field" }
    );
    RecordingSection { name: recording.name.clone(), details, plots }
}

/// Intervals that are not evaluated, from and to in s.
fn not_counted(recording: &Recording) -> Vec<(f64, f64)> {
    let runs = recording.rows.chunk_by(|a, b| a.scored == b.scored);
    let outside = runs.filter(|run| run.iter().all(|row| !row.scored));
    outside.filter_map(|run| Some((run.first()?.time_s, run.last()?.time_s))).collect()
}
