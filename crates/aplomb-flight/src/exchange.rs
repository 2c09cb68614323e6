//! What the craft and the controller hand each other, from one crate's numbers to the other's.

use aplomb::frames::Vector;
use aplomb::{Battery, GnssFix, ImuSample, MotorCommand, Rotors, Sample, Sensors};
use aplomb_craft::{Readings, glam::DVec3, sensors::Reading};

/// The craft's readings as the controller's samples. An inertial reading covers one tick, `tick_s`.
#[must_use]
pub fn sensors(readings: &Readings, tick_s: f64) -> Sensors {
    let imu = readings.imu.map_or(ImuSample::MISSING, |reading| {
        let (rate, force) = (vector(reading.value.gyro_rad_s), vector(reading.value.accel_m_s2));
        ImuSample { age_us: age_us(reading.age_s), ..ImuSample::from_rates(rate, force, tick_s as f32) }
    });
    Sensors {
        imu: [imu],
        rotor_speed_rad_s: Some(readings.rotor_speed_rad_s.map(|speed| speed as f32)),
        battery: Some(Battery {
            voltage_v: readings.battery.voltage_v as f32,
            current_a: readings.battery.current_a as f32,
        }),
        pressure_pa: [readings.pressure_pa.map(|reading| sample(&reading, |pressure| *pressure as f32))],
        gnss: readings.gnss.map(|reading| {
            sample(&reading, |fix| GnssFix {
                position_m: vector(fix.position_m),
                velocity_m_s: vector(fix.velocity_m_s),
                horizontal_accuracy_m: fix.horizontal_accuracy_m as f32,
                vertical_accuracy_m: fix.vertical_accuracy_m as f32,
                horizontal_velocity_accuracy_m_s: fix.horizontal_velocity_accuracy_m_s as f32,
                vertical_velocity_accuracy_m_s: fix.vertical_velocity_accuracy_m_s as f32,
            })
        }),
        magnetic_field_ut: readings.magnetic_field_ut.map(|reading| sample(&reading, |field| vector(*field))),
    }
}

/// The controller's commands as the craft takes them.
#[must_use]
pub fn commands(commands: Rotors<MotorCommand>) -> Rotors<f64> {
    commands.map(|command| f64::from(command.get()))
}

fn sample<T, U>(reading: &Reading<T>, convert: impl Fn(&T) -> U) -> Sample<U> {
    Sample { value: convert(&reading.value), age_us: age_us(reading.age_s) }
}

fn age_us(age_s: f64) -> u32 {
    libm::round(age_s * 1e6) as u32
}

fn vector<F: aplomb::frames::Frame>(v: DVec3) -> Vector<F> {
    Vector::new(v.x as f32, v.y as f32, v.z as f32)
}
