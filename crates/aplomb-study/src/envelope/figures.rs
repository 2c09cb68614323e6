//! The figures, from the force balance.

use aplomb_craft::atmosphere::{Air, SEA_LEVEL_DENSITY_KG_M3, geopotential_m};
use aplomb_craft::gravity::STANDARD_M_S2;
use aplomb_craft::{AirConfig, Steady, glam::DVec3};

use super::balance;
use super::confirm::{HEIGHT_M, LONGEST_FLIGHT_S, Trial};
use super::{Confirmation, EnvelopeError, Figure, LEAST_THRUST_TO_WEIGHT, TOLERANCE};
use crate::craft::Craft;
use crate::craft::INCH_M;
use crate::forces::intervals;
use crate::number::fixed;

/// Reserve of the state of charge for the return (common practice, no source).
const RESERVE: f64 = 0.2;

/// Conditions of the flights.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Elevation of the ground above sea level in m.
    pub elevation_m: f64,
    /// Temperature above the standard atmosphere in K.
    pub temperature_offset_k: f64,
    /// Payload at the centre of mass in kg.
    pub payload_kg: f64,
    /// Wear of the battery: 0 new, 1 at the end of its life, with 80 % of the capacity and twice the
    /// resistance (common practice, no source).
    pub battery_wear: f64,
}

impl Conditions {
    /// Air density at the height of the flights in kg/m3.
    #[must_use]
    pub fn density_kg_m3(&self) -> f64 {
        Air::at(geopotential_m(self.elevation_m + HEIGHT_M), self.temperature_offset_k).density_kg_m3
    }

    /// Temperature of the air at the ground in K.
    pub(super) fn home_temperature_k(&self) -> f64 {
        Air::at(geopotential_m(self.elevation_m), self.temperature_offset_k).temperature_k
    }

    /// The conditions in one sentence.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "Elevation {} m, {} K above the standard temperature, payload {} kg, battery wear {} %.",
            fixed(self.elevation_m, 0),
            fixed(self.temperature_offset_k, 0),
            fixed(self.payload_kg, 2),
            fixed(100.0 * self.battery_wear, 0)
        )
    }

    /// The craft under these conditions.
    fn of(&self, craft: &Craft) -> Craft {
        let mut craft = craft.clone();
        craft.config.mass_kg += self.payload_kg;
        craft.config.battery.capacity_ah *= 1.0 - 0.2 * self.battery_wear;
        craft.config.battery.resistance_ohm *= 1.0 + self.battery_wear;
        craft
    }

    pub(super) fn air(&self) -> AirConfig {
        AirConfig {
            elevation_m: self.elevation_m,
            temperature_offset_k: self.temperature_offset_k,
            ..AirConfig::default()
        }
    }
}

/// The envelope of `craft` under `conditions`, confirmed by flights.
///
/// # Errors
/// A craft that cannot hover under these conditions.
pub fn find(craft: &Craft, conditions: &Conditions) -> Result<Vec<Figure>, EnvelopeError> {
    let craft = conditions.of(craft);
    find_on(&craft, &craft, conditions)
}

/// The envelope of `craft`, which has its payload and battery already, compared with flights of `flown`.
///
/// # Errors
/// A craft that cannot hover under these conditions.
pub fn find_on(craft: &Craft, flown: &Craft, conditions: &Conditions) -> Result<Vec<Figure>, EnvelopeError> {
    Analysis::new(craft, flown, conditions)?.figures()
}

pub(super) struct Analysis<'a> {
    trial: Trial<'a>,
    craft: &'a Craft,
    air: AirConfig,
}

/// Comparison of the computed figure `found` with the flown one.
fn compared(what: &str, found: f64, flown: f64, unit: &str, decimals: usize) -> Confirmation {
    let difference = flown / found - 1.0;
    Confirmation {
        text: format!(
            "{what}: {} {unit}, difference {} %",
            fixed(flown, decimals),
            fixed(100.0 * difference, 2)
        ),
        holds: difference.abs() <= TOLERANCE,
    }
}

