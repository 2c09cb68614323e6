//! Operating points: the steady flights at which margins are found.

use aplomb::flight;
use aplomb_craft::{AirConfig, Config};

use crate::linear::Mode;

/// A steady flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Its name.
    pub name: &'static str,
    /// What is different from a hover with the craft as it is, in a sentence.
    pub words: &'static str,
    /// Which outer loops are closed.
    pub mode: Mode,
    /// Share of the speed that the controller allows.
    pub back_emf_share: f64,
    /// Mass over that of the craft file.
    pub mass_share: f64,
    /// Charge of the battery, 0 to 1; that of the craft file if not given.
    pub charge: Option<f64>,
    /// Ground above the sea in m.
    pub elevation_m: f64,
    /// Above the temperature of the standard atmosphere, in K.
    pub temperature_offset_k: f64,
}

const HOVER: Point = Point {
    name: "hover",
    words: "Holding a place, craft as in its file.",
    mode: Mode::Position,
    back_emf_share: 0.0,
    mass_share: 1.0,
    charge: None,
    elevation_m: 0.0,
    temperature_offset_k: 0.0,
};

impl Point {
    /// All points.
    pub const ALL: [Self; 6] = [
        HOVER,
        Self {
            name: "hover-by-tilt",
            words: "Tilt and height commanded: velocity and place are left to the pilot.",
            mode: Mode::Tilt,
            ..HOVER
        },
        Self {
            name: "forward",
            words: "Velocity commanded: level flight at half of the speed that the controller allows.",
            mode: Mode::Velocity,
            back_emf_share: 0.5,
            ..HOVER
        },
        Self { name: "heavy", words: "Holding a place with a fifth more mass.", mass_share: 1.2, ..HOVER },
        Self {
            name: "low-battery",
            words: "Holding a place with a fifth of the charge.",
            charge: Some(0.2),
            ..HOVER
        },
        Self {
            name: "hot-and-high",
            words: "Holding a place over ground 2000 m above the sea, 20 K above the standard temperature.",
            elevation_m: 2000.0,
            temperature_offset_k: 20.0,
            ..HOVER
        },
    ];

    /// The point of a name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|point| point.name == name)
    }

    /// The craft at this point. Its charge stays as it is, however long it is probed.
    #[must_use]
    pub fn craft(&self, craft: &Config) -> Config {
        let mut craft = *craft;
        craft.mass_kg *= self.mass_share;
        craft.battery.capacity_ah *= 1e6;
        craft.battery.state_of_charge = self.charge.unwrap_or(craft.battery.state_of_charge);
        craft
    }

    /// The air at this point: still.
    #[must_use]
    pub fn air(&self) -> AirConfig {
        AirConfig {
            elevation_m: self.elevation_m,
            temperature_offset_k: self.temperature_offset_k,
            ..AirConfig::default()
        }
    }

    /// Speed over ground in m/s, to the north.
    #[must_use]
    pub fn speed_m_s(&self, controller: &flight::Config) -> f64 {
        self.back_emf_share * f64::from(controller.velocity.speed_limit_m_s)
    }
}
