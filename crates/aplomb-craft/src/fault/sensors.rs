//! Fault wrappers of the sensor samples.

use super::{Sensor, SensorFault, Span};
use crate::sensors::gnss::GnssFix;
use crate::sensors::imu::Sample;
use crate::sensors::{Reading, Readings};
use glam::DVec3;
use std::collections::VecDeque;

/// One fault of one sensor.
#[derive(Clone, Debug)]
pub(crate) struct SensorWrapper {
    span: Span,
    part: Part,
}

#[derive(Clone, Debug)]
enum Part {
    Imu(Held<Sample>),
    Gyro(Held<Sample>),
    Accelerometer(Held<Sample>),
    Barometer(Held<f64>),
    Gnss(Held<GnssFix>),
    Magnetometer(Held<DVec3>),
}

impl SensorWrapper {
    pub(super) fn new(span: Span, sensor: Sensor, fault: SensorFault, tick_s: f64) -> Self {
        let part = match sensor {
            Sensor::Imu => Part::Imu(Held::new(fault, tick_s)),
            Sensor::Gyro => Part::Gyro(Held::new(fault, tick_s)),
            Sensor::Accelerometer => Part::Accelerometer(Held::new(fault, tick_s)),
            Sensor::Barometer => Part::Barometer(Held::new(fault, tick_s)),
            Sensor::Gnss => Part::Gnss(Held::new(fault, tick_s)),
            Sensor::Magnetometer => Part::Magnetometer(Held::new(fault, tick_s)),
        };
        SensorWrapper { span, part }
    }

    /// Applies the fault to the readings.
    pub(crate) fn pass(&mut self, tick: u64, readings: &mut Readings) {
        let holds = self.span.holds(tick);
        match &mut self.part {
            Part::Imu(held) => readings.imu = held.pass(holds, readings.imu),
            Part::Gyro(held) => {
                let sound = readings.imu.map_or(DVec3::ZERO, |reading| reading.value.accel_m_s2);
                readings.imu = held.pass(holds, readings.imu);
                if let Some(reading) = &mut readings.imu {
                    reading.value.accel_m_s2 = sound;
                }
            }
            Part::Accelerometer(held) => {
                let sound = readings.imu.map_or(DVec3::ZERO, |reading| reading.value.gyro_rad_s);
                readings.imu = held.pass(holds, readings.imu);
                if let Some(reading) = &mut readings.imu {
                    reading.value.gyro_rad_s = sound;
                }
            }
            Part::Barometer(held) => readings.pressure_pa = held.pass(holds, readings.pressure_pa),
            Part::Gnss(held) => readings.gnss = held.pass(holds, readings.gnss),
            Part::Magnetometer(held) => {
                readings.magnetic_field_ut = held.pass(holds, readings.magnetic_field_ut)
            }
        }
    }
}

/// State of a fault.
#[derive(Clone, Debug)]
enum Held<T> {
    /// The last healthy value.
    Stuck(Option<T>),
    DroppedOut,
    Changed(Change),
    /// Recent samples, oldest first.
    Delay(VecDeque<Option<Reading<T>>>),
}

/// Change of a value.
#[derive(Clone, Copy, Debug)]
enum Change {
    NotANumber,
    Offset(DVec3),
    Scale(f64),
}

impl Change {
    fn of(self, value: DVec3) -> DVec3 {
        match self {
            Change::NotANumber => DVec3::NAN,
            Change::Offset(offset) => value + offset,
            Change::Scale(scale) => value * scale,
        }
    }
}

impl<T: Value> Held<T> {
    fn new(fault: SensorFault, tick_s: f64) -> Self {
        match fault {
            SensorFault::Stuck => Held::Stuck(None),
            SensorFault::DroppedOut => Held::DroppedOut,
            SensorFault::NotANumber => Held::Changed(Change::NotANumber),
            SensorFault::Offset(offset) => Held::Changed(Change::Offset(DVec3::from_array(offset))),
            SensorFault::Scale(scale) => Held::Changed(Change::Scale(scale)),
            SensorFault::Delay(delay_s) => {
                Held::Delay(VecDeque::from(vec![None; libm::round(delay_s / tick_s) as usize]))
            }
        }
    }

    fn pass(&mut self, holds: bool, reading: Option<Reading<T>>) -> Option<Reading<T>> {
        match self {
            Held::Stuck(last) => match reading {
                Some(reading) if holds => {
                    // Stuck from the start of the flight: the first value is held.
                    let value = *last.get_or_insert(reading.value);
                    Some(Reading { value, ..reading })
                }
                _ => {
                    *last = reading.map_or(*last, |reading| Some(reading.value));
                    reading
                }
            },
            Held::DroppedOut => reading.filter(|_| !holds),
            Held::Changed(change) if holds => {
                reading.map(|reading| Reading { value: reading.value.changed(*change), ..reading })
            }
            Held::Changed(_) => reading,
            Held::Delay(queue) => {
                queue.push_back(reading);
                let late = queue.pop_front().flatten();
                if holds { late } else { reading }
            }
        }
    }
}

/// A value that a fault can change.
trait Value: Copy {
    fn changed(self, change: Change) -> Self;
}

impl Value for f64 {
    fn changed(self, change: Change) -> Self {
        change.of(DVec3::splat(self)).x
    }
}

impl Value for DVec3 {
    fn changed(self, change: Change) -> Self {
        change.of(self)
    }
}

/// Changes both parts; [`SensorWrapper::pass`] uses only the faulty one.
impl Value for Sample {
    fn changed(self, change: Change) -> Self {
        Sample { gyro_rad_s: change.of(self.gyro_rad_s), accel_m_s2: change.of(self.accel_m_s2) }
    }
}

/// An offset applies to the position only.
impl Value for GnssFix {
    fn changed(self, change: Change) -> Self {
        let velocity_m_s = match change {
            Change::Offset(_) => self.velocity_m_s,
            Change::NotANumber | Change::Scale(_) => change.of(self.velocity_m_s),
        };
        GnssFix { position_m: change.of(self.position_m), velocity_m_s, ..self }
    }
}
