//! Vibration of the frame by the rotors, after the low-pass of the inertial sensor.
//!
//! Each rotor gives two tones: the imbalance force `m e w^2`, which rotates in the rotor plane, and the
//! thrust ripple at blade-pass frequency. Both act on the rigid frame (force over mass, torque over inertia);
//! a gain gives the ratio at the sensor. The phase is the integral of the rotor speed, so a sampled tone
//! aliases as on the craft.

use crate::config::Config;
use crate::lanes::{each, sum};
use crate::random::{Source, Stream};
use crate::sensors::imu::Sample;
use crate::{ROTORS, Rotors};
use core::f64::consts::PI;
use glam::{DMat3, DVec3};

#[derive(Clone, Debug)]
pub(crate) struct Vibration {
    gain_per_mass: f64,
    gain_per_inertia: DMat3,
    sound_kg_m: f64,
    imbalance_kg_m: [f64; ROTORS],
    shakes: bool,
    ripple: f64,
    blades: u32,
    per_blade: f64,
    per_corner: f64,
    half_tick_s: f64,
    /// Positions of the rotors: x, y, z.
    arms: [[f64; ROTORS]; 3],
    /// +1 for rotation from body x to body y (clockwise seen from above).
    sense: [f64; ROTORS],
    phase: Phasors,
}

impl Vibration {
    /// `None` if no vibration reaches the sensor.
    pub(crate) fn new(config: &Config, inertia: DMat3, tick_s: f64, seed: u64) -> Option<Self> {
        let imu = config.sensors.imu?;
        let rotor = &config.rotor;
        if imu.vibration_gain <= 0.0 {
            return None;
        }
        let mut stream = Stream::new(seed, Source::RotorPhase);
        let arms = config.arms.into_array();
        Some(Vibration {
            gain_per_mass: imu.vibration_gain / config.mass_kg,
            gain_per_inertia: inertia.inverse() * imu.vibration_gain,
            sound_kg_m: rotor.imbalance_kg_m,
            imbalance_kg_m: [rotor.imbalance_kg_m; ROTORS],
            shakes: rotor.imbalance_kg_m > 0.0 || rotor.blade_pass_share > 0.0,
            ripple: rotor.blade_pass_share,
            blades: rotor.blades,
            per_blade: 1.0 / f64::from(rotor.blades),
            per_corner: 1.0 / (2.0 * PI * imu.low_pass_hz),
            half_tick_s: 0.5 * tick_s,
            arms: [arms.map(|arm| arm.x_m), arms.map(|arm| arm.y_m), arms.map(|arm| arm.z_m)],
            sense: arms.map(|arm| -f64::from(arm.spin.reaction())),
            phase: Phasors::of(arms.map(|_| 2.0 * PI * stream.uniform())),
        })
    }

    /// Whether there is any vibration.
    #[inline]
    pub(crate) fn shakes(&self) -> bool {
        self.shakes
    }

    /// Sets the additional imbalance of each rotor.
    pub(crate) fn add_imbalance(&mut self, more_kg_m: Rotors<f64>) {
        self.imbalance_kg_m = more_kg_m.into_array().map(|more| self.sound_kg_m + more);
        self.shakes = self.ripple > 0.0 || self.imbalance_kg_m.iter().any(|&imbalance| imbalance > 0.0);
    }

