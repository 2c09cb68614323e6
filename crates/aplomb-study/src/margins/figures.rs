//! Margins of a loop from its transfer function L over frequency.

use super::curve::{Curve, remainder};
use super::disk;

/// Stability margins and bandwidth of a loop. A margin is infinite if there is no crossover of its kind, and
/// NaN if it is not measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// Upper gain margin in dB: factor by which the gain can be raised until the closed loop is unstable.
    pub upper_gain_margin_db: f64,
    /// Phase crossover of the upper gain margin in rad/s.
    pub upper_gain_margin_rad_s: f64,
    /// Lower gain margin in dB, positive: factor by which the gain can be lowered until the closed loop is
    /// unstable.
    pub lower_gain_margin_db: f64,
    /// Phase crossover of the lower gain margin in rad/s.
    pub lower_gain_margin_rad_s: f64,
    /// Phase margin in deg: smallest distance of the phase from -180 deg, of either sign, at all gain
    /// crossovers.
    pub phase_margin_deg: f64,
    /// Gain crossover of the phase margin in rad/s.
    pub phase_margin_rad_s: f64,
    /// Delay margin in s: smallest additional delay with which the closed loop is unstable.
    pub delay_margin_s: f64,
    /// Highest gain crossover, |L| = 1, in rad/s.
    pub crossover_rad_s: f64,
    /// Peak of the sensitivity, Ms = max |1/(1 + L)|.
    pub peak_sensitivity: f64,
    /// Frequency of the peak in rad/s.
    pub peak_sensitivity_rad_s: f64,
    /// Disk margin, the size of the balanced disk: see [`super::disk`].
    pub disk_size: f64,
    /// Its frequency in rad/s.
    pub disk_size_rad_s: f64,
    /// Bandwidth in rad/s: frequency above which |L/(1 + L)| stays below -3 dB.
    pub bandwidth_rad_s: f64,
}

/// Grid points per point of the curve in the search for crossings.
const GRID_RATIO: usize = 4;

impl Figures {
    /// No figure is known.
    pub const UNKNOWN: Self = Self {
        upper_gain_margin_db: f64::NAN,
        upper_gain_margin_rad_s: f64::NAN,
        lower_gain_margin_db: f64::NAN,
        lower_gain_margin_rad_s: f64::NAN,
        phase_margin_deg: f64::NAN,
        phase_margin_rad_s: f64::NAN,
        delay_margin_s: f64::NAN,
        crossover_rad_s: f64::NAN,
        peak_sensitivity: f64::NAN,
        peak_sensitivity_rad_s: f64::NAN,
        disk_size: f64::NAN,
        disk_size_rad_s: f64::NAN,
        bandwidth_rad_s: f64::NAN,
    };

    /// The figures of a loop that is stable when closed (K. J. Astrom, R. M. Murray, Feedback Systems, 2nd
    /// edition 2021, sections 10.3 and 12.2).
    #[must_use]
    pub fn of(curve: &Curve) -> Self {
        let Some((low, high)) = curve.range() else { return Self::UNKNOWN };
        let count = GRID_RATIO * curve.len();
        let step = libm::log(high / low) / count as f64;
        let grid: Vec<f64> = (0..=count).map(|i| low * libm::exp(step * i as f64)).collect();
        let mut figures = Self {
            upper_gain_margin_db: f64::INFINITY,
            lower_gain_margin_db: f64::INFINITY,
            phase_margin_deg: f64::INFINITY,
            delay_margin_s: f64::INFINITY,
            ..Self::UNKNOWN
        };
        figures.take_crossings(curve, &grid);
        figures.take_peak(curve, &grid);
        let low_pass = |w: f64| {
            let transfer = curve.at(w);
            std::f64::consts::FRAC_1_SQRT_2 - (transfer / (1.0 + transfer)).norm()
        };
        if let Some(last) = crossings(&grid, low_pass).pop() {
            figures.bandwidth_rad_s = last;
        }
        figures
    }

    fn take_crossings(&mut self, curve: &Curve, grid: &[f64]) {
        for w in crossings(grid, |w| curve.at(w).norm() - 1.0) {
            let angle = curve.at(w).arg();
            let phase_margin_deg = (std::f64::consts::PI - angle.abs()).to_degrees();
            if phase_margin_deg < self.phase_margin_deg {
                (self.phase_margin_deg, self.phase_margin_rad_s) = (phase_margin_deg, w);
            }
            // Phase lag from here to -180 deg.
            let lag = (angle + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU);
            self.delay_margin_s = self.delay_margin_s.min(lag / w);
            self.crossover_rad_s = w;
        }
        // L is real and negative where its angle from -180 deg changes sign without a jump.
        for w in crossings(grid, |w| remainder(curve.at(w).arg() - std::f64::consts::PI)) {
            if curve.at(w).re > 0.0 {
                continue;
            }
            let db = -20.0 * libm::log10(curve.at(w).norm());
            if db >= 0.0 && db < self.upper_gain_margin_db {
                (self.upper_gain_margin_db, self.upper_gain_margin_rad_s) = (db, w);
            } else if db < 0.0 && -db < self.lower_gain_margin_db {
                (self.lower_gain_margin_db, self.lower_gain_margin_rad_s) = (-db, w);
            }
        }
    }

    fn take_peak(&mut self, curve: &Curve, grid: &[f64]) {
        let sensitivity = |w: f64| 1.0 / (1.0 + curve.at(w)).norm();
        if let Some(at) = highest(grid, sensitivity) {
            (self.peak_sensitivity, self.peak_sensitivity_rad_s) = (sensitivity(at), at);
        }
        if let Some(at) = highest(grid, |w| 1.0 / disk::size_at(curve.at(w))) {
            (self.disk_size, self.disk_size_rad_s) = (disk::size_at(curve.at(at)), at);
        }
    }
}

