//! How a multirotor flies: questions of a beginner, answered with figures of simulated flights of a given
//! craft.
//!
//! Each answer has checks, which are evaluated on the flight that supplies its figures.

mod lessons;
mod page;
mod top_view;
mod window_mean;

pub use page::compose;

use crate::input::{Craft, InputError};
use aplomb_flight::fly::{FlyError, fly};
use aplomb_flight::trace::Trace;

/// A question with its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// The question.
    pub question: &'static str,
    /// The answer with the figures of the craft.
    pub answer: String,
    /// The equation, with the meaning of its symbols.
    pub formula: &'static str,
    /// Checks of the answer on the flight.
    pub checks: Vec<Check>,
    /// Pictures.
    pub pictures: Vec<Picture>,
}

/// A statement with its measured figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// The statement, with the figure.
    pub text: String,
    /// The figure is within its limit.
    pub passes: bool,
}

/// A picture with its caption.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Heading.
    pub title: String,
    /// Caption.
    pub caption: String,
    /// Inline SVG.
    pub svg: String,
}

/// The flights that supply the figures.
#[derive(Clone, Debug)]
struct Flights {
    hover: Trace,
    climb: Trace,
    yaw: Trace,
    tilt: Trace,
    wind: Trace,
    wind_limit: Trace,
}

/// Reason for no explanation.
#[derive(Debug)]
pub enum ExplainError {
    /// A built-in flight file is invalid.
    Flight(InputError),
    /// The craft or the controller is invalid.
    Fly(FlyError),
}

/// Flies `craft` and writes the lessons.
///
/// # Errors
/// An invalid craft or controller.
pub fn explain(
    craft: &Craft,
    controller: &aplomb::flight::Config,
    seed: u64,
) -> Result<Vec<Lesson>, ExplainError> {
    Ok(lessons::all(craft, controller, &flights(craft, controller, seed)?))
}

fn flights(craft: &Craft, controller: &aplomb::flight::Config, seed: u64) -> Result<Flights, ExplainError> {
    let flown = |name: &str, text: &str| {
        let plan = crate::input::unjudged_flight(name, name, text).map_err(ExplainError::Flight)?;
        fly(&craft.config, controller, &plan, seed).map(|flown| flown.trace).map_err(ExplainError::Fly)
    };
    Ok(Flights {
        hover: flown("hover", include_str!("flights/hover.toml"))?,
        climb: flown("climb", include_str!("flights/climb.toml"))?,
        yaw: flown("yaw", include_str!("flights/yaw.toml"))?,
        tilt: flown("tilt", include_str!("flights/tilt.toml"))?,
        wind: flown("wind", include_str!("flights/wind.toml"))?,
        wind_limit: flown("wind-limit", include_str!("flights/wind-limit.toml"))?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{controller_model, input};

    fn failing(lessons: &[Lesson]) -> Vec<&str> {
        let checks = lessons.iter().flat_map(|lesson| &lesson.checks);
        checks.filter(|check| !check.passes).map(|check| check.text.as_str()).collect()
    }

    #[test]
    fn checks_pass_on_the_demo_and_fail_on_exchanged_flights() {
        let craft = input::demo_craft().unwrap();
        let controller = controller_model::controller(&craft).unwrap();
        let flown = flights(&craft, &controller, 1).unwrap();
        let lessons = lessons::all(&craft, &controller, &flown);
        assert_eq!(failing(&lessons), Vec::<&str>::new());
        assert_eq!(lessons.len(), 11);

        let idle = Flights {
            climb: flown.hover.clone(),
            yaw: flown.hover.clone(),
            tilt: flown.hover.clone(),
            wind: flown.tilt.clone(),
            ..flown
        };
        let lessons = lessons::all(&craft, &controller, &idle);
        let failed = failing(&lessons);
        for part in [
            "in the steady climb",
            "heading set-point",
            "at the start of the rotation",
            "mean drift",
            "sink rate",
        ] {
            assert!(failed.iter().any(|text| text.contains(part)), "{part}: {failed:#?}");
        }
    }

    #[test]
    fn page_is_well_formed_and_contains_every_question() {
        let craft = input::demo_craft().unwrap();
        let lessons = explain(&craft, &input::demo_controller().unwrap().config, 2).unwrap();
        let page = compose(&craft, &lessons, &crate::report::Repeat::default());
        roxmltree::Document::parse_with_options(
            &page,
            roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() },
        )
        .unwrap();
        assert!(lessons.iter().all(|lesson| page.contains(lesson.question)));
    }
}
