//! Any quad geometry: the same optimum in one pass over precomputed bounds.
//!
//! The thrust of rotor i is `A_i t + Y_i y + k C_i`, with t the total thrust, y the yaw torque, k the share of roll and
//! pitch and `C_i = R_i tau_x + P_i tau_y`; A, R, P, Y are the columns of the inverse of the effect matrix. Six
//! quantities are confined to intervals: four rotor thrusts, t and y. Seen as vectors in the (t, y) plane any three of
//! them are dependent, `sum lambda_j v_j = 0`, and every such relation bounds k:
//!
//! ```text
//! k sum lambda_i C_i  lies within  sum lambda_j [low_j, high_j]
//! ```
//!
//! The largest feasible k is the smallest of these 20 bounds (Farkas' lemma: the vertices of the dual have at most
//! three elements). The lambda depend on the geometry only, so they are computed once. With k fixed the pairs bound t
//! in the same way, and with t fixed each rotor bounds y. No iteration.

use super::geometry::Share;
use super::symmetric::cut;
use super::{Config, Mixed, Wrench};
use crate::frames::Vector;
use crate::math::saturate;
use crate::{Limited, Rotors};

/// One relation: `k (roll tau_x + pitch tau_y)` within `least..=most`, plus `other` times t or y. The ends are kept, not
/// centre and width, since near the least thrust they are small and their difference must be exact.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Relation {
    roll: f32,
    pitch: f32,
    least: f32,
    most: f32,
    other: f32,
}

/// Precomputed bounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct General {
    shares: Rotors<Share>,
    allowance: Allowance,
    low: f32,
    high: f32,
    /// Thrust range without torque.
    floor_n: f32,
    ceiling_n: f32,
    three_rotors: [Relation; 4],
    two_and_thrust: [Relation; 6],
    two_and_yaw: [Relation; 6],
    /// Pairs with yaw eliminated, solved for thrust.
    thrust_of_two: [Relation; 6],
}

/// What is asked: N and N m.
#[derive(Clone, Copy)]
struct Asked {
    thrust: f32,
    roll: f32,
    pitch: f32,
    yaw: f32,
}

/// Allowance in N and reserved yaw torque in N m.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Allowance {
    down: f32,
    up: f32,
    reserved: f32,
}

/// What is given: N and N m; `share` of roll and pitch.
#[derive(Clone, Copy)]
struct Given {
    share: f32,
    thrust: f32,
    yaw: f32,
}

/// An interval.
#[derive(Clone, Copy)]
struct Span {
    low: f32,
    high: f32,
}

impl Span {
    /// The interval times a factor.
    #[inline(always)]
    fn times(self, factor: f32) -> Self {
        let (a, b) = (self.low * factor, self.high * factor);
        if a < b { Self { low: a, high: b } } else { Self { low: b, high: a } }
    }
}

fn cross(a: &Share, b: &Share) -> f32 {
    a.thrust * b.yaw - a.yaw * b.thrust
}

/// A relation of up to three rotors with the given weights, scaled to a largest weight of 1.
fn relation(parts: [(f32, &Share); 3], other: f32, low: f32, high: f32, scale: f32) -> Relation {
    let weight = parts.iter().fold(0.0f32, |sum, (lambda, _)| sum + lambda.abs());
    let factor = if weight > scale { 1.0 / weight } else { 0.0 };
    let sum = |f: fn(f32, &Share) -> f32| {
        factor * parts.iter().fold(0.0f32, |sum, (lambda, share)| sum + f(*lambda, share))
    };
    Relation {
        roll: sum(|lambda, share| lambda * share.roll),
        pitch: sum(|lambda, share| lambda * share.pitch),
        least: low * sum(|lambda, _| lambda.max(0.0)) + high * sum(|lambda, _| lambda.min(0.0)),
        most: high * sum(|lambda, _| lambda.max(0.0)) + low * sum(|lambda, _| lambda.min(0.0)),
        other: other * factor,
    }
}

