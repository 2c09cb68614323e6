//! Adjusted parameters of a tuning: factors on derived settings, each within a range.

use aplomb::flight::Config;

/// An adjusted parameter: one setting, or several with a common factor.
#[derive(Debug)]
pub struct Parameter {
    /// Name.
    pub name: &'static str,
    /// True when a larger value gives a faster loop.
    pub is_gain: bool,
    /// Range of the factor.
    pub range: (f64, f64),
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

/// Factors on the parameters.
pub type Factors = [f64; PARAMETERS.len()];

/// Range of gains. The derived rate loop has a crossover of 0.36 over its dead time L; an integrator with
/// this dead time has a phase margin of `90 deg - w L`. At 2.5 times the crossover that is 38 deg, less than
/// is required. At 0.3 times it is 84 deg: a lower gain no longer adds to the margin.
const GAIN: (f64, f64) = (0.3, 2.5);
/// Range of integral times. The derived ones take 9.5 to 14 deg of phase at the crossover: 2 to 4 deg at 4
/// times the time, 23 to 32 deg at 0.4 times.
const INTEGRAL: (f64, f64) = (0.4, 4.0);
/// Range of filters. The delay of the gyro's low-pass is inverse to its cut-off, that of the notches is
/// proportional to their bandwidth.
const FILTER: (f64, f64) = (0.5, 2.0);

macro_rules! key {
    ($table:literal, $key:ident, $($field:ident).+) => {
        Key { table: $table, key: stringify!($key), derived: |config| config.$($field).+.$key }
    };
    ($table:literal, $key:ident) => {
        Key { table: $table, key: stringify!($key), derived: |config| config.$key }
    };
}

const fn parameter(name: &'static str, is_gain: bool, range: (f64, f64), keys: &'static [Key]) -> Parameter {
    Parameter { name, is_gain, range, keys }
}

/// All adjusted parameters; the first [`FAST`] are the gains of the fast loops.
pub const PARAMETERS: [Parameter; 13] = [
    parameter(
        "roll and pitch rate",
        true,
        GAIN,
        &[key!("rate_roll", crossover_rad_s, rate.roll), key!("rate_pitch", crossover_rad_s, rate.pitch)],
    ),
    parameter("yaw rate", true, GAIN, &[key!("rate_yaw", crossover_rad_s, rate.yaw)]),
    parameter("tilt", true, GAIN, &[key!("tilt", crossover_rad_s, attitude.tilt)]),
    parameter(
        "reference bandwidth of tilt",
        true,
        GAIN,
        &[key!("tilt", reference_bandwidth_rad_s, attitude.tilt)],
    ),
    parameter(
        "heading, with its reference bandwidth",
        true,
        GAIN,
        &[
            key!("heading", crossover_rad_s, attitude.heading),
            key!("heading", reference_bandwidth_rad_s, attitude.heading),
        ],
    ),
    parameter("climb", true, GAIN, &[key!("vertical", climb_crossover_rad_s, vertical)]),
    parameter("height", true, GAIN, &[key!("vertical", height_crossover_rad_s, vertical)]),
    parameter(
        "velocity and position",
        true,
        GAIN,
        &[key!("velocity", crossover_rad_s, velocity), key!("position", crossover_rad_s, position)],
    ),
    parameter(
        "integral time of the rates",
        false,
        INTEGRAL,
        &[
            key!("rate_roll", integral_time_s, rate.roll),
            key!("rate_pitch", integral_time_s, rate.pitch),
            key!("rate_yaw", integral_time_s, rate.yaw),
        ],
    ),
    parameter(
        "integral time of climb",
        false,
        INTEGRAL,
        &[key!("vertical", climb_integral_time_s, vertical)],
    ),
    parameter("integral time of velocity", false, INTEGRAL, &[key!("velocity", integral_time_s, velocity)]),
    parameter("cut-off of the gyro low-pass", false, FILTER, &[key!("loops", gyro_cutoff_hz)]),
    parameter("bandwidth of the notches", false, FILTER, &[key!("notch", bandwidth_hz, notch)]),
];

/// Number of gains of the fast loops: the first parameters.
pub const FAST: usize = 4;
/// Number of gains: the first parameters.
pub const GAINS: usize = 8;

impl Parameter {
    /// Where a factor stands: at a bound of the range within 2 %, or between.
    #[must_use]
    pub fn bound(&self, factor: f64) -> Option<&'static str> {
        if factor <= 1.02 * self.range.0 {
            Some("at the lower bound")
        } else if factor >= self.range.1 / 1.02 {
            Some("at the upper bound")
        } else {
            None
        }
    }
}

/// Factors from their logarithms, within the ranges.
#[must_use]
pub fn factors(logarithms: &[f64]) -> Factors {
    std::array::from_fn(|i| {
        let (low, high) = PARAMETERS[i].range;
        logarithms[i].exp().clamp(low, high)
    })
}

/// Adjusted parameters that stand at a bound, in words.
#[must_use]
pub fn at_bounds(factors: &Factors) -> Vec<String> {
    let bounds = PARAMETERS.iter().zip(factors).filter_map(|(parameter, &factor)| {
        parameter.bound(factor).map(|bound| format!("{} {bound} ({factor:.2})", parameter.name))
    });
    bounds.collect()
}
