//! `aplomb tune`: a controller for a craft.

use std::fs;
use std::path::PathBuf;

use clap::Args;

use super::arguments::Threads;
use super::{FAIL, Failure, PASS, folder, progress, say};
use crate::input;
use crate::report::Repeat;
use crate::report::number::significant;
use crate::tune::{self, FLIGHTS, TunePage, Tuned, room};
use crate::verify::folder as files;

const EXAMPLES: &str = "\
Examples:
  aplomb tune --craft craft.toml my-craft                         a controller for your craft, in a new folder
  aplomb tune --craft examples/craft/michael-2010.toml michael    for a craft of a paper
  aplomb verify michael                                           the same verdict, by the files

Exit code: 0 every requirement holds, 1 one is missed, 2 the input is wrong, 3 could not finish.";

/// What `aplomb tune` is told.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct TuneArguments {
    /// Folder to make, with craft, controller, two flights and a page; it must not exist yet
    folder: PathBuf,
    /// Craft file; without it, the demo's
    #[arg(long, value_name = "FILE")]
    craft: Option<PathBuf>,
    /// Controllers to try at most
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
    if arguments.folder.exists() {
        return Err(Failure::Argument(format!(
            "{}: exists already; name a folder that does not",
            arguments.folder.display()
        )));
    }
    let pool = arguments.threads.pool()?;
    let started = std::time::Instant::now();
    let bar = progress::of(u64::from(arguments.trials), "controllers");
    let tuned = pool.install(|| tune::tune(&craft, arguments.trials as usize, &|| bar.inc(1)));
    bar.finish_and_clear();
    let tuned = tuned.map_err(|error| Failure::Argument(format!("{}: {error}", craft.name)))?;
    say(&format!("{}\n{}", craft.words(), told(&tuned)))?;
    say(&format!("{} controllers tried in {:.1} s.\n", tuned.tried, started.elapsed().as_secs_f64()))?;
    let repeat = Repeat::new(
        format!(
            "aplomb tune{} --trials {} {}",
            arguments.craft.as_ref().map_or(String::new(), |file| format!(" --craft {}", file.display())),
            arguments.trials,
            arguments.folder.display()
        ),
        "1 to 10".to_owned(),
    );
    let page = tune::compose(&TunePage { craft: &craft, tuned: &tuned, repeat });
    folder::make(&arguments.folder, |inside| {
        fs::write(inside.join(files::CRAFT), &craft_text)?;
        fs::write(inside.join(files::CONTROLLER), &tuned.text)?;
        fs::write(inside.join("tune.html"), &page)?;
        fs::create_dir(inside.join(files::FLIGHTS))?;
        FLIGHTS.iter().try_for_each(|(name, text)| {
            fs::write(inside.join(files::FLIGHTS).join(format!("{name}.toml")), text)
        })
    })?;
    let shown = arguments.folder.display();
    say(&format!(
        "{shown} holds craft, controller and flights; the trade is drawn in {shown}/tune.html. Then:\n  aplomb verify {shown}\n"
    ))?;
    Ok(if tuned.found.holds() { PASS } else { FAIL })
}

fn told(tuned: &Tuned) -> String {
    let judgement = &tuned.found.judgement;
    let missed = judgement.items.iter().filter(|item| item.counts_against()).count();
    let verdict = if missed == 0 {
        format!("Every requirement holds ({} figures).", judgement.items.len())
    } else {
        format!("{missed} of {} figures miss their limits.", judgement.items.len())
    };
    let binds = tuned.found.tightest(3).into_iter().map(|item| {
        format!(
            "  {} in {}: {} {}, {} % of room\n",
            item.text,
            item.flight,
            significant(item.measured, 3),
            item.unit,
            significant(100.0 * room(item), 2)
        )
    });
    format!("{verdict} What binds:\n{}", binds.collect::<String>())
}
