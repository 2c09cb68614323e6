//! What a tuning turns: gains, as factors on what is derived from the craft.

use aplomb::flight::Config;

/// A gain, or several that go together.
#[derive(Debug)]
pub struct Knob {
    /// What it is in words.
    pub name: &'static str,
    /// The larger, the faster its loop.
    pub is_gain: bool,
    /// Where it stands in the controller file.
    pub places: &'static [Place],
}

/// One key of the controller file.
#[derive(Debug)]
pub struct Place {
    /// Table under `[override]`.
    pub table: &'static str,
    /// Key in it.
    pub key: &'static str,
    /// Its derived value.
    pub derived: fn(&Config) -> f32,
}

/// A knob that was turned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Place in [`KNOBS`].
    pub knob: usize,
    /// Factor on what is derived.
    pub factor: f64,
    /// What is derived.
    pub derived: Config,
}

macro_rules! place {
    ($table:literal, $key:ident, $($field:ident).+) => {
        Place { table: $table, key: stringify!($key), derived: |config| config.$($field).+.$key }
    };
}

/// All of them, the fast loops first.
pub const KNOBS: [Knob; 8] = [
    Knob {
        name: "roll and pitch rate",
        is_gain: true,
        places: &[
            place!("rate_roll", crossover_rad_s, rate.roll),
            place!("rate_pitch", crossover_rad_s, rate.pitch),
        ],
    },
    Knob { name: "yaw rate", is_gain: true, places: &[place!("rate_yaw", crossover_rad_s, rate.yaw)] },
    Knob { name: "tilt", is_gain: true, places: &[place!("tilt", crossover_rad_s, attitude.tilt)] },
    Knob {
        name: "pace of tilt",
        is_gain: true,
        places: &[place!("tilt", reference_bandwidth_rad_s, attitude.tilt)],
    },
    Knob { name: "climb", is_gain: true, places: &[place!("vertical", climb_crossover_rad_s, vertical)] },
    Knob {
        name: "climb integral",
        is_gain: false,
        places: &[place!("vertical", climb_integral_time_s, vertical)],
    },
    Knob { name: "height", is_gain: true, places: &[place!("vertical", height_crossover_rad_s, vertical)] },
    Knob {
        name: "velocity and place",
        is_gain: true,
        places: &[
            place!("velocity", crossover_rad_s, velocity),
            place!("position", crossover_rad_s, position),
        ],
    },
];

/// Factors that are looked at.
pub const RANGE: (f64, f64) = (0.4, 2.0);
