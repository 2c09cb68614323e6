//! Multisine: a periodic signal with power at chosen frequencies.

use crate::linear::C64;

/// A sum of sines whose frequencies are integer multiples of a base frequency, so that it is periodic.
#[derive(Clone, Debug)]
pub(super) struct Multisine {
    /// Ticks of one period.
    period: usize,
    harmonics: Vec<usize>,
    amplitudes: Vec<C64>,
    samples: Vec<f64>,
    /// cos and sin of all phases of a period.
    circle: Vec<C64>,
}

/// Frequencies per decade.
const PER_DECADE: f64 = 20.0;

impl Multisine {
    /// Frequencies from `low` to `high` (rad/s), logarithmically spaced; `first` cycles of the lowest per
    /// period; amplitudes by `amplitude`. The phases by Schroeder (1970, IEEE Trans. Information Theory
    /// 16(1):85-89) give a low crest factor.
    pub(super) fn new(
        [low, high]: [f64; 2],
        first: usize,
        tick_s: f64,
        amplitude: impl Fn(f64) -> f64,
    ) -> Self {
        let period = libm::ceil(first as f64 * std::f64::consts::TAU / (low * tick_s)) as usize;
        let base = std::f64::consts::TAU / (period as f64 * tick_s);
        let ratio = libm::pow(10.0, 1.0 / PER_DECADE);
        let mut harmonics = vec![first];
        while let Some(&last) = harmonics.last() {
            let next = (last + 1).max(libm::round(last as f64 * ratio) as usize);
            if next as f64 * base > high {
                break;
            }
            harmonics.push(next);
        }
        let circle: Vec<C64> = (0..period)
            .map(|n| {
                let angle = std::f64::consts::TAU * n as f64 / period as f64;
                C64::new(libm::cos(angle), libm::sin(angle))
            })
            .collect();
        let sizes: Vec<f64> = harmonics.iter().map(|&h| amplitude(h as f64 * base)).collect();
        let power: f64 = sizes.iter().map(|size| size * size).sum();
        let (mut phase, mut before) = (0.0, 0.0);
        let amplitudes: Vec<C64> = sizes
            .iter()
            .map(|size| {
                // Each phase changes by 2 pi times the share of the power at lower frequencies.
                phase -= std::f64::consts::TAU * before;
                before += size * size / power;
                C64::new(size * libm::cos(phase), size * libm::sin(phase))
            })
            .collect();
        let mut signal = Self { period, harmonics, amplitudes, samples: Vec::new(), circle };
        signal.samples = (0..period).map(|n| signal.sum_at(n)).collect();
        signal
    }

    fn sum_at(&self, n: usize) -> f64 {
        let each = self.harmonics.iter().zip(&self.amplitudes);
        each.map(|(&h, amplitude)| (amplitude * self.circle[h * n % self.period]).re).sum()
    }

    /// Ticks of one period.
    pub(super) const fn period(&self) -> usize {
        self.period
    }

    /// The signal on a tick.
    pub(super) fn at(&self, tick: usize) -> f64 {
        self.samples[tick % self.period]
    }

    /// Frequencies in rad/s.
    pub(super) fn rad_s(&self, tick_s: f64) -> Vec<f64> {
        let base = std::f64::consts::TAU / (self.period as f64 * tick_s);
        self.harmonics.iter().map(|&h| h as f64 * base).collect()
    }

    /// Complex amplitudes of the signal itself.
    pub(super) fn amplitudes(&self) -> &[C64] {
        &self.amplitudes
    }

    /// Complex amplitude of each frequency in one period of a signal.
    pub(super) fn amplitudes_in(&self, samples: &[f64]) -> Vec<C64> {
        let scale = 2.0 / self.period as f64;
        let each = self.harmonics.iter().map(|&h| {
            let mut angle = 0;
            let mut sum = C64::new(0.0, 0.0);
            for sample in samples {
                sum += sample * self.circle[angle].conj();
                angle += h;
                if angle >= self.period {
                    angle -= self.period;
                }
            }
            sum * scale
        });
        each.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amplitudes_are_recovered_and_the_crest_factor_is_low() {
        let signal = Multisine::new([2.0, 200.0], 6, 1e-3, |w| 1.0 / w);
        let samples: Vec<f64> = (0..signal.period()).map(|n| signal.at(n)).collect();
        for (found, set) in signal.amplitudes_in(&samples).iter().zip(signal.amplitudes()) {
            assert!((found - set).norm() < 1e-9);
        }
        let rms = crate::measure::rms(&samples);
        let peak = samples.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()));
        assert!(peak < 3.0 * rms, "{peak} {rms}");
        assert!(signal.rad_s(1e-3)[0] <= 2.0 && signal.rad_s(1e-3).last().unwrap() > &170.0);
    }
}
