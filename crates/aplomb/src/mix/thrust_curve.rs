//! From the thrust of a rotor to the motor command and back, at the present battery voltage and air density.
//!
//! A direct-current equivalent motor with torque constant Kt and resistance R, turning a rotor with thrust
//! `f = kT w^2` and torque `kQ w^2`, draws the current kQ w^2/Kt (no-load current left out) and needs the
//! voltage
//!
//! ```text
//! V = Kt w + R kQ w^2 / Kt                       (Drela 2007, First-Order DC Electric Motor Model)
//! ```
//!
//! The command is the share of the battery voltage, c V_battery = V. Both kT and kQ grow with air density, so
//! for the same thrust the second term, which is torque, stays, while the first, which is speed, goes with
//! sqrt(rho_0/rho). With s = f/max, max the thrust at command 1, reference voltage and density, and alpha the
//! share of the reference voltage that speed (not resistance) takes there,
//!
//! ```text
//! c V_battery/V_reference = alpha sqrt(s rho_0/rho) + (1 - alpha) s
//! ```
//!
//! alpha = 1 is the plain quadratic curve. The inverse is a quadratic in sqrt(s); at c = 1 it gives the
//! ceiling of the thrust, which a sagging battery and thin air lower.

use core::marker::PhantomData;

use crate::MotorCommand;
use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::math::{Libm, Math, most, saturate};

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
    /// Share of that voltage that speed takes, alpha, 0 to 1; the rest is resistance. 1 is the plain
    /// quadratic curve.
    pub back_emf_share: f32,
    /// Lowest battery voltage in V of the valid range; readings outside are limited to the range.
    pub lowest_voltage_v: f32,
    /// Highest battery voltage in V of the valid range.
    pub highest_voltage_v: f32,
    /// Time constant in s of the low-pass on the battery voltage; 0 switches it off.
    pub voltage_filter_s: f32,
}

/// The curve at the present battery voltage and air density.
///
/// ```
/// use aplomb::{MotorCommand, mix::{ThrustCurve, ThrustCurveConfig}};
/// let mut curve: ThrustCurve = ThrustCurve::new(&ThrustCurveConfig {
///     max_thrust_n: 6.5, reference_voltage_v: 14.8, back_emf_share: 1.0, lowest_voltage_v: 12.0, highest_voltage_v: 16.8,
///     voltage_filter_s: 0.2,
/// }, 1e-3)?;
/// assert!((curve.command(1.625, MotorCommand::STOPPED).get() - 0.5).abs() < 1e-6);
/// assert!((curve.ceiling_n() - 6.5).abs() < 1e-5);
/// // With the quadratic curve thrust goes with the square of the voltage.
/// curve.observe(13.0);
/// assert!((curve.ceiling_n() - 6.5 * (13.0f32 / 14.8).powi(2)).abs() < 1e-5);
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ThrustCurve<M: Math = Libm> {
    reference_voltage_v: f32,
    lowest_voltage_v: f32,
    highest_voltage_v: f32,
    /// alpha/sqrt(max) and (1 - alpha)/max.
    root_scale: f32,
    linear_scale: f32,
    filter: f32,
    /// Battery voltage in V, filtered; none before the first reading.
    voltage_v: Option<f32>,
    /// sqrt(rho_0/rho).
    density_root: f32,
    /// The command for a thrust f is root_gain sqrt(f) + linear_gain f.
    root_gain: f32,
    linear_gain: f32,
    ceiling_n: f32,
    math: PhantomData<M>,
}

/// State of a [`ThrustCurve`]: the filtered voltage and the density of the air.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ThrustCurveState {
    voltage_v: Option<f32>,
    density_root: f32,
}

