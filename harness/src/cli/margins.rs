//! `aplomb margins`: stability margins of each loop.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::PathBuf;

use clap::Args;
use rayon::prelude::*;

use super::arguments::{Files, Out, Threads};
use super::{FAIL, Failure, PASS, print_text};
use crate::report::{MarginsReport, PointSection, Repeat, write_margins};
use aplomb::flight::Config;
use aplomb_flight::limit::Outcome;
use aplomb_study::craft::Craft;
use aplomb_study::linear::{Array, Break, Model};
use aplomb_study::margins::figures::Figures;
use aplomb_study::margins::judge::{verdicts, verdicts_on_model};
use aplomb_study::margins::point::Point;
use aplomb_study::margins::{self, Bench, Linear, Measured, NotMeasured};
use aplomb_study::verdict::Verdict;

/// Arguments of `aplomb margins`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct MarginsArguments {
    /// Folder with craft.toml and controller.toml; default: the demo
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    #[command(flatten)]
    files: Files,
    /// Operating point; may be given several times. Default: all
    #[arg(long = "point", value_name = "POINT", value_parser = point)]
    points: Vec<Point>,
    /// Break only the loops at the three body torque demands
    #[arg(long)]
    torques: bool,
    /// Write the matrices of the linear model, too: JSON and NPZ files, one pair for each operating point
    #[arg(long)]
    export: bool,
    /// Seed of the sensors' noise
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    out: Out,
    #[command(flatten)]
    threads: Threads,
}

const EXAMPLES: &str = "\
Examples:
  aplomb margins                 every loop of the demo at every operating point
  aplomb margins --point hover   at one operating point
  aplomb margins my-craft        of the controller of a folder
  aplomb margins --export        with the matrices of the linear model, for other tools";

fn point(name: &str) -> Result<Point, String> {
    Point::named(name).ok_or_else(|| {
        let names: Vec<&str> = Point::ALL.iter().map(|point| point.name).collect();
        format!("unknown operating point; known are {}", names.join(", "))
    })
}

/// One operating point, measured.
struct Found {
    point: Point,
    model: Model,
    loops: Vec<(Linear, Measured)>,
    verdicts: Vec<Verdict>,
}

impl MarginsArguments {
    fn files(&self) -> Files {
        self.files.or_in(self.folder.as_deref())
    }
}

pub(super) fn run(arguments: &MarginsArguments) -> Result<u8, Failure> {
    let (craft, controller) = arguments.files().read().map_err(Failure::Input)?;
    let disk = |error: std::io::Error| arguments.out.failed(&error);
    arguments.out.check()?;
    let pool = arguments.threads.pool()?;
    let points = if arguments.points.is_empty() { Point::ALL.to_vec() } else { arguments.points.clone() };
    let started = std::time::Instant::now();
    let found: Vec<Found> = pool.install(|| {
        points
            .par_iter()
            .map(|point| measure(&craft, &controller, point, arguments))
            .collect::<Result<_, _>>()
    })?;
    let took_s = started.elapsed().as_secs_f64();
    print_text(&table(&craft, &found));
    let all = || found.iter().flat_map(|point| &point.verdicts);
    let count = |outcome| all().filter(|verdict| verdict.outcome == outcome).count();
    print_text(&format!(
        "{} pass, {} fail, {} inconclusive. {took_s:.2} s.\n",
        count(Outcome::Pass),
        count(Outcome::Fail),
        count(Outcome::Inconclusive)
    ));
    let folder = write(arguments, &craft, &found).map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join(REPORT).display()));
    Ok(if all().all(|verdict| verdict.outcome == Outcome::Pass) { PASS } else { FAIL })
}

fn measure(
    craft: &Craft,
    controller: &Config,
    point: &Point,
    arguments: &MarginsArguments,
) -> Result<Found, Failure> {
    let failed = |error: margins::MarginsError| Failure::Unfinished(format!("{}: {error}", point.name));
    let bench = Bench::new(&craft.config, controller, point, arguments.seed).map_err(failed)?;
    let model = Model::new(&craft.config, controller, point).map_err(|error| failed(error.into()))?;
    let breaks = if arguments.torques { Break::DEMANDS[..3].to_vec() } else { Break::of(point.mode) };
    let linear = margins::loops(&model, &breaks);
    let measured: Vec<Measured> = linear.par_iter().map(|linear| bench.measure(linear)).collect();
    let loops: Vec<(Linear, Measured)> = linear.into_iter().zip(measured).collect();
    let of_loops = loops.iter().flat_map(|(linear, measured)| verdicts(linear, measured));
    let verdicts = verdicts_on_model(&model).into_iter().chain(of_loops).collect();
    Ok(Found { point: *point, model, loops, verdicts })
}

