//! The questions, and their answers from the flights.

mod lean;
mod rotors;
mod wind;

use aplomb_craft::gravity::STANDARD_M_S2;
use aplomb_craft::{Rotors, Spin};

use crate::explain::moment::Moment;
use crate::explain::plan::{Plan, rpm};
use crate::explain::{Flights, Lesson, Picture};
use crate::input::Craft;
use crate::report::CraftNotes;
use crate::report::forces::{Stretch, draw_triangle};
use crate::report::number::fixed;

/// When the flights give their command, in s.
const COMMAND_S: f64 = 2.0;
/// When the climb turns into a descent, in s.
const DESCENT_S: f64 = 24.0;
/// Density of the standard atmosphere at sea level in kg/m3 (ISO 2533:1975).
const DENSITY_KG_M3: f64 = 1.225;

/// A difference between rotors that is clear of what noise makes of an even hover, as a share.
const CLEAR: f64 = 0.03;

/// All lessons, each building on the ones before.
pub fn all(craft: &Craft, controller: &aplomb::flight::Config, flights: &Flights) -> Vec<Lesson> {
    let teacher = Teacher {
        craft,
        tilt_limit_deg: f64::from(controller.thrust.tilt_limit_rad).to_degrees(),
        weight_n: craft.config.mass_kg * STANDARD_M_S2,
        hover: Moment::over(&flights.hover, 0.0, 10.0),
    };
    vec![
        teacher.lift(),
        teacher.reaction(),
        teacher.climb(&flights.climb),
        teacher.turn(&flights.turn),
        teacher.lean(&flights.lean),
        teacher.go(&flights.lean),
        teacher.wind(&flights.wind),
        teacher.too_much_wind(&flights.too_much_wind),
        teacher.descent(&flights.climb),
        teacher.camera(&flights.wind),
        teacher.knowing(&flights.wind),
    ]
}

struct Teacher<'a> {
    craft: &'a Craft,
    tilt_limit_deg: f64,
    weight_n: f64,
    hover: Moment,
}

/// A force in N with three digits.
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

/// A claim that a share is within `bound` of nothing.
fn small(share: f64, bound: f64) -> bool {
    share.abs() <= bound
}
impl Teacher<'_> {
    fn plan(&self, moment: &Moment, labels: Rotors<String>, reactions: bool, name: &str) -> String {
        Plan { craft: self.craft, thrust_n: moment.thrust_n, labels, reactions }
            .draw(&format!("e-{name}"), name)
    }

    fn speeds(&self, moment: &Moment) -> Rotors<String> {
        moment.rpm.zip(moment.thrust_n).map(|(speed, thrust)| format!("{}, {}", rpm(speed), newton(thrust)))
    }

    /// Sum over the rotors that turn `spin`.
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

    fn triangle(&self, stretch: Option<&Stretch>, id: &str, title: &str) -> Vec<Picture> {
        let drawn = stretch.map(|stretch| Picture {
            title: title.to_owned(),
            caption: "Thrust and weight, head to tail; what is left over points to the side.".to_owned(),
            svg: draw_triangle(stretch, &self.notes(), &format!("e-{id}-triangle"), title),
        });
        drawn.into_iter().collect()
    }
}