impl<M: Math> ThrustCurve<M> {
    /// Checks the configuration; `period_s` is the time between two calls of [`ThrustCurve::observe`]. The
    /// curve starts at the reference voltage and density.
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
            return Err(ConfigError::new("lowest_voltage_v", Problem::WrongOrder("highest_voltage_v")));
        }
        require_not_negative("voltage_filter_s", config.voltage_filter_s)?;
        let mut curve = Self {
            reference_voltage_v: config.reference_voltage_v,
            lowest_voltage_v: config.lowest_voltage_v,
            highest_voltage_v: config.highest_voltage_v,
            root_scale: config.back_emf_share / M::sqrt(config.max_thrust_n),
            linear_scale: (1.0 - config.back_emf_share) / config.max_thrust_n,
            filter: period_s / (config.voltage_filter_s + period_s),
            voltage_v: None,
            density_root: 1.0,
            root_gain: 0.0,
            linear_gain: 0.0,
            ceiling_n: config.max_thrust_n,
            math: PhantomData,
        };
        curve.update();
        Ok(curve)
    }

    /// Sets the density of the air in kg/m3, limited to 0.3 (at 12 km in the standard atmosphere) to 2.0 (1.6
    /// times that at sea level); NaN counts as 0.3.
    pub fn set_air_density(&mut self, density_kg_m3: f32) {
        let density = saturate(density_kg_m3, 0.3, 2.0);
        self.density_root = M::sqrt(REFERENCE_DENSITY_KG_M3 / density);
        self.update();
    }

    /// Adds one reading of the battery voltage in V, limited to the valid range and low-passed; the first one
    /// initialises the filter. NaN and infinity are ignored.
    pub fn observe(&mut self, voltage_v: f32) {
        if voltage_v.is_finite() {
            let reading = saturate(voltage_v, self.lowest_voltage_v, self.highest_voltage_v);
            let last = self.voltage_v.unwrap_or(reading);
            self.voltage_v = Some(last + self.filter * (reading - last));
            self.update();
        }
    }

    /// The state, to be saved.
    #[must_use]
    pub const fn state(&self) -> ThrustCurveState {
        ThrustCurveState { voltage_v: self.voltage_v, density_root: self.density_root }
    }

    /// Continues from a saved state.
    pub fn set_state(&mut self, state: ThrustCurveState) {
        (self.voltage_v, self.density_root) = (state.voltage_v, state.density_root);
        self.update();
    }

    /// Gains and ceiling at the present voltage and density.
    fn update(&mut self) {
        let ratio = self.reference_voltage_v / self.voltage_v.unwrap_or(self.reference_voltage_v);
        self.root_gain = ratio * self.density_root * self.root_scale;
        self.linear_gain = ratio * self.linear_scale;
        self.ceiling_n = self.thrust_n(MotorCommand::FULL);
    }

    /// Battery voltage in V, filtered and within the valid range; `None` before the first reading.
    #[must_use]
    pub const fn voltage_v(&self) -> Option<f32> {
        self.voltage_v
    }

    /// The thrust of one rotor in N that a full motor command gives now: the ceiling for
    /// [`super::QuadMixer::allocate`].
    #[must_use]
    pub const fn ceiling_n(&self) -> f32 {
        self.ceiling_n
    }

    /// The command for a finite thrust in N, at least `idle`. Exact to 1e-6; below 0 and NaN give `idle`.
    #[must_use]
    pub fn command(&self, thrust_n: f32, idle: MotorCommand) -> MotorCommand {
        let x = M::sqrt(most(thrust_n, 0.0));
        MotorCommand::saturating_from(idle, x * (self.root_gain + self.linear_gain * x))
    }

    /// The thrust in N of a command: f = x^2, x = 2 c/(p + sqrt(p^2 + 4 q c)), with c = p x + q x^2 the curve
    /// at the present voltage and density. Inverse of [`ThrustCurve::command`] to 1e-6.
    #[must_use]
    pub fn thrust_n(&self, command: MotorCommand) -> f32 {
        let (c, p, q) = (command.get(), self.root_gain, self.linear_gain);
        let slope = p + M::sqrt(p * p + 4.0 * q * c);
        let x = if c > 0.0 { 2.0 * c / slope } else { 0.0 };
        x * x
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;

    fn config() -> ThrustCurveConfig {
        ThrustCurveConfig {
            max_thrust_n: 6.5,
            reference_voltage_v: 14.8,
            back_emf_share: 0.7,
            lowest_voltage_v: 12.0,
            highest_voltage_v: 16.8,
            voltage_filter_s: 0.0,
        }
    }

    #[test]
    fn thrust_curve_is_its_own_inverse_up_to_the_ceiling() {
        for back_emf_share in [0.0, 0.3, 0.7, 1.0] {
            let mut curve: ThrustCurve =
                ThrustCurve::new(&ThrustCurveConfig { back_emf_share, ..config() }, 1e-3).unwrap();
            assert_eq!(curve.voltage_v(), None);
            for (voltage, density) in [(14.8, 1.225), (12.5, 1.0), (16.5, 0.9)] {
                curve.set_air_density(density);
                curve.observe(voltage);
                let ceiling = curve.ceiling_n();
                for i in 1..=100 {
                    let thrust = 0.01 * i as f32 * ceiling;
                    let command = curve.command(thrust, MotorCommand::STOPPED);
                    assert!(i == 100 || command < MotorCommand::FULL, "{thrust} of {ceiling}");
                    let back = curve.thrust_n(command);
                    assert!((back - thrust).abs() < 1e-6 * ceiling, "{thrust} {back}");
                }
                assert!(curve.command(ceiling, MotorCommand::STOPPED).get() > 1.0 - 1e-6);
                assert_eq!(curve.command(1.01 * ceiling, MotorCommand::STOPPED), MotorCommand::FULL);
                curve.observe(f32::NAN);
                curve.observe(f32::INFINITY);
                assert_eq!(curve.voltage_v(), Some(voltage));
                let idle = MotorCommand::saturating(0.1);
                assert_eq!(curve.command(f32::NAN, idle), idle);
                assert_eq!(curve.command(-1.0, idle), idle);
            }
        }
    }

    #[test]
    fn ceiling_falls_with_voltage_squared_and_with_the_density() {
        // Without resistance c V = Kt w at full command: w goes with V and not with density, f = kT rho w^2.
        let quadratic = ThrustCurveConfig { back_emf_share: 1.0, ..config() };
        let mut curve: ThrustCurve = ThrustCurve::new(&quadratic, 1e-3).unwrap();
        assert!((curve.ceiling_n() - 6.5).abs() < 1e-5);
        for (voltage, density) in [(12.6f32, 1.225f32), (14.8, 0.957), (13.0, 0.957), (16.8, 1.3)] {
            curve.observe(voltage);
            curve.set_air_density(density);
            let expected = 6.5 * (voltage / 14.8).powi(2) * density / 1.225;
            assert!((curve.ceiling_n() - expected).abs() < 1e-5, "{} {expected}", curve.ceiling_n());
        }
        // All resistance: torque, and so thrust, goes with the voltage alone.
        let resistive = ThrustCurveConfig { back_emf_share: 0.0, ..config() };
        let mut curve: ThrustCurve = ThrustCurve::new(&resistive, 1e-3).unwrap();
        curve.observe(12.6);
        curve.set_air_density(0.9);
        assert!((curve.ceiling_n() - 6.5 * 12.6 / 14.8).abs() < 1e-5, "{}", curve.ceiling_n());
    }

    #[test]
    fn voltage_is_limited_to_its_range_and_low_passed_from_the_first_reading() {
        let slow = ThrustCurveConfig { voltage_filter_s: 0.099, ..config() };
        let mut curve: ThrustCurve = ThrustCurve::new(&slow, 1e-3).unwrap();
        curve.observe(5.0);
        assert_eq!(curve.voltage_v(), Some(12.0));
        curve.observe(99.0);
        // A hundredth of the step to 16.8 V.
        assert!((curve.voltage_v().unwrap() - 12.048).abs() < 1e-5, "{:?}", curve.voltage_v());
        let [mut thin, mut thinner]: [ThrustCurve; 2] = [curve; 2];
        thin.set_air_density(0.3);
        thinner.set_air_density(f32::NAN);
        assert_eq!(thin, thinner);
        thinner.set_air_density(2.5);
        thin.set_air_density(2.0);
        assert_eq!(thin, thinner);
    }

    #[test]
    fn curve_follows_the_motor_equation() {
        // The motor of V = Kt w + R kQ w^2/Kt in f64: Kv 920 rpm/V, R 0.117 ohm, kT 5.7504e-6, kQ 7.9384e-8,
        // no-load current left out (Drela 2007, First-Order DC Electric Motor Model).
        let (kt, r, thrust, torque) = (60.0 / (std::f64::consts::TAU * 920.0), 0.117, 5.7504e-6, 7.9384e-8);
        let volts = |w: f64, density: f64| kt * w + r * torque * density / 1.225 * w * w / kt;
        let (w_full, v_full) = (980.0f64, volts(980.0, 1.225));
        let motor = ThrustCurveConfig {
            max_thrust_n: (thrust * w_full * w_full) as f32,
            reference_voltage_v: v_full as f32,
            back_emf_share: (kt * w_full / v_full) as f32,
            lowest_voltage_v: 2.0,
            highest_voltage_v: 20.0,
            voltage_filter_s: 0.0,
        };
        let mut curve: ThrustCurve = ThrustCurve::new(&motor, 1e-3).unwrap();
        for density in [1.225, 0.9] {
            curve.set_air_density(density as f32);
            for w in [300.0f64, 600.0, 850.0] {
                let f = thrust * density / 1.225 * w * w;
                let command = f64::from(curve.command(f as f32, MotorCommand::STOPPED).get());
                assert!((command - volts(w, density) / v_full).abs() < 1e-5, "{w} {density}");
                // A battery of just that voltage gives just that thrust at full command.
                let mut empty = curve;
                empty.observe(volts(w, density) as f32);
                assert!((f64::from(empty.ceiling_n()) - f).abs() < 1e-5 * f, "{w} {density}");
            }
        }
    }
}
