//! The closed form for a symmetric X.
//!
//! In N per rotor, t = T/4, r = tau_x/(4 l_y), p = tau_y/(4 l_x), u = s tau_z/(4 kappa) (s = +1 if the front left rotor
//! turns counter-clockwise), the diagonal of the front left rotor gets t + u +- (r + p), the other diagonal
//! t - u +- (r - p). Thrust is counted from the least of a rotor, h is the range up to the largest.
//!
//! Let x be the larger of |r + p| and |r - p| and n the smaller. Where yaw takes thrust off the diagonal of x, the whole
//! problem is turned upside down (t becomes h - t, the allowance up becomes the one down), so that yaw always adds to it:
//!
//! ```text
//! x <= t + u <= h - x        n <= t - u <= h - n        t_low <= t <= t_high        kept <= u <= |u*|
//! ```
//!
//! Eliminating u and t (Fourier-Motzkin) leaves the bounds on the share k of x and n that stand in
//! [`Symmetric::limited`]; given k, thrust and then yaw are intervals.

use super::geometry::Spans;
use super::{Config, Mixed, Wrench};
use crate::frames::Vector;
use crate::math::{least, most, saturate};
use crate::{Limited, Rotors};

/// Geometry, thrust range and allowance, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Symmetric {
    per_roll: f32,
    per_pitch: f32,
    per_yaw: f32,
    yaw_nm_per_n: f32,
    /// Thrust of a rotor.
    low: f32,
    high: f32,
    /// Where limited thrusts are sought: a few units in the last place inside of `low` to `high`, so that round-off never
    /// takes a rotor out of it. Saves the saturation of each rotor, 32 instructions.
    floor: f32,
    height: f32,
    down: f32,
    up: f32,
    /// Yaw that roll and pitch must leave room for.
    reserved: f32,
}

/// Torque and thrust in N per rotor; yaw is positive when the front left diagonal is to push harder.
#[derive(Clone, Copy)]
struct PerRotor {
    thrust: f32,
    roll: f32,
    pitch: f32,
    yaw: f32,
}

/// `share` cut so that `share * demand <= room`.
#[inline(always)]
pub(super) fn cut(share: f32, room: f32, demand: f32) -> f32 {
    if share * demand > room { room / demand } else { share }
}

impl Symmetric {
    /// From a checked configuration and the spans of its geometry.
    pub(super) fn new(config: &Config, spans: &Spans) -> Self {
        let kappa = config.geometry.torque_to_thrust_m;
        let Config { low_n: low, high_n: high, .. } = *config;
        let margin = 4.0 * f32::EPSILON * high;
        Self {
            per_roll: 0.25 / spans.half_width_m,
            per_pitch: 0.25 / spans.half_length_m,
            per_yaw: 0.25 * spans.front_left / kappa,
            yaw_nm_per_n: 4.0 * spans.front_left * kappa,
            low,
            high,
            floor: low + margin,
            height: high - low - 2.0 * margin,
            down: 0.25 * config.allowance_down_n,
            up: 0.25 * config.allowance_up_n,
            reserved: 0.25 * config.reserved_yaw_nm() / kappa,
        }
    }

    /// The demand itself if the rotors can give it, or else the optimum.
    #[inline]
    pub(super) fn mix(&self, demand: Wrench) -> Mixed {
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let asked = PerRotor {
            thrust: 0.25 * demand.thrust_n,
            roll: roll * self.per_roll,
            pitch: pitch * self.per_pitch,
            yaw: yaw * self.per_yaw,
        };
        let (sum, difference) = (asked.roll + asked.pitch, asked.roll - asked.pitch);
        let (one, other) = (asked.thrust + asked.yaw, asked.thrust - asked.yaw);
        let fits = one + sum.abs() <= self.high
            && one - sum.abs() >= self.low
            && other + difference.abs() <= self.high
            && other - difference.abs() >= self.low;
        if fits {
            Mixed {
                thrust_n: rotors(one, other, sum, difference),
                roll_pitch_share: 1.0,
                given: demand,
                limited: Limited::default(),
            }
        } else {
            self.limited(demand, asked)
        }
    }

    #[inline]
    fn limited(&self, demand: Wrench, asked: PerRotor) -> Mixed {
        let h = self.height;
        let (sum, difference) = (asked.roll + asked.pitch, asked.roll - asked.pitch);
        let sum_is_larger = sum.abs() >= difference.abs();
        let (x, n) =
            if sum_is_larger { (sum.abs(), difference.abs()) } else { (difference.abs(), sum.abs()) };
        let upside_down = sum_is_larger == (asked.yaw < 0.0);
        let thrust = asked.thrust - self.floor;
        let (wanted, down, up) =
            if upside_down { (h - thrust, self.up, self.down) } else { (thrust, self.down, self.up) };
        let yaw = asked.yaw.abs();

        // The window of thrust, opened just enough to hold one that all rotors can give.
        let (t_low, t_high) = (least(wanted, h) - down, most(wanted, 0.0) + up);
        let kept = if self.reserved > 0.0 {
            least(least(self.reserved, yaw), least(0.5 * h, least(h - t_low, t_high)))
        } else {
            0.0
        };
        let mut k = cut(1.0, least(least(0.5 * h, h - t_low - kept), t_high + yaw), x);
        k = cut(k, least(2.0 * t_high, h - 2.0 * kept), x + n);
        k = cut(k, t_high - kept, n);

        let (x, n) = (k * x, k * n);
        let at_least = most(most(0.5 * (x + n), x - yaw), n + kept);
        let at_most = h - x;
        let t = saturate(saturate(wanted, at_least, at_most - kept), t_low, t_high);
        let u = most(least(least(yaw, at_most - t), t - n), kept);

        let limited =
            Limited { roll_pitch: k < 1.0, thrust: t != wanted, yaw: u != yaw, ..Limited::default() };
        let t = self.floor + if upside_down { h - t } else { t };
        let u = if asked.yaw < 0.0 { -u } else { u };
        let [roll, pitch, _] = demand.torque_nm.to_array();
        Mixed {
            thrust_n: rotors(t + u, t - u, k * sum, k * difference),
            roll_pitch_share: k,
            given: Wrench {
                torque_nm: Vector::new(k * roll, k * pitch, u * self.yaw_nm_per_n),
                thrust_n: 4.0 * t,
            },
            limited,
        }
    }
}

/// From the means of the two diagonals and half their differences.
#[inline(always)]
fn rotors(one: f32, other: f32, sum: f32, difference: f32) -> Rotors<f32> {
    Rotors {
        front_left: one + sum,
        front_right: other - difference,
        rear_left: other + difference,
        rear_right: one - sum,
    }
}
