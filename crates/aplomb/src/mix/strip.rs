//! Limits on total thrust that are linear in a share, and the largest share at which all of them can be met.
//!
//! A [`Strip`] is `low <= T + slope x <= high`: for each share x it leaves an interval of total thrust T. The
//! lower ends of several strips together are the largest of lines in x, a convex function, and the upper ends
//! are the smallest of lines, a concave one; so the gap between them, `above(x) - below(x)`, is concave and
//! piecewise linear. If it is not negative at x = 0, the shares that can be met reach from 0 to its zero.
//!
//! **Newton's method** finds that zero: from a share with a negative gap it goes to the crossing of the two
//! active lines. The gap lies below each of its tangents, so no step passes the zero; each step takes
//! another pair of lines, so the method ends at the zero itself (derived here; Newton's method on a concave
//! function converges monotonically: Ortega and Rheinboldt 1970, *Iterative Solution of Nonlinear Equations
//! in Several Variables*, section 13.3).

use crate::math::{least, most};

/// Largest number of Newton steps: more than twice the five that random demands take at most (1.6 million in
/// a trial run).
const MOST_STEPS: usize = 12;

/// `low <= T + slope x <= high`, with total thrust T in N and a share x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Strip {
    pub low: f32,
    pub high: f32,
    pub slope: f32,
}

/// An interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Interval {
    pub low: f32,
    pub high: f32,
}

/// What all strips have in common at the largest share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Common {
    /// The largest share.
    pub share: f32,
    /// Total thrust in N that meets all strips at that share.
    pub thrust_n: Interval,
}

/// One end of a strip: thrust `end - slope x`.
#[derive(Clone, Copy)]
struct Line {
    end: f32,
    slope: f32,
}

impl Line {
    fn at(self, share: f32) -> f32 {
        self.end - self.slope * share
    }
}

impl Strip {
    /// `weight` times this strip plus `1 - weight` times another: again a strip, since the weights add up to
    /// one.
    pub(super) fn combined(self, other: Self, weight: f32) -> Self {
        let (a, b) = (self.scaled(weight), other.scaled(1.0 - weight));
        Self { low: a.low + b.low, high: a.high + b.high, slope: a.slope + b.slope }
    }

    /// A negative factor exchanges the ends.
    fn scaled(self, factor: f32) -> Self {
        let (low, high, slope) = (factor * self.low, factor * self.high, factor * self.slope);
        if factor < 0.0 { Self { low: high, high: low, slope } } else { Self { low, high, slope } }
    }

    /// The largest share, up to `from`, at which this strip and another have something in common.
    ///
    /// The difference of the two is `low - other.high <= (slope - other.slope) x <= high - other.low`.
    pub(super) fn largest_share_beside(self, other: Self, from: f32) -> f32 {
        let slope = self.slope - other.slope;
        let slack = if slope > 0.0 { self.high - other.low } else { other.high - self.low };
        if slope.abs() * from > slack { most(slack, 0.0) / slope.abs() } else { from }
    }
}

/// The largest share from 0 to `from` at which some thrust in `window` lies in all strips. At share 0 there
/// must be one.
pub(super) fn largest_share(window: Interval, strips: &[Strip], from: f32) -> Common {
    let mut common = Common { share: from, thrust_n: window };
    for step in 0..MOST_STEPS {
        let (below, above) = tightest(window, strips, common.share);
        let (low, high) = (below.at(common.share), above.at(common.share));
        if low <= high {
            if step == 0 {
                common.thrust_n = Interval { low, high };
            }
            break;
        }
        let crossing = most((above.end - below.end) / (above.slope - below.slope), 0.0);
        let share = least(crossing, common.share);
        // Of two crossing lines the flatter one gives the thrust of the crossing more exactly.
        let flatter = if below.slope.abs() < above.slope.abs() { below } else { above };
        let thrust_n = flatter.at(share);
        common.thrust_n = Interval { low: thrust_n, high: thrust_n };
        if crossing >= common.share {
            // The gap is round-off.
            break;
        }
        common.share = share;
    }
    common
}

/// The highest lower end and the lowest upper end at a share.
fn tightest(window: Interval, strips: &[Strip], share: f32) -> (Line, Line) {
    let mut below = Line { end: window.low, slope: 0.0 };
    let mut above = Line { end: window.high, slope: 0.0 };
    let (mut low, mut high) = (window.low, window.high);
    for strip in strips {
        let moved = strip.slope * share;
        if strip.low - moved > low {
            low = strip.low - moved;
            below = Line { end: strip.low, slope: strip.slope };
        }
        if strip.high - moved < high {
            high = strip.high - moved;
            above = Line { end: strip.high, slope: strip.slope };
        }
    }
    (below, above)
}
