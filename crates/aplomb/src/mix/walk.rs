//! The walk to the optimum of a plane of thrust and share, for [`super::general`].
//!
//! With the demand's roll and pitch, rotor i gives `a_i t + c_i k` and yaw, by its own effect on yaw. Along yaw its
//! limits bound y from both sides, `low_i <= a_i t + c_i k + y <= high_i`, against it they bound -y; and
//! `kept <= y <= |yaw asked|`. Room for y is left where no lower bound exceeds an upper one. There are eight kinds of
//! such pairs, and each bounds k and t by a line, a [`Cut`] of their plane. The largest k, and then the t nearest to the
//! one wanted, is a vertex between the cuts; y is an interval then.
//!
//! **The walk** (dual simplex) begins at the t wanted with k = 1 and takes in one violated cut after the other. A cut
//! keeps t either from falling or from rising, and only the last one of each sense matters: t moves to the new one while
//! k stays 1; if the last one of the other sense is in the way, the point moves to where the two meet, at a smaller k.
//! As k never grows, and t moves one way while k stays, no vertex comes twice: the walk ends.
//!
//! **Its length.** The first violated cut is taken in, in an order that was found best over random demands. That costs
//! 110 instructions of a Cortex-M4F. Of demands beyond the limits nine in ten take up to three, and none of 200,000
//! takes more than seven (`the_walk_is_short`).

use super::general::{Diagonal, Rotor};
use crate::math::{least, most};

/// Cuts after which the walk ends where it is: twice as many as it takes.
pub(super) const MOST_CUTS: usize = 14;

/// A bound on thrust and share: `thrust t + torque k` must not be less than something.
#[derive(Clone, Copy)]
struct Cut {
    thrust: f32,
    torque: f32,
}

/// Keeps the share where it is.
const SHARE: Cut = Cut { thrust: 0.0, torque: 1.0 };
/// Keeps thrust where it is.
const THRUST: Cut = Cut { thrust: 1.0, torque: 0.0 };

impl Cut {
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        Self { thrust: self.thrust + other.thrust, torque: self.torque + other.torque }
    }

    #[inline(always)]
    fn turned(self) -> Self {
        Self { thrust: -self.thrust, torque: -self.torque }
    }
}

/// The optimum under the cuts so far.
pub(super) struct Vertex {
    pub(super) k: f32,
    pub(super) t: f32,
    /// Keeps t from falling.
    below: Cut,
    /// Keeps t from rising.
    above: Cut,
    lowest: f32,
    highest: f32,
    wanted: f32,
}

impl Vertex {
    /// Takes in a cut that keeps t from falling, and that the vertex misses by `excess`.
    #[inline(always)]
    fn raise(&mut self, cut: Cut, excess: f32) {
        let (other, from) = (self.above, self.t);
        let step = excess / (cut.thrust * other.torque - cut.torque * other.thrust);
        let t = from + step * other.torque;
        self.below = cut;
        if t > self.highest {
            self.k = slid(self.k, excess - cut.thrust * (self.highest - from), cut.torque);
            self.t = self.highest;
            self.above = THRUST;
        } else if t >= self.lowest {
            self.k -= step * other.thrust;
            self.t = t;
        } else {
            self.k = slid(self.k, -other.thrust * (self.lowest - from), other.torque);
            self.t = self.lowest;
            self.below = THRUST;
        }
    }

    /// Takes in a cut that keeps t from rising.
    #[inline(always)]
    fn lower(&mut self, cut: Cut, excess: f32) {
        let (other, from) = (self.below, self.t);
        let step = excess / (cut.thrust * other.torque - cut.torque * other.thrust);
        let t = from + step * other.torque;
        self.above = cut;
        if t < self.lowest {
            self.k = slid(self.k, excess - cut.thrust * (self.lowest - from), cut.torque);
            self.t = self.lowest;
            self.below = THRUST;
        } else if t <= self.highest {
            self.k -= step * other.thrust;
            self.t = t;
        } else {
            self.k = slid(self.k, -other.thrust * (self.highest - from), other.torque);
            self.t = self.highest;
            self.above = THRUST;
        }
    }

    /// Takes in a cut of unknown sense; one that does not depend on thrust bounds k alone.
    #[inline(always)]
    fn take(&mut self, cut: Cut, excess: f32, level: f32) {
        if cut.thrust > level {
            self.raise(cut, excess);
        } else if cut.thrust < -level {
            self.lower(cut, excess);
        } else {
            self.k = slid(self.k, excess, cut.torque);
            self.t = self.wanted;
            (self.below, self.above) = (SHARE, SHARE);
        }
    }
}

/// k after a move along a limit of thrust that makes up for `excess`.
#[inline(always)]
fn slid(k: f32, excess: f32, torque: f32) -> f32 {
    // Without torque only round-off is left to make up for.
    if torque < 0.0 { most(k + excess / torque, 0.0) } else { k }
}

/// A diagonal under a demand, at a vertex.
pub(super) struct Loads<'a> {
    rotors: &'a [Rotor; 2],
    torques: [f32; 2],
    /// `a t + c k` of each rotor.
    pub(super) pushes: [f32; 2],
    /// What yaw must add to it at least, and take from it at least.
    short: f32,
    over: f32,
}

impl<'a> Loads<'a> {
    #[inline(always)]
    fn new(diagonal: &'a Diagonal, [roll, pitch]: [f32; 2], at: &Vertex) -> Self {
        let torques = diagonal.rotors.each_ref().map(|rotor| rotor.roll * roll + rotor.pitch * pitch);
        let mut loads = Self { rotors: &diagonal.rotors, torques, pushes: [0.0; 2], short: 0.0, over: 0.0 };
        loads.follow(at);
        loads
    }

