//! Shaded intervals of the time plots, and the marks of saturation.

use super::fill::Fill;
use aplomb_flight::trace::{Flags, Trace};

/// Fills of the intervals behind every time plot.
pub const FILLS: [Fill; 3] = [Fill::OnGround, Fill::AtTiltLimit, Fill::CannotHoldPosition];

/// Whether the meaning of a fill applies at an instant.
pub fn is_on(fill: Fill, flags: &Flags) -> bool {
    match fill {
        Fill::OnGround => flags.on_ground,
        Fill::AtTiltLimit => flags.at_tilt_limit,
        Fill::CannotHoldPosition => flags.cannot_hold_position,
        _ => false,
    }
}

/// Intervals (start, end) in s during which `is_on` holds; those nearer to each other than `gap_s` become
/// one.
pub fn intervals(trace: &Trace, gap_s: f64, is_on: impl Fn(&Flags) -> bool) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    for row in trace.rows.iter().filter(|row| is_on(&row.flags)) {
        let end = row.time_s + trace.period_s;
        match found.last_mut() {
            Some(last) if row.time_s - last.1 <= gap_s => last.1 = end,
            _ => found.push((row.time_s, end)),
        }
    }
    found
}

/// Share of the flight, 0 to 1, during which `is_on` holds; NaN for an empty trace.
pub fn share(trace: &Trace, is_on: impl Fn(&Flags) -> bool) -> f64 {
    trace.rows.iter().filter(|row| is_on(&row.flags)).count() as f64 / trace.rows.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use aplomb_flight::trace::Row;

    #[test]
    fn near_intervals_join_and_far_ones_stay_apart() {
        let on = [0, 1, 3, 8, 9];
        let rows = (0..10)
            .map(|i| Row {
                time_s: f64::from(i),
                flags: Flags { cannot_hold_position: on.contains(&i), ..Flags::default() },
                ..Row::default()
            })
            .collect();
        let trace = Trace { period_s: 1.0, rows };
        assert_eq!(intervals(&trace, 1.5, |f| f.cannot_hold_position), [(0.0, 4.0), (8.0, 10.0)]);
        assert_eq!(share(&trace, |f| f.cannot_hold_position), 0.5);
        assert!(intervals(&trace, 1.5, |f| f.on_ground).is_empty());
    }
}
