//! Every n-th tick.

/// Counts ticks: due on the first one and on every n-th after it.
///
/// ```
/// use aplomb::flight::Divider;
/// let mut divider = Divider::new(3);
/// let due: Vec<bool> = (0..5).map(|_| divider.is_due()).collect();
/// assert_eq!(due, [true, false, false, true, false]);
/// divider.reset();
/// assert!(divider.is_due());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Divider {
    every: u16,
    ticks_left: u16,
}

impl Divider {
    /// Due on every `every`-th tick; 0 counts as 1.
    #[must_use]
    pub const fn new(every: u16) -> Self {
        Self { every, ticks_left: 0 }
    }

    /// One tick; true when it is due.
    pub const fn is_due(&mut self) -> bool {
        let is_due = self.ticks_left == 0;
        self.ticks_left =
            if is_due { self.every.saturating_sub(1) } else { self.ticks_left.saturating_sub(1) };
        is_due
    }

    /// The next tick is due.
    pub const fn reset(&mut self) {
        self.ticks_left = 0;
    }

    /// Ticks before the next due one, to be saved.
    #[must_use]
    pub const fn ticks_left(&self) -> u16 {
        self.ticks_left
    }

    /// Continues from a saved count.
    pub const fn set_ticks_left(&mut self, ticks_left: u16) {
        self.ticks_left = ticks_left;
    }
}