impl General {
    /// From a checked configuration and the inverse of its geometry; `None` if no thrust without torque is in range.
    pub(super) fn new(config: &Config, shares: Rotors<Share>) -> Option<Self> {
        let Config { low_n: low, high_n: high, .. } = *config;
        let [a, b, c, d] = shares.into_array();
        let nothing = Share { thrust: 0.0, roll: 0.0, pitch: 0.0, yaw: 0.0 };
        let size = a.thrust.abs() + b.thrust.abs() + c.thrust.abs() + d.thrust.abs();
        let yaw_size = a.yaw.abs() + b.yaw.abs() + c.yaw.abs() + d.yaw.abs();
        let three = |i: &Share, j: &Share, l: &Share| {
            relation(
                [(cross(j, l), i), (cross(l, i), j), (cross(i, j), l)],
                0.0,
                low,
                high,
                1e-6 * size * yaw_size,
            )
        };
        let pairs = [(a, b), (a, c), (a, d), (b, c), (b, d), (c, d)];
        let with_thrust = pairs.map(|(i, j)| {
            relation([(-j.yaw, &i), (i.yaw, &j), (0.0, &nothing)], cross(&i, &j), low, high, 1e-6 * yaw_size)
        });
        let with_yaw = pairs.map(|(i, j)| {
            relation(
                [(j.thrust, &i), (-i.thrust, &j), (0.0, &nothing)],
                cross(&i, &j),
                low,
                high,
                1e-6 * size,
            )
        });
        let solved = with_thrust.map(|r| {
            // lambda_t t = -(rest): solved for t; pairs that say nothing about t get an endless interval.
            if r.other.abs() > 1e-5 {
                let k = -1.0 / r.other;
                let ends = Span { low: r.least, high: r.most }.times(k);
                Relation {
                    roll: r.roll * k,
                    pitch: r.pitch * k,
                    least: ends.low,
                    most: ends.high,
                    other: 0.0,
                }
            } else {
                Relation { roll: 0.0, pitch: 0.0, least: f32::NEG_INFINITY, most: f32::INFINITY, other: 0.0 }
            }
        });
        let range = shares.into_array();
        let general = Self {
            shares,
            allowance: Allowance {
                down: config.allowance_down_n,
                up: config.allowance_up_n,
                reserved: config.reserved_yaw_nm(),
            },
            low,
            high,
            floor_n: range.iter().fold(f32::NEG_INFINITY, |m, share| m.max(low / share.thrust)),
            ceiling_n: range.iter().fold(f32::INFINITY, |m, share| m.min(high / share.thrust)),
            three_rotors: [three(&a, &b, &c), three(&a, &b, &d), three(&a, &c, &d), three(&b, &c, &d)],
            two_and_thrust: with_thrust,
            two_and_yaw: with_yaw,
            thrust_of_two: solved,
        };
        (general.floor_n < general.ceiling_n).then_some(general)
    }

    /// The demand itself if the rotors can give it, or else the optimum.
    #[inline(never)]
    pub(super) fn mix(&self, demand: &Wrench) -> Mixed {
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let asked = Asked { thrust: demand.thrust_n, roll, pitch, yaw };
        let (low, high) = (self.low, self.high);
        let thrusts = |k: f32, thrust: f32, yaw: f32| {
            let (roll, pitch) = (k * asked.roll, k * asked.pitch);
            self.shares.map(|s| s.thrust * thrust + s.roll * roll + s.pitch * pitch + s.yaw * yaw)
        };
        let thrust_n = thrusts(1.0, asked.thrust, asked.yaw);
        if thrust_n.into_array().iter().all(|&f| f >= low && f <= high) {
            return Mixed { thrust_n, roll_pitch_share: 1.0, given: *demand, limited: Limited::default() };
        }
        let given = self.solve(asked, self.allowance);
        Mixed {
            thrust_n: thrusts(given.share, given.thrust, given.yaw).map(|f| saturate(f, low, high)),
            roll_pitch_share: given.share,
            given: Wrench {
                torque_nm: Vector::new(given.share * roll, given.share * pitch, given.yaw),
                thrust_n: given.thrust,
            },
            limited: Limited {
                roll_pitch: given.share < 1.0,
                thrust: given.thrust != asked.thrust,
                yaw: given.yaw != asked.yaw,
                ..Limited::default()
            },
        }
    }

