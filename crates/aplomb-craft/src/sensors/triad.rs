//! Three-axis inertial sensor: scale factor, misalignment, white noise, low-pass, bias, range and resolution.

use super::noise::{GaussMarkov, normals};
use crate::divider::TickDivider;
use crate::lanes::{larger, nearest, smaller};
use crate::random::Stream;
use crate::visit::{Visit, visit_vector};
use core::f64::consts::PI;
use glam::{DMat3, DVec3};

/// Parameters of either sensor, in its own unit.
pub(crate) struct TriadConfig {
    pub(crate) noise: f64,
    pub(crate) instability: f64,
    pub(crate) random_walk: f64,
    pub(crate) turn_on: f64,
    pub(crate) scale_factor_share: f64,
    pub(crate) misalignment_rad: f64,
    pub(crate) range: f64,
    pub(crate) step: f64,
}

#[derive(Clone, Debug)]
pub(crate) struct Triad {
    white: Stream,
    slow: Stream,
    mixing: DMat3,
    noise: f64,
    /// Low-pass coefficients of the last output, this input and the last input.
    filter: [f64; 3],
    last: DVec3,
    output: DVec3,
    turn_on: DVec3,
    instability: Option<GaussMarkov<DVec3>>,
    walk: DVec3,
    walk_step: f64,
    bias_moves: TickDivider,
    pub(crate) bias: DVec3,
    range: f64,
    step: f64,
    per_step: f64,
}

impl Triad {
    /// Update period of the bias.
    const SLOW_S: f64 = 0.01;
    /// Ratio of the standard deviation of a Gauss-Markov process to the bias instability B for a maximum of
    /// its Allan deviation (0.6173 of the standard deviation, at 1.89 correlation times) at 0.664 B.
    const MARKOV_PER_INSTABILITY: f64 = 0.664 / 0.6173;

    pub(crate) fn new(
        config: &TriadConfig,
        (low_pass_hz, bias_correlation_time_s, tick_s): (f64, f64, f64),
        streams: [Stream; 2],
    ) -> Self {
        let [white, mut slow] = streams;
        let turn_on =
            DVec3::new(slow.uniform_symmetric(), slow.uniform_symmetric(), slow.uniform_symmetric())
                * config.turn_on;
        let scale = normals(&mut slow) * config.scale_factor_share;
        let lower = normals(&mut slow) * config.misalignment_rad;
        let upper = normals(&mut slow) * config.misalignment_rad;
        let bias_moves = TickDivider::new(Self::SLOW_S, tick_s);
        let slow_s = f64::from(bias_moves.ticks()) * tick_s;
        let deviation = config.instability * Self::MARKOV_PER_INSTABILITY;
        let instability = (deviation > 0.0)
            .then(|| GaussMarkov::vector(deviation, bias_correlation_time_s, slow_s, &mut slow));
        // First-order low-pass, exact for an input linear over the tick: coefficients e^-p, 1 - r and r -
        // e^-p, with r = (1 - e^-p)/p.
        let p = 2.0 * PI * low_pass_hz * tick_s;
        let keep = libm::exp(-p);
        let ramp = -libm::expm1(-p) / p;
        Triad {
            white,
            mixing: DMat3::from_cols(
                DVec3::new(1.0 + scale.x, lower.x, lower.y),
                DVec3::new(upper.x, 1.0 + scale.y, lower.z),
                DVec3::new(upper.y, upper.z, 1.0 + scale.z),
            ),
            noise: config.noise / libm::sqrt(tick_s),
            filter: [keep, 1.0 - ramp, ramp - keep],
            last: DVec3::ZERO,
            output: DVec3::ZERO,
            turn_on,
            bias: turn_on + instability.map_or(DVec3::ZERO, |process| process.value),
            instability,
            walk: DVec3::ZERO,
            walk_step: config.random_walk * libm::sqrt(slow_s),
            bias_moves,
            slow,
            range: config.range,
            step: config.step,
            per_step: if config.step > 0.0 { 1.0 / config.step } else { 0.0 },
        }
    }

    pub(crate) fn start(&mut self, value: DVec3) {
        self.last = self.mixing * value;
        self.output = self.last;
    }

    #[inline]
    pub(crate) fn advance(&mut self, value: DVec3, vibration: DVec3) -> DVec3 {
        if self.bias_moves.is_due() {
            self.move_bias();
        }
        let input = self.mixing * value + normals(&mut self.white) * self.noise;
        let [keep, now, before] = self.filter;
        self.output = self.output * keep + input * now + self.last * before;
        self.last = input;
        let shown = self.output + vibration + self.bias;
        DVec3::new(self.show(shown.x), self.show(shown.y), self.show(shown.z))
    }

    /// Visits the last input and output of the low-pass.
    pub(crate) fn visit(&mut self, name: &'static str, visit: &mut Visit) {
        visit_vector(visit, name, 0, &mut self.last);
        visit_vector(visit, name, 3, &mut self.output);
    }

    fn move_bias(&mut self) {
        let unstable = match &mut self.instability {
            Some(process) => process.advance_vector(&mut self.slow),
            None => DVec3::ZERO,
        };
        if self.walk_step > 0.0 {
            self.walk += normals(&mut self.slow) * self.walk_step;
        }
        self.bias = self.turn_on + unstable + self.walk;
    }

    /// Clips to the range and rounds to the resolution.
    #[inline]
    fn show(&self, value: f64) -> f64 {
        let held = larger(smaller(value, self.range), -self.range);
        if self.per_step > 0.0 { nearest(held * self.per_step) * self.step } else { held }
    }
}
