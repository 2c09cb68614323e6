//! Which part of the slow work falls on which tick.
//!
//! The slow work is a chain: climb, lean, target, reference, attitude. Each link works on what the one before left. In a
//! period of the attitude loop of five ticks or more no two links fall on one tick, so that no tick is much longer than
//! another, and the chain still ends on the tick on which the attitude loop closes:
//!
//! ```text
//! tick of the period, counted from its end     -4      -3      -2        -1         0
//! every velocity_divider ticks                   climb   lean
//! every attitude_divider ticks                                   target    reference  attitude
//! ```
//!
//! The lean is the longest link. On a tick on which the estimator takes in slow samples it waits, for up to two ticks, and
//! target and reference with it; what is left of the chain then falls on the tick of the attitude loop, which closes in time.
//!
//! In a shorter period the links that find no tick of their own fall on its first tick, in the order of the chain, and
//! nothing waits. Periods are counted from tick 0.

/// Counts the ticks of both periods.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Schedule {
    attitude_divider: u16,
    velocity_divider: u16,
    /// Ticks to the end of each period, 0 on its end.
    attitude_left: u16,
    velocity_left: u16,
    /// By how many ticks the chain is late.
    late: u16,
}

/// The links of the chain, and so the shortest period in which each has a tick of its own.
const LINKS: u16 = 5;
const LATEST: u16 = 2;

/// Links of the chain that are to run on a tick, as a set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Due(u8);

impl Due {
    const NONE: Self = Self(0);
    /// Height or climb to vertical acceleration; the demand is taken in.
    pub(super) const CLIMB: Self = Self(1);
    /// Place or velocity to where the thrust leans.
    pub(super) const LEAN: Self = Self(2);
    /// The attitude set-point.
    pub(super) const TARGET: Self = Self(4);
    /// The reference of the attitude loop moves on.
    pub(super) const REFERENCE: Self = Self(8);
    /// The attitude loop closes: body rate set-point and total thrust.
    pub(super) const ATTITUDE: Self = Self(16);
    const ALL: Self = Self(31);

    /// `link` is to run.
    #[inline]
    pub(super) const fn has(self, link: Self) -> bool {
        self.0 & link.0 != 0
    }

    const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// One tick less, or a new period.
#[inline]
const fn next(left: u16, every: u16) -> u16 {
    if left == 0 { every.saturating_sub(1) } else { left.saturating_sub(1) }
}

impl Schedule {
    /// For periods in ticks, the velocity loop's a multiple of the attitude loop's.
    pub(super) const fn new(attitude_divider: u16, velocity_divider: u16) -> Self {
        Self { attitude_divider, velocity_divider, attitude_left: 0, velocity_left: 0, late: 0 }
    }

    /// What is due on this tick, on which the estimator may be `busy`; everything when the loops start `fresh`.
    #[inline]
    pub(super) fn due(&mut self, reset_controllers: bool, busy: bool) -> Due {
        if reset_controllers {
            self.late = 0;
            return Due::ALL;
        }
        if self.attitude_divider < LINKS {
            return self.due_in_short_period();
        }
        let outer = self.velocity_left == self.attitude_left;
        // The place in the chain, counted from its end.
        let place = self.attitude_left.saturating_add(self.late);
        if self.attitude_left == 0 {
            self.late = 0;
            return match place {
                0 => Due::ATTITUDE,
                1 => Due::REFERENCE.and(Due::ATTITUDE),
                _ => Due::TARGET.and(Due::REFERENCE).and(Due::ATTITUDE),
            };
        }
        match place {
            1 => Due::REFERENCE,
            2 => Due::TARGET,
            3 if outer && busy && self.late < LATEST => {
                self.late = self.late.saturating_add(1);
                Due::NONE
            }
            3 if outer => Due::LEAN,
            4 if outer => Due::CLIMB,
            _ => Due::NONE,
        }
    }

