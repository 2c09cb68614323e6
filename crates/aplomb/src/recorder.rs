//! Flight recorder: the last records before an event and the first ones after it, in a ring of fixed
//! capacity.
//!
//! The recorder keeps every `divider`-th record in a ring of `N`; the oldest is overwritten. An event (a
//! crash, a saturation, a mismatch) stores the record of its tick, then `after_event` more, and freezes the
//! ring: it then holds the event, `after_event` records after it and up to `N - 1 - after_event` before it.
//!
//! Any `Copy` type can be recorded: a whole [`Record`](crate::record::Record) or a few of its fields. The
//! ring is a `heapless::Deque`: no allocation, no panic path.

use heapless::Deque;

use crate::error::{ConfigError, Problem};

/// Configuration of a [`Recorder`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Every n-th tick is recorded; at least 1.
    pub divider: u32,
    /// Records that are kept after an event; below the capacity.
    pub after_event: u32,
}

impl Config {
    /// Every tick, and none after an event: only the records before it.
    pub const EVERY_TICK: Self = Self { divider: 1, after_event: 0 };
}

/// State of a recording.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Recording {
    /// Recording; no event yet.
    #[default]
    Running,
    /// Recording after an event.
    AfterEvent {
        /// Records left until the ring freezes.
        left: u32,
    },
    /// The ring holds the event and is no longer written.
    Frozen,
}

/// Flight recorder with a capacity of `N` records. See the [module](self).
///
/// ```
/// use aplomb::recorder::{Config, Recorder, Recording};
/// let mut recorder = Recorder::<u32, 5>::new(&Config { divider: 10, after_event: 2 })?;
/// for tick in 0..1000 {
///     // Tick 333 is an event.
///     recorder.step(&tick, tick == 333);
/// }
/// assert_eq!(recorder.recording(), Recording::Frozen);
/// let ticks: Vec<u32> = recorder.iter().copied().collect();
/// assert_eq!(ticks, [320, 330, 333, 343, 353]);
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Recorder<T, const N: usize> {
    config: Config,
    records: Deque<T, N>,
    ticks_to_next: u32,
    recording: Recording,
}

impl<T: Copy, const N: usize> Recorder<T, N> {
    const AT_LEAST_ONE: () = assert!(N > 0, "a recorder holds at least one record");

    /// Empty. A capacity of 0 does not compile.
    ///
    /// # Errors
    /// Names `divider` when it is 0, `after_event` when the event's own record would not be kept.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let () = Self::AT_LEAST_ONE;
        if config.divider == 0 {
            return Err(ConfigError::new("divider", Problem::NotPositive));
        }
        if config.after_event as usize >= N {
            return Err(ConfigError::new(
                "after_event",
                Problem::OutOfRange { low: 0.0, high: (N - 1) as f32 },
            ));
        }
        Ok(Self { config: *config, records: Deque::new(), ticks_to_next: 0, recording: Recording::Running })
    }

    /// One tick, with its record; `event` is true on the tick of an event. Only the first event counts; a
    /// frozen recorder ignores the call.
    pub fn step(&mut self, record: &T, event: bool) {
        let event = event && self.recording == Recording::Running;
        if event {
            self.recording = Recording::AfterEvent { left: self.config.after_event };
        }
        if self.recording == Recording::Frozen {
            return;
        }
        if !event && self.ticks_to_next > 0 {
            self.ticks_to_next -= 1;
            return;
        }
        self.ticks_to_next = self.config.divider - 1;
        self.push(record);
        if let Recording::AfterEvent { left } = self.recording {
            // The event's own record does not count.
            let left = if event { left } else { left.saturating_sub(1) };
            self.recording = if left == 0 { Recording::Frozen } else { Recording::AfterEvent { left } };
        }
    }

    /// Empties the ring and records again.
    pub fn reset(&mut self) {
        self.records.clear();
        self.ticks_to_next = 0;
        self.recording = Recording::Running;
    }

    /// State of the recording.
    #[must_use]
    pub const fn recording(&self) -> Recording {
        self.recording
    }

    /// The records, oldest first.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = &T> {
        self.records.iter()
    }

    fn push(&mut self, record: &T) {
        if self.records.is_full() {
            self.records.pop_front();
        }
        // Cannot fail: the ring is not full.
        let _ = self.records.push_back(*record);
    }
}

