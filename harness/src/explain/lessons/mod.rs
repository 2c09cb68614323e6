//! The questions and their answers.

mod rotors;
mod tilt;
mod wind;

use aplomb_craft::gravity::STANDARD_M_S2;
use aplomb_craft::{Rotors, Spin};

use crate::explain::top_view::{TopView, rpm};
use crate::explain::window_mean::WindowMean;
use crate::explain::{Flights, Lesson, Picture};
use crate::input::Craft;
use crate::report::CraftNotes;
use crate::report::forces::{Interval, draw_triangle};
use crate::report::number::fixed;

/// Time of the command in the flights, in s.
const COMMAND_S: f64 = 2.0;
/// Start of the descent in s.
const DESCENT_S: f64 = 24.0;
/// Density of the standard atmosphere at sea level in kg/m3 (ISO 2533:1975).
const DENSITY_KG_M3: f64 = 1.225;

/// Smallest difference between rotors that is well above the noise in hover, as a share.
const SIGNIFICANT: f64 = 0.03;

/// All lessons, each based on the previous ones.
pub fn all(craft: &Craft, controller: &aplomb::flight::Config, flights: &Flights) -> Vec<Lesson> {
    let context = Context {
        craft,
        tilt_limit_deg: f64::from(controller.thrust.tilt_limit_rad).to_degrees(),
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
        context.camera(&flights.wind),
        context.estimation(&flights.wind),
    ]
}

struct Context<'a> {
    craft: &'a Craft,
    tilt_limit_deg: f64,
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

/// The magnitude of a share is at most `bound`.
fn small(share: f64, bound: f64) -> bool {
    share.abs() <= bound
}
impl Context<'_> {
    fn top_view(&self, moment: &WindowMean, labels: Rotors<String>, reactions: bool, name: &str) -> String {
        TopView { craft: self.craft, thrust_n: moment.thrust_n, labels, reactions }
            .draw(&format!("e-{name}"), name)
    }

    fn speeds(&self, moment: &WindowMean) -> Rotors<String> {
        moment.rpm.zip(moment.thrust_n).map(|(speed, thrust)| format!("{}, {}", rpm(speed), newton(thrust)))
    }

    /// Sum over the rotors with a direction of rotation.
    fn of_spin(&self, spin: Spin, values: Rotors<f64>) -> f64 {
        let arms = self.craft.config.arms.into_array();
        arms.iter().zip(values.into_array()).filter(|(arm, _)| arm.spin == spin).map(|(_, value)| value).sum()
    }

    fn notes(&self) -> CraftNotes {
        CraftNotes {
            mass_kg: self.craft.config.mass_kg,
            full_thrust_n: self.craft.full_thrust_n(),
            tilt_limit_deg: self.tilt_limit_deg,
        }
    }

    fn triangle(&self, interval: Option<&Interval>, id: &str, title: &str) -> Vec<Picture> {
        let drawn = interval.map(|interval| Picture {
            title: title.to_owned(),
            caption: "Vector sum of thrust and weight; the resultant is horizontal.".to_owned(),
            svg: draw_triangle(interval, &self.notes(), &format!("e-{id}-triangle"), title),
        });
        drawn.into_iter().collect()
    }
}
