//! How a multirotor flies: questions of a beginner, answered with figures of simulated flights of a given
//! craft.
//!
//! Each answer has checks, which are evaluated on the flight that supplies its figures.

mod lessons;
mod window_mean;

use crate::craft::{Craft, idealised};
use crate::forces::Interval;
use aplomb_craft::Rotors;
use aplomb_flight::FlightPlan;
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
    /// What it shows.
    pub drawing: Drawing,
}

/// Content of a picture.
#[derive(Clone, Debug, PartialEq)]
pub enum Drawing {
    /// The craft from above.
    TopView {
        /// Thrust of each rotor in N.
        thrust_n: Rotors<f64>,
        /// A line at each rotor, such as its speed.
        labels: Rotors<String>,
        /// With the direction of the reaction torque of each rotor on the frame.
        reactions: bool,
    },
    /// The force triangle.
    Triangle(Interval),
}

/// One of each flight that supplies figures: plans, or traces.
#[derive(Clone, Debug)]
pub struct Flights<T> {
    /// Hover for 10 s.
    pub hover: T,
    /// Climb at 2 s, descent at 24 s.
    pub climb: T,
    /// A step of the heading at 2 s.
    pub yaw: T,
    /// A step of the tilt at 2 s.
    pub tilt: T,
    /// A steady wind from 2 s on.
    pub wind: T,
    /// A wind that grows beyond what can be held; flown with ideal sensors and at a constant state of charge,
    /// since an error of the estimated tilt would shift the limit.
    pub wind_limit: T,
}

/// Flies `craft` and writes the lessons.
///
/// # Errors
/// An invalid craft or controller.
pub fn explain(
    craft: &Craft,
    controller: &aplomb::flight::Config,
    plans: &Flights<FlightPlan>,
    seed: u64,
) -> Result<Vec<Lesson>, FlyError> {
    Ok(lessons(craft, controller, &plans.flown(craft, controller, seed)?))
}

/// The lessons, with the figures of flown flights.
#[must_use]
pub fn lessons(craft: &Craft, controller: &aplomb::flight::Config, flights: &Flights<Trace>) -> Vec<Lesson> {
    lessons::all(craft, controller, flights)
}

impl Flights<FlightPlan> {
    /// Flies each.
    ///
    /// # Errors
    /// An invalid craft or controller.
    pub fn flown(
        &self,
        craft: &Craft,
        controller: &aplomb::flight::Config,
        seed: u64,
    ) -> Result<Flights<Trace>, FlyError> {
        let fly = |craft, plan| fly(craft, controller, plan, seed).map(|flown| flown.trace);
        let flown = |plan| fly(&craft.config, plan);
        Ok(Flights {
            hover: flown(&self.hover)?,
            climb: flown(&self.climb)?,
            yaw: flown(&self.yaw)?,
            tilt: flown(&self.tilt)?,
            wind: flown(&self.wind)?,
            wind_limit: fly(&idealised(&craft.config), &self.wind_limit)?,
        })
    }
}
