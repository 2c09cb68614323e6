//! The figures, from the balance of forces.

use aplomb_craft::atmosphere::{Air, SEA_LEVEL_DENSITY_KG_M3, geopotential_m};
use aplomb_craft::gravity::STANDARD_M_S2;
use aplomb_craft::{AirConfig, Steady, glam::DVec3};

use super::confirm::{HEIGHT_M, Trial};
use super::{Confirmation, EnvelopeError, Figure, LEAST_THRUST_TO_WEIGHT, TOLERANCE};
use crate::input::Craft;
use crate::input::craft::INCH_M;
use crate::report::CraftNotes;
use crate::report::forces::{draw_triangle, stretches};
use crate::report::number::fixed;

/// Share of the battery's charge that is kept for coming home (common practice, no source).
const RESERVE: f64 = 0.2;

/// Where and how the craft is flown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Ground above sea level in m.
    pub elevation_m: f64,
    /// Temperature above the standard atmosphere in K.
    pub temperature_offset_k: f64,
    /// Load at the centre of mass in kg.
    pub payload_kg: f64,
    /// Wear of the battery: 0 new, 1 at the end of its life, which is 80 % of the capacity and twice the resistance (common
    /// practice, no source).
    pub battery_wear: f64,
}

impl Conditions {
    /// Density of the air where the figures hold, in kg/m3.
    #[must_use]
    pub fn density_kg_m3(&self) -> f64 {
        Air::at(geopotential_m(self.elevation_m + HEIGHT_M), self.temperature_offset_k).density_kg_m3
    }

    /// The conditions in one sentence.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "At {} m above sea level, {} K from the standard temperature, with {} kg of load and a battery worn by {} %.",
            fixed(self.elevation_m, 0),
            fixed(self.temperature_offset_k, 0),
            fixed(self.payload_kg, 2),
            fixed(100.0 * self.battery_wear, 0)
        )
    }

    /// The craft as it is under these conditions.
    fn of(&self, craft: &Craft) -> Craft {
        let mut craft = craft.clone();
        craft.config.mass_kg += self.payload_kg;
        craft.config.battery.capacity_ah *= 1.0 - 0.2 * self.battery_wear;
        craft.config.battery.resistance_ohm *= 1.0 + self.battery_wear;
        craft
    }

    fn air(&self) -> AirConfig {
        AirConfig {
            elevation_m: self.elevation_m,
            temperature_offset_k: self.temperature_offset_k,
            ..AirConfig::default()
        }
    }
}

/// The envelope of `craft` under `conditions`; each figure is flown.
///
/// # Errors
/// A craft that cannot hover under these conditions.
pub fn find(craft: &Craft, conditions: &Conditions) -> Result<Vec<Figure>, EnvelopeError> {
    let craft = conditions.of(craft);
    Surveyor::told_of(&craft, &craft, conditions)?.figures()
}

pub(super) struct Surveyor<'a> {
    trial: Trial<'a>,
    craft: &'a Craft,
    air: AirConfig,
}

/// The claim that `flown` is `found`.
fn compared(what: &str, found: f64, flown: f64, unit: &str, decimals: usize) -> Confirmation {
    let off = flown / found - 1.0;
    Confirmation {
        text: format!("{what}: {} {unit}, {} % off", fixed(flown, decimals), fixed(100.0 * off, 2)),
        holds: off.abs() <= TOLERANCE,
    }
}

/// Largest x in 0..`most` for which `fits`, which holds up to some x and no further; `None` where it holds to the end.
fn last(most: f64, fits: impl Fn(f64) -> bool) -> Option<f64> {
    if fits(most) {
        return None;
    }
    let (mut low, mut high) = (0.0, most);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if fits(middle) { low = middle } else { high = middle }
    }
    Some(low)
}

impl<'a> Surveyor<'a> {
    /// Figures of `craft`, flown by `flown`: the same but in the test that they must be.
    pub fn told_of(
        craft: &'a Craft,
        flown: &'a Craft,
        conditions: &'a Conditions,
    ) -> Result<Self, EnvelopeError> {
        let max_thrust_n = 4.0 * craft.full_thrust_n();
        let weight_n = craft.config.mass_kg * STANDARD_M_S2;
        if max_thrust_n < LEAST_THRUST_TO_WEIGHT * weight_n {
            return Err(EnvelopeError::TooHeavy { max_thrust_n, weight_n });
        }
        Ok(Self { trial: Trial::new(flown, conditions)?, craft, air: conditions.air() })
    }

    pub fn figures(&self) -> Result<Vec<Figure>, EnvelopeError> {
        let hover = self.steady(DVec3::ZERO)?;
        Ok(vec![
            self.thrust()?,
            self.hover(&hover)?,
            self.endurance()?,
            self.tilt()?,
            self.wind()?,
            self.climb()?,
            self.descent(),
        ])
    }

    fn steady(&self, velocity_m_s: DVec3) -> Result<Steady, EnvelopeError> {
        Ok(Steady::find(&self.craft.config, &self.air, HEIGHT_M, velocity_m_s)?)
    }

