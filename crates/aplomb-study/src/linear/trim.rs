//! Trim: the steady flight about which the model is linearised.

use aplomb_craft::atmosphere::{Air, geopotential_m};
use aplomb_craft::glam::{DMat3, DVec3};
use aplomb_craft::{AirConfig, Config, ConfigError, Plant, Start, battery::cell};

/// Height of the steady flight in m.
pub(super) const HEIGHT_M: f64 = 10.0;

/// Level flight to the north in still air, nose to the north.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trim {
    /// Body to world.
    pub attitude: DMat3,
    /// Velocity, north-east-down (m/s).
    pub velocity_m_s: DVec3,
    /// Thrust of each rotor (N).
    pub thrust_n: [f64; 4],
    /// Speed of each rotor (rad/s).
    pub speed_rad_s: [f64; 4],
    /// Command of each motor, 0 to 1.
    pub command: [f64; 4],
    /// Voltage of the battery under load (V).
    pub voltage_v: f64,
    /// Density of the air (kg/m3).
    pub density_kg_m3: f64,
    /// Density over that at sea level.
    pub density_ratio: f64,
    /// Pressure at the barometer (Pa), where there is one.
    pub pressure_pa: Option<f64>,
}

/// Reason for no linear model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LinearError {
    /// The craft or its air is invalid.
    Craft(ConfigError),
    /// The rotors cannot carry the craft in this flight.
    NoTrim,
}

impl std::fmt::Display for LinearError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Craft(error) => write!(f, "craft: {error}"),
            Self::NoTrim => f.write_str("the rotors cannot carry the craft in this flight"),
        }
    }
}

impl std::error::Error for LinearError {}

impl From<ConfigError> for LinearError {
    fn from(error: ConfigError) -> Self {
        Self::Craft(error)
    }
}

impl Trim {
    /// Total thrust (N).
    #[must_use]
    pub fn total_n(&self) -> f64 {
        self.thrust_n.iter().sum()
    }

    pub(super) fn find(
        craft: &Config,
        air: &AirConfig,
        speed_m_s: f64,
        tick_s: f64,
    ) -> Result<Self, LinearError> {
        let start = Start { airborne: true, height_m: HEIGHT_M, ..Start::default() };
        let hover = Plant::new(craft, air, &start, 0, tick_s)?.truth();
        let density_ratio = hover.density_kg_m3 / aplomb_craft::atmosphere::SEA_LEVEL_DENSITY_KG_M3;
        let height_m = geopotential_m(air.elevation_m + HEIGHT_M);
        let pressure_pa =
            craft.sensors.barometer.map(|_| Air::at(height_m, air.temperature_offset_k).pressure_pa);
        let velocity_m_s = DVec3::new(speed_m_s, 0.0, 0.0);
        let weight = DVec3::new(0.0, 0.0, craft.mass_kg * air.gravity_m_s2);
        let mut attitude = DMat3::IDENTITY;
        let mut total_n = weight.length();
        // Each iteration reduces the error by the ratio of drag to weight: twenty are enough at the speed
        // limit.
        for _ in 0..20 {
            let drag = attitude
                * super::body::drag_n(
                    craft,
                    air.gravity_m_s2,
                    attitude.transpose() * velocity_m_s,
                    hover.density_kg_m3,
                    total_n,
                );
            let needed = weight + drag;
            total_n = needed.length();
            attitude = attitude_from_down(needed, DVec3::X);
        }
        let shares = hover.thrust_n.into_array().map(|thrust| thrust / hover.thrust_n.sum());
        let thrust_n = shares.map(|share| share * total_n);
        let rotor = &craft.rotor;
        let air = attitude.transpose() * velocity_m_s;
        let (axial, edgewise) = (-air.z, libm::hypot(air.x, air.y));
        let speed_rad_s = thrust_n.map(|thrust| {
            // The flow changes the thrust by a few percent: the iteration converges fast.
            let thrust_n = |speed| rotor.thrust_in_flow_n(axial, edgewise, speed, density_ratio);
            (0..20).fold(rotor.static_speed_rad_s(thrust, density_ratio), |speed, _| {
                speed * libm::sqrt(thrust / thrust_n(speed))
            })
        });
        let current_a = speed_rad_s.map(|speed| {
            let torque_nm = rotor.torque_in_flow_nm(axial, edgewise, speed, density_ratio);
            torque_nm / rotor.torque_constant_nm_a() + rotor.no_load_current_a
        });
        let volts: [f64; 4] = std::array::from_fn(|i| {
            rotor.torque_constant_nm_a() * speed_rad_s[i] + rotor.resistance_ohm * current_a[i]
        });
        // V (E - R I_base - V) = R P, with the power P of the motors.
        let battery = &craft.battery;
        let power_w: f64 = (0..4).map(|i| volts[i] * current_a[i]).sum();
        let rested_v = f64::from(battery.cells) * cell::open_circuit_v(battery.state_of_charge)
            - battery.resistance_ohm * battery.base_current_a;
        let discriminant = rested_v * rested_v - 4.0 * battery.resistance_ohm * power_w;
        let voltage_v = 0.5 * (rested_v + libm::sqrt(discriminant));
        let command = volts.map(|needed| needed / voltage_v);
        // False for NaN, too.
        if !command.iter().all(|&share| share < 1.0) {
            return Err(LinearError::NoTrim);
        }
        Ok(Self {
            attitude,
            velocity_m_s,
            thrust_n,
            speed_rad_s,
            command,
            voltage_v,
            density_kg_m3: hover.density_kg_m3,
            density_ratio,
            pressure_pa,
        })
    }
}

/// The attitude with the down axis along `down` and the horizontal part of the nose along `heading`.
pub(super) fn attitude_from_down(down: DVec3, heading: DVec3) -> DMat3 {
    let z = down.normalize();
    let x = DVec3::new(heading.x * z.z, heading.y * z.z, -(heading.x * z.x + heading.y * z.y)).normalize();
    DMat3::from_cols(x, z.cross(x), z)
}
