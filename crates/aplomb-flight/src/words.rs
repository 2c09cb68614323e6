//! Descriptions of air, constraints and faults for a reader.

use aplomb_craft::air::{AirConfig, WindStep};
use aplomb_craft::dryden::Turbulence;
use aplomb_craft::fault::{Fault, RotorFault, Sensor, SensorFault, What};
use aplomb_craft::gust::Gust;
use aplomb_craft::mount::Axis;
use aplomb_craft::{Corner, Mount, glam::DVec3};

/// Description of the air: "Still air."
pub(crate) fn air(air: &AirConfig) -> String {
    let AirConfig { u20_m_s, u20_from_deg, winds, gusts, turbulence, .. } = air;
    let mut parts = Vec::new();
    if let Some(u20) = u20_m_s {
        parts.push(format!("wind of {u20} m/s at 20 ft that grows with height, from {u20_from_deg} deg"));
    }
    for WindStep { at_s, from_deg, speed_m_s, .. } in winds {
        let when = if *at_s > 0.0 { format!("from {at_s} s on ") } else { String::new() };
        parts.push(format!("{when}wind of {speed_m_s} m/s from {from_deg} deg"));
    }
    for Gust { at_s, peak_m_s, length_m, from_deg, .. } in gusts {
        parts.push(format!("at {at_s} s a gust of {peak_m_s} m/s over {length_m} m, from {from_deg} deg"));
    }
    if let Some(Turbulence { u20_m_s }) = turbulence {
        parts.push(format!("turbulence as in a wind of {u20_m_s:.1} m/s at 20 ft"));
    }
    let words = if parts.is_empty() { "still air".to_owned() } else { parts.join("; ") };
    words[..1].to_uppercase() + &words[1..] + "."
}

/// Description of the constraint, if any: "Tied to the ground by a tether of 3 m."
pub(crate) fn mount(mount: &Mount) -> Option<String> {
    match mount {
        Mount::Free => None,
        Mount::Stand(stand) => {
            let axis = match stand.axis {
                Axis::Roll => "roll",
                Axis::Pitch => "pitch",
                Axis::Yaw => "yaw",
            };
            Some(format!("On a test stand that leaves only the {axis} axis free."))
        }
        Mount::Tether(tether) => Some(format!("Tied to the ground by a tether of {} m.", tether.length_m)),
    }
}

/// A fault in words: "10 to 20 s the barometer delivers no samples".
pub(crate) fn fault(fault: &Fault) -> String {
    let Fault { from_s, until_s, what } = fault;
    let when = match (*from_s <= 0.0, until_s.is_finite()) {
        (true, false) => "throughout".to_owned(),
        (false, false) => format!("from {from_s} s on"),
        (_, true) => format!("{from_s} to {until_s} s"),
    };
    let what = match what {
        What::SwappedWiring(one, other) => {
            format!(
                "the wiring of the {} and the {} motor is swapped",
                corner_words(*one),
                corner_words(*other)
            )
        }
        What::Rotor(corner, fault) => format!("the {} {}", corner_words(*corner), rotor_words(fault)),
        What::Sensor(sensor, fault) => {
            format!("the {} {}", sensor_words(*sensor), sensor_fault_words(*sensor, fault))
        }
    };
    format!("{when} {what}")
}

fn rotor_words(fault: &RotorFault) -> String {
    match fault {
        RotorFault::Stuck => "motor keeps its command".into(),
        RotorFault::DroppedOut => "motor gets no command".into(),
        RotorFault::Scale(scale) => format!("motor makes {scale} of its command"),
        RotorFault::Delay(delay_s) => format!("motor gets its command {delay_s} s late"),
        RotorFault::LossOfEffectiveness(share) => format!("rotor lacks {:.0} % of its thrust", 100.0 * share),
        RotorFault::ChippedBlade { loss_share, imbalance_kg_m } => format!(
            "rotor has a chipped blade: {:.0} % of its thrust, {:.0} g mm out of balance",
            100.0 * (1.0 - loss_share),
            imbalance_kg_m * 1e6
        ),
        RotorFault::Seized => "rotor is seized".into(),
        RotorFault::Reversed => "rotor turns the wrong way".into(),
    }
}

fn sensor_fault_words(sensor: Sensor, fault: &SensorFault) -> String {
    match fault {
        SensorFault::Stuck => "is stuck".into(),
        SensorFault::DroppedOut => "delivers no samples".into(),
        SensorFault::NotANumber => "returns NaN".into(),
        SensorFault::Offset(bias) => {
            let size = libm::sqrt(DVec3::from_array(*bias).length_squared());
            match sensor {
                Sensor::Gyro => format!("has a bias of {:.1} deg/s", size.to_degrees()),
                Sensor::Accelerometer => format!("has a bias of {size:.2} m/s2"),
                Sensor::Barometer => format!("has a bias of {size:.0} Pa"),
                Sensor::Gnss => format!("has a bias of {size:.1} m"),
                Sensor::Magnetometer | Sensor::Imu => format!("has a bias of {size:.1} uT"),
            }
        }
        SensorFault::Scale(scale) => format!("is scaled by {scale}"),
        SensorFault::Delay(delay_s) => format!("is {delay_s} s late with the age of a fresh sample"),
    }
}

const fn corner_words(corner: Corner) -> &'static str {
    match corner {
        Corner::FrontLeft => "front left",
        Corner::FrontRight => "front right",
        Corner::RearLeft => "rear left",
        Corner::RearRight => "rear right",
    }
}

const fn sensor_words(sensor: Sensor) -> &'static str {
    match sensor {
        Sensor::Imu => "inertial sensor",
        Sensor::Gyro => "gyro",
        Sensor::Accelerometer => "accelerometer",
        Sensor::Barometer => "barometer",
        Sensor::Gnss => "GNSS receiver",
        Sensor::Magnetometer => "magnetometer",
    }
}