/// Argument of the largest value of a function: on the grid, then three times on a finer one about it.
fn highest(grid: &[f64], function: impl Fn(f64) -> f64) -> Option<f64> {
    let higher = |w: &f64, v: &f64| function(*w).total_cmp(&function(*v));
    let mut centre = grid.iter().copied().max_by(|w, v| higher(w, v))?;
    let mut ratio = libm::pow(grid[1] / grid[0], 0.5);
    for _ in 0..3 {
        let near: Vec<f64> = (-4..=4).map(|i| centre * libm::pow(ratio, 0.5 * f64::from(i))).collect();
        centre = near
            .into_iter()
            .filter(|w| (grid[0]..=grid[grid.len() - 1]).contains(w))
            .max_by(|w, v| higher(w, v))
            .unwrap_or(centre);
        ratio = libm::pow(ratio, 0.25);
    }
    Some(centre)
}

/// Sign changes of a function, by bisection between neighbours of the grid.
fn crossings(grid: &[f64], function: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut found = Vec::new();
    for pair in grid.windows(2) {
        let [mut low, mut high] = [pair[0], pair[1]];
        let mut from = function(low);
        // A jump of an angle at +-180 deg is not a zero.
        if from * function(high) > 0.0 || (from - function(high)).abs() > 4.0 {
            continue;
        }
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            let value = function(middle);
            if value * from > 0.0 {
                (low, from) = (middle, value);
            } else {
                high = middle;
            }
        }
        found.push(0.5 * (low + high));
    }
    found
}

/// Encirclements of -1 by L, counter-clockwise over all frequencies, of either sign, counting as the poles of
/// the open loop on the right by the Nyquist criterion: the phase of the return difference 1 + L rises by
/// `90 n + 180 P` deg from the lowest to the highest frequency, with n poles at zero, n being the slope at
/// the lowest frequency in decades per decade. A cross-check of the eigenvalues.
#[must_use]
pub fn open_loop_unstable_poles(difference: &Curve) -> Option<i32> {
    let (low, high) = difference.range()?;
    let fall = difference.at(low).norm() / difference.at(low * 1.01).norm();
    let poles = libm::round(libm::log(fall) / libm::log(1.01));
    let rise_rad = difference.phase_rad(high) - difference.phase_rad(low);
    Some(libm::round(rise_rad / std::f64::consts::PI - 0.5 * poles) as i32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::C64;

    fn curve(low: f64, high: f64, transfer: impl Fn(f64) -> C64) -> Curve {
        let step = (high / low).ln() / 400.0;
        let points: Vec<_> =
            (0..=400).map(|i| low * (step * f64::from(i)).exp()).map(|w| (w, transfer(w))).collect();
        Curve::new(&points)
    }

    #[test]
    fn integrator_with_dead_time_has_the_margins_of_the_closed_form() {
        // L = (g/s) e^(-s d), g d = 0.36: phase margin 90 deg - g d, gain margin (pi/2)/(g d), delay margin
        // pm/g.
        let (gain, dead) = (36.0, 0.01);
        let loop_ =
            curve(0.01, 3000.0, |w| C64::from_polar(gain / w, -std::f64::consts::FRAC_PI_2 - dead * w));
        let figures = Figures::of(&loop_);
        assert!((figures.phase_margin_deg - (90.0 - 0.36f64.to_degrees())).abs() < 1e-3, "{figures:?}");
        assert!(
            (figures.upper_gain_margin_db - 20.0 * (std::f64::consts::FRAC_PI_2 / 0.36).log10()).abs() < 1e-3
        );
        assert!((figures.delay_margin_s - figures.phase_margin_deg.to_radians() / gain).abs() < 1e-6);
        assert!((figures.crossover_rad_s - gain).abs() < 1e-3);
        assert!(figures.lower_gain_margin_db.is_infinite());
    }

    #[test]
    fn second_order_loop_has_the_published_peak_and_phase() {
        // 1/(s (s + 2 z)), z = 0.5: Ms 1.468, phase margin 51.83 deg; closed loop -3 dB at 1.2720
        // (second-order forms).
        let loop_ = curve(0.001, 100.0, |w| 1.0 / (C64::new(0.0, w) * C64::new(1.0, w)));
        let figures = Figures::of(&loop_);
        assert!((figures.peak_sensitivity - 1.468).abs() < 1e-3, "{figures:?}");
        assert!((figures.phase_margin_deg - 51.83).abs() < 1e-2);
        assert!((figures.bandwidth_rad_s - 1.2720).abs() < 1e-3);
    }

    #[test]
    fn conditionally_stable_loop_has_a_lower_gain_margin() {
        // L = k (s + 1)^2/s^3: s^3 + k (s + 1)^2 is stable for k > 1/2 (Routh: k 2k > k), so the lower gain
        // margin at k = 2 is 4.
        let loop_ = |k: f64, more: f64| {
            curve(0.001, 1000.0, move |w| {
                let s = C64::new(0.0, w);
                k * (s + 1.0) * (s + 1.0) / (s * s * s) + more
            })
        };
        let figures = Figures::of(&loop_(2.0, 0.0));
        assert!((figures.lower_gain_margin_db - 20.0 * 4f64.log10()).abs() < 1e-3, "{figures:?}");
        assert!(figures.upper_gain_margin_db.is_infinite());
        // Stable without a pole on the right; below the margin, two cross to the right.
        let count = |k: f64| open_loop_unstable_poles(&loop_(k, 1.0));
        assert_eq!((count(2.0), count(0.52), count(0.48)), (Some(0), Some(0), Some(-2)));
    }
}
