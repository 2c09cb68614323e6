//! Division of the tick rate.

/// Due on the first tick and on every n-th tick after it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct TickDivider {
    ticks: u32,
    left: u32,
}

impl TickDivider {
    /// Period rounded to ticks, at least one.
    pub(crate) fn new(period_s: f64, tick_s: f64) -> Self {
        TickDivider { ticks: libm::fmax(1.0, libm::floor(period_s / tick_s + 0.5)) as u32, left: 0 }
    }

    /// Period in ticks.
    pub(crate) fn ticks(&self) -> u32 {
        self.ticks
    }

    /// Counts one tick; returns whether it is due.
    #[inline]
    pub(crate) fn is_due(&mut self) -> bool {
        if self.left > 0 {
            self.left -= 1;
            return false;
        }
        self.left = self.ticks - 1;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_tick_is_due_and_then_every_nth() {
        let mut every = TickDivider::new(0.005, 0.002);
        let due: Vec<bool> = (0..7).map(|_| every.is_due()).collect();
        assert_eq!((every.ticks(), due), (3, vec![true, false, false, true, false, false, true]));
        let mut each = TickDivider::new(0.001, 0.005);
        assert!((0..3).all(|_| each.is_due()));
    }
}
