//! Faults of rotors and sensors between two times.
//!
//! Each fault is a wrapper: `rotors` around the motor commands and the propellers, `sensors` around the
//! samples. Several faults can be active at once, also of one part; they apply in the given order. A craft
//! without faults has no overhead.

mod rotors;
mod sensors;

pub(crate) use rotors::{Condition, HEALTHY, RotorWrappers};
pub(crate) use sensors::SensorWrapper;

use crate::Corner;
use crate::error::{ConfigError, Reason, all_finite, fail, finite, not_negative, within};

/// Largest delay of a fault (s).
pub const LONGEST_DELAY_S: f64 = 2.0;

/// A fault and the time in which it is active.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// Start time (s).
    pub from_s: f64,
    /// End time (s); infinite for a permanent fault.
    pub until_s: f64,
    /// Kind of fault.
    pub what: What,
}

/// Faulty part and kind of fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// Fault of a rotor.
    Rotor(Corner, RotorFault),
    /// Exchanged signal wires of two speed controllers.
    SwappedWiring(Corner, Corner),
    /// Fault of a sensor.
    Sensor(Sensor, SensorFault),
}

/// Fault of a motor, its speed controller or its propeller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RotorFault {
    /// The command is frozen at its value at the start.
    Stuck,
    /// The command is 0.
    DroppedOut,
    /// The command is multiplied by this factor.
    Scale(f64),
    /// The command is delayed by this time (s).
    Delay(f64),
    /// Thrust and torque are reduced by this share, 0..1, at the same speed.
    LossOfEffectiveness(f64),
    /// Part of a blade is missing: thrust and torque are reduced by `loss_share`, and the imbalance is
    /// increased.
    ChippedBlade {
        /// Share of thrust and torque lost, 0..1.
        loss_share: f64,
        /// Additional imbalance: mass times its distance from the shaft (kg m).
        imbalance_kg_m: f64,
    },
    /// The rotor stops within one control period and stays stopped. Its angular momentum goes to the frame.
    /// The winding still draws the current that its resistance and the current limit allow.
    Seized,
    /// The rotor turns in the opposite sense: thrust and reaction torque are reversed. A turning rotor is
    /// stopped first at the start and the end of the fault, as if seized.
    Reversed,
}

/// Sensor with a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sensor {
    /// Gyro and accelerometer together.
    Imu,
    /// Gyro.
    Gyro,
    /// Accelerometer.
    Accelerometer,
    /// Barometer.
    Barometer,
    /// GNSS receiver.
    Gnss,
    /// Magnetometer.
    Magnetometer,
}

/// Fault of a sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SensorFault {
    /// The value is frozen at the start; samples are marked as new.
    Stuck,
    /// No samples. Gyro and accelerometer share a sample: without either of them there is none.
    DroppedOut,
    /// Values are NaN.
    NotANumber,
    /// Values are offset by this: rad/s, m/s2 or uT in body axes; m north, east and down for the GNSS
    /// position; Pa in the first element for the barometer. Not for gyro and accelerometer together.
    Offset([f64; 3]),
    /// Values are multiplied by this factor. Not for gyro and accelerometer together.
    Scale(f64),
    /// Samples arrive later by this time (s); their stated age is unchanged.
    Delay(f64),
}

impl Fault {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        not_negative("fault.from_s", self.from_s)?;
        // Written so that NaN is refused.
        if self.until_s.partial_cmp(&self.from_s) != Some(core::cmp::Ordering::Greater) {
            return fail("fault.until_s", Reason::NotAscending);
        }
        match self.what {
            What::SwappedWiring(one, other) if one == other => fail("fault.with", Reason::SameRotor),
            What::SwappedWiring(..) => Ok(()),
            What::Rotor(_, fault) => fault.check(),
            What::Sensor(sensor, fault) => fault.check(sensor),
        }
    }
}

impl RotorFault {
    fn check(self) -> Result<(), ConfigError> {
        match self {
            RotorFault::Scale(scale) => within("fault.scale", scale, 0.0, 10.0),
            RotorFault::Delay(delay_s) => within("fault.delay_s", delay_s, 0.0, LONGEST_DELAY_S),
            RotorFault::LossOfEffectiveness(share) => within("fault.loss_share", share, 0.0, 1.0),
            RotorFault::ChippedBlade { loss_share, imbalance_kg_m } => {
                within("fault.loss_share", loss_share, 0.0, 1.0)?;
                not_negative("fault.imbalance_kg_m", imbalance_kg_m)
            }
            RotorFault::Stuck | RotorFault::DroppedOut | RotorFault::Seized | RotorFault::Reversed => Ok(()),
        }
    }
}

impl SensorFault {
    fn check(self, sensor: Sensor) -> Result<(), ConfigError> {
        match self {
            SensorFault::Offset(_) | SensorFault::Scale(_) if sensor == Sensor::Imu => {
                fail("fault.sensor", Reason::NeedsGyroOrAccelerometer)
            }
            SensorFault::Offset(offset) => all_finite("fault.offset", &offset),
            SensorFault::Scale(scale) => finite("fault.scale", scale),
            SensorFault::Delay(delay_s) => within("fault.delay_s", delay_s, 0.0, LONGEST_DELAY_S),
            SensorFault::Stuck | SensorFault::DroppedOut | SensorFault::NotANumber => Ok(()),
        }
    }
}

/// First tick, and the tick after the last.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span {
    from: u64,
    until: u64,
}

impl Span {
    fn new(fault: &Fault, tick_s: f64) -> Self {
        let tick = |time_s: f64| libm::round(time_s / tick_s) as u64;
        Span { from: tick(fault.from_s), until: tick(fault.until_s) }
    }

    fn holds(&self, tick: u64) -> bool {
        self.from <= tick && tick < self.until
    }

    fn changes_at(&self, tick: u64) -> bool {
        self.from == tick || self.until == tick
    }
}

/// All faults of a craft.
#[derive(Clone, Debug)]
pub(crate) struct Faults {
    pub(crate) rotors: RotorWrappers,
    pub(crate) sensors: Vec<SensorWrapper>,
}

impl Faults {
    pub(crate) fn new(faults: &[Fault], tick_s: f64) -> Self {
        let mut wrapped = Faults { rotors: RotorWrappers::default(), sensors: Vec::new() };
        for fault in faults {
            let span = Span::new(fault, tick_s);
            match fault.what {
                What::Rotor(corner, fault) => wrapped.rotors.add(span, corner, fault, tick_s),
                What::SwappedWiring(one, other) => wrapped.rotors.swap(span, one, other),
                What::Sensor(sensor, fault) => {
                    wrapped.sensors.push(SensorWrapper::new(span, sensor, fault, tick_s));
                }
            }
        }
        wrapped
    }
}
