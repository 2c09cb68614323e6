//! The closed form for a symmetric X.
//!
//! In N per rotor, t = T/4, r = tau_x/(4 l_y), p = tau_y/(4 l_x), u = s tau_z/(4 kappa) (s = +1 if the front left rotor
//! turns counter-clockwise), the diagonal of the front left rotor gets t + u +- (r + p), the other diagonal
//! t - u +- (r - p). Thrust is counted from the least of a rotor, h is the range up to the largest.
//!
//! Let x = |r| + |p| be the larger of |r + p| and |r - p| and n the smaller. Where yaw takes thrust off the diagonal of x,
//! which is where u r p < 0, the whole problem is turned upside down (t becomes h - t, the allowance up becomes the one
//! down), so that yaw always adds to it:
//!
//! ```text
//! x <= t + u <= h - x        n <= t - u <= h - n        t_low <= t <= t_high        kept <= u <= |u*|
//! ```
//!
//! Eliminating u and t (Fourier-Motzkin) leaves the bounds on the share k of x and n that stand in
//! [`Symmetric::mix`]; given k, thrust and then yaw are intervals.

use super::geometry::Spans;
use super::{Config, Mixed, Wrench};
use crate::frames::Vector;
use crate::math::{least, most};
use crate::{Limited, Rotors};

/// Geometry, thrust range and allowance, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Symmetric {
    per_roll: f32,
    per_pitch: f32,
    per_yaw: f32,
    yaw_nm_per_n: f32,
    /// The thrust range of a rotor, taken in by 5e-7 of the largest at both ends, so that round-off never takes a rotor
    /// out of it: saves the saturation of each rotor, 32 instructions.
    floor: f32,
    height: f32,
    half_height: f32,
    down: f32,
    up: f32,
    /// Yaw that roll and pitch must leave room for, at most a quarter of the range.
    reserved: f32,
}

/// `share` cut so that `share * demand <= room`.
#[inline(always)]
fn cut(share: f32, room: f32, demand: f32) -> f32 {
    if share * demand > room { room / demand } else { share }
}

impl Symmetric {
    /// From a checked configuration and the spans of its geometry.
    pub(super) fn new(config: &Config, spans: &Spans) -> Self {
        let kappa = config.geometry.torque_to_thrust_m;
        let Config { min_thrust_n: low, max_thrust_n: high, .. } = *config;
        let margin = 4.0 * f32::EPSILON * high;
        Self {
            per_roll: 0.25 / spans.half_width_m,
            per_pitch: 0.25 / spans.half_length_m,
            per_yaw: 0.25 * spans.front_left / kappa,
            yaw_nm_per_n: 4.0 * spans.front_left * kappa,
            floor: low + margin,
            height: high - low - 2.0 * margin,
            half_height: 0.5 * (high - low) - margin,
            down: 0.25 * config.allowance_down_n,
            up: 0.25 * config.allowance_up_n,
            reserved: 0.25 * config.reserved_yaw_nm() / kappa,
        }
    }

    /// The optimum. One way for every demand, so that each takes the same time.
    #[inline]
    pub(super) fn mix(&self, demand: &Wrench) -> Mixed {
        let h = self.height;
        let [roll_nm, pitch_nm, yaw_nm] = demand.torque_nm.to_array();
        let (roll, pitch) = (roll_nm * self.per_roll, pitch_nm * self.per_pitch);
        let (signed_yaw, thrust) = (yaw_nm * self.per_yaw, 0.25 * demand.thrust_n - self.floor);

        let (x, n) = (roll.abs() + pitch.abs(), (roll.abs() - pitch.abs()).abs());
        let middle = 0.5 * (x + n);
        let yaw = signed_yaw.abs();
        let upside_down = signed_yaw * (roll * pitch) < 0.0;
        let (wanted, down, up) =
            if upside_down { (h - thrust, self.up, self.down) } else { (thrust, self.down, self.up) };

        // The window of thrust, opened just enough to hold one that all rotors can give.
        let (t_low, t_high) = (least(wanted, h) - down, most(wanted, 0.0) + up);
        let (mut k, mut kept) = (1.0, 0.0);
        if self.reserved > 0.0 {
            kept = least(least(self.reserved, yaw), least(h - t_low, t_high));
            k = cut(k, self.half_height - kept, middle);
            k = cut(k, t_high - kept, n);
        }
        k = cut(k, least(least(self.half_height, h - t_low - kept), t_high + yaw), x);
        k = cut(k, t_high, middle);

        let (x, n, middle) = (k * x, k * n, k * middle);
        let at_least = most(most(middle, x - yaw), n + kept);
        let at_most = h - x;
        let t = if wanted < at_least {
            least(at_least, t_high)
        } else if wanted > at_most - kept {
            most(at_most - kept, t_low)
        } else {
            wanted
        };
        let u = most(least(least(yaw, at_most - t), t - n), kept);
        let limited =
            Limited { roll_pitch: k < 1.0, thrust: t != wanted, yaw: u < yaw, ..Limited::default() };

        let t = self.floor + if upside_down { h - t } else { t };
        let u = if signed_yaw < 0.0 { -u } else { u };
        let (sum, difference) = (k * roll + k * pitch, k * roll - k * pitch);
        Mixed {
            thrust_n: Rotors {
                front_left: t + u + sum,
                front_right: t - u - difference,
                rear_left: t - u + difference,
                rear_right: t + u - sum,
            },
            roll_pitch_share: k,
            given: Wrench {
                torque_nm: Vector::new(k * roll_nm, k * pitch_nm, u * self.yaw_nm_per_n),
                thrust_n: 4.0 * t,
            },
            limited,
        }
    }
}
