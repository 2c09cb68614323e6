//! A loop transfer function over frequency, from points.

use crate::linear::C64;

/// Points of a loop transfer function with ascending frequencies. Between them `ln L` is a cubic Hermite
/// polynomial in `ln w` with the slopes of the neighbouring points.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// ln w of each point.
    log_rad_s: Vec<f64>,
    /// ln |L| and the unwrapped phase of L in rad.
    value: Vec<[f64; 2]>,
}

impl Curve {
    /// From frequencies in rad/s and the transfer there. The phases of neighbours must differ by less than
    /// 180 deg.
    #[must_use]
    pub fn new(points: &[(f64, C64)]) -> Self {
        let mut phase = 0.0;
        let value = points.iter().enumerate().map(|(i, (_, transfer))| {
            let wrapped = transfer.arg();
            phase = if i == 0 { wrapped } else { phase + remainder(wrapped - phase) };
            [libm::log(transfer.norm()), phase]
        });
        Self {
            value: value.collect(),
            log_rad_s: points.iter().map(|(rad_s, _)| libm::log(*rad_s)).collect(),
        }
    }

    /// Number of points.
    #[must_use]
    pub fn len(&self) -> usize {
        self.log_rad_s.len()
    }

    /// True without any point.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.log_rad_s.is_empty()
    }

    /// Lowest and highest frequency in rad/s; `None` with fewer than two points.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        match (self.log_rad_s.first(), self.log_rad_s.last()) {
            (Some(&low), Some(&high)) if low < high => Some((libm::exp(low), libm::exp(high))),
            _ => None,
        }
    }

    /// The transfer function at a frequency in rad/s; outside the range that of the nearest point.
    #[must_use]
    pub fn at(&self, rad_s: f64) -> C64 {
        let [gain, phase] = self.log_at(libm::log(rad_s));
        let size = libm::exp(gain);
        C64::new(size * libm::cos(phase), size * libm::sin(phase))
    }

    /// Unwrapped phase in rad at a frequency in rad/s.
    #[must_use]
    pub fn phase_rad(&self, rad_s: f64) -> f64 {
        self.log_at(libm::log(rad_s))[1]
    }

    /// ln |L| and phase at ln w.
    fn log_at(&self, log_rad_s: f64) -> [f64; 2] {
        let last = self.log_rad_s.len() - 1;
        let log_rad_s = log_rad_s.clamp(self.log_rad_s[0], self.log_rad_s[last]);
        let i = self.log_rad_s.partition_point(|&x| x <= log_rad_s).clamp(1, last) - 1;
        let width = self.log_rad_s[i + 1] - self.log_rad_s[i];
        let t = (log_rad_s - self.log_rad_s[i]) / width;
        let (from, to) = (self.slope(i), self.slope(i + 1));
        std::array::from_fn(|k| {
            let (a, b) = (self.value[i][k], self.value[i + 1][k]);
            let (da, db) = (from[k] * width, to[k] * width);
            let rest = 1.0 - t;
            // Cubic Hermite polynomial.
            rest * rest * ((1.0 + 2.0 * t) * a + t * da) + t * t * ((3.0 - 2.0 * t) * b - rest * db)
        })
    }

    /// Slope at a point: that of the parabola through it and its neighbours.
    fn slope(&self, i: usize) -> [f64; 2] {
        let last = self.log_rad_s.len() - 1;
        let between = |i: usize, k: usize| {
            (self.value[i + 1][k] - self.value[i][k]) / (self.log_rad_s[i + 1] - self.log_rad_s[i])
        };
        std::array::from_fn(|k| {
            if i == 0 {
                between(0, k)
            } else if i == last {
                between(last - 1, k)
            } else {
                let (before, after) =
                    (self.log_rad_s[i] - self.log_rad_s[i - 1], self.log_rad_s[i + 1] - self.log_rad_s[i]);
                (between(i - 1, k) * after + between(i, k) * before) / (before + after)
            }
        })
    }
}

/// An angle in rad, reduced to -pi to pi.
pub(super) fn remainder(angle: f64) -> f64 {
    angle - std::f64::consts::TAU * libm::round(angle / std::f64::consts::TAU)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integrator_with_dead_time_is_interpolated_to_0_2_percent() {
        let exact = |w: f64| C64::from_polar(20.0 / w, -std::f64::consts::FRAC_PI_2 - 0.01 * w);
        let points: Vec<_> =
            (0..=40).map(|i| 10f64.powf(f64::from(i) / 16.0)).map(|w| (w, exact(w))).collect();
        let curve = Curve::new(&points);
        for i in 20..200 {
            let w = 10f64.powf(f64::from(i) / 100.0);
            let ratio = curve.at(w) / exact(w);
            assert!((ratio - 1.0).norm() < 2e-3, "{w}: {ratio}");
        }
    }
}