/// State of the recording, and the records, oldest first.
#[cfg(feature = "defmt")]
impl<T: defmt::Format, const N: usize> defmt::Format for Recorder<T, N> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{}: [", self.recording);
        for record in &self.records {
            defmt::write!(f, "{}, ", record);
        }
        defmt::write!(f, "]");
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;
    use std::vec::Vec;

    fn recorder<const N: usize>(divider: u32, after_event: u32) -> Recorder<u32, N> {
        Recorder::new(&Config { divider, after_event }).unwrap()
    }

    fn ticks<const N: usize>(recorder: &Recorder<u32, N>) -> Vec<u32> {
        recorder.iter().copied().collect()
    }

    #[test]
    fn ring_keeps_the_newest_in_order_and_every_n_th() {
        let mut all = recorder::<3>(1, 0);
        let mut third = recorder::<3>(3, 0);
        assert!(ticks(&all).is_empty());
        for tick in 0..11 {
            all.step(&tick, false);
            third.step(&tick, false);
        }
        assert_eq!(ticks(&all), [8, 9, 10]);
        assert_eq!(ticks(&third), [3, 6, 9]);
        assert_eq!(third.iter().next_back(), Some(&9));
        assert_eq!(all.recording(), Recording::Running);
    }

    #[test]
    fn event_is_kept_with_what_came_before_and_after_and_then_nothing_more() {
        for (after_event, kept) in [(0, [6, 7, 8, 9]), (1, [7, 8, 9, 10]), (3, [9, 10, 11, 12])] {
            let mut recorder = recorder::<4>(1, after_event);
            for tick in 0..=9 {
                recorder.step(&tick, tick == 9);
            }
            let expected = if after_event == 0 {
                Recording::Frozen
            } else {
                Recording::AfterEvent { left: after_event }
            };
            assert_eq!(recorder.recording(), expected);
            for tick in 10..30 {
                recorder.step(&tick, tick == 20);
            }
            assert_eq!(ticks(&recorder), kept);
            assert_eq!(recorder.recording(), Recording::Frozen);
        }
    }

    #[test]
    fn second_event_before_the_freeze_does_not_move_it() {
        let mut recorder = recorder::<6>(1, 3);
        for tick in 0..20 {
            recorder.step(&tick, tick == 9 || tick == 11);
        }
        assert_eq!(ticks(&recorder), [7, 8, 9, 10, 11, 12]);
    }

    #[test]
    fn event_before_the_ring_is_full_freezes_what_there_is() {
        let mut recorder = recorder::<9>(2, 1);
        for tick in 0..20 {
            recorder.step(&tick, tick == 3);
        }
        assert_eq!(ticks(&recorder), [0, 2, 3, 5]);
    }

    #[test]
    fn reset_empties_and_records_from_the_next_tick() {
        let mut recorder = recorder::<2>(5, 0);
        recorder.step(&1, true);
        assert_eq!(recorder.recording(), Recording::Frozen);
        recorder.reset();
        assert!(ticks(&recorder).is_empty());
        recorder.step(&2, false);
        assert_eq!((ticks(&recorder), recorder.recording()), ([2].to_vec(), Recording::Running));
    }

    #[test]
    fn bad_fields_are_named() {
        let refused = |divider, after_event| {
            Recorder::<u32, 4>::new(&Config { divider, after_event }).map(drop).map_err(|e| e.field)
        };
        assert_eq!(refused(0, 0), Err("divider"));
        assert_eq!(refused(1, 4), Err("after_event"));
        assert_eq!(refused(1, 3), Ok(()));
        assert!(Recorder::<u32, 1>::new(&Config::EVERY_TICK).is_ok());
    }
}