    /// The optimum: roll and pitch, then thrust, then yaw.
    #[inline]
    fn solve(&self, asked: Asked, allowance: Allowance) -> Given {
        let (low, high) = (self.low, self.high);
        // The window of thrust, opened just enough to hold one that needs no torque.
        let t_low = asked.thrust.min(self.ceiling_n) - allowance.down;
        let t_high = asked.thrust.max(self.floor_n) + allowance.up;
        let (t_low, t_high) = (t_low.max(4.0 * low), t_high.min(4.0 * high));
        let kept = if allowance.reserved > 0.0 {
            self.reservable(asked.yaw, allowance.reserved, t_low, t_high)
        } else {
            0.0
        };
        let (y_low, y_high) = if asked.yaw < 0.0 { (asked.yaw, kept) } else { (kept, asked.yaw) };
        let (t, y) = (Span { low: t_low, high: t_high }, Span { low: y_low, high: y_high });

        let mut k = 1.0;
        let mut bound = |c: f32, least: f32, most: f32| {
            k = cut(k, if c < 0.0 { -least } else { most }, c.abs());
        };
        let torque = |roll: f32, pitch: f32| roll * asked.roll + pitch * asked.pitch;
        for r in &self.three_rotors {
            bound(torque(r.roll, r.pitch), r.least, r.most);
        }
        for r in &self.two_and_thrust {
            let other = t.times(r.other);
            bound(torque(r.roll, r.pitch), r.least + other.low, r.most + other.high);
        }
        for r in &self.two_and_yaw {
            let other = y.times(r.other);
            bound(torque(r.roll, r.pitch), r.least + other.low, r.most + other.high);
        }
        for share in self.shares.as_ref().into_array() {
            let yaw = y.times(share.yaw);
            bound(
                torque(share.roll, share.pitch),
                low - share.thrust * t.high - yaw.high,
                high - share.thrust * t.low - yaw.low,
            );
        }
        let k = if k > 0.0 { k } else { 0.0 };

        let (roll, pitch) = (k * asked.roll, k * asked.pitch);
        let (mut at_least, mut at_most) = (t_low, t_high);
        let mut confine = |least: f32, most: f32| {
            at_least = if least > at_least { least } else { at_least };
            at_most = if most < at_most { most } else { at_most };
        };
        for r in &self.thrust_of_two {
            // Two rotors nearly alike divide by nearly nothing: give way by what round-off may be.
            let rest = r.roll * roll + r.pitch * pitch;
            let noise = 2.0 * f32::EPSILON * rest.abs();
            confine(r.least - rest - noise, r.most - rest + noise);
        }
        for share in self.shares.as_ref().into_array() {
            let scale = 1.0 / share.thrust;
            let (rest, yaw) = (share.roll * roll + share.pitch * pitch, y.times(share.yaw));
            confine((low - rest - yaw.high) * scale, (high - rest - yaw.low) * scale);
        }
        let thrust = saturate(asked.thrust, at_least, at_most);

        let (mut at_least, mut at_most) = (y_low, y_high);
        for share in self.shares.as_ref().into_array() {
            if share.yaw != 0.0 {
                let scale = 1.0 / share.yaw;
                let rest = share.roll * roll + share.pitch * pitch + share.thrust * thrust;
                let ends = Span { low: low - rest, high: high - rest }.times(scale);
                at_least = if ends.low > at_least { ends.low } else { at_least };
                at_most = if ends.high < at_most { ends.high } else { at_most };
            }
        }
        Given { share: k, thrust, yaw: saturate(saturate(asked.yaw, at_least, at_most), y_low, y_high) }
    }

    /// As much of `asked` yaw as is reserved and can be had without roll and pitch, inside the thrust window.
    fn reservable(&self, asked: f32, reserved: f32, t_low: f32, t_high: f32) -> f32 {
        let size = asked.abs().min(reserved);
        let wanted = if asked < 0.0 { -size } else { size };
        let mut share = 1.0;
        let mut bound = |c: f32, least: f32, most: f32| {
            share = cut(share, if c < 0.0 { -least } else { most }, c.abs());
        };
        // The same relations with yaw in the place of k.
        for r in &self.two_and_yaw {
            bound(-r.other * wanted, r.least, r.most);
        }
        for s in self.shares.as_ref().into_array() {
            bound(s.yaw * wanted, self.low - s.thrust * t_high, self.high - s.thrust * t_low);
        }
        if share > 0.0 { share * wanted } else { 0.0 }
    }
}