    #[cold]
    const fn due_in_short_period(&self) -> Due {
        const fn on(left: u16, before_end: u16, every: u16, link: Due) -> Due {
            if left == if before_end < every { before_end } else { 0 } { link } else { Due::NONE }
        }
        let (attitude, velocity) = (self.attitude_left, self.velocity_left);
        on(velocity, 4, self.velocity_divider, Due::CLIMB)
            .and(on(velocity, 3, self.velocity_divider, Due::LEAN))
            .and(on(attitude, 2, self.attitude_divider, Due::TARGET))
            .and(on(attitude, 1, self.attitude_divider, Due::REFERENCE))
            .and(on(attitude, 0, self.attitude_divider, Due::ATTITUDE))
    }

    /// On to the next tick.
    #[inline]
    pub(super) const fn advance(&mut self) {
        self.attitude_left = next(self.attitude_left, self.attitude_divider);
        self.velocity_left = next(self.velocity_left, self.velocity_divider);
    }

    /// Back to tick 0.
    pub(super) const fn restart(&mut self) {
        *self = Self::new(self.attitude_divider, self.velocity_divider);
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    const NAMES: [(Due, &str); 5] = [
        (Due::CLIMB, "climb"),
        (Due::LEAN, "lean"),
        (Due::TARGET, "target"),
        (Due::REFERENCE, "reference"),
        (Due::ATTITUDE, "attitude"),
    ];

    fn links(attitude_divider: u16, velocity_divider: u16) -> Vec<u8> {
        let mut schedule = Schedule::new(attitude_divider, velocity_divider);
        (0..2 * velocity_divider)
            .map(|_| {
                let due = schedule.due(false, false);
                schedule.advance();
                NAMES.into_iter().map(|(link, _)| u8::from(due.has(link))).sum()
            })
            .collect()
    }

    #[test]
    fn no_two_links_fall_on_one_tick() {
        for (attitude_divider, velocity_divider) in [(5, 25), (5, 5), (8, 80), (7, 21)] {
            assert!(links(attitude_divider, velocity_divider).iter().all(|&links| links <= 1));
        }
    }

    #[test]
    fn every_link_has_its_tick_in_every_period() {
        for attitude_divider in 1..9 {
            for times in 1..7 {
                let velocity_divider = attitude_divider * times;
                let all: u16 = links(attitude_divider, velocity_divider).into_iter().map(u16::from).sum();
                assert_eq!(all, 2 * (2 + 3 * times), "{attitude_divider} {velocity_divider}");
            }
        }
        assert_eq!(links(1, 1), [5, 5]);
    }

    /// The links of ticks 21 to 26, while slow samples come on the given ticks.
    fn chain(busy: &[u16]) -> Vec<(u16, &'static str)> {
        let mut schedule = Schedule::new(5, 25);
        let mut order = Vec::new();
        for tick in 0..27 {
            let due = schedule.due(false, busy.contains(&tick));
            schedule.advance();
            let run = NAMES.into_iter().filter(|(link, _)| due.has(*link) && tick > 20);
            order.extend(run.map(|(_, name)| (tick, name)));
        }
        order
    }

    #[test]
    fn the_chain_ends_with_the_attitude_loop() {
        let in_time = [(21, "climb"), (22, "lean"), (23, "target"), (24, "reference"), (25, "attitude")];
        assert_eq!(chain(&[]), in_time);
        // On other ticks than that of the lean nothing waits.
        assert_eq!(chain(&[0, 7, 12, 20, 21, 23, 24, 25, 26]), in_time);
    }

    #[test]
    fn the_lean_waits_for_slow_samples_and_the_attitude_loop_does_not() {
        let late = [(21, "climb"), (23, "lean"), (24, "target"), (25, "reference"), (25, "attitude")];
        assert_eq!(chain(&[22]), late);
        let later = [(21, "climb"), (24, "lean"), (25, "target"), (25, "reference"), (25, "attitude")];
        assert_eq!(chain(&[22, 23]), later);
        // Samples on every tick hold nothing up for longer.
        assert_eq!(chain(&[20, 21, 22, 23, 24, 25, 26]), later);
        let mut short = Schedule::new(4, 8);
        assert!((0..8).any(|_| {
            let lean = short.due(false, true).has(Due::LEAN);
            short.advance();
            lean
        }));
    }
}
