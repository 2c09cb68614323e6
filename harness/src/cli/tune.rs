//! `aplomb tune`: a controller for a craft.

use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

use clap::Args;

use super::arguments::Threads;
use super::{FAIL, Failure, PASS, folder, print_text, progress};
use crate::input;
use crate::input::folder as files;
use crate::input::tune::FLIGHTS;
use crate::output::{self, tuned};
use crate::pages::tune::{CSV, TunePage, compose, figure_of};
use crate::pages::verify::title_of;
use crate::report::Repeat;
use aplomb_study::controller_model;
use aplomb_study::craft::Craft;
use aplomb_study::number::limit;
use aplomb_study::tune::parameter::at_bounds;
use aplomb_study::tune::{self, Effort, Judged, Tuned, slack};
use aplomb_study::verify::json;

const EXAMPLES: &str = "\
Examples:
  aplomb tune --craft craft.toml my-craft                         a controller for your craft, in a new folder
  aplomb tune --craft examples/craft/michael-2010.toml michael    for a craft of a paper
  aplomb verify michael                                           the same verdict, from the files

Trials adjust gains, integral times, the gyro's low-pass and the notches. The result is the best of all by number of failed
figures, then by how far they are beyond their limits, then by speed: never worse than the derived controller.
When none passes, no controller is written; the effects of the craft are relaxed one at a time to name the limiting one.

Exit code: 0 pass (every requirement and check), 1 infeasible, 2 the input is wrong, 3 could not finish.";

/// Arguments of `aplomb tune`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct TuneArguments {
    /// New folder for a page; if everything passes, also for craft, controller and two flights
    folder: PathBuf,
    /// Craft file; default: the demo's
    #[arg(long, value_name = "FILE")]
    craft: Option<PathBuf>,
    /// Largest number of controllers to try
    #[arg(long, value_name = "COUNT", default_value_t = 120, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    trials: u32,
    #[command(flatten)]
    threads: Threads,
}

pub(super) fn run(arguments: &TuneArguments) -> Result<u8, Failure> {
    let craft = arguments.craft.as_deref().map_or_else(input::demo_craft, input::load_craft);
    let craft = craft.map_err(|error| Failure::Input(vec![error]))?;
    let craft_text = match &arguments.craft {
        Some(path) => input::text_of(path).map_err(|error| Failure::Input(vec![error]))?,
        None => input::demo::CRAFT.text.to_owned(),
    };
    folder::check(&arguments.folder)?;
    let pool = arguments.threads.pool()?;
    let started = std::time::Instant::now();
    let bar = progress::of(u64::from(arguments.trials), "controllers");
    let plans = input::tune::flights().map_err(|error| Failure::Input(vec![error]))?;
    let tuned = pool.install(|| {
        let build = |craft: &Craft, settings: &[_]| {
            input::tune::build(craft, settings).map_err(|error| error.render(false))
        };
        tune::tune(&craft, &plans, &build, Effort::new(arguments.trials as usize), &|| bar.inc(1))
    });
    bar.finish_and_clear();
    let tuned = tuned.map_err(|error| Failure::Argument(format!("{}: {error}", craft.name)))?;
    print_text(&format!("{}\n{}", craft.words(), summary(&tuned)));
    print_text(&format!("{} controllers tried in {:.1} s.\n", tuned.tried, started.elapsed().as_secs_f64()));
    let repeat = Repeat::new(
        format!(
            "aplomb tune{} --trials {} {}",
            arguments.craft.as_ref().map_or(String::new(), |file| format!(" --craft {}", file.display())),
            arguments.trials,
            arguments.folder.display()
        ),
        "1 to 10".to_owned(),
    );
    let figures = json::Verification::of(&tuned.found.judgement, &[]).items;
    let figures = output::csv::of_items(figures);
    let figures = figures.map_err(|error| Failure::Unfinished(format!("{CSV}: {error}")))?;
    let page = compose(&TunePage { craft: &craft, tuned: &tuned, repeat });
    let passes = tuned.found.passes();
    folder::make(&arguments.folder, |inside| {
        fs::write(inside.join(PAGE), &page)?;
        fs::write(inside.join(CSV), &figures)?;
        // A folder with a controller is one to fly.
        if !passes {
            return Ok(());
        }
        let text = tuned::text(&craft, &controller_model::airframe(&craft), &tuned.settings);
        fs::write(inside.join(files::CRAFT), &craft_text)?;
        fs::write(inside.join(files::CONTROLLER), &text)?;
        fs::create_dir(inside.join(files::FLIGHTS))?;
        FLIGHTS.iter().try_for_each(|(name, text)| {
            fs::write(inside.join(files::FLIGHTS).join(format!("{name}.toml")), text)
        })
    })?;
    let shown = arguments.folder.display();
    print_text(&if passes {
        format!(
            "{shown} contains craft, controller and flights; the trade-off curve is in {shown}/{PAGE}. Next:\n  \
             aplomb verify {shown}\n"
        )
    } else {
        format!("No controller was written. All figures of the best one are in {shown}/{PAGE} and {CSV}.\n")
    });
    Ok(if passes { PASS } else { FAIL })
}

