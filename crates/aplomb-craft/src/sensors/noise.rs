//! Coloured noise: first-order Gauss-Markov processes and random walks.

use crate::random::Stream;
use glam::DVec3;

/// First-order Gauss-Markov process, sampled exactly: `x' = e^(-dt/T) x + s sqrt(1 - e^(-2 dt/T)) n`,
/// standard deviation s, correlation time T.
#[derive(Clone, Copy, Debug)]
pub(crate) struct GaussMarkov<T> {
    keep: f64,
    new: f64,
    pub(crate) value: T,
}

impl GaussMarkov<f64> {
    /// Starts in the stationary distribution.
    pub(crate) fn new(deviation: f64, time_s: f64, step_s: f64, stream: &mut Stream) -> Self {
        let value = deviation * stream.normal();
        GaussMarkov { keep: keep(time_s, step_s), new: deviation * fresh(time_s, step_s), value }
    }

    pub(crate) fn advance(&mut self, stream: &mut Stream) -> f64 {
        self.value = self.keep * self.value + self.new * stream.normal();
        self.value
    }
}

impl GaussMarkov<DVec3> {
    /// Starts in the stationary distribution.
    pub(crate) fn vector(deviation: f64, time_s: f64, step_s: f64, stream: &mut Stream) -> Self {
        let value = normals(stream) * deviation;
        GaussMarkov { keep: keep(time_s, step_s), new: deviation * fresh(time_s, step_s), value }
    }

    pub(crate) fn advance_vector(&mut self, stream: &mut Stream) -> DVec3 {
        self.value = self.value * self.keep + normals(stream) * self.new;
        self.value
    }
}

fn keep(time_s: f64, step_s: f64) -> f64 {
    libm::exp(-step_s / time_s)
}

fn fresh(time_s: f64, step_s: f64) -> f64 {
    libm::sqrt(-libm::expm1(-2.0 * step_s / time_s))
}

/// Three independent normal numbers.
#[inline]
pub(crate) fn normals(stream: &mut Stream) -> DVec3 {
    let (x, y) = (stream.normal(), stream.normal());
    DVec3::new(x, y, stream.normal())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Source;

    #[test]
    fn correlated_noise_has_its_deviation_and_correlation_time() {
        let mut stream = Stream::new(5, Source::Barometer);
        let mut process = GaussMarkov::new(2.0, 1.0, 0.1, &mut stream);
        let values: Vec<f64> = (0..400_000).map(|_| process.advance(&mut stream)).collect();
        let mean = |lag: usize| {
            let pairs = values.iter().zip(&values[lag..]);
            pairs.map(|(a, b)| a * b).sum::<f64>() / (values.len() - lag) as f64
        };
        // 40 000 s contain about 20 000 independent values: 1 % standard error of the variance.
        assert!((mean(0) / 4.0 - 1.0).abs() < 0.04, "{}", mean(0));
        assert!((mean(10) / mean(0) - libm::exp(-1.0)).abs() < 0.03, "{}", mean(10));
    }
}