    fn weight_n(&self) -> f64 {
        self.craft.config.mass_kg * STANDARD_M_S2
    }

    fn max_thrust_n(&self) -> f64 {
        let density = self.trial.conditions.density_kg_m3();
        4.0 * self.craft.full_thrust_at_n(density / SEA_LEVEL_DENSITY_KG_M3)
    }

    /// The flight at this velocity is within the battery's and the tilt's limits.
    fn can(&self, height_m: f64, velocity_m_s: DVec3, tilt_limit_rad: f64) -> bool {
        Steady::find(&self.craft.config, &self.air, height_m, velocity_m_s)
            .is_ok_and(|steady| steady.largest_command() <= 1.0 && steady.tilt_rad <= tilt_limit_rad)
    }

    fn thrust(&self) -> Result<Figure, EnvelopeError> {
        let (full, weight) = (self.max_thrust_n(), self.weight_n());
        let flown = self.trial.held_under_full_command(0.0, full)?;
        Ok(Figure {
            question: "How much can it lift?",
            answer: format!(
                "At full command the four rotors lift {} N, {} times the weight of {} N; {} kg is what it could just hold up.",
                fixed(full, 1),
                fixed(full / weight, 2),
                fixed(weight, 1),
                fixed(full / STANDARD_M_S2, 2)
            ),
            values: vec![
                ("thrust to weight", full / weight, ""),
                ("full thrust", full, "N"),
                ("weight", weight, "N"),
            ],
            formula: "T/(m g), with T = 4 kT w^2 at the speed w that the battery gives under its own sag",
            confirmed: Some(compared(
                "lifted under full command, held down by an outside force",
                full,
                flown,
                "N",
                2,
            )),
            picture: None,
        })
    }

    fn hover(&self, hover: &Steady) -> Result<Figure, EnvelopeError> {
        let command = 0.25 * hover.command.sum();
        let (flown, flown_a) = self.trial.hover()?;
        let by_command = compared("hover flown: command", 100.0 * command, 100.0 * flown, "%", 1);
        let by_current = compared("current", hover.battery.current_a, flown_a, "A", 2);
        Ok(Figure {
            question: "What does hovering take?",
            answer: format!(
                "It hovers at {} % of the command and {} A; each rotor turns at {} rpm.",
                fixed(100.0 * command, 1),
                fixed(hover.battery.current_a, 1),
                fixed(0.25 * hover.rotor_speed_rad_s.sum() * 60.0 / std::f64::consts::TAU, 0)
            ),
            values: vec![
                ("hover command", 100.0 * command, "%"),
                ("hover current", hover.battery.current_a, "A"),
                ("hover power", hover.battery.current_a * hover.battery.voltage_v, "W"),
            ],
            formula: "T = m g; V = Kt w + R I, I = Q/Kt + I0; command = V/V of the battery",
            confirmed: Some(Confirmation {
                text: format!("{}; {}", by_command.text, by_current.text),
                holds: by_command.holds && by_current.holds,
            }),
            picture: None,
        })
    }

    /// Time from the start charge to the reserve: the charge over the current that it takes at each state of charge.
    fn endurance(&self) -> Result<Figure, EnvelopeError> {
        let battery = &self.craft.config.battery;
        let start = battery.state_of_charge;
        let (time_s, left) = self.steady(DVec3::ZERO)?.endurance(battery, RESERVE);
        let too_weak = left > RESERVE;
        let flown_s = self.trial.endurance_s(left, time_s)?;
        let end = if too_weak {
            "at which full command no longer holds it up"
        } else {
            "that are kept for coming home"
        };
        Ok(Figure {
            question: "How long can it hover?",
            answer: format!(
                "{} min from {} % of the charge to the {} % {end}. Wind and turbulence take from it.",
                fixed(time_s / 60.0, 1),
                fixed(100.0 * start, 0),
                fixed(100.0 * left, 0)
            ),
            values: vec![("endurance", time_s / 60.0, "min")],
            formula: "integral of capacity/I ds over the state of charge s, I = P/V, V = Voc(s) - R I - what the slow transients take",
            confirmed: Some(compared("hovered", time_s / 60.0, flown_s / 60.0, "min", 2)),
            picture: None,
        })
    }

    fn tilt(&self) -> Result<Figure, EnvelopeError> {
        let (full, weight) = (self.max_thrust_n(), self.weight_n());
        let steepest = libm::acos((weight / full).min(1.0));
        let flown = self.trial.held_under_full_command(steepest, full)?;
        let limit_deg = f64::from(self.trial.controller.thrust.tilt_limit_rad).to_degrees();
        Ok(Figure {
            question: "How far may it tilt without sinking?",
            answer: format!(
                "{} deg at full command and low speed, with nothing left to steer by. The controller stops at {} deg and keeps the \
                 rest for roll, pitch and gusts.",
                fixed(steepest.to_degrees(), 1),
                fixed(limit_deg, 1)
            ),
            values: vec![
                ("steepest tilt", steepest.to_degrees(), "deg"),
                ("tilt limit of the controller", limit_deg, "deg"),
            ],
            formula: "T cos(tilt) = m g, so tilt = arccos(m g/T)",
            confirmed: Some(compared(
                "upward thrust at that tilt and full command, held sideways by an outside force",
                weight,
                flown,
                "N",
                2,
            )),
            picture: None,
        })
    }

