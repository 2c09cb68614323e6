//! Faults: what goes wrong with a rotor or a sensor, from when until when.
//!
//! Each fault is a wrapper around a sound part: `rotors` around the motor commands and the propellers, `sensors` around the
//! samples. Several may hold at once, also of one part; they act in the order in which they are given. A craft without
//! faults pays nothing for them.

mod rotors;
mod sensors;

pub(crate) use rotors::{Condition, HEALTHY, RotorWrappers};
pub(crate) use sensors::SensorWrapper;

use crate::error::{ConfigError, Reason, all_finite, fail, finite, not_negative, within};
use crate::rotors::Corner;

/// Longest delay that a fault adds (s).
pub const LONGEST_DELAY_S: f64 = 2.0;

/// One fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// Start, from the start of the flight (s).
    pub from_s: f64,
    /// End (s); infinite if it lasts.
    pub until_s: f64,
    /// What is wrong.
    pub what: What,
}

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// Something with a rotor.
    Rotor(Corner, RotorFault),
    /// The signal wires of two speed controllers are exchanged.
    SwappedWiring(Corner, Corner),
    /// Something with a sensor.
    Sensor(Sensor, SensorFault),
}

/// What can be wrong with one motor, its speed controller or its propeller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RotorFault {
    /// The speed controller keeps to the command it had at the start.
    Stuck,
    /// No command arrives: command 0.
    DroppedOut,
    /// The command counts this many times.
    Scale(f64),
    /// The command takes this much longer (s).
    Delay(f64),
    /// Thrust and torque are less by this share, 0..1, at the same speed.
    LossOfEffectiveness(f64),
    /// A piece of a blade is gone: thrust and torque are less by `loss_share`, and the rotor shakes the frame by so much more
    /// imbalance (kg m).
    ChippedBlade {
        /// Share of thrust and torque that is lost.
        loss_share: f64,
        /// Mass times its distance from the shaft.
        imbalance_kg_m: f64,
    },
    /// The rotor stops within a control period, giving its angular momentum to the frame, and stays where it is. The winding
    /// goes on drawing what its resistance and the current limit let through.
    Seized,
    /// The rotor turns the wrong way: it pushes down and its reaction is reversed. If it turns when that begins or ends, it is
    /// stopped first, as if it seized.
    Reversed,
}

/// A sensor that can be at fault.
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
    /// Satellite gnss.
    Gnss,
    /// Magnetometer.
    Magnetometer,
}

/// What can be wrong with a sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SensorFault {
    /// Shows the value it had at the start, as if it were new.
    Stuck,
    /// No sample arrives. Gyro and accelerometer share a sample: without one of them none arrives.
    DroppedOut,
    /// Shows not-a-number.
    NotANumber,
    /// Shows so much more: rad/s, m/s2, uT on the body axes, m north, east and down for the gnss's position; the
    /// barometer shows the first number (Pa) more. Not for gyro and accelerometer together.
    Offset([f64; 3]),
    /// Shows this many times the value. Not for gyro and accelerometer together.
    Scale(f64),
    /// Samples arrive this much later (s) without saying so: their stated age stays.
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

/// First tick and the one after the last.
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
                What::Rotor(place, fault) => wrapped.rotors.add(span, place, fault, tick_s),
                What::SwappedWiring(one, other) => wrapped.rotors.swap(span, one, other),
                What::Sensor(sensor, fault) => {
                    wrapped.sensors.push(SensorWrapper::new(span, sensor, fault, tick_s));
                }
            }
        }
        wrapped
    }
}
