//! Which part of the slow work falls on which tick.
//!
//! The slow work is a chain: climb, lean, target, reference, attitude. Each link works on what the one before left. In a
//! period of the attitude loop of five ticks or more no two links fall on one tick, so that no tick is much longer than
//! another, and the chain still ends on the tick on which the attitude loop closes:
//!
//! ```text
//! tick of the period, counted from its end     -4      -3      -2        -1         0
//! every velocity_every ticks                   climb   lean
//! every attitude_every ticks                                   target    reference  attitude
//! ```
//!
//! In a shorter period the links that find no tick of their own fall on its first tick, in the order of the chain. Periods
//! are counted from tick 0.

/// Counts the ticks of both periods.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Schedule {
    attitude: Period,
    velocity: Period,
}

/// What is to be done on a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Due {
    /// Height or climb to vertical acceleration; the demand is taken in.
    pub climb: bool,
    /// Place or velocity to where the thrust leans.
    pub lean: bool,
    /// The attitude set-point.
    pub target: bool,
    /// The reference of the attitude loop moves on.
    pub reference: bool,
    /// The attitude loop closes: body rate set-point and total thrust.
    pub attitude: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Period {
    every: u16,
    count: u16,
}

impl Period {
    /// `before` ticks ahead of the period's end, or on its first tick if it is shorter.
    #[inline]
    const fn is_before_end(self, before: u16) -> bool {
        let tick = if before == 0 { 0 } else { self.every.saturating_sub(before) };
        self.count == tick
    }

    #[inline]
    const fn advance(&mut self) {
        let next = self.count.saturating_add(1);
        self.count = if next < self.every { next } else { 0 };
    }
}

impl Schedule {
    /// For periods in ticks, the velocity loop's a multiple of the attitude loop's.
    pub(super) const fn new(attitude_every: u16, velocity_every: u16) -> Self {
        Self {
            attitude: Period { every: attitude_every, count: 0 },
            velocity: Period { every: velocity_every, count: 0 },
        }
    }

    /// What is due on this tick; everything when the loops start `fresh`.
    #[inline]
    pub(super) const fn due(&self, fresh: bool) -> Due {
        Due {
            climb: fresh || self.velocity.is_before_end(4),
            lean: fresh || self.velocity.is_before_end(3),
            target: fresh || self.attitude.is_before_end(2),
            reference: fresh || self.attitude.is_before_end(1),
            attitude: fresh || self.attitude.is_before_end(0),
        }
    }

    /// On to the next tick.
    #[inline]
    pub(super) const fn advance(&mut self) {
        self.attitude.advance();
        self.velocity.advance();
    }

    /// Back to tick 0.
    pub(super) const fn restart(&mut self) {
        self.attitude.count = 0;
        self.velocity.count = 0;
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn links(attitude_every: u16, velocity_every: u16) -> Vec<u8> {
        let mut schedule = Schedule::new(attitude_every, velocity_every);
        (0..2 * velocity_every)
            .map(|_| {
                let Due { climb, lean, target, reference, attitude } = schedule.due(false);
                schedule.advance();
                [climb, lean, target, reference, attitude].into_iter().map(u8::from).sum()
            })
            .collect()
    }

    #[test]
    fn no_two_links_fall_on_one_tick() {
        for (attitude_every, velocity_every) in [(5, 25), (5, 5), (8, 80), (7, 21)] {
            assert!(links(attitude_every, velocity_every).iter().all(|&links| links <= 1));
        }
    }

    #[test]
    fn every_link_has_its_tick_in_every_period() {
        for attitude_every in 1..9 {
            for times in 1..7 {
                let velocity_every = attitude_every * times;
                let all: u16 = links(attitude_every, velocity_every).into_iter().map(u16::from).sum();
                assert_eq!(all, 2 * (2 + 3 * times), "{attitude_every} {velocity_every}");
            }
        }
        assert_eq!(links(1, 1), [5, 5]);
    }

    #[test]
    fn the_chain_ends_with_the_attitude_loop() {
        let mut schedule = Schedule::new(5, 25);
        let mut order = Vec::new();
        for tick in 0..=25 {
            let due = schedule.due(false);
            for (name, due) in [("climb", due.climb), ("lean", due.lean), ("target", due.target)] {
                if due && tick > 20 {
                    order.push((tick, name));
                }
            }
            for (name, due) in [("reference", due.reference), ("attitude", due.attitude)] {
                if due && tick > 20 {
                    order.push((tick, name));
                }
            }
            schedule.advance();
        }
        let chain = [(21, "climb"), (22, "lean"), (23, "target"), (24, "reference"), (25, "attitude")];
        assert_eq!(order, chain);
    }
}
