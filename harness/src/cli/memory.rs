//! Bound on the memory of traces: long flights are flown by fewer threads and in smaller groups.

use aplomb::flight::Config;
use aplomb_flight::fly::ROW_TICKS;
use aplomb_flight::trace::Row;

/// Largest size in bytes of the traces that are held at once.
const TRACES: f64 = 300e6;

/// Size in bytes of the trace of a flight.
fn size(duration_s: f64, controller: &Config) -> f64 {
    duration_s * f64::from(controller.tick_hz) / ROW_TICKS as f64 * size_of::<Row>() as f64
}

/// Number of flights of this duration whose traces are held at once; at least 1.
pub(super) fn flights_at_once(duration_s: f64, controller: &Config) -> usize {
    ((TRACES / size(duration_s, controller)) as usize).max(1)
}

/// Indices of flights of these durations, in groups whose traces are held at once.
pub(super) fn groups(durations_s: impl IntoIterator<Item = f64>, controller: &Config) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut held = f64::INFINITY;
    for (index, duration_s) in durations_s.into_iter().enumerate() {
        let own = size(duration_s, controller);
        match groups.last_mut() {
            Some(group) if held + own <= TRACES => {
                group.push(index);
                held += own;
            }
            _ => {
                groups.push(vec![index]);
                held = own;
            }
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input;

    #[test]
    fn flights_of_the_demo_fit_together_and_long_ones_do_not() {
        let controller = input::demo_controller().unwrap();
        let demo = input::demo_flights().unwrap();
        assert_eq!(groups(demo.iter().map(|plan| plan.duration_s), &controller).len(), 1);
        // 150 kB a second.
        assert_eq!(
            groups([1800.0, 10.0, 1800.0, 400.0, 30.0], &controller),
            [vec![0, 1], vec![2], vec![3, 4]]
        );
        assert!(flights_at_once(60.0, &controller) > 16);
        assert_eq!(flights_at_once(1800.0, &controller), 1);
        assert!((0.5 * TRACES..TRACES).contains(&size(1800.0, &controller)));
    }
}