    #[inline(always)]
    fn follow(&mut self, at: &Vertex) {
        let ([a, b], [torque_a, torque_b]) = (self.rotors, self.torques);
        let pushes = [a.thrust * at.t + torque_a * at.k, b.thrust * at.t + torque_b * at.k];
        self.pushes = pushes;
        self.short = most(a.low - pushes[0], b.low - pushes[1]);
        self.over = most(pushes[0] - a.high, pushes[1] - b.high);
    }

    /// The rotor that is nearest to its least thrust.
    #[inline(always)]
    fn least_loaded(&self) -> Cut {
        let ([a, b], [push_a, push_b]) = (self.rotors, self.pushes);
        self.of(a.low - push_a > b.low - push_b)
    }

    /// The rotor that is nearest to its largest thrust, turned.
    #[inline(always)]
    fn most_loaded(&self) -> Cut {
        let ([a, b], [push_a, push_b]) = (self.rotors, self.pushes);
        self.of(push_a - a.high > push_b - b.high).turned()
    }

    #[inline(always)]
    fn of(&self, first: bool) -> Cut {
        let ([a, b], [torque_a, torque_b]) = (self.rotors, self.torques);
        Cut {
            thrust: if first { a.thrust } else { b.thrust },
            torque: if first { torque_a } else { torque_b },
        }
    }
}

/// The walk: both diagonals at the vertex reached.
pub(super) struct Walk<'a> {
    pub(super) vertex: Vertex,
    pub(super) along: Loads<'a>,
    pub(super) against: Loads<'a>,
    kept: f32,
    kept_twice: f32,
    yaw: f32,
    slack: f32,
    level: f32,
    /// How many were taken in.
    pub(super) cuts: usize,
}

/// What the walk is about.
pub(super) struct Task<'a> {
    /// The diagonal that gains thrust by the yaw asked, and the other one.
    pub along: &'a Diagonal,
    pub against: &'a Diagonal,
    pub roll_pitch: [f32; 2],
    /// Without sign: what must be kept and what is asked.
    pub kept: f32,
    pub yaw: f32,
    pub wanted: f32,
    /// The window of thrust, which holds a solution at k = 0.
    pub lowest: f32,
    pub highest: f32,
    /// Round-off of yaw.
    pub slack: f32,
    /// What a cut must have of thrust to depend on it.
    pub level: f32,
}

impl<'a> Walk<'a> {
    /// Walks to the end.
    #[inline(always)]
    pub(super) fn new(task: &Task<'a>) -> Self {
        let Task { wanted, lowest, highest, .. } = *task;
        let vertex = Vertex { k: 1.0, t: wanted, below: SHARE, above: SHARE, lowest, highest, wanted };
        let mut walk = Self {
            along: Loads::new(task.along, task.roll_pitch, &vertex),
            against: Loads::new(task.against, task.roll_pitch, &vertex),
            vertex,
            kept: task.kept,
            kept_twice: 2.0 * task.kept,
            yaw: task.yaw,
            slack: task.slack,
            level: task.level,
            cuts: 0,
        };
        while walk.cuts < MOST_CUTS && walk.step() {
            walk.cuts += 1;
        }
        if walk.vertex.k < 0.0 {
            walk.vertex.k = 0.0;
            walk.follow();
        }
        walk
    }

    /// The yaw nearest to the one asked.
    #[inline(always)]
    pub(super) fn given_yaw(&self) -> f32 {
        least(-most(self.along.over, self.against.short), self.yaw)
    }

    /// Takes in the first violated cut of those that bind, in the order of how often they do; whether there was one.
    #[inline(always)]
    fn step(&mut self) -> bool {
        let Self { along, against, kept, yaw, slack, .. } = self;
        let (kept, yaw, slack) = (*kept, *yaw, *slack);
        // A diagonal between its own limits: the one that is further beyond them.
        let (beyond, beyond_against) = (along.short + along.over, against.short + against.over);
        // Both diagonals at their largest thrust need more of t, per diagonal, than one alone with the yaw to be kept.
        let both_over = against.over - along.over > self.kept_twice;
        let both_short = along.short - against.short > self.kept_twice;
        let (excess, cut);
        if beyond > slack && beyond > beyond_against {
            (excess, cut) = (beyond, along.least_loaded().plus(along.most_loaded()));
        } else if beyond_against > slack {
            (excess, cut) = (beyond_against, against.least_loaded().plus(against.most_loaded()));
        } else if both_over && along.over + against.over > slack {
            (excess, cut) = (along.over + against.over, along.most_loaded().plus(against.most_loaded()));
        } else if !both_over && along.over + kept > slack {
            (excess, cut) = (along.over + kept, along.most_loaded());
        } else if both_short && along.short + against.short > slack {
            (excess, cut) = (along.short + against.short, along.least_loaded().plus(against.least_loaded()));
        } else if !both_short && against.short + kept > slack {
            (excess, cut) = (against.short + kept, against.least_loaded());
        } else if along.short - yaw > slack {
            // All the yaw asked does not suffice.
            (excess, cut) = (along.short - yaw, along.least_loaded());
        } else if against.over - yaw > slack {
            (excess, cut) = (against.over - yaw, against.most_loaded());
        } else {
            return false;
        }
        self.vertex.take(cut, excess, self.level);
        self.follow();
        true
    }

    #[inline(always)]
    fn follow(&mut self) {
        self.along.follow(&self.vertex);
        self.against.follow(&self.vertex);
    }
}