const REPORT: &str = "report.html";
const HEADS: [&str; 10] = [
    "point",
    "loop broken at",
    "upper gain dB",
    "lower gain dB",
    "phase deg",
    "delay ms",
    "crossover rad/s",
    "Ms",
    "bandwidth rad/s",
    "",
];

/// Table of measured and linear figures, one row per loop.
fn table(craft: &Craft, found: &[Found]) -> String {
    let mut rows: Vec<[String; 10]> = vec![HEADS.map(str::to_owned)];
    for point in found {
        for (i, (linear, measured)) in point.loops.iter().enumerate() {
            let name = if i == 0 { point.point.name } else { "" };
            let outcome = outcome(linear, measured);
            let pairs = figures(&measured.figures).into_iter().zip(figures(&linear.figures));
            let mut cells = pairs.map(|((found, decimals), (expected, _))| {
                format!("{} ({})", cell(found, decimals), cell(expected, decimals))
            });
            rows.push(std::array::from_fn(|column| match column {
                0 => name.to_owned(),
                1 => linear.broken.name().to_owned(),
                9 => outcome.clone(),
                _ => cells.next().unwrap_or_default(),
            }));
        }
    }
    let widths: [usize; 10] =
        std::array::from_fn(|column| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0));
    let mut text = format!("Craft: {}\nMeasured by injection (linear model in brackets):\n\n", craft.words());
    for (i, row) in rows.iter().enumerate() {
        let mut line = String::new();
        for (column, (cell, &width)) in row.iter().zip(&widths).enumerate() {
            let _ = if (2..9).contains(&column) {
                write!(line, "{cell:>width$}  ")
            } else {
                write!(line, "{cell:<width$}  ")
            };
        }
        text += line.trim_end();
        text.push('\n');
        if i == 0 {
            text += &widths[..9].iter().map(|&width| "-".repeat(width)).collect::<Vec<_>>().join("  ");
            text.push('\n');
        }
    }
    text.push('\n');
    text
}

fn figures(figures: &Figures) -> [(f64, usize); 7] {
    [
        (figures.upper_gain_margin_db, 1),
        (figures.lower_gain_margin_db, 1),
        (figures.phase_margin_deg, 1),
        (1e3 * figures.delay_margin_s, 1),
        (figures.crossover_rad_s, 1),
        (figures.peak_sensitivity, 2),
        (figures.bandwidth_rad_s, 1),
    ]
}

fn cell(value: f64, decimals: usize) -> String {
    if value.is_nan() {
        "-".to_owned()
    } else if value.is_infinite() {
        "infinite".to_owned()
    } else {
        format!("{value:.decimals$}")
    }
}

/// The worst outcome of a loop.
fn outcome(linear: &Linear, measured: &Measured) -> String {
    let words = match measured.not_measured {
        Some(NotMeasured::Saturated) => "inconclusive: a motor met a limit",
        Some(NotMeasured::NotSteady) if !linear.stable => "inconclusive: not stable",
        Some(NotMeasured::NotSteady) => "inconclusive: the flight was not steady",
        Some(NotMeasured::Incoherent) => "inconclusive: noise",
        None => {
            let verdicts = verdicts(linear, measured);
            let any = |outcome| verdicts.iter().any(|verdict| verdict.outcome == outcome);
            if any(Outcome::Fail) {
                "fail"
            } else if any(Outcome::Inconclusive) {
                "inconclusive in part"
            } else {
                "pass"
            }
        }
    };
    words.to_owned()
}

fn write(arguments: &MarginsArguments, craft: &Craft, found: &[Found]) -> std::io::Result<PathBuf> {
    let sections = found.iter().map(|found| PointSection {
        name: found.point.name,
        words: found.point.words,
        verdicts: &found.verdicts,
        loops: found.loops.iter().map(|(linear, measured)| (linear, measured)).collect(),
    });
    let report = MarginsReport {
        title: format!("Margins of the {}", craft.name),
        subtitle: craft.words(),
        points: sections.collect(),
        repeat: Repeat::new(command_line(arguments), arguments.seed.to_string()),
    };
    let mut html = Vec::new();
    write_margins(&report, &mut html)?;
    let folder = arguments.out.open()?;
    folder.write(REPORT, &html)?;
    folder.write("margins.csv", margins_csv(found).as_bytes())?;
    folder.write("points.csv", points_csv(found).as_bytes())?;
    if arguments.export {
        for found in found {
            let name = format!("linear-{}", found.point.name);
            folder.write(&format!("{name}.json"), &serde_json::to_vec_pretty(&found.model.description())?)?;
            folder.write(&format!("{name}.npz"), &npz(&found.model)?)?;
        }
    }
    folder.keep()
}