    fn wind(&self) -> Result<Figure, EnvelopeError> {
        let limit = f64::from(self.trial.controller.thrust.tilt_limit_rad);
        let strongest = last(60.0, |wind| self.can(HEIGHT_M, DVec3::new(wind, 0.0, 0.0), limit));
        let Some(strongest) = strongest else {
            return Ok(Figure {
                question: "What wind can it hold?",
                answer: "More than 60 m/s by its drag alone: nothing that a drag this small says is worth flying by.".to_owned(),
                values: Vec::new(),
                formula: "m g tan(tilt limit) = drag",
                confirmed: None,
                picture: None,
            });
        };
        let (drift_below, carried_below, trace) = self.trial.wind((1.0 - TOLERANCE) * strongest)?;
        let (_, carried_above, _) = self.trial.wind((1.0 + TOLERANCE) * strongest)?;
        let mass_kg = self.craft.config.mass_kg;
        let notes = CraftNotes {
            mass_kg,
            full_thrust_n: 0.25 * self.max_thrust_n(),
            tilt_limit_deg: limit.to_degrees(),
        };
        let stretch = stretches(&trace, 5.0, mass_kg).into_iter().next();
        Ok(Figure {
            question: "What wind can it hold?",
            answer: format!(
                "{} m/s without gusts, leaning by the {} deg that the controller allows. Past that it is carried downwind.",
                fixed(strongest, 1),
                fixed(limit.to_degrees(), 1)
            ),
            values: vec![("strongest steady wind", strongest, "m/s")],
            formula: "m g tan(tilt) = drag at zero ground speed, at the tilt limit or at full command, whichever comes first",
            confirmed: Some(Confirmation {
                text: format!(
                    "in 2 % less wind it holds its place (drift {} m/s), in 2 % more it says that it is carried off: {}",
                    fixed(drift_below, 2),
                    if carried_above { "so" } else { "not so" }
                ),
                holds: !carried_below && drift_below.abs() < 0.1 && carried_above,
            }),
            picture: stretch.map(|stretch| {
                draw_triangle(&stretch, &notes, "envelope-wind", "The forces just below that wind")
            }),
        })
    }

    fn climb(&self) -> Result<Figure, EnvelopeError> {
        let fastest_at = |height_m| {
            let fits = |climb: f64| self.can(height_m, DVec3::new(0.0, 0.0, -climb), f64::INFINITY);
            last(60.0, fits)
        };
        let question = "How fast can it climb?";
        let Some(fastest) = fastest_at(HEIGHT_M) else {
            return Ok(Figure {
                question,
                answer: "This cannot be told: its propellers have constant coefficients and no drag stops it below 60 m/s. Give \
                         a marking in place of the coefficients, and they change with the flow."
                    .to_owned(),
                values: Vec::new(),
                formula: "T(climb) = m g + drag at full command",
                confirmed: None,
                picture: None,
            });
        };
        let (flown, height_m) = self.trial.climb(fastest)?;
        let expected = fastest_at(height_m).unwrap_or(f64::NAN);
        let what =
            format!("climbed, against {} m/s in the air of {} m", fixed(expected, 2), fixed(height_m, 0));
        Ok(Figure {
            question,
            answer: format!(
                "{} m/s straight up at full command, with nothing left to steer by; the controller asks for {} m/s at most.",
                fixed(fastest, 1),
                fixed(f64::from(self.trial.controller.vertical.climb_limit_m_s), 1)
            ),
            values: vec![("climb limit", fastest, "m/s")],
            formula: "T(climb) = m g + drag at full command, the thrust falling as the rotors meet the air faster",
            confirmed: Some(compared(&what, expected, flown, "m/s", 2)),
            picture: None,
        })
    }

    fn descent(&self) -> Figure {
        let radius_m = 0.5 * self.craft.diameter_in * INCH_M;
        let disc_m2 = 4.0 * std::f64::consts::PI * radius_m * radius_m;
        let induced = libm::sqrt(self.weight_n() / (2.0 * self.trial.conditions.density_kg_m3() * disc_m2));
        Figure {
            question: "How fast may it come down?",
            answer: format!(
                "Below {} m/s straight down, half of what the air moves through its rotors in hover. Between about {} and {} m/s \
                 it sinks into its own wake (vortex ring) and thrust becomes rough and weak; the controller stays at {} m/s.",
                fixed(0.5 * induced, 1),
                fixed(0.5 * induced, 1),
                fixed(1.5 * induced, 1),
                fixed(f64::from(self.trial.controller.vertical.descent_limit_m_s), 1)
            ),
            values: vec![("safe descent", 0.5 * induced, "m/s"), ("hover induced speed", induced, "m/s")],
            formula: "v = sqrt(m g/(2 rho A)), A the area of the four rotors (momentum theory); half of it: common practice, no source",
            confirmed: None,
            picture: None,
        }
    }
}