impl<'a> Analysis<'a> {
    /// Figures of `craft`, confirmed by flights of `flown`.
    pub fn new(
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

    fn thrust(&self) -> Result<Figure, EnvelopeError> {
        let (full, weight) = (self.max_thrust_n(), self.weight_n());
        let flown = self.trial.thrust_at_full_command(0.0)?;
        Ok(Figure {
            question: "How much thrust does it have?",
            answer: format!(
                "At full command the thrust of the four rotors is {} N, {} times the weight of {} N; it would just lift {} kg.",
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
            formula: "T/(m g), with T = 4 kT w^2 at the rotor speed w at full command, with the voltage sag of the battery",
            confirmed: Some(compared(
                "thrust at full command, position and attitude held",
                full,
                flown,
                "N",
                2,
            )),
            forces: None,
        })
    }

    fn hover(&self, hover: &Steady) -> Result<Figure, EnvelopeError> {
        let command = 0.25 * hover.command.sum();
        let (flown, flown_a) = self.trial.hover()?;
        let by_command = compared("command in hover", 100.0 * command, 100.0 * flown, "%", 1);
        let by_current = compared("current", hover.battery.current_a, flown_a, "A", 2);
        Ok(Figure {
            question: "How much power does hover need?",
            answer: format!(
                "Hover needs a command of {} % and a current of {} A; the mean rotor speed is {} rpm.",
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
            forces: None,
        })
    }

    /// Time from the initial state of charge to the reserve, by integration of charge over current.
    fn endurance(&self) -> Result<Figure, EnvelopeError> {
        let battery = &self.craft.config.battery;
        let start = battery.state_of_charge;
        let (time_s, left) = self.steady(DVec3::ZERO)?.endurance(battery, RESERVE);
        let too_weak = left > RESERVE;
        // Flown unless that takes longer than an hour.
        let is_flown = time_s < 0.95 * LONGEST_FLIGHT_S;
        let flown_s = is_flown.then(|| self.trial.endurance_s(left, time_s)).transpose()?;
        let end = if too_weak { "at which full command is less than the weight" } else { "reserve" };
        Ok(Figure {
            question: "How long can it hover?",
            answer: format!(
                "{} min from {} % state of charge to the {} % {end}. Wind and turbulence reduce it.",
                fixed(time_s / 60.0, 1),
                fixed(100.0 * start, 0),
                fixed(100.0 * left, 0)
            ),
            values: vec![("endurance", time_s / 60.0, "min")],
            formula: "integral of capacity/I ds over the state of charge s, I = P/V, V = Voc(s) - R I - slow transients",
            confirmed: flown_s
                .map(|flown_s| compared("hover flown", time_s / 60.0, flown_s / 60.0, "min", 2)),
            forces: None,
        })
    }

    fn tilt(&self) -> Result<Figure, EnvelopeError> {
        let (full, weight) = (self.max_thrust_n(), self.weight_n());
        let steepest = libm::acos((weight / full).min(1.0));
        let flown = self.trial.thrust_at_full_command(steepest)?;
        let limit_deg = f64::from(self.trial.controller.thrust.tilt_limit_rad).to_degrees();
        Ok(Figure {
            question: "How far can it tilt at constant height?",
            answer: format!(
                "{} deg at full command and low speed, without thrust reserve for control. The controller limits the tilt to {} deg \
                 and keeps a reserve for roll, pitch and gusts.",
                fixed(steepest.to_degrees(), 1),
                fixed(limit_deg, 1)
            ),
            values: vec![
                ("largest tilt", steepest.to_degrees(), "deg"),
                ("tilt limit of the controller", limit_deg, "deg"),
            ],
            formula: "T cos(tilt) = m g, so tilt = arccos(m g/T)",
            confirmed: Some(compared(
                "vertical thrust at that tilt and full command, position and attitude held",
                weight,
                flown,
                "N",
                2,
            )),
            forces: None,
        })
    }

    fn wind(&self) -> Result<Figure, EnvelopeError> {
        let limits = balance::Limits::of(&self.trial.controller, &self.craft.config, &self.air);
        let strongest = balance::strongest_wind_m_s(&self.craft.config, &self.air, HEIGHT_M, &limits);
        let Some(strongest) = strongest else {
            return Ok(Figure {
                question: "In which wind can it hold its position?",
                answer:
                    "More than 60 m/s by its drag; such a small drag is not plausible, so no figure is given."
                        .to_owned(),
                values: Vec::new(),
                formula: "m g tan(tilt limit) = drag",
                confirmed: None,
                forces: None,
            });
        };
        let (drift_below, cannot_hold_below, trace) = self.trial.wind((1.0 - TOLERANCE) * strongest)?;
        let (_, cannot_hold_above, _) = self.trial.wind((1.0 + TOLERANCE) * strongest)?;
        let tilt_rad = self.steady(DVec3::new(strongest, 0.0, 0.0))?.tilt_rad;
        let mass_kg = self.craft.config.mass_kg;
        let interval = intervals(&trace, 5.0, mass_kg).into_iter().next();
        Ok(Figure {
            question: "In which wind can it hold its position?",
            answer: format!(
                "Up to {} m/s without gusts. The controller limits the tilt to {} deg and the command to {} %; at this wind {} is \
                 at its limit. In a stronger wind it drifts downwind.",
                fixed(strongest, 1),
                fixed(limits.tilt_rad.to_degrees(), 1),
                fixed(100.0 * limits.command, 0),
                if tilt_rad > 0.999 * limits.tilt_rad { "the tilt" } else { "the command" }
            ),
            values: vec![("strongest steady wind", strongest, "m/s")],
            formula: "m g tan(tilt) = drag at zero ground speed, at the limit of the tilt or of the command, whichever comes first",
            confirmed: Some(Confirmation {
                text: format!(
                    "in 2 % less wind it holds its position (drift {} m/s); in 2 % more wind it reports that it cannot hold its position ({})",
                    fixed(drift_below, 2),
                    if cannot_hold_above { "yes" } else { "no" }
                ),
                holds: !cannot_hold_below && drift_below.abs() < 0.1 && cannot_hold_above,
            }),
            forces: interval,
        })
    }

    fn climb(&self) -> Result<Figure, EnvelopeError> {
        let fastest_at = |height_m| balance::fastest_climb_m_s(&self.craft.config, &self.air, height_m);
        let question = "How fast can it climb?";
        let Some(fastest) = fastest_at(HEIGHT_M) else {
            return Ok(Figure {
                question,
                answer: "Inconclusive: the coefficients of its propellers are constant, and its drag does not limit the climb below \
                         60 m/s. With a propeller designation instead of coefficients, they depend on the inflow."
                    .to_owned(),
                values: Vec::new(),
                formula: "T(climb) = m g + drag at full command",
                confirmed: None,
                forces: None,
            });
        };
        let (flown, height_m) = self.trial.climb(fastest)?;
        let expected = fastest_at(height_m).unwrap_or(f64::NAN);
        let what = format!(
            "climb flown, against {} m/s expected at {} m height",
            fixed(expected, 2),
            fixed(height_m, 0)
        );
        Ok(Figure {
            question,
            answer: format!(
                "{} m/s vertically at full command, without thrust reserve for control. The controller limits the climb to {} m/s.",
                fixed(fastest, 1),
                fixed(f64::from(self.trial.controller.vertical.climb_limit_m_s), 1)
            ),
            values: vec![("climb limit", fastest, "m/s")],
            formula: "T(climb) = m g + drag at full command; the thrust decreases with the axial inflow",
            confirmed: Some(compared(&what, expected, flown, "m/s", 2)),
            forces: None,
        })
    }

    fn descent(&self) -> Figure {
        let radius_m = 0.5 * self.craft.diameter_in * INCH_M;
        let disc_m2 = 4.0 * std::f64::consts::PI * radius_m * radius_m;
        let induced = libm::sqrt(self.weight_n() / (2.0 * self.trial.conditions.density_kg_m3() * disc_m2));
        Figure {
            question: "How fast can it descend?",
            answer: format!(
                "Below {} m/s vertically, half of the induced speed in hover. Between about {} and {} m/s it descends in its own \
                 wake (vortex ring state), where the thrust is unsteady and weak. The controller limits the descent to {} m/s.",
                fixed(0.5 * induced, 1),
                fixed(0.5 * induced, 1),
                fixed(1.5 * induced, 1),
                fixed(f64::from(self.trial.controller.vertical.descent_limit_m_s), 1)
            ),
            values: vec![("descent limit", 0.5 * induced, "m/s"), ("hover induced speed", induced, "m/s")],
            formula: "v = sqrt(m g/(2 rho A)), A area of the four rotors (momentum theory); half of it: common practice, no source",
            confirmed: None,
            forces: None,
        }
    }
}
