//! `aplomb export`: exports a controller for firmware to a new folder.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;

use super::{Failure, PASS, folder, print_text};
use crate::{export, input};

/// Arguments of `aplomb export`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub(super) struct ExportArguments {
    /// Controller file; default: the demo's
    #[arg(long, value_name = "FILE")]
    controller: Option<PathBuf>,
    /// New folder; it must not exist
    folder: PathBuf,
}

const EXAMPLES: &str = "\
Examples:
  aplomb export firmware                                  the demo's controller
  aplomb export --controller controller.toml firmware     one of your own";

pub(super) fn run(arguments: &ExportArguments) -> Result<u8, Failure> {
    let given = arguments.controller.as_deref();
    let controller = given.map_or_else(input::demo_controller, input::load_controller);
    let config = controller.map_err(|error| Failure::Input(vec![error]))?;
    let origin = given.map_or("the built-in demo".into(), |path| path.display().to_string());
    folder::make(&arguments.folder, |inside: &Path| {
        fs::write(inside.join("controller.rs"), export::constant(&config, &origin))?;
        fs::write(inside.join("controller.bin"), export::block(&config))?;
        fs::write(inside.join("controller.md"), export::table(&config))
    })?;
    let shown = arguments.folder.display();
    print_text(&format!(
        "{shown}/controller.rs   a Rust constant: include! it\n\
         {shown}/controller.bin  a parameter block, for aplomb::parameters::read\n\
         {shown}/controller.md   layout of the block\n"
    ));
    Ok(PASS)
}
