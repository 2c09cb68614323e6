//! From the thrust of a rotor to the motor command and back.
//!
//! A direct-current equivalent motor with torque constant Kt and resistance R, turning a rotor with thrust
//! `f = kT w^2` and torque `kQ w^2`, draws the current kQ w^2/Kt (no-load current left out) and needs the voltage
//!
//! ```text
//! V = Kt w + R kQ w^2 / Kt                       (Drela 2007, First-Order DC Electric Motor Model)
//! ```
//!
//! The command is the share of the battery voltage, c V_battery = V. Both kT and kQ grow with air density, so for the
//! same thrust the second term, which is torque, stays, while the first, which is speed, goes with
//! sqrt(rho_0/rho). With s = f/full, full the thrust at command 1, reference voltage and density, and alpha the share
//! of the reference voltage that speed (not resistance) takes there,
//!
//! ```text
//! c V_battery/V_reference = alpha sqrt(s rho_0/rho) + (1 - alpha) s
//! ```
//!
//! alpha = 1 is the plain quadratic curve. The inverse is a quadratic in sqrt(s).

use crate::MotorCommand;
use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::math::{most, root, saturate};

/// Density of the standard atmosphere at sea level in kg/m3 (ISO 2533:1975).
pub const REFERENCE_DENSITY_KG_M3: f32 = 1.225;

/// The curve of one rotor.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct ThrustCurveConfig {
    /// Thrust of one rotor in N at command 1, reference voltage and 1.225 kg/m3.
    pub max_thrust_n: f32,
    /// Battery voltage in V at which `max_thrust_n` was measured.
    pub reference_voltage_v: f32,
    /// Share of that voltage that speed takes, alpha, 0 to 1; the rest is resistance. 1 is the plain quadratic curve.
    pub back_emf_share: f32,
    /// Lowest and highest battery voltage in V that is believed; readings outside are cut to them.
    pub lowest_voltage_v: f32,
    /// Highest battery voltage in V that is believed.
    pub highest_voltage_v: f32,
    /// Time constant in s of the low-pass on the battery voltage; 0 switches it off.
    pub voltage_filter_s: f32,
}

/// The curve, ready to use.
///
/// ```
/// use aplomb::{MotorCommand, mix::{Supply, ThrustCurve, ThrustCurveConfig}};
/// let curve = ThrustCurve::new(&ThrustCurveConfig {
///     max_thrust_n: 6.5, reference_voltage_v: 14.8, back_emf_share: 1.0, lowest_voltage_v: 12.0, highest_voltage_v: 16.8,
///     voltage_filter_s: 0.2,
/// }, 1e-3)?;
/// let supply = curve.supply(1.225);
/// assert!((curve.command(1.625, &supply, MotorCommand::STOPPED).get() - 0.5).abs() < 1e-6);
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThrustCurve {
    reference_voltage_v: f32,
    lowest_voltage_v: f32,
    highest_voltage_v: f32,
    /// alpha/sqrt(full) and (1 - alpha)/full.
    root_scale: f32,
    linear_scale: f32,
    filter: f32,
}

/// State: what the motors are fed with and what they push against.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Supply {
    /// Battery voltage in V, filtered and within the believed range.
    voltage_v: f32,
    /// sqrt(rho_0/rho).
    density_root: f32,
    /// The command for a thrust f is root_gain sqrt(f) + linear_gain f.
    root_gain: f32,
    linear_gain: f32,
}

impl Supply {
    /// Battery voltage in V, filtered and within the believed range.
    #[must_use]
    pub const fn voltage_v(&self) -> f32 {
        self.voltage_v
    }
}

impl ThrustCurve {
    /// Checks the configuration; `period_s` is the time between two calls of [`ThrustCurve::observe`].
    ///
    /// # Errors
    /// Names the field that is not finite, not positive, out of range, or in the wrong order.
    pub fn new(config: &ThrustCurveConfig, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        require_positive("max_thrust_n", config.max_thrust_n)?;
        require_positive("reference_voltage_v", config.reference_voltage_v)?;
        require_within("back_emf_share", config.back_emf_share, 0.0, 1.0)?;
        require_positive("lowest_voltage_v", config.lowest_voltage_v)?;
        require_positive("highest_voltage_v", config.highest_voltage_v)?;
        if config.lowest_voltage_v >= config.highest_voltage_v {
            return Err(ConfigError::new("lowest_voltage_v", Problem::WrongOrder));
        }
        require_not_negative("voltage_filter_s", config.voltage_filter_s)?;
        Ok(Self {
            reference_voltage_v: config.reference_voltage_v,
            lowest_voltage_v: config.lowest_voltage_v,
            highest_voltage_v: config.highest_voltage_v,
            root_scale: config.back_emf_share / root(config.max_thrust_n),
            linear_scale: (1.0 - config.back_emf_share) / config.max_thrust_n,
            filter: period_s / (config.voltage_filter_s + period_s),
        })
    }

    /// A supply at the reference voltage, in air of the given density in kg/m3 (cut to 0.3 to 2.0).
    #[must_use]
    pub fn supply(&self, density_kg_m3: f32) -> Supply {
        let density = saturate(density_kg_m3, 0.3, 2.0);
        self.supply_at(self.reference_voltage_v, root(REFERENCE_DENSITY_KG_M3 / density))
    }

    #[inline]
    fn supply_at(&self, voltage_v: f32, density_root: f32) -> Supply {
        let ratio = self.reference_voltage_v / voltage_v;
        Supply {
            voltage_v,
            density_root,
            root_gain: ratio * density_root * self.root_scale,
            linear_gain: ratio * self.linear_scale,
        }
    }

    /// Takes in one voltage reading in V, low-passed and cut to the believed range; NaN is ignored.
    #[inline]
    pub fn observe(&self, supply: &mut Supply, voltage_v: f32) {
        if voltage_v.is_finite() {
            let reading = saturate(voltage_v, self.lowest_voltage_v, self.highest_voltage_v);
            let voltage_v = supply.voltage_v + self.filter * (reading - supply.voltage_v);
            *supply = self.supply_at(voltage_v, supply.density_root);
        }
    }

    /// The command for a finite thrust in N, but at least `least`. Exact to 1e-6; below 0 and NaN give `least`.
    #[inline]
    #[must_use]
    pub fn command(&self, thrust_n: f32, supply: &Supply, least: MotorCommand) -> MotorCommand {
        let x = root(most(thrust_n, 0.0));
        MotorCommand::saturating_from(least, x * (supply.root_gain + supply.linear_gain * x))
    }

    /// The thrust in N of a command: f = x^2, x = 2 c/(p + sqrt(p^2 + 4 q c)), with c = p x + q x^2 the curve at the present
    /// supply. Inverse of [`ThrustCurve::command`] to 1e-4.
    #[inline]
    #[must_use]
    pub fn thrust_n(&self, command: MotorCommand, supply: &Supply) -> f32 {
        let (c, p, q) = (command.get(), supply.root_gain, supply.linear_gain);
        let slope = p + root(p * p + 4.0 * q * c);
        let x = if c > 0.0 { 2.0 * c / slope } else { 0.0 };
        x * x
    }
}
