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
//!
//! **Rotors that are nearly alike**, as those of a diagonal are, bound t by a relation in which t nearly cancels: its
//! bound is blurred by round-off over that small factor. Where k < 1, the bounds on t meet in one point; so there these
//! relations are applied first and a little too far, and the others, which are sharp, bring t back to that point.

use super::geometry::Share;
use super::{Config, Mixed, Wrench};
use crate::frames::Vector;
use crate::math::{least, most, saturate};
use crate::{Limited, Rotors};

/// A pair in which thrust cancels to less than this says nothing about it.
const CANCELLED: f32 = 1e-6;

/// `k (roll tau_x + pitch tau_y)` within `-down..=up`. The ends are kept, not centre and width, since near the least
/// thrust they are small and their difference must be exact.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bound {
    roll: f32,
    pitch: f32,
    down: f32,
    up: f32,
}

/// A bound on `k (roll tau_x + pitch tau_y) + other z`, where z is t or y and `other` is not negative.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Relation {
    bound: Bound,
    other: f32,
}

/// The two relations of a pair of rotors.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Pair {
    /// Yaw eliminated: z is t.
    thrust: Relation,
    /// Thrust eliminated: z is y.
    yaw: Relation,
}

/// The allowance, the reserve and everything precomputed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct General {
    shares: [Share; 4],
    low: f32,
    high: f32,
    /// What counts as round-off, in N.
    slack: f32,
    /// Thrust range without torque.
    floor_n: f32,
    ceiling_n: f32,
    allowance_down_n: f32,
    allowance_up_n: f32,
    reserved_nm: f32,
    three_rotors: [Bound; 4],
    /// The pairs of nearly alike rotors, those of a diagonal, and the others.
    alike: [Pair; 2],
    sharp: [Pair; 4],
}

/// An interval.
#[derive(Clone, Copy)]
struct Span {
    low: f32,
    high: f32,
}

fn cross(a: &Share, b: &Share) -> f32 {
    a.thrust * b.yaw - a.yaw * b.thrust
}

/// A relation of up to three rotors with the given weights, scaled to weights that add up to 1; weights below `scale`
/// are round-off and say nothing.
#[inline(never)]
fn relation(parts: [(f32, &Share); 3], other: f32, thrust: Span, scale: f32) -> Relation {
    let weight = parts.iter().fold(0.0f32, |sum, (lambda, _)| sum + lambda.abs());
    let factor = if weight > scale { 1.0 / weight } else { 0.0 };
    let factor = if other < 0.0 { -factor } else { factor };
    let sum = |f: fn(f32, &Share) -> f32| {
        parts.iter().fold(0.0f32, |sum, (lambda, share)| sum + f(factor * lambda, share))
    };
    let (plus, minus) = (sum(|lambda, _| most(lambda, 0.0)), sum(|lambda, _| least(lambda, 0.0)));
    let bound = Bound {
        roll: sum(|lambda, share| lambda * share.roll),
        pitch: sum(|lambda, share| lambda * share.pitch),
        down: -(thrust.low * plus + thrust.high * minus),
        up: thrust.high * plus + thrust.low * minus,
    };
    Relation { bound, other: if factor * other > CANCELLED { factor * other } else { 0.0 } }
}

impl Bound {
    #[inline(always)]
    fn torque(&self, roll: f32, pitch: f32) -> f32 {
        self.roll * roll + self.pitch * pitch
    }
}

impl Relation {
    /// `k` cut so that the relation can hold for a z within `span`.
    #[inline(always)]
    fn cut(&self, k: f32, torque: f32, span: Span) -> f32 {
        let Self { bound: Bound { down, up, .. }, other } = *self;
        tighten(k, torque, down + other * span.high, up - other * span.low)
    }
}

/// `k` cut so that `k torque` lies within `-down..=up`.
#[inline(always)]
fn tighten(k: f32, torque: f32, down: f32, up: f32) -> f32 {
    // No room and no torque give NaN, which keeps k.
    least(if torque < 0.0 { down } else { up } / torque.abs(), k)
}

