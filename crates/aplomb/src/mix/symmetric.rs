//! The closed form for a symmetric X.
//!
//! In shares per rotor, t = T/4, r = tau_x/(4 l_y), p = tau_y/(4 l_x), u = s tau_z/(4 kappa) (s = +1 if the front left
//! rotor turns counter-clockwise), the diagonal of the front left rotor gets t + u +- (r + p), the other diagonal
//! t - u +- (r - p). With a = |r + p|, b = |r - p| the limits are
//!
//! ```text
//! low + a <= t + u <= high - a        low + b <= t - u <= high - b        t_low <= t <= t_high        u between 0 and u*
//! ```
//!
//! Eliminating t and u (Fourier-Motzkin) leaves the seven bounds on the share k of the roll and pitch demand that
//! stand in [`solve`]; given k, thrust and then yaw are intervals.

use crate::math::{least, most, saturate};

/// What is asked, in N per rotor.
#[derive(Clone, Copy)]
pub(super) struct Asked {
    pub thrust: f32,
    pub roll: f32,
    pub pitch: f32,
    /// Yaw, positive when the front left diagonal is to push harder.
    pub yaw: f32,
}

/// The limits, in N per rotor.
#[derive(Clone, Copy)]
pub(super) struct Limits {
    pub low: f32,
    pub high: f32,
    pub down: f32,
    pub up: f32,
    /// Yaw that roll and pitch must leave room for.
    pub reserved: f32,
}

/// What is given, in N per rotor; `share` of roll and pitch.
#[derive(Clone, Copy)]
pub(super) struct Given {
    pub share: f32,
    pub thrust: f32,
    pub yaw: f32,
}

/// `share` cut so that `share * demand <= room`.
#[inline(always)]
pub(super) fn cut(share: f32, room: f32, demand: f32) -> f32 {
    if share * demand > room { room / demand } else { share }
}

/// The optimum: roll and pitch, then thrust, then yaw.
#[inline]
pub(super) fn solve(asked: Asked, limits: Limits) -> Given {
    let Limits { low, high, .. } = limits;
    let height = high - low;
    // The window of thrust, opened just enough to hold one that all rotors can give.
    let t_low = least(asked.thrust, high) - limits.down;
    let t_high = most(asked.thrust, low) + limits.up;
    let (above, below) = (high - t_low, t_high - low);
    // Mirrored so that yaw is not negative.
    let (sum, difference) = ((asked.roll + asked.pitch).abs(), (asked.roll - asked.pitch).abs());
    let (a, b) = if asked.yaw < 0.0 { (difference, sum) } else { (sum, difference) };
    let yaw = asked.yaw.abs();
    let room = least(above, below);
    let reserved = least(least(limits.reserved, yaw), least(0.5 * height, room));

    let mut k = cut(1.0, 0.5 * height, most(a, b));
    k = cut(k, least(2.0 * room, height - 2.0 * reserved), a + b);
    k = cut(k, least(yaw + below, above - reserved), a);
    k = cut(k, least(yaw + above, below - reserved), b);
    if k < 0.0 {
        k = 0.0;
    }

    let (a, b) = (k * a, k * b);
    let (low_a, high_a, low_b, high_b) = (low + a, high - a, low + b, high - b);
    let at_least = saturate(0.5 * (a - b), reserved, yaw);
    let at_most = saturate(0.5 * (b - a), reserved, yaw);
    let t = saturate(
        asked.thrust,
        most(t_low, most(low_a - at_least, low_b + at_least)),
        least(t_high, least(high_a - at_most, high_b + at_most)),
    );
    let u = least(yaw, least(high_a - t, t - low_b));
    let u = most(most(u, reserved), most(low_a - t, t - high_b));
    let u = least(u, yaw);
    Given { share: k, thrust: t, yaw: if asked.yaw < 0.0 { -u } else { u } }
}
