//! Input of a verification: a folder with craft, controller and flights, optionally requirements and a
//! baseline.

use std::path::Path;

use aplomb::flight::Config;
use aplomb_flight::FlightPlan;
use aplomb_study::craft::Craft;
use aplomb_study::verify::{Baseline, Subject};

use super::{InputError, apply_requirements, demo};
use crate::input;
use crate::output::baseline;

/// Name of the craft file in a folder.
pub const CRAFT: &str = "craft.toml";
/// Name of the controller file in a folder.
pub const CONTROLLER: &str = "controller.toml";
/// Name of the folder of flights in a folder.
pub const FLIGHTS: &str = "flights";
/// Name of the file of a user's requirements in a folder; it may be absent.
pub const REQUIREMENTS: &str = "requirements.toml";
/// Name of the accepted baseline in a folder; it may be absent.
pub const BASELINE: &str = "baseline.json";

/// Contents of a folder.
#[derive(Clone, Debug)]
pub struct Folder {
    /// Craft, controller, flights and requirements.
    pub subject: Subject,
    /// Accepted baseline.
    pub baseline: Option<Baseline>,
}

/// Texts of the optional files with their paths for messages.
#[derive(Default)]
struct Texts {
    requirements: Option<(String, String)>,
    baseline: Option<(String, String)>,
}

impl Folder {
    /// Reads a folder.
    ///
    /// # Errors
    /// All errors of all files.
    pub fn load(folder: &Path) -> Result<Self, Vec<InputError>> {
        let mut wrong = Vec::new();
        let mut optional = |name: &str| {
            let path = folder.join(name);
            let text = path.exists().then(|| input::text_of(&path))?;
            let text = text.map_err(|error| wrong.push(error)).ok()?;
            Some((path.display().to_string(), text))
        };
        let texts = Texts { requirements: optional(REQUIREMENTS), baseline: optional(BASELINE) };
        let craft = input::load_craft(&folder.join(CRAFT));
        let controller = input::load_controller(&folder.join(CONTROLLER));
        let plans = input::load_flights(&[folder.join(FLIGHTS)]);
        Self::assemble(craft, controller, plans, texts, wrong)
    }

    /// The built-in demo.
    ///
    /// # Errors
    /// None while the demo's files are valid.
    pub fn demo() -> Result<Self, Vec<InputError>> {
        let text = |file: demo::File| Some((format!("built-in {}", file.path), file.text.to_owned()));
        let texts = Texts { requirements: text(demo::REQUIREMENTS), baseline: text(demo::BASELINE) };
        Self::assemble(
            input::demo_craft(),
            input::demo_controller(),
            input::demo_flights(),
            texts,
            Vec::new(),
        )
    }

    fn assemble(
        craft: Result<Craft, InputError>,
        controller: Result<Config, InputError>,
        plans: Result<Vec<FlightPlan>, Vec<InputError>>,
        texts: Texts,
        mut wrong: Vec<InputError>,
    ) -> Result<Self, Vec<InputError>> {
        let craft = craft.map_err(|error| wrong.push(error)).ok();
        let controller = controller.map_err(|error| wrong.push(error)).ok();
        let plans = plans.map_err(|errors| wrong.extend(errors)).ok();
        let baseline = texts
            .baseline
            .and_then(|(path, text)| baseline::read(&path, &text).map_err(|error| wrong.push(error)).ok());
        let (Some(craft), Some(controller)) = (craft, controller) else { return Err(wrong) };
        let mut subject = Subject::new(craft, controller, plans.unwrap_or_default());
        let applied =
            texts.requirements.map_or(Ok(()), |(path, text)| apply_requirements(&path, &text, &mut subject));
        wrong.extend(applied.err());
        if wrong.is_empty() { Ok(Self { subject, baseline }) } else { Err(wrong) }
    }
}
