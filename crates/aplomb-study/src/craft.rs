//! A craft with its name and designation.

use aplomb_craft::{Config, battery, sensors};

/// A simulated craft.
#[derive(Clone, Debug, PartialEq)]
pub struct Craft {
    /// Its name.
    pub name: String,
    /// Propeller diameter in inches, as in the designation.
    pub diameter_in: f64,
    /// Propeller pitch in inches, as in the designation.
    pub pitch_in: f64,
    /// Parameters in SI units, checked by an [`aplomb_craft::Plant`].
    pub config: Config,
}

/// The craft with ideal sensors and at a constant state of charge, without slow transients of the battery:
/// for figures that are properties of a craft at one state of charge. With noise in the estimated tilt, for
/// example, a controller cannot use the last degree before its limit.
#[must_use]
pub fn idealised(config: &Config) -> Config {
    let mut ideal = *config;
    ideal.battery.capacity_ah *= 1e4;
    ideal.battery.transients = false;
    ideal.sensors = sensors::Config::ideal();
    ideal
}

/// One inch in m (exact).
pub const INCH_M: f64 = 0.0254;
impl Craft {
    /// Thrust of one rotor in N with all four at full command, at the initial state of charge and at sea
    /// level.
    #[must_use]
    pub fn full_thrust_n(&self) -> f64 {
        self.full_thrust_at_n(1.0)
    }

    /// As [`Craft::full_thrust_n`], in air of `density_ratio` times 1.225 kg/m3.
    #[must_use]
    pub fn full_thrust_at_n(&self, density_ratio: f64) -> f64 {
        let Config { rotor, battery, .. } = &self.config;
        let rested_v = f64::from(battery.cells) * battery::cell::open_circuit_v(battery.state_of_charge);
        let speed_at = |voltage_v| rotor.steady_speed_rad_s(voltage_v, density_ratio);
        // Bisection for the voltage under the current that it drives.
        let (mut low_v, mut high_v) = (0.0, rested_v);
        for _ in 0..50 {
            let voltage_v = 0.5 * (low_v + high_v);
            let motors_a = 4.0 * rotor.steady_current_a(speed_at(voltage_v), density_ratio);
            let current_a = motors_a + battery.base_current_a;
            if rested_v - battery.resistance_ohm * current_a > voltage_v {
                low_v = voltage_v;
            } else {
                high_v = voltage_v;
            }
        }
        let speed = speed_at(low_v);
        rotor.static_thrust_n(speed, density_ratio)
    }

    /// Thrust to weight ratio at sea level.
    #[must_use]
    pub fn thrust_to_weight(&self) -> f64 {
        4.0 * self.full_thrust_n() / (self.config.mass_kg * aplomb_craft::gravity::STANDARD_M_S2)
    }

    /// The craft in one line: "weir gauge, 1.23 kg, 9 x 5 in propellers, thrust to weight 2.2".
    #[must_use]
    pub fn words(&self) -> String {
        let Self { name, diameter_in, pitch_in, config } = self;
        let mass_kg = config.mass_kg;
        let ratio = self.thrust_to_weight();
        format!("{name}, {mass_kg} kg, {diameter_in} x {pitch_in} in propellers, thrust to weight {ratio:.1}")
    }
}
