//! Any quad geometry whose rotors stand at the corners of a quadrilateral: the same optimum.
//!
//! The thrust of rotor i is `A_i t + Y_i y + k C_i`, with t the total thrust, y the yaw torque, k the share of roll and
//! pitch and `C_i = R_i tau_x + P_i tau_y`; A, R, P, Y are the columns of the inverse of the effect matrix. Y is
//! orthogonal to the rotors' places and to one, so its signs are those of a quadrilateral's corners: yaw adds thrust to
//! the rotors of one diagonal and takes it from those of the other. Counting y in the sense that is asked and dividing
//! by `|Y_i|` leaves a plane of t and k to search, which [`super::walk`] does.

use super::geometry::Share;
use super::walk::{Task, Walk};
use super::{Config, Mixed, Wrench};
use crate::frames::Vector;
use crate::math::{least, most, saturate};
use crate::{Limited, Rotors};

/// A rotor: what thrust, roll and pitch give it and its limits, all by its own effect on yaw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rotor {
    pub thrust: f32,
    pub roll: f32,
    pub pitch: f32,
    pub low: f32,
    pub high: f32,
    /// That effect, thrust per yaw torque, `|Y|` in 1/m.
    yaw: f32,
}

/// Two rotors that yaw moves alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Diagonal {
    pub rotors: [Rotor; 2],
    /// Yaw along this diagonal that roll and pitch must leave, as far as it can be had at all.
    reserved: f32,
}

/// The geometry, the allowance and the reserve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct General {
    /// Front left and rear right.
    first: Diagonal,
    /// Front right and rear left.
    second: Diagonal,
    /// Whether positive yaw is along the first diagonal: 1 or -1.
    sense: f32,
    low: f32,
    high: f32,
    /// Round-off of yaw.
    slack: f32,
    /// What a cut must have of thrust to depend on it.
    level: f32,
    /// Thrust range without torque.
    floor_n: f32,
    ceiling_n: f32,
    allowance_down_n: f32,
    allowance_up_n: f32,
}

impl Diagonal {
    fn new(shares: [Share; 2], config: &Config) -> Self {
        let rotors = shares.map(|share| {
            let yaw = share.yaw.abs();
            Rotor {
                thrust: share.thrust / yaw,
                roll: share.roll / yaw,
                pitch: share.pitch / yaw,
                low: config.min_thrust_n / yaw,
                high: config.max_thrust_n / yaw,
                yaw,
            }
        });
        Self { rotors, reserved: config.reserved_yaw_nm() }
    }

    /// The most yaw along this diagonal that can be had without roll and pitch at any thrust: every pair of limits
    /// from which thrust cancels bounds it.
    fn most_yaw(&self, against: &Self) -> f32 {
        let mut yaw = f32::INFINITY;
        for a in &self.rotors {
            for b in &against.rotors {
                yaw = least((a.high * b.thrust - b.low * a.thrust) / (a.thrust + b.thrust), yaw);
            }
        }
        // Two of a diagonal, the first one at its largest thrust, the second one at its least.
        for ([a, b], sense) in [(&self.rotors, 1.0), (&against.rotors, -1.0)] {
            for (a, b) in [(a, b), (b, a)] {
                let lead = sense * (b.thrust - a.thrust);
                if lead > 0.0 {
                    yaw = least((a.high * b.thrust - b.low * a.thrust) / lead, yaw);
                }
            }
        }
        yaw
    }

    /// As much of `yaw` as is reserved and can be had without roll and pitch between two thrusts.
    #[inline(always)]
    fn kept(&self, against: &Self, yaw: f32, lowest: f32, highest: f32) -> f32 {
        let mut kept = least(yaw, self.reserved);
        for rotor in &self.rotors {
            kept = least(rotor.high - rotor.thrust * lowest, kept);
        }
        for rotor in &against.rotors {
            kept = least(rotor.thrust * highest - rotor.low, kept);
        }
        kept
    }
}