/// Name of the page in the folder.
const PAGE: &str = "tune.html";

fn summary(tuned: &Tuned) -> String {
    let Tuned { start, found, .. } = tuned;
    let all = found.judgement.items.len();
    let mut text = match (found.rank.failures, start.rank.failures) {
        (0, 0) => format!("Pass: all {all} figures are within their limits.\n"),
        (0, derived) => {
            format!(
                "Pass: all {all} figures are within their limits; with the derived gains {} of them.\n",
                all - derived
            )
        }
        (failures, derived) => {
            format!(
                "Infeasible: {failures} of {all} figures fail with the best gains found, {derived} with the derived ones.\n"
            )
        }
    };
    if found.passes() {
        text += "Limiting requirements:\n";
        text += &items(found, 3);
    } else {
        text += "Requirements and checks that fail, the limiting one first:\n";
        text += &items(found, 6);
        text += &limiting_effect(tuned);
    }
    let bounds = at_bounds(&tuned.factors);
    if !bounds.is_empty() {
        let _ = writeln!(text, "Parameters at a bound: {}.", bounds.join("; "));
    }
    text
}

/// The items with the least slack; of a controller that fails, those that fail.
fn items(judged: &Judged, count: usize) -> String {
    let items = judged.limiting(count).into_iter();
    let items = items.filter(|item| judged.passes() || item.counts_against()).map(|item| {
        format!(
            "  {}, {}: {}, required {}{}\n",
            title_of(&item.flight),
            item.text,
            figure_of(item),
            limit(item.limit, item.unit),
            if judged.passes() { format!(", slack {:.0} %", 100.0 * slack(item)) } else { String::new() }
        )
    });
    items.collect()
}

/// The limiting effect, with the evidence.
fn limiting_effect(tuned: &Tuned) -> String {
    let mut text = match tuned.limiting_effect() {
        Some(effect) => format!(
            "Limiting effect: {}, {}. Relaxed to {}: {}. What to change: {}.\n",
            effect.name,
            effect.figure,
            effect.relaxed,
            fails(effect.rank.failures),
            effect.remedy
        ),
        None => "Limiting effect: none of the effects below on its own.\n".to_owned(),
    };
    let _ = writeln!(
        text,
        "Search repeated with one effect relaxed at a time, three seeds (none relaxed: {}):",
        fails(tuned.unrelaxed.failures)
    );
    for effect in &tuned.effects {
        let _ = writeln!(
            text,
            "  {:>15}: {}, {} instead of {} ({} tried)",
            fails(effect.rank.failures),
            effect.name,
            effect.relaxed,
            effect.figure,
            effect.tried
        );
    }
    text
}

fn fails(count: usize) -> String {
    match count {
        0 => "no figure fails".to_owned(),
        1 => "1 figure fails".to_owned(),
        count => format!("{count} figures fail"),
    }
}
