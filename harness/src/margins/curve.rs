//! A loop transfer over frequency, known at some points.

use crate::linear::C64;

/// Points of a loop transfer, frequencies rising; between them `ln L` is a cubic in `ln w` with the slopes of its
/// neighbours.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// ln w of each point.
    place: Vec<f64>,
    /// ln |L| and the phase of L in rad, without jumps.
    value: Vec<[f64; 2]>,
}

impl Curve {
    /// From frequencies in rad/s and the transfer there. Neighbours must lie within half a turn of phase.
    #[must_use]
    pub fn new(points: &[(f64, C64)]) -> Self {
        let mut phase = 0.0;
        let value = points.iter().enumerate().map(|(i, (_, transfer))| {
            let wrapped = transfer.arg();
            phase = if i == 0 { wrapped } else { phase + remainder(wrapped - phase) };
            [libm::log(transfer.norm()), phase]
        });
        Self { value: value.collect(), place: points.iter().map(|(rad_s, _)| libm::log(*rad_s)).collect() }
    }

    /// How many points there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.place.len()
    }

    /// True without any point.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.place.is_empty()
    }

    /// Lowest and highest frequency in rad/s; `None` with fewer than two points.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        match (self.place.first(), self.place.last()) {
            (Some(&low), Some(&high)) if low < high => Some((libm::exp(low), libm::exp(high))),
            _ => None,
        }
    }

    /// The transfer at a frequency in rad/s; beyond the points, that of the nearest.
    #[must_use]
    pub fn at(&self, rad_s: f64) -> C64 {
        let [gain, phase] = self.log_at(libm::log(rad_s));
        let size = libm::exp(gain);
        C64::new(size * libm::cos(phase), size * libm::sin(phase))
    }

    /// Phase in rad at a frequency in rad/s, without jumps from one frequency to the next.
    #[must_use]
    pub fn phase_rad(&self, rad_s: f64) -> f64 {
        self.log_at(libm::log(rad_s))[1]
    }

    /// ln |L| and phase at ln w.
    fn log_at(&self, place: f64) -> [f64; 2] {
        let last = self.place.len() - 1;
        let place = place.clamp(self.place[0], self.place[last]);
        let i = self.place.partition_point(|&x| x <= place).clamp(1, last) - 1;
        let width = self.place[i + 1] - self.place[i];
        let t = (place - self.place[i]) / width;
        let (from, to) = (self.slope(i), self.slope(i + 1));
        std::array::from_fn(|k| {
            let (a, b) = (self.value[i][k], self.value[i + 1][k]);
            let (da, db) = (from[k] * width, to[k] * width);
            let rest = 1.0 - t;
            // Cubic Hermite polynomial.
            rest * rest * ((1.0 + 2.0 * t) * a + t * da) + t * t * ((3.0 - 2.0 * t) * b - rest * db)
        })
    }

    /// Slope at a point: of the parabola through it and its neighbours.
    fn slope(&self, i: usize) -> [f64; 2] {
        let last = self.place.len() - 1;
        let between = |i: usize, k: usize| {
            (self.value[i + 1][k] - self.value[i][k]) / (self.place[i + 1] - self.place[i])
        };
        std::array::from_fn(|k| {
            if i == 0 {
                between(0, k)
            } else if i == last {
                between(last - 1, k)
            } else {
                let (before, after) = (self.place[i] - self.place[i - 1], self.place[i + 1] - self.place[i]);
                (between(i - 1, k) * after + between(i, k) * before) / (before + after)
            }
        })
    }
}

/// An angle in rad brought to within half a turn of zero.
pub(super) fn remainder(angle: f64) -> f64 {
    angle - std::f64::consts::TAU * libm::round(angle / std::f64::consts::TAU)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_its_points_a_delayed_integrator_is_met_to_a_hundredth() {
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
