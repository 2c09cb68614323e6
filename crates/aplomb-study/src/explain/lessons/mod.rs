//! The questions and their answers.

mod rotors;
mod sensing;
mod tilt;
mod wind;

use aplomb_craft::gravity::STANDARD_M_S2;
use aplomb_craft::{AirConfig, Rotors, Spin};
use aplomb_flight::trace::Trace;

use crate::craft::Craft;
use crate::envelope::balance::Limits;
use crate::explain::window_mean::WindowMean;
use crate::explain::{Check, Drawing, Flights, Lesson, Picture};
use crate::forces::Interval;
use crate::number::fixed;

/// Time of the command in the flights, in s.
const COMMAND_S: f64 = 2.0;
/// Start of the descent in s.
const DESCENT_S: f64 = 24.0;
/// Density of the standard atmosphere at sea level in kg/m3 (ISO 2533:1975).
const DENSITY_KG_M3: f64 = 1.225;

/// Smallest difference between rotors that is well above the noise in hover, as a share.
const SIGNIFICANT: f64 = 0.03;

/// All lessons, each based on the previous ones.
pub fn all(craft: &Craft, controller: &aplomb::flight::Config, flights: &Flights<Trace>) -> Vec<Lesson> {
    let context = Context {
        craft,
        limits: Limits::of(controller, &craft.config, &AirConfig::default()),
        weight_n: craft.config.mass_kg * STANDARD_M_S2,
        hover: WindowMean::over(&flights.hover, 0.0, 10.0),
    };
    vec![
        context.lift(),
        context.reaction(),
        context.climb(&flights.climb),
        context.yaw(&flights.yaw),
        context.tilt(&flights.tilt),
        context.acceleration(&flights.tilt),
        context.wind(&flights.wind),
        context.wind_limit(&flights.wind_limit),
        context.descent(&flights.climb),
        context.camera(&flights.wind, &flights.hover),
        context.estimation(&flights.wind),
    ]
}

struct Context<'a> {
    craft: &'a Craft,
    limits: Limits,
    weight_n: f64,
    hover: WindowMean,
}

/// A force in N with three significant digits.
fn newton(value: f64) -> String {
    let decimals = if value.abs() < 1.0 {
        3
    } else if value.abs() < 10.0 {
        2
    } else {
        1
    };
    format!("{} N", fixed(value, decimals))
}

/// A torque in mN m.
fn torque(value_nm: f64) -> String {
    format!("{} mN m", fixed(1e3 * value_nm, 1))
}

fn percent(value: f64) -> String {
    format!("{} %", fixed(100.0 * value, 1))
}

/// A statement that holds if `passes`.
fn check(text: String, passes: bool) -> Check {
    Check { text, passes }
}

/// "3.1 % larger" or "3.1 % smaller".
fn relative(share: f64) -> String {
    format!("{} {}", percent(share.abs()), if share < 0.0 { "smaller" } else { "larger" })
}

/// The magnitude of a share is at most `bound`.
fn small(share: f64, bound: f64) -> bool {
    share.abs() <= bound
}

impl Context<'_> {
    fn speeds(&self, moment: &WindowMean) -> Rotors<String> {
        moment.rpm.zip(moment.thrust_n).map(|(speed, thrust)| format!("{}, {}", rpm(speed), newton(thrust)))
    }

    /// Sum over the rotors with a direction of rotation.
    fn of_spin(&self, spin: Spin, values: Rotors<f64>) -> f64 {
        let arms = self.craft.config.arms.into_array();
        arms.iter().zip(values.into_array()).filter(|(arm, _)| arm.spin == spin).map(|(_, value)| value).sum()
    }
}

/// The craft from above, with the mean thrusts of `moment`.
fn top_view(moment: &WindowMean, labels: Rotors<String>, reactions: bool) -> Drawing {
    Drawing::TopView { thrust_n: moment.thrust_n, labels, reactions }
}

fn triangle(interval: Option<&Interval>, title: &str) -> Vec<Picture> {
    let drawn = interval.map(|interval| Picture {
        title: title.to_owned(),
        caption: "Vector sum of the mean thrust and the weight.".to_owned(),
        drawing: Drawing::Triangle(*interval),
    });
    drawn.into_iter().collect()
}

/// Speed of a rotor: "5,612 rpm".
fn rpm(value: f64) -> String {
    let text = fixed(libm::round(value), 0);
    match text.len() {
        4.. if text.is_ascii() => format!("{},{} rpm", &text[..text.len() - 3], &text[text.len() - 3..]),
        _ => format!("{text} rpm"),
    }
}
