//! Operating points: the steady flights at which margins are determined.

use aplomb::flight;
use aplomb_craft::{AirConfig, Config};

use crate::linear::Mode;

/// A steady flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Its name.
    pub name: &'static str,
    /// Difference from a hover with the unchanged craft, in a sentence.
    pub words: &'static str,
    /// Which outer loops are closed.
    pub mode: Mode,
    /// Speed as a share of the speed limit of the controller.
    pub speed_limit_fraction: f64,
    /// Mass over that of the craft file.
    pub mass_share: f64,
    /// State of charge, 0 to 1; `None` for that of the craft file.
    pub charge: Option<f64>,
    /// Elevation of the ground above sea level in m.
    pub elevation_m: f64,
    /// Temperature above the standard atmosphere in K.
    pub temperature_offset_k: f64,
}

const HOVER: Point = Point {
    name: "hover",
    words: "Position hold, craft as in its file.",
    mode: Mode::Position,
    speed_limit_fraction: 0.0,
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
            words: "Tilt and height commanded; velocity and position are not controlled.",
            mode: Mode::Tilt,
            ..HOVER
        },
        Self {
            name: "forward",
            words: "Velocity commanded: level flight at half of the speed limit of the controller.",
            mode: Mode::Velocity,
            speed_limit_fraction: 0.5,
            ..HOVER
        },
        Self { name: "heavy", words: "Position hold with 20 % more mass.", mass_share: 1.2, ..HOVER },
        Self {
            name: "low-battery",
            words: "Position hold at 20 % state of charge.",
            charge: Some(0.2),
            ..HOVER
        },
        Self {
            name: "hot-and-high",
            words: "Position hold at an elevation of 2000 m, 20 K above the standard temperature.",
            elevation_m: 2000.0,
            temperature_offset_k: 20.0,
            ..HOVER
        },
    ];

    /// The point with a name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|point| point.name == name)
    }

    /// The craft at this point. Its state of charge is constant.
    #[must_use]
    pub fn craft(&self, craft: &Config) -> Config {
        let mut craft = *craft;
        craft.mass_kg *= self.mass_share;
        craft.battery.capacity_ah *= 1e6;
        craft.battery.state_of_charge = self.charge.unwrap_or(craft.battery.state_of_charge);
        craft
    }

    /// Still air at this point.
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
        self.speed_limit_fraction * f64::from(controller.velocity.speed_limit_m_s)
    }
}