/// `z` moved so that `rest + by z` lies within `ends`, if it lies further out than `ignored`.
#[inline(always)]
fn confined(z: f32, by: f32, rest: f32, ends: Span, ignored: f32) -> f32 {
    let sum = rest + by * z;
    if sum - ends.high > ignored {
        (ends.high - rest) / by
    } else if ends.low - sum > ignored {
        (ends.low - rest) / by
    } else {
        z
    }
}

impl Share {
    #[inline(always)]
    fn torque(&self, roll: f32, pitch: f32) -> f32 {
        self.roll * roll + self.pitch * pitch
    }

    /// Least and most that yaw between the ends of `yaw` gives.
    #[inline(always)]
    fn of_yaw(&self, yaw: Span) -> Span {
        let (middle, half) = (0.5 * (yaw.high + yaw.low), 0.5 * (yaw.high - yaw.low));
        let (middle, half) = (self.yaw * middle, (self.yaw * half).abs());
        Span { low: middle - half, high: middle + half }
    }
}

impl General {
    /// From a checked configuration and the inverse of its geometry; `None` if no thrust without torque is in range.
    pub(super) fn new(config: &Config, shares: Rotors<Share>) -> Option<Self> {
        let thrust = Span { low: config.low_n, high: config.high_n };
        let shares = shares.into_array();
        let [a, b, c, d] = &shares;
        let nothing = Share { thrust: 0.0, roll: 0.0, pitch: 0.0, yaw: 0.0 };
        let size: f32 = shares.iter().map(|share| share.thrust.abs()).sum();
        let yaw_size: f32 = shares.iter().map(|share| share.yaw.abs()).sum();
        let three = |i: &Share, j: &Share, l: &Share| {
            let parts = [(cross(j, l), i), (cross(l, i), j), (cross(i, j), l)];
            relation(parts, 0.0, thrust, 1e-6 * size * yaw_size).bound
        };
        let pair = |i: &Share, j: &Share| {
            let other = -cross(i, j);
            let without_yaw = [(-j.yaw, i), (i.yaw, j), (0.0, &nothing)];
            let without_thrust = [(j.thrust, i), (-i.thrust, j), (0.0, &nothing)];
            Pair {
                thrust: relation(without_yaw, other, thrust, 1e-6 * yaw_size),
                yaw: relation(without_thrust, other, thrust, 1e-6 * size),
            }
        };
        let floor_n = shares.iter().fold(f32::NEG_INFINITY, |m, share| most(m, thrust.low / share.thrust));
        let ceiling_n = shares.iter().fold(f32::INFINITY, |m, share| least(m, thrust.high / share.thrust));
        (floor_n < ceiling_n).then_some(Self {
            shares,
            low: thrust.low,
            high: thrust.high,
            slack: 2.0 * f32::EPSILON * thrust.high,
            floor_n,
            ceiling_n,
            allowance_down_n: config.allowance_down_n,
            allowance_up_n: config.allowance_up_n,
            reserved_nm: config.reserved_yaw_nm(),
            three_rotors: [three(a, b, c), three(a, b, d), three(a, c, d), three(b, c, d)],
            alike: [pair(a, d), pair(b, c)],
            sharp: [pair(a, b), pair(a, c), pair(b, d), pair(c, d)],
        })
    }

    /// The demand itself if the rotors can give it, or else the optimum.
    #[inline(never)]
    pub(super) fn mix(&self, demand: &Wrench) -> Mixed {
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let torques = self.shares.each_ref().map(|share| share.torque(roll, pitch));
        let thrusts = |k: f32, thrust: f32, yaw: f32| {
            let [a, b, c, d] = &self.shares;
            let [ta, tb, tc, td] = torques;
            let of = |share: &Share, torque: f32| k * torque + share.thrust * thrust + share.yaw * yaw;
            Rotors {
                front_left: of(a, ta),
                front_right: of(b, tb),
                rear_left: of(c, tc),
                rear_right: of(d, td),
            }
        };
        let thrust_n = thrusts(1.0, demand.thrust_n, yaw);
        if thrust_n.into_array().iter().all(|&f| f >= self.low && f <= self.high) {
            return Mixed { thrust_n, roll_pitch_share: 1.0, given: *demand, limited: Limited::default() };
        }
        let (k, t, y) = self.solve(demand, torques);
        Mixed {
            thrust_n: thrusts(k, t, y).map(|f| saturate(f, self.low, self.high)),
            roll_pitch_share: k,
            given: Wrench { torque_nm: Vector::new(k * roll, k * pitch, y), thrust_n: t },
            limited: Limited {
                roll_pitch: k < 1.0,
                thrust: t != demand.thrust_n,
                yaw: y != yaw,
                ..Limited::default()
            },
        }
    }

