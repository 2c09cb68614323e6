//! Sampling at a fixed rate with delayed delivery.

use super::Reading;
use crate::divider::TickDivider;
use crate::error::{ConfigError, Reason, fail, not_negative, positive};

/// Largest number of samples in transit.
const UNDER_WAY: usize = 8;

/// Sample schedule and delay.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Delivery<T> {
    taken: TickDivider,
    delay_ticks: u64,
    delay_s: f64,
    /// Samples in transit: tick of delivery and value, oldest first.
    queue: [Option<(u64, T)>; UNDER_WAY],
}

impl<T: Copy> Delivery<T> {
    pub(crate) fn check(
        [rate_field, delay_field]: [&'static str; 2],
        rate_hz: f64,
        delay_s: f64,
        tick_s: f64,
    ) -> Result<(), ConfigError> {
        positive(rate_field, rate_hz)?;
        if rate_hz * tick_s > 1.0 + 1e-9 {
            return fail(rate_field, Reason::OutOfRange(0.0, 1.0 / tick_s));
        }
        not_negative(delay_field, delay_s)?;
        if delay_s * rate_hz > (UNDER_WAY - 1) as f64 {
            return fail(delay_field, Reason::TooLong);
        }
        Ok(())
    }

    pub(crate) fn new(rate_hz: f64, delay_s: f64, tick_s: f64) -> Self {
        let delay_ticks = libm::floor(delay_s / tick_s + 0.5);
        Delivery {
            taken: TickDivider::new(1.0 / rate_hz, tick_s),
            delay_ticks: delay_ticks as u64,
            delay_s: delay_ticks * tick_s,
            queue: [None; UNDER_WAY],
        }
    }

    /// Sample period (s).
    pub(crate) fn period_s(&self, tick_s: f64) -> f64 {
        f64::from(self.taken.ticks()) * tick_s
    }

    /// The slots of the samples in transit, oldest first: as many as the delay can fill.
    pub(crate) fn in_transit(&mut self) -> impl Iterator<Item = Option<&mut T>> {
        let places = (self.delay_ticks / u64::from(self.taken.ticks()) + 1) as usize;
        let queue = self.queue.iter_mut().take(places);
        queue.map(|place| place.as_mut().map(|(_, value)| value))
    }

    /// Takes a sample if one is due at `tick` and available; returns the one delivered at `tick`, if any.
    #[inline]
    pub(crate) fn advance(&mut self, tick: u64, take: impl FnOnce() -> Option<T>) -> Option<Reading<T>> {
        if self.taken.is_due()
            && let Some(value) = take()
        {
            let sample = (tick + self.delay_ticks, value);
            if let Some(free) = self.queue.iter_mut().find(|slot| slot.is_none()) {
                *free = Some(sample);
            }
        }
        match self.queue[0] {
            Some((due, value)) if due <= tick => {
                self.queue.rotate_left(1);
                self.queue[UNDER_WAY - 1] = None;
                Some(Reading { value, age_s: self.delay_s })
            }
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_have_their_rate_and_age() {
        let mut delivery = Delivery::new(200.0, 0.012, 0.001);
        let mut arrivals = Vec::new();
        for tick in 0..40 {
            if let Some(reading) = delivery.advance(tick, || (tick != 10).then_some(tick)) {
                assert!((reading.age_s - 0.012).abs() < 1e-12);
                assert_eq!(tick - reading.value, 12);
                arrivals.push(reading.value);
            }
        }
        assert_eq!(arrivals, [0, 5, 15, 20, 25]);
    }

    #[test]
    fn bad_fields_are_named() {
        let check = |rate, delay| Delivery::<f64>::check(["rate", "delay"], rate, delay, 0.001);
        for bad in [f64::NAN, f64::INFINITY, 0.0, -1.0, 1001.0] {
            assert_eq!(check(bad, 0.0).unwrap_err().field, "rate");
        }
        for bad in [f64::NAN, f64::INFINITY, -1.0, 0.1] {
            assert_eq!(check(100.0, bad).unwrap_err().field, "delay");
        }
        assert!(check(1000.0, 0.0).is_ok());
    }
}
