//! `aplomb tune`: a controller for a craft.

use std::fs;
use std::path::PathBuf;

use clap::Args;

use super::arguments::Threads;
use super::{FAIL, Failure, PASS, folder, print_text, progress};
use crate::input;
use crate::input::folder as files;
use crate::input::tune::FLIGHTS;
use crate::output::{self, tuned};
use crate::pages::tune::{CSV, TunePage, compose};
use crate::report::Repeat;
use aplomb_study::controller_model;
use aplomb_study::number::significant;
use aplomb_study::tune::{self, Tuned, slack};
use aplomb_study::verify::json;

const EXAMPLES: &str = "\
Examples:
  aplomb tune --craft craft.toml my-craft                         a controller for your craft, in a new folder
  aplomb tune --craft examples/craft/michael-2010.toml michael    for a craft of a paper
  aplomb verify michael                                           the same verdict, from the files

Exit code: 0 pass (every requirement), 1 fail or inconclusive, 2 the input is wrong, 3 could not finish.";

/// Arguments of `aplomb tune`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct TuneArguments {
    /// New folder for craft, controller, two flights and a page; it must not exist
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
        let build =
            |settings: &[_]| input::tune::build(&craft, settings).map_err(|error| error.render(false));
        tune::tune(&craft, &plans, &build, arguments.trials as usize, &|| bar.inc(1))
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
    let text = tuned::text(&craft, &controller_model::airframe(&craft), &tuned.settings);
    let figures = json::Verification::of(&tuned.found.judgement, &[]).items;
    let figures = output::csv::of_items(figures);
    let figures = figures.map_err(|error| Failure::Unfinished(format!("{CSV}: {error}")))?;
    let page = compose(&TunePage { craft: &craft, tuned: &tuned, repeat });
    folder::make(&arguments.folder, |inside| {
        fs::write(inside.join(files::CRAFT), &craft_text)?;
        fs::write(inside.join(files::CONTROLLER), &text)?;
        fs::write(inside.join("tune.html"), &page)?;
        fs::write(inside.join(CSV), &figures)?;
        fs::create_dir(inside.join(files::FLIGHTS))?;
        FLIGHTS.iter().try_for_each(|(name, text)| {
            fs::write(inside.join(files::FLIGHTS).join(format!("{name}.toml")), text)
        })
    })?;
    let shown = arguments.folder.display();
    print_text(&format!(
        "{shown} contains craft, controller and flights; the trade-off curve is in {shown}/tune.html. Next:\n  aplomb verify {shown}\n"
    ));
    Ok(if tuned.found.passes() { PASS } else { FAIL })
}

fn summary(tuned: &Tuned) -> String {
    let judgement = &tuned.found.judgement;
    let failed = judgement.items.iter().filter(|item| item.counts_against()).count();
    let verdict = if failed == 0 {
        format!("Pass: every requirement ({} figures).", judgement.items.len())
    } else {
        format!(
            "Fail: {failed} of {} figures are outside their limits or inconclusive.",
            judgement.items.len()
        )
    };
    let limiting = tuned.found.limiting(3).into_iter().map(|item| {
        format!(
            "  {} in {}: {} {}, normalised slack {} %\n",
            item.text,
            item.flight,
            significant(item.measured, 3),
            item.unit,
            significant(100.0 * slack(item), 2)
        )
    });
    format!("{verdict} Limiting requirements:\n{}", limiting.collect::<String>())
}
