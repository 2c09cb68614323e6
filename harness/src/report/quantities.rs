//! Columns of the trace for the plots.

use aplomb_flight::trace::{Row, Trace};

/// Unwrapped headings of set-point, estimate and truth: truth is continuous, the others are within 180 deg of
/// it.
pub struct Headings {
    /// Set-point in deg.
    pub setpoint: Vec<f64>,
    /// Estimate in deg.
    pub estimate: Vec<f64>,
    /// Truth in deg.
    pub truth: Vec<f64>,
}

impl Headings {
    /// Unwraps the headings of a trace.
    pub fn of(trace: &Trace) -> Self {
        let mut last = f64::NAN;
        let mut headings = Headings { setpoint: Vec::new(), estimate: Vec::new(), truth: Vec::new() };
        for row in &trace.rows {
            let truth = unwrapped(row.truth.heading_deg, last);
            if truth.is_finite() {
                last = truth;
            }
            headings.truth.push(truth);
            headings.estimate.push(unwrapped(row.estimate.heading_deg, last));
            headings.setpoint.push(unwrapped(row.setpoint.heading_deg, last));
        }
        headings
    }
}

/// The angle plus the multiple of 360 deg that is nearest to `near`; unchanged if `near` is not finite.
fn unwrapped(angle_deg: f64, near: f64) -> f64 {
    if near.is_finite() { angle_deg + 360.0 * libm::round((near - angle_deg) / 360.0) } else { angle_deg }
}

/// One column of a trace.
pub fn column(trace: &Trace, value: impl Fn(&Row) -> f64) -> Vec<f64> {
    trace.rows.iter().map(value).collect()
}

/// Horizontal distance of the true position from the set-point in m; NaN where the position is not
/// controlled.
pub fn distance_m(row: &Row) -> f64 {
    libm::hypot(row.truth.north_m - row.setpoint.north_m, row.truth.east_m - row.setpoint.east_m)
}

/// Horizontal position error in m relative to the GNSS solution without its white noise.
pub fn distance_to_gnss_m(row: &Row) -> f64 {
    libm::hypot(
        row.truth.north_m + row.gnss_correlated_noise_m[0] - row.setpoint.north_m,
        row.truth.east_m + row.gnss_correlated_noise_m[1] - row.setpoint.east_m,
    )
}

/// Horizontal wind speed in m/s.
pub fn wind_speed_m_s(row: &Row) -> f64 {
    libm::hypot(row.wind_m_s[0], row.wind_m_s[1])
}

/// Lowest and highest finite value, if there is one.
pub fn range<'a>(values: impl IntoIterator<Item = &'a f64>) -> Option<(f64, f64)> {
    values.into_iter().filter(|value| value.is_finite()).fold(None, |range, &value| {
        Some(range.map_or((value, value), |(low, high): (f64, f64)| (low.min(value), high.max(value))))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use aplomb_flight::trace::Motion;

    #[test]
    fn heading_crossing_north_is_unwrapped() {
        let row = |truth: f64, setpoint: f64| Row {
            truth: Motion { heading_deg: truth, ..Motion::default() },
            setpoint: Motion { heading_deg: setpoint, ..Motion::default() },
            estimate: Motion { heading_deg: truth, ..Motion::default() },
            ..Row::default()
        };
        let trace =
            Trace { period_s: 1.0, rows: vec![row(350.0, 10.0), row(f64::NAN, 10.0), row(5.0, 10.0)] };
        let headings = Headings::of(&trace);
        assert_eq!((headings.truth[0], headings.truth[2]), (350.0, 365.0));
        assert_eq!(headings.setpoint, [370.0, 370.0, 370.0]);
    }
}