    /// Advances the rotor phases by one tick between two speeds; returns the vibration at the sensor at its
    /// end. `thrust_n_s2` is thrust over squared speed in the actual air. Branch-free over four rotors, for
    /// vectorisation.
    #[inline]
    pub(crate) fn advance(
        &mut self,
        before: &[f64; ROTORS],
        after: &[f64; ROTORS],
        thrust_n_s2: f64,
    ) -> Sample {
        let angles = each(|i| self.half_tick_s * (before[i] + after[i]));
        let turned = if angles.iter().all(|&angle| angle < LARGEST_TURN) {
            Phasors { cosine: each(|i| small_turn(angles[i])[0]), sine: each(|i| small_turn(angles[i])[1]) }
        } else {
            Phasors::of(angles)
        };
        self.phase = self.phase.times(&turned).unit();
        let passing = (1..self.blades).fold(self.phase, |whole, _| whole.times(&self.phase));

        let blades = f64::from(self.blades);
        let ratio = each(|i| after[i] * self.per_corner);
        let higher = each(|i| blades * ratio[i]);
        // Squared gains of the low-pass for both tones, with one division.
        let (square, higher_square) =
            (each(|i| 1.0 + ratio[i] * ratio[i]), each(|i| 1.0 + higher[i] * higher[i]));
        let both = each(|i| 1.0 / (square[i] * higher_square[i]));
        let turning = self.phase.filtered(&ratio, &each(|i| higher_square[i] * both[i]));
        let passing = passing.filtered(&higher, &each(|i| square[i] * both[i]));

        // Imbalance: force m e w^2 (c, sense s) in the plane; its integral over time is m e w (s, -sense c).
        // Blade pass: force -r kT w^2 c along z; its integral -r kT w s/blades.
        let swing = each(|i| self.imbalance_kg_m[i] * after[i]);
        let ripple = each(|i| -self.ripple * thrust_n_s2 * after[i]);
        let force = DVec3::new(
            sum(|i| swing[i] * after[i] * turning.cosine[i]),
            sum(|i| swing[i] * after[i] * self.sense[i] * turning.sine[i]),
            sum(|i| ripple[i] * after[i] * passing.cosine[i]),
        );
        let over_x = each(|i| swing[i] * turning.sine[i]);
        let over_y = each(|i| -swing[i] * self.sense[i] * turning.cosine[i]);
        let over_z = each(|i| ripple[i] * self.per_blade * passing.sine[i]);
        let [x, y, z] = &self.arms;
        let impulse = DVec3::new(
            sum(|i| y[i] * over_z[i] - z[i] * over_y[i]),
            sum(|i| z[i] * over_x[i] - x[i] * over_z[i]),
            sum(|i| x[i] * over_y[i] - y[i] * over_x[i]),
        );
        Sample { gyro_rad_s: self.gain_per_inertia * impulse, accel_m_s2: force * self.gain_per_mass }
    }
}

/// Cosine and sine of four angles.
#[derive(Clone, Copy, Debug)]
struct Phasors {
    cosine: [f64; ROTORS],
    sine: [f64; ROTORS],
}

impl Phasors {
    fn of(angles: [f64; ROTORS]) -> Self {
        let both = angles.map(libm::sincos);
        Phasors { cosine: both.map(|(_, c)| c), sine: both.map(|(s, _)| s) }
    }

    #[inline]
    fn times(&self, by: &Phasors) -> Phasors {
        Phasors {
            cosine: each(|i| self.cosine[i] * by.cosine[i] - self.sine[i] * by.sine[i]),
            sine: each(|i| self.cosine[i] * by.sine[i] + self.sine[i] * by.cosine[i]),
        }
    }

    /// Normalised, from a value that is nearly so.
    #[inline]
    fn unit(&self) -> Phasors {
        let scale = each(|i| 1.5 - 0.5 * (self.cosine[i] * self.cosine[i] + self.sine[i] * self.sine[i]));
        Phasors { cosine: each(|i| self.cosine[i] * scale[i]), sine: each(|i| self.sine[i] * scale[i]) }
    }

    /// After a first-order low-pass at `ratio` of its cut-off frequency, with the squared gain `gain` = 1/(1
    /// + ratio^2).
    #[inline]
    fn filtered(&self, ratio: &[f64; ROTORS], gain: &[f64; ROTORS]) -> Phasors {
        Phasors {
            cosine: each(|i| gain[i] * (self.cosine[i] + ratio[i] * self.sine[i])),
            sine: each(|i| gain[i] * (self.sine[i] - ratio[i] * self.cosine[i])),
        }
    }
}

/// Largest angle (rad) of the short series; rarely exceeded in a tick.
const LARGEST_TURN: f64 = 1.4;

/// Cosine and sine by the series at half the angle; error under 2e-8 up to [`LARGEST_TURN`].
#[inline(always)]
fn small_turn(angle: f64) -> [f64; 2] {
    let half = 0.5 * angle;
    let q = half * half;
    let s = half * (1.0 + q * (-1.0 / 6.0 + q * (1.0 / 120.0 + q * (-1.0 / 5040.0 + q * (1.0 / 362_880.0)))));
    let c = 1.0 + q * (-0.5 + q * (1.0 / 24.0 + q * (-1.0 / 720.0 + q * (1.0 / 40_320.0))));
    [c * c - s * s, 2.0 * c * s]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_series_is_cosine_and_sine() {
        for step in 0..=140 {
            let angle = f64::from(step) * 0.01;
            let [c, s] = small_turn(angle);
            assert!((c - libm::cos(angle)).abs() < 2e-8 && (s - libm::sin(angle)).abs() < 2e-8, "{angle}");
        }
    }

    #[test]
    fn low_pass_halves_the_power_at_its_corner_and_lags_45_degrees() {
        let out = Phasors::of([0.0; ROTORS]).filtered(&[1.0; ROTORS], &[0.5; ROTORS]);
        let (c, s) = (out.cosine[2], out.sine[2]);
        assert!((c * c + s * s - 0.5).abs() < 1e-15 && (s + c).abs() < 1e-15);
    }
}