    /// The optimum: share of roll and pitch, thrust, yaw torque.
    #[inline(always)]
    fn solve(&self, demand: &Wrench, torques: [f32; 4]) -> (f32, f32, f32) {
        let (low, high, slack) = (self.low, self.high, self.slack);
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let wanted = demand.thrust_n;
        // The window of thrust, opened just enough to hold one that needs no torque.
        let window = Span {
            low: least(wanted, self.ceiling_n) - self.allowance_down_n,
            high: most(wanted, self.floor_n) + self.allowance_up_n,
        };
        let window = Span { low: most(window.low, 4.0 * low), high: least(window.high, 4.0 * high) };
        let kept = if self.reserved_nm > 0.0 { self.reservable(yaw, window) } else { 0.0 };
        let yaws = if yaw < 0.0 { Span { low: yaw, high: kept } } else { Span { low: kept, high: yaw } };
        let of_yaw = self.shares.each_ref().map(|share| share.of_yaw(yaws));

        let mut k = 1.0;
        for r in &self.three_rotors {
            k = tighten(k, r.torque(roll, pitch), r.down, r.up);
        }
        for Pair { thrust, yaw } in self.alike.iter().chain(&self.sharp) {
            k = thrust.cut(k, thrust.bound.torque(roll, pitch), window);
            k = yaw.cut(k, yaw.bound.torque(roll, pitch), yaws);
        }
        for ((share, torque), of_yaw) in self.shares.iter().zip(torques).zip(of_yaw) {
            let down = share.thrust * window.high + of_yaw.high - low;
            let up = high - share.thrust * window.low - of_yaw.low;
            k = tighten(k, torque, down, up);
        }
        let k = most(k, 0.0);

        let (roll, pitch) = (k * roll, k * pitch);
        let mut t = least(most(wanted, window.low), window.high);
        let (drawn_in, ignored) = if k < 1.0 { (slack, 0.0) } else { (0.0, slack) };
        for Pair { thrust: Relation { bound, other }, .. } in &self.alike {
            let ends = Span { low: drawn_in - bound.down, high: bound.up - drawn_in };
            if *other > 0.0 {
                t = confined(t, *other, bound.torque(roll, pitch), ends, ignored);
            }
        }
        for Pair { thrust: Relation { bound, other }, .. } in &self.sharp {
            let ends = Span { low: -bound.down, high: bound.up };
            t = confined(t, *other, bound.torque(roll, pitch), ends, slack);
        }
        for ((share, torque), of_yaw) in self.shares.iter().zip(torques).zip(of_yaw) {
            let ends = Span { low: low - of_yaw.high, high: high - of_yaw.low };
            t = confined(t, share.thrust, k * torque, ends, slack);
        }
        let t = least(most(t, window.low), window.high);

        let mut y = yaw;
        for (share, torque) in self.shares.iter().zip(torques) {
            y = confined(y, share.yaw, k * torque + share.thrust * t, Span { low, high }, slack);
        }
        (k, t, least(most(y, yaws.low), yaws.high))
    }

    /// As much of `asked` yaw as is reserved and can be had without roll and pitch, inside the thrust window.
    #[inline]
    fn reservable(&self, asked: f32, window: Span) -> f32 {
        let size = least(asked.abs(), self.reserved_nm);
        let wanted = if asked < 0.0 { -size } else { size };
        // The same relations with yaw in the place of k.
        let mut share = 1.0;
        for Pair { yaw: r, .. } in self.alike.iter().chain(&self.sharp) {
            share = tighten(share, r.other * wanted, r.bound.down, r.bound.up);
        }
        for s in &self.shares {
            let down = s.thrust * window.high - self.low;
            let up = self.high - s.thrust * window.low;
            share = tighten(share, s.yaw * wanted, down, up);
        }
        most(share, 0.0) * wanted
    }
}