impl General {
    /// From a checked configuration and the inverse of its geometry; `None` if the rotors do not stand at the corners
    /// of a quadrilateral, as their places say, or if no thrust without torque is in range.
    pub(super) fn new(config: &Config, shares: Rotors<Share>) -> Option<Self> {
        let (low, high) = (config.min_thrust_n, config.max_thrust_n);
        let sense = if shares.front_left.yaw < 0.0 { -1.0 } else { 1.0 };
        let Rotors { front_left: a, front_right: b, rear_left: c, rear_right: d } = shares;
        let size: f32 = shares.into_array().iter().map(|share| share.yaw.abs()).sum();
        let corners = [a.yaw, -b.yaw, -c.yaw, d.yaw].iter().all(|yaw| sense * yaw > 1e-3 * size);
        if !corners {
            return None;
        }
        let (mut first, mut second) = (Diagonal::new([a, d], config), Diagonal::new([b, c], config));
        first.reserved = least(first.most_yaw(&second), first.reserved);
        second.reserved = least(second.most_yaw(&first), second.reserved);
        let (mut floor_n, mut ceiling_n, mut range, mut thrust) = (0.0f32, f32::INFINITY, 0.0f32, 0.0f32);
        for rotor in first.rotors.iter().chain(&second.rotors) {
            floor_n = most(rotor.low / rotor.thrust, floor_n);
            ceiling_n = least(rotor.high / rotor.thrust, ceiling_n);
            range = most(rotor.high, range);
            thrust = most(rotor.thrust, thrust);
        }
        (floor_n < ceiling_n).then_some(Self {
            first,
            second,
            sense,
            low,
            high,
            slack: 4.0 * f32::EPSILON * range,
            level: 1e-6 * thrust,
            // Round-off at these ends must not look like room for roll and pitch.
            floor_n: floor_n * (1.0 - f32::EPSILON),
            ceiling_n: ceiling_n * (1.0 + f32::EPSILON),
            allowance_down_n: least(config.allowance_down_n, 4.0 * high),
            allowance_up_n: least(config.allowance_up_n, 4.0 * high),
        })
    }

    /// The optimum.
    #[inline(never)]
    pub(super) fn mix(&self, demand: &Wrench) -> Mixed {
        let [roll, pitch, yaw_nm] = demand.torque_nm.to_array();
        let wanted = demand.thrust_n;
        let signed = self.sense * yaw_nm;
        let turned = signed < 0.0;
        let yaw = signed.abs();
        let walk = self.walk(demand);
        let [k, t, y] = [walk.vertex.k, walk.vertex.t, walk.given_yaw()];
        let given = if turned { -y } else { y };
        let (along, against) = (walk.along.pushes, walk.against.pushes);
        let ([a, d], [b, c]) = if turned { (against, along) } else { (along, against) };
        let thrust = |rotor: &Rotor, push: f32| saturate(rotor.yaw * push, self.low, self.high);
        Mixed {
            thrust_n: Rotors {
                front_left: thrust(&self.first.rotors[0], a + given),
                front_right: thrust(&self.second.rotors[0], b - given),
                rear_left: thrust(&self.second.rotors[1], c - given),
                rear_right: thrust(&self.first.rotors[1], d + given),
            },
            roll_pitch_share: k,
            given: Wrench { torque_nm: Vector::new(k * roll, k * pitch, self.sense * given), thrust_n: t },
            limited: Limited { roll_pitch: k < 1.0, thrust: t != wanted, yaw: y < yaw, ..Limited::default() },
        }
    }

    #[inline(always)]
    pub(super) fn walk(&self, demand: &Wrench) -> Walk<'_> {
        let [roll, pitch, yaw_nm] = demand.torque_nm.to_array();
        let wanted = demand.thrust_n;
        let signed = self.sense * yaw_nm;
        let (along, against) =
            if signed < 0.0 { (&self.second, &self.first) } else { (&self.first, &self.second) };
        // The window of thrust, opened just enough to hold one that needs no torque.
        let lowest = least(wanted, self.ceiling_n) - self.allowance_down_n;
        let highest = most(wanted, self.floor_n) + self.allowance_up_n;
        let yaw = signed.abs();
        let kept = if along.reserved > 0.0 { along.kept(against, yaw, lowest, highest) } else { 0.0 };
        let Self { slack, level, .. } = *self;
        Walk::new(&Task {
            along,
            against,
            roll_pitch: [roll, pitch],
            kept,
            yaw,
            wanted,
            lowest,
            highest,
            slack,
            level,
        })
    }
}
