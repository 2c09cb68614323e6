//! Vibration of the frame from the rotors, after the inertial sensor's low-pass.
//!
//! Each rotor gives two tones: its imbalance turns a force `m e w^2` in the rotor plane, and its thrust ripples at
//! blade-pass frequency. Both shake the rigid frame (force over mass, torque over inertia); a gain tells what share reaches
//! the sensor. The phase follows the integrated rotor speed, so a sampled tone aliases as it does on the craft.

use crate::config::Config;
use crate::random::{Source, Stream};
use crate::rotors::Rotors;
use crate::sensors::imu::Sample;
use core::f64::consts::PI;
use glam::{DMat3, DVec3};

/// Cosine and sine.
type Phasor = [f64; 2];

#[derive(Clone, Debug)]
pub(crate) struct Vibration {
    gain_per_mass: f64,
    gain_per_inertia: DMat3,
    imbalance_kg_m: f64,
    ripple: f64,
    blades: u32,
    per_corner: f64,
    half_tick_s: f64,
    arms: [DVec3; 4],
    /// +1 where the rotor turns from body x to body y (clockwise seen from above).
    sense: [f64; 4],
    phase: [Phasor; 4],
}

impl Vibration {
    /// `None` where nothing reaches the sensor.
    pub(crate) fn new(config: &Config, inertia: DMat3, tick_s: f64, seed: u64) -> Option<Self> {
        let imu = config.sensors.imu?;
        let rotor = &config.rotor;
        if imu.vibration_gain <= 0.0 || (rotor.imbalance_kg_m <= 0.0 && rotor.blade_pass_share <= 0.0) {
            return None;
        }
        let mut stream = Stream::new(seed, Source::RotorPhase);
        let arms = config.arms.to_array();
        Some(Vibration {
            gain_per_mass: imu.vibration_gain / config.mass_kg,
            gain_per_inertia: inertia.inverse() * imu.vibration_gain,
            imbalance_kg_m: rotor.imbalance_kg_m,
            ripple: rotor.blade_pass_share,
            blades: rotor.blades,
            per_corner: 1.0 / (2.0 * PI * imu.low_pass_hz),
            half_tick_s: 0.5 * tick_s,
            arms: arms.map(|arm| DVec3::new(arm.x_m, arm.y_m, arm.z_m)),
            sense: arms.map(|arm| -arm.spin.sign()),
            phase: arms.map(|_| turn(2.0 * PI * stream.uniform())),
        })
    }

    /// Turns the rotors on by one tick between two speeds; returns what the sensor feels at its end.
    #[inline]
    pub(crate) fn advance(&mut self, before: &[f64; 4], after: &[f64; 4], thrust: &Rotors<f64>) -> Sample {
        let thrust = thrust.to_array();
        let (mut force, mut impulse) = (DVec3::ZERO, DVec3::ZERO);
        for i in 0..4 {
            let speed = after[i];
            self.phase[i] = product(self.phase[i], turn(self.half_tick_s * (before[i] + speed)));
            if speed < 1.0 {
                continue;
            }
            let per_speed = 1.0 / speed;
            let arm = self.arms[i];
            // Imbalance: force (c, sense s) in the plane; its integral over time (s, -sense c)/w.
            let [c, s] = filtered(self.phase[i], speed * self.per_corner);
            let size = self.imbalance_kg_m * speed * speed;
            force += DVec3::new(c, self.sense[i] * s, 0.0) * size;
            let swing = DVec3::new(s, -self.sense[i] * c, 0.0) * (size * per_speed);
            impulse += arm.cross(swing);
            // Blade pass: thrust ripple along -z.
            let blades = f64::from(self.blades);
            let [c, s] = filtered(power(self.phase[i], self.blades), blades * speed * self.per_corner);
            let size = -self.ripple * thrust[i];
            force.z += size * c;
            impulse += arm.cross(DVec3::new(0.0, 0.0, size * s * per_speed / blades));
        }
        Sample { gyro_rad_s: self.gain_per_inertia * impulse, accel_m_s2: force * self.gain_per_mass }
    }
}

/// First-order low-pass at `ratio` of its corner frequency.
#[inline]
fn filtered([c, s]: Phasor, ratio: f64) -> Phasor {
    let gain = 1.0 / (1.0 + ratio * ratio);
    [gain * (c + ratio * s), gain * (s - ratio * c)]
}

#[inline]
fn product(a: Phasor, b: Phasor) -> Phasor {
    [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]]
}

#[inline]
fn power(a: Phasor, times: u32) -> Phasor {
    (1..times).fold(a, |whole, _| product(whole, a))
}

/// Cosine and sine of an angle. Small angles, the usual turn in a tick, by a short series (error under 1e-12 at half a
/// radian); the result is brought back to unit length, so phasors do not grow.
#[inline]
fn turn(angle: f64) -> Phasor {
    let (quarter, large) = (0.25 * angle, angle > 2.0);
    if large {
        let (s, c) = libm::sincos(angle);
        return [c, s];
    }
    let q = quarter * quarter;
    let s = quarter
        * (1.0
            - q * (1.0 / 6.0)
                * (1.0 - q * (1.0 / 20.0) * (1.0 - q * (1.0 / 42.0) * (1.0 - q * (1.0 / 72.0)))));
    let c = libm::sqrt(1.0 - s * s);
    let half = [c * c - s * s, 2.0 * c * s];
    product(half, half)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turn_is_cosine_and_sine() {
        for step in 0..400 {
            let angle = f64::from(step) * 0.01;
            let [c, s] = turn(angle);
            assert!((c - libm::cos(angle)).abs() < 1e-10 && (s - libm::sin(angle)).abs() < 1e-10, "{angle}");
        }
    }

    #[test]
    fn low_pass_halves_the_power_at_its_corner_and_lags_45_degrees() {
        let [c, s] = filtered([1.0, 0.0], 1.0);
        assert!((c * c + s * s - 0.5).abs() < 1e-15 && (s + c).abs() < 1e-15);
    }
}
