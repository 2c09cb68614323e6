//! Force balance of steady flights.

use aplomb_craft::{AirConfig, Config, Steady, glam::DVec3};

use super::confirm::HEIGHT_M;

/// Largest speed that is searched, in m/s. A craft that reaches it by the balance has an implausibly small
/// drag.
const FASTEST_M_S: f64 = 60.0;

/// Limits of a steady flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Largest tilt in rad.
    pub tilt_rad: f64,
    /// Largest command, 0 to 1.
    pub command: f64,
}

impl Limits {
    /// Limits of the craft alone: full command.
    pub const CRAFT: Self = Self { tilt_rad: f64::INFINITY, command: 1.0 };

    /// Limits of a controller on this craft: its tilt limit, and the command of its thrust limit. The
    /// controller converts thrust to command for still air, so the command is that of a hover with this
    /// thrust.
    #[must_use]
    pub fn of(controller: &aplomb::flight::Config, craft: &Config, air: &AirConfig) -> Self {
        let mass_kg = f64::from(controller.thrust.max_thrust_n) / air.gravity_m_s2;
        let loaded = Config { mass_kg, ..*craft };
        let command = Steady::find(&loaded, air, HEIGHT_M, DVec3::ZERO);
        Self {
            tilt_rad: f64::from(controller.thrust.tilt_limit_rad),
            command: command.map_or(1.0, |steady| steady.largest_command().min(1.0)),
        }
    }
}

/// The trim at this velocity is within these limits.
#[must_use]
pub fn is_feasible(
    craft: &Config,
    air: &AirConfig,
    height_m: f64,
    velocity_m_s: DVec3,
    limits: &Limits,
) -> bool {
    Steady::find(craft, air, height_m, velocity_m_s)
        .is_ok_and(|steady| steady.largest_command() <= limits.command && steady.tilt_rad <= limits.tilt_rad)
}

/// Strongest steady wind in m/s in which the position can be held: `m g tan(tilt) = drag`, at the limit
/// of the tilt or of the command, whichever comes first. `None` above 60 m/s.
#[must_use]
pub fn strongest_wind_m_s(craft: &Config, air: &AirConfig, height_m: f64, limits: &Limits) -> Option<f64> {
    largest(|wind| is_feasible(craft, air, height_m, DVec3::new(wind, 0.0, 0.0), limits))
}

/// Fastest steady climb in m/s at full command. `None` above 60 m/s.
#[must_use]
pub fn fastest_climb_m_s(craft: &Config, air: &AirConfig, height_m: f64) -> Option<f64> {
    largest(|climb| is_feasible(craft, air, height_m, DVec3::new(0.0, 0.0, -climb), &Limits::CRAFT))
}

/// The craft has a drag in horizontal motion: wind exerts a force on it.
#[must_use]
pub fn has_drag(craft: &Config) -> bool {
    let parts = [craft.drag.rotor_drag_per_s, craft.drag.body_drag_n_s_m, craft.drag.drag_area_m2];
    parts.iter().any(|axes| axes[0] > 0.0 && axes[1] > 0.0)
}

/// Largest speed with `fits(speed)`, for a monotonic condition, by bisection; `None` if it fits at
/// [`FASTEST_M_S`].
fn largest(fits: impl Fn(f64) -> bool) -> Option<f64> {
    if fits(FASTEST_M_S) {
        return None;
    }
    let (mut low, mut high) = (0.0, FASTEST_M_S);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if fits(middle) { low = middle } else { high = middle }
    }
    Some(low)
}
