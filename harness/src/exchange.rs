//! What the craft and the controller hand each other, from one crate's numbers to the other's.

use aplomb::frames::Vector;
use aplomb::{Battery, ImuSample, MotorCommand, Receiver, Rotors, Sample, Sensors};
use aplomb_craft::{Readings, glam::DVec3, sensors::Reading};

/// The craft's readings as the controller's samples; ages in ticks of `tick_s`.
#[must_use]
pub fn sensors(readings: &Readings, tick_s: f64) -> Sensors {
    let imu = readings.imu.map_or(
        // Nothing fitted: a sample that never was.
        ImuSample { age_ticks: u16::MAX, ..ImuSample::default() },
        |reading| ImuSample {
            gyro_rad_s: vector(reading.value.gyro_rad_s),
            accel_m_s2: vector(reading.value.accel_m_s2),
            age_ticks: ticks(reading.age_s, tick_s),
        },
    );
    Sensors {
        imu: [imu],
        rotor_speed_rad_s: Some(Rotors::from_array(readings.rotor_speed_rad_s.to_array()).map(|w| w as f32)),
        battery: Some(Battery {
            voltage_v: readings.battery.voltage_v as f32,
            current_a: readings.battery.current_a as f32,
        }),
        pressure_pa: readings
            .pressure_pa
            .map(|reading| sample(&reading, tick_s, |pressure| *pressure as f32)),
        receiver: readings.receiver.map(|reading| {
            sample(&reading, tick_s, |fix| Receiver {
                position_m: vector(fix.position_m),
                velocity_m_s: vector(fix.velocity_m_s),
                position_accuracy_m: fix.position_accuracy_m as f32,
                velocity_accuracy_m_s: fix.velocity_accuracy_m_s as f32,
            })
        }),
        field_ut: readings.field_ut.map(|reading| sample(&reading, tick_s, |field| vector(*field))),
    }
}

/// The controller's commands as the craft takes them.
#[must_use]
pub fn commands(commands: Rotors<MotorCommand>) -> aplomb_craft::Rotors<f64> {
    aplomb_craft::Rotors::from(commands.into_array().map(|command| f64::from(command.get())))
}

fn sample<T, U>(reading: &Reading<T>, tick_s: f64, convert: impl Fn(&T) -> U) -> Sample<U> {
    Sample { value: convert(&reading.value), age_ticks: ticks(reading.age_s, tick_s) }
}

fn ticks(age_s: f64, tick_s: f64) -> u16 {
    libm::round(age_s / tick_s) as u16
}

fn vector<F: aplomb::frames::Frame>(v: DVec3) -> Vector<F> {
    Vector::new(v.x as f32, v.y as f32, v.z as f32)
}
