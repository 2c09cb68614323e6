//! Adjusted parameters of a tuning: factors on derived gains.

use aplomb::flight::Config;

/// An adjusted parameter: one gain, or several with a common factor.
#[derive(Debug)]
pub struct Parameter {
    /// Name.
    pub name: &'static str,
    /// True when a larger value gives a faster loop.
    pub is_gain: bool,
    /// Its keys in the controller file.
    pub keys: &'static [Key],
}

/// One key of the controller file.
#[derive(Debug)]
pub struct Key {
    /// Table under `[override]`.
    pub table: &'static str,
    /// Key in it.
    pub key: &'static str,
    /// Its derived value.
    pub derived: fn(&Config) -> f32,
}

/// A parameter with its factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Index in [`PARAMETERS`].
    pub parameter: usize,
    /// Factor on the derived value.
    pub factor: f64,
    /// Derived configuration.
    pub derived: Config,
}

macro_rules! key {
    ($table:literal, $key:ident, $($field:ident).+) => {
        Key { table: $table, key: stringify!($key), derived: |config| config.$($field).+.$key }
    };
}

/// All adjusted parameters, the fast loops first.
pub const PARAMETERS: [Parameter; 8] = [
    Parameter {
        name: "roll and pitch rate",
        is_gain: true,
        keys: &[
            key!("rate_roll", crossover_rad_s, rate.roll),
            key!("rate_pitch", crossover_rad_s, rate.pitch),
        ],
    },
    Parameter { name: "yaw rate", is_gain: true, keys: &[key!("rate_yaw", crossover_rad_s, rate.yaw)] },
    Parameter { name: "tilt", is_gain: true, keys: &[key!("tilt", crossover_rad_s, attitude.tilt)] },
    Parameter {
        name: "reference bandwidth of tilt",
        is_gain: true,
        keys: &[key!("tilt", reference_bandwidth_rad_s, attitude.tilt)],
    },
    Parameter { name: "climb", is_gain: true, keys: &[key!("vertical", climb_crossover_rad_s, vertical)] },
    Parameter {
        name: "climb integral",
        is_gain: false,
        keys: &[key!("vertical", climb_integral_time_s, vertical)],
    },
    Parameter { name: "height", is_gain: true, keys: &[key!("vertical", height_crossover_rad_s, vertical)] },
    Parameter {
        name: "velocity and position",
        is_gain: true,
        keys: &[key!("velocity", crossover_rad_s, velocity), key!("position", crossover_rad_s, position)],
    },
];

/// Range of the factors.
pub const RANGE: (f64, f64) = (0.4, 2.0);
