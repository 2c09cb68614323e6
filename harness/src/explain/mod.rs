//! Why it flies: questions of somebody who has never seen such a craft, answered from flights of this very craft.
//!
//! Every answer makes claims, and each claim is judged on the flight that it was taken from.

mod lessons;
mod moment;
mod page;
mod plan;

pub use page::compose;

use crate::fly::{FlyError, fly};
use crate::input::{Craft, FlightPlan, InputError};
use crate::trace::Trace;

/// A question with its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// The question.
    pub question: &'static str,
    /// The answer, in plain sentences with this craft's figures.
    pub answer: String,
    /// The relation behind it, with the meaning of its letters.
    pub formula: &'static str,
    /// What the flight must show for the answer to be true.
    pub claims: Vec<Claim>,
    /// Pictures.
    pub pictures: Vec<Picture>,
}

/// A statement with the figure that it was judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// The statement, with the figure.
    pub text: String,
    /// Whether the flight bears it out.
    pub holds: bool,
}

/// A picture with its caption.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Heading.
    pub title: String,
    /// What to see in it.
    pub caption: String,
    /// Inline SVG.
    pub svg: String,
}

/// The flights that the lessons are taken from.
#[derive(Clone, Debug)]
struct Flights {
    hover: Trace,
    climb: Trace,
    turn: Trace,
    lean: Trace,
    wind: Trace,
    too_much_wind: Trace,
}

/// Why there is no explanation.
#[derive(Debug)]
pub enum ExplainError {
    /// A flight file of ours is wrong.
    Flight(InputError),
    /// The craft or the controller cannot fly.
    Fly(FlyError),
}

/// Flies `craft` and explains it.
///
/// # Errors
/// A craft or a controller that cannot be built.
pub fn explain(
    craft: &Craft,
    controller: &aplomb::flight::Config,
    seed: u64,
) -> Result<Vec<Lesson>, ExplainError> {
    Ok(lessons::all(craft, controller, &flights(craft, controller, seed)?))
}

fn flights(craft: &Craft, controller: &aplomb::flight::Config, seed: u64) -> Result<Flights, ExplainError> {
    let flown = |name: &str, text: &str| {
        let plan = FlightPlan::from_unjudged_text(name, name, text).map_err(ExplainError::Flight)?;
        fly(&craft.config, controller, &plan, seed).map(|flown| flown.trace).map_err(ExplainError::Fly)
    };
    Ok(Flights {
        hover: flown("hover", include_str!("flights/hover.toml"))?,
        climb: flown("climb", include_str!("flights/climb.toml"))?,
        turn: flown("turn", include_str!("flights/turn.toml"))?,
        lean: flown("lean", include_str!("flights/lean.toml"))?,
        wind: flown("wind", include_str!("flights/wind.toml"))?,
        too_much_wind: flown("too-much-wind", include_str!("flights/too-much-wind.toml"))?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{controller_model, input};

    fn broken(lessons: &[Lesson]) -> Vec<&str> {
        let claims = lessons.iter().flat_map(|lesson| &lesson.claims);
        claims.filter(|claim| !claim.holds).map(|claim| claim.text.as_str()).collect()
    }

    #[test]
    fn every_claim_holds_on_the_demo_and_some_fail_where_the_flights_do_something_else() {
        let craft = input::demo_craft().unwrap();
        let controller = controller_model::controller(&craft).unwrap();
        let flown = flights(&craft, &controller, 1).unwrap();
        let lessons = lessons::all(&craft, &controller, &flown);
        assert_eq!(broken(&lessons), Vec::<&str>::new());
        assert_eq!(lessons.len(), 11);

        let idle = Flights {
            climb: flown.hover.clone(),
            turn: flown.hover.clone(),
            lean: flown.hover.clone(),
            wind: flown.lean.clone(),
            ..flown
        };
        let lessons = lessons::all(&craft, &controller, &idle);
        let broken = broken(&lessons);
        for part in ["in the steady climb", "asked to turn", "at the onset", "it drifts at", "its descent"] {
            assert!(broken.iter().any(|text| text.contains(part)), "{part}: {broken:#?}");
        }
    }

    #[test]
    fn page_is_well_formed_and_asks_every_question() {
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