/// The matrices as an archive of NumPy arrays: each a header, padded to a multiple of 64 bytes, and the
/// numbers (numpy.lib.format, version 1.0), uncompressed.
fn npz(model: &Model) -> std::io::Result<Vec<u8>> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for Array { name, shape: [sets, rows, columns], numbers } in model.arrays() {
        let options = zip::write::SimpleFileOptions::default();
        archive.start_file(format!("{name}.npy"), options).map_err(std::io::Error::from)?;
        let mut header =
            format!("{{'descr': '<f8', 'fortran_order': False, 'shape': ({sets}, {rows}, {columns}), }}");
        // Ten bytes come before it, and a line feed ends it.
        let padding = 63 - (10 + header.len()) % 64;
        header += &" ".repeat(padding);
        header.push('\n');
        archive.write_all(b"\x93NUMPY\x01\x00")?;
        archive.write_all(&(header.len() as u16).to_le_bytes())?;
        archive.write_all(header.as_bytes())?;
        for number in numbers {
            archive.write_all(&number.to_le_bytes())?;
        }
    }
    Ok(archive.finish().map_err(std::io::Error::from)?.into_inner())
}

fn command_line(arguments: &MarginsArguments) -> String {
    let mut words = vec!["aplomb margins".to_owned()];
    words.extend(arguments.files().words());
    words.extend(arguments.points.iter().map(|point| format!("--point {}", point.name)));
    words.extend(arguments.torques.then(|| "--torques".to_owned()));
    words.extend(arguments.export.then(|| "--export".to_owned()));
    words.push(format!("--seed {}", arguments.seed));
    words.join(" ")
}

/// The figures of every loop, measured and linear. An unknown figure is empty, an infinite one is `inf`.
fn margins_csv(found: &[Found]) -> String {
    let mut text =
        "point,loop,source,upper_gain_margin_db,upper_gain_margin_rad_s,lower_gain_margin_db,lower_gain_margin_rad_s,phase_margin_deg,phase_margin_rad_s,\
                    delay_margin_s,crossover_rad_s,peak_sensitivity,peak_sensitivity_rad_s,bandwidth_rad_s\n"
            .to_owned();
    for point in found {
        for (linear, measured) in &point.loops {
            for (source, f) in [("measured", &measured.figures), ("linear", &linear.figures)] {
                let _ = write!(text, "{},{},{source}", point.point.name, linear.broken.name());
                for value in [
                    f.upper_gain_margin_db,
                    f.upper_gain_margin_rad_s,
                    f.lower_gain_margin_db,
                    f.lower_gain_margin_rad_s,
                    f.phase_margin_deg,
                    f.phase_margin_rad_s,
                    f.delay_margin_s,
                    f.crossover_rad_s,
                    f.peak_sensitivity,
                    f.peak_sensitivity_rad_s,
                    f.bandwidth_rad_s,
                ] {
                    let _ = if value.is_nan() { write!(text, ",") } else { write!(text, ",{value:.6}") };
                }
                text.push('\n');
            }
        }
    }
    text
}

/// Frequency response of every loop, measured and linear.
fn points_csv(found: &[Found]) -> String {
    let mut text = "point,loop,rad_s,measured_db,measured_deg,coherence,linear_db,linear_deg\n".to_owned();
    for point in found {
        for (linear, measured) in &point.loops {
            let name: Break = linear.broken;
            for line in &measured.lines {
                let expected = linear.curve.at(line.rad_s);
                let db = |transfer: aplomb_study::linear::C64| 20.0 * libm::log10(transfer.norm());
                let _ = writeln!(
                    text,
                    "{},{},{:.6},{:.4},{:.3},{:.5},{:.4},{:.3}",
                    point.point.name,
                    name.name(),
                    line.rad_s,
                    db(line.transfer),
                    line.transfer.arg().to_degrees(),
                    line.coherence,
                    db(expected),
                    expected.arg().to_degrees()
                );
            }
        }
    }
    text
}
