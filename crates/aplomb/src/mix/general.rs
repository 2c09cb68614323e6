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
//! in the same way, and with t fixed each rotor bounds y. No iteration, no tolerance.

use super::geometry::Share;
use super::symmetric::cut;
use crate::Rotors;
use crate::math::saturate;

/// One relation: `k (roll tau_x + pitch tau_y)` within `centre +- half`, plus `other` times t or y.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Relation {
    roll: f32,
    pitch: f32,
    centre: f32,
    half: f32,
    other: f32,
}

/// Precomputed bounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct General {
    pub shares: Rotors<Share>,
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
pub(super) struct Asked {
    pub thrust: f32,
    pub roll: f32,
    pub pitch: f32,
    pub yaw: f32,
}

/// Allowance in N and reserved yaw torque in N m.
#[derive(Clone, Copy)]
pub(super) struct Allowance {
    pub down: f32,
    pub up: f32,
    pub reserved: f32,
}

/// What is given: N and N m; `share` of roll and pitch.
#[derive(Clone, Copy)]
pub(super) struct Given {
    pub share: f32,
    pub thrust: f32,
    pub yaw: f32,
}

/// An interval as centre and half width.
#[derive(Clone, Copy)]
struct Span {
    centre: f32,
    half: f32,
}

impl Span {
    #[inline(always)]
    fn new(low: f32, high: f32) -> Self {
        Self { centre: 0.5 * (low + high), half: 0.5 * (high - low) }
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
        centre: 0.5 * (low + high) * sum(|lambda, _| lambda),
        half: 0.5 * (high - low) * sum(|lambda, _| lambda.abs()),
        other: other * factor,
    }
}

impl General {
    /// From the inverse and the thrust range of each rotor in N.
    pub(super) fn new(shares: Rotors<Share>, low: f32, high: f32) -> Self {
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
                Relation {
                    roll: r.roll * k,
                    pitch: r.pitch * k,
                    centre: r.centre * k,
                    half: (r.half * k).abs(),
                    other: 0.0,
                }
            } else {
                Relation { roll: 0.0, pitch: 0.0, centre: 0.0, half: f32::INFINITY, other: 0.0 }
            }
        });
        let range = shares.into_array();
        Self {
            shares,
            low,
            high,
            floor_n: range.iter().fold(f32::NEG_INFINITY, |m, share| m.max(low / share.thrust)),
            ceiling_n: range.iter().fold(f32::INFINITY, |m, share| m.min(high / share.thrust)),
            three_rotors: [three(&a, &b, &c), three(&a, &b, &d), three(&a, &c, &d), three(&b, &c, &d)],
            two_and_thrust: with_thrust,
            two_and_yaw: with_yaw,
            thrust_of_two: solved,
        }
    }

    /// True when thrusts without torque exist, so that there always is a feasible answer.
    pub(super) fn can_hover(&self) -> bool {
        self.floor_n < self.ceiling_n
    }

    /// The optimum: roll and pitch, then thrust, then yaw.
    #[inline]
    pub(super) fn solve(&self, asked: Asked, allowance: Allowance) -> Given {
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
        let (t, y) = (Span::new(t_low, t_high), Span::new(y_low, y_high));
        let rotor = Span::new(low, high);

        let mut k = 1.0;
        let mut bound = |c: f32, centre: f32, half: f32| {
            let room = if c < 0.0 { half - centre } else { half + centre };
            k = cut(k, room, c.abs());
        };
        let torque = |roll: f32, pitch: f32| roll * asked.roll + pitch * asked.pitch;
        for r in &self.three_rotors {
            bound(torque(r.roll, r.pitch), r.centre, r.half);
        }
        for r in &self.two_and_thrust {
            bound(torque(r.roll, r.pitch), r.centre + r.other * t.centre, r.half + r.other.abs() * t.half);
        }
        for r in &self.two_and_yaw {
            bound(torque(r.roll, r.pitch), r.centre + r.other * y.centre, r.half + r.other.abs() * y.half);
        }
        for share in self.shares.as_ref().into_array() {
            bound(
                torque(share.roll, share.pitch),
                rotor.centre - share.thrust * t.centre - share.yaw * y.centre,
                rotor.half + share.thrust * t.half + share.yaw.abs() * y.half,
            );
        }
        let k = if k > 0.0 { k } else { 0.0 };

        let (roll, pitch) = (k * asked.roll, k * asked.pitch);
        let (mut at_least, mut at_most) = (t_low, t_high);
        let mut confine = |centre: f32, half: f32| {
            at_least = at_least.max(centre - half);
            at_most = at_most.min(centre + half);
        };
        for r in &self.thrust_of_two {
            confine(r.centre - (r.roll * roll + r.pitch * pitch), r.half);
        }
        for share in self.shares.as_ref().into_array() {
            let scale = 1.0 / share.thrust;
            let rest = share.roll * roll + share.pitch * pitch + share.yaw * y.centre;
            confine((rotor.centre - rest) * scale, (rotor.half + share.yaw.abs() * y.half) * scale);
        }
        let thrust = saturate(asked.thrust, at_least, at_most);

        let (mut at_least, mut at_most) = (y_low, y_high);
        for share in self.shares.as_ref().into_array() {
            if share.yaw != 0.0 {
                let scale = 1.0 / share.yaw;
                let rest = share.roll * roll + share.pitch * pitch + share.thrust * thrust;
                let (centre, half) = ((rotor.centre - rest) * scale, rotor.half * scale.abs());
                at_least = at_least.max(centre - half);
                at_most = at_most.min(centre + half);
            }
        }
        Given { share: k, thrust, yaw: saturate(saturate(asked.yaw, at_least, at_most), y_low, y_high) }
    }

    /// As much of `asked` yaw as is reserved and can be had without roll and pitch, inside the thrust window.
    fn reservable(&self, asked: f32, reserved: f32, t_low: f32, t_high: f32) -> f32 {
        let size = asked.abs().min(reserved);
        let wanted = if asked < 0.0 { -size } else { size };
        let (t, rotor) = (Span::new(t_low, t_high), Span::new(self.low, self.high));
        let mut share = 1.0;
        // The same relations with yaw in the place of k.
        for r in &self.two_and_yaw {
            let c = -r.other * wanted;
            let room = if c < 0.0 { r.half - r.centre } else { r.half + r.centre };
            share = cut(share, room, c.abs());
        }
        for s in self.shares.as_ref().into_array() {
            let c = s.yaw * wanted;
            let (centre, half) = (rotor.centre - s.thrust * t.centre, rotor.half + s.thrust * t.half);
            let room = if c < 0.0 { half - centre } else { half + centre };
            share = cut(share, room, c.abs());
        }
        if share > 0.0 { share * wanted } else { 0.0 }
    }
}
