//! `aplomb envelope`: performance envelope of a craft.

use std::path::PathBuf;

use clap::Args;

use super::arguments::{Out, quoted};
use super::{FAIL, Failure, PASS, print_text};
use crate::input::folder::CRAFT;
use crate::report::Repeat;
use crate::{input, output, pages};
use aplomb_study::envelope::{self, Conditions, Figure};
use aplomb_study::number::significant;

/// Arguments of `aplomb envelope`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct EnvelopeArguments {
    /// Folder with craft.toml; default: the demo
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Craft file; default: that of the folder or the demo
    #[arg(long, value_name = "FILE")]
    craft: Option<PathBuf>,
    /// Elevation of the ground above sea level in m
    #[arg(long, value_name = "M", default_value_t = 0.0, allow_negative_numbers = true)]
    elevation_m: f64,
    /// Temperature offset in K from the standard atmosphere (15 deg C at sea level)
    #[arg(long, value_name = "K", default_value_t = 0.0, allow_negative_numbers = true)]
    temperature_offset_k: f64,
    /// Payload at the centre of mass in kg
    #[arg(long, value_name = "KG", default_value_t = 0.0)]
    payload_kg: f64,
    /// Wear of the battery, from 0 (new) to 1 (80 % of the capacity, twice the resistance)
    #[arg(long, value_name = "SHARE", default_value_t = 0.0)]
    battery_wear: f64,
    #[command(flatten)]
    out: Out,
}

const EXAMPLES: &str = "\
Examples:
  aplomb envelope                      the demo's craft
  aplomb envelope --payload-kg 0.2     the same with a load
  aplomb envelope my-craft             a craft of your own";

impl EnvelopeArguments {
    fn file(&self) -> Option<PathBuf> {
        self.craft.clone().or_else(|| Some(self.folder.as_ref()?.join(CRAFT)))
    }
}

pub(super) fn run(arguments: &EnvelopeArguments) -> Result<u8, Failure> {
    let craft = arguments.file().as_deref().map_or_else(input::demo_craft, input::load_craft);
    let craft = craft.map_err(|error| Failure::Input(vec![error]))?;
    let conditions = conditions(arguments)?;
    let figures = envelope::find(&craft, &conditions).map_err(|error| {
        Failure::Argument(format!("no envelope for {} under these conditions: {error}", craft.name))
    })?;
    let accuracy = textwrap::fill(&envelope::accuracy_words(&craft), 100);
    print_text(&format!("{}\n{}\n{accuracy}\n\n", craft.words(), conditions.words()));
    print_text(&figures.iter().map(text_of).collect::<String>());
    let disk = |error: std::io::Error| arguments.out.failed(&error);
    let folder = arguments.out.open().map_err(disk)?;
    let page = pages::envelope::compose(&craft, &conditions, &figures, &repeat(arguments));
    folder.write("envelope.html", page.as_bytes()).map_err(disk)?;
    let values = figures.iter().flat_map(|figure| &figure.values);
    let rows = values.map(|(name, value, unit)| [(*name).to_owned(), value.to_string(), (*unit).to_owned()]);
    let csv = output::csv::of_rows(["figure", "value", "unit"], rows).map_err(disk)?;
    folder.write(pages::envelope::CSV, &csv).map_err(disk)?;
    let folder = folder.keep().map_err(disk)?;
    print_text(&format!("Report: {}\n", folder.join("envelope.html").display()));
    let holds = figures.iter().filter_map(|figure| figure.confirmed.as_ref()).all(|flown| flown.holds);
    Ok(if holds { PASS } else { FAIL })
}

fn conditions(arguments: &EnvelopeArguments) -> Result<Conditions, Failure> {
    let EnvelopeArguments { elevation_m, temperature_offset_k, payload_kg, battery_wear, .. } = *arguments;
    for (name, value, low, high) in [
        ("elevation-m", elevation_m, -500.0, 9000.0),
        ("temperature-offset-k", temperature_offset_k, -80.0, 60.0),
        ("payload-kg", payload_kg, 0.0, 1000.0),
        ("battery-wear", battery_wear, 0.0, 1.0),
    ] {
        if !(low..=high).contains(&value) {
            return Err(Failure::Argument(format!("--{name} {value}: must lie between {low} and {high}")));
        }
    }
    Ok(Conditions { elevation_m, temperature_offset_k, payload_kg, battery_wear })
}

/// Text of a figure.
fn text_of(figure: &Figure) -> String {
    let indent = textwrap::Options::new(100).initial_indent("  ").subsequent_indent("  ");
    let values: Vec<String> = figure
        .values
        .iter()
        .map(|(name, value, unit)| format!("{name} {} {unit}", significant(*value, 3)).trim_end().to_owned())
        .collect();
    let flown = figure.confirmed.as_ref().map_or(String::new(), |flown| {
        format!("  {} {}\n", if flown.holds { "confirmed:" } else { "not confirmed:" }, flown.text)
    });
    format!(
        "{}\n{}\n  {}\n  [{}]\n{flown}\n",
        figure.question,
        textwrap::fill(&figure.answer, indent),
        values.join(", "),
        figure.formula
    )
}

fn repeat(arguments: &EnvelopeArguments) -> Repeat {
    let mut words = vec!["aplomb envelope".to_owned()];
    words.extend(arguments.file().map(|file| format!("--craft {}", quoted(&file))));
    for (name, value) in [
        ("elevation-m", arguments.elevation_m),
        ("temperature-offset-k", arguments.temperature_offset_k),
        ("payload-kg", arguments.payload_kg),
        ("battery-wear", arguments.battery_wear),
    ] {
        words.extend((value != 0.0).then(|| format!("--{name} {value}")));
    }
    Repeat::new(words.join(" "), "1".to_owned())
}
