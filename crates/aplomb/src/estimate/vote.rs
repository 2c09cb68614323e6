//! One rate and one specific force from one to three inertial sensors.

use super::attitude::{FORCE_MAX_SQUARED, RATE_MAX_SQUARED};
use crate::ImuSample;
use crate::frames::{Body, Vector};
use crate::math::saturate_symmetric;

/// Time constant in s of each sensor's mean deviation from the vote: slow beside manoeuvres, fast beside the
/// drift of a bias (common practice, no source).
const DEVIATION_S: f32 = 10.0;
/// Largest deviation that is removed as bias, in rad/s (5 deg/s) and m/s2 (100 mg): above the turn-on biases
/// of consumer sensors, 3 deg/s and 60 mg (values from memory).
const MAX_RATE_DEVIATION_RAD_S: f32 = 0.087_266;
const MAX_FORCE_DEVIATION_M_S2: f32 = 1.0;

/// Votes among `N` sensors: the mean of two, component by component the median of three.
///
/// A sensor counts while its sample can be a measurement (below 140 rad/s and 400 m/s2, no NaN) and is not
/// stale. The mean deviation of each from the vote (time constant 10 s) is subtracted (within 5 deg/s and 1
/// m/s2 per axis), so that losing one makes no step in the result. Without a usable sensor there is no
/// result.
///
/// ```
/// use aplomb::{ImuSample, estimate::ImuVote, frames::Vector};
/// let sample = |roll| ImuSample::from_rates(Vector::new(roll, 0.0, 0.0), Vector::ZERO, 1e-3);
/// let mut vote = ImuVote::<3>::new(5e-3, 1e-3);
/// let voted = vote.step(&[sample(0.1), sample(7.0), sample(0.1)]).unwrap();
/// assert!((voted.rate_rad_s.x() - 0.1).abs() < 1e-3 && voted.usable == 3);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ImuVote<const N: usize> {
    max_age_us: u32,
    gain: f32,
    state: ImuVoteState<N>,
}

/// State of an [`ImuVote`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ImuVoteState<const N: usize> {
    #[cfg_attr(feature = "serde", serde(with = "crate::serde_array"))]
    deviation: [Motion; N],
}

/// Angular rate in rad/s and specific force in m/s2.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Motion {
    rate: Vector<Body>,
    force: Vector<Body>,
}

/// The result of a vote.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Voted {
    /// Angular rate in rad/s.
    pub rate_rad_s: Vector<Body>,
    /// Specific force in m/s2.
    pub specific_force_m_s2: Vector<Body>,
    /// Number of usable sensors, at least 1.
    pub usable: u8,
}

impl<const N: usize> ImuVote<N> {
    const COUNT: () = assert!(N >= 1 && N <= 3, "one to three inertial sensors");

    /// For a greatest age of a sample in s and a fixed period in s; one that is not positive disables the
    /// deviations.
    #[must_use]
    pub fn new(max_age_s: f32, period_s: f32) -> Self {
        let () = Self::COUNT;
        Self {
            max_age_us: (max_age_s * 1e6 + 0.5) as u32,
            gain: if period_s > 0.0 { period_s / (DEVIATION_S + period_s) } else { 0.0 },
            state: ImuVoteState { deviation: [Motion::default(); N] },
        }
    }

    /// One tick; `None` when no sensor is usable.
    pub fn step(&mut self, samples: &[ImuSample; N]) -> Option<Voted> {
        let measured = samples.map(|sample| self.measurement(&sample));
        let (mut rates, mut forces) = (Votes::new(), Votes::new());
        for (motion, deviation) in measured.iter().zip(&self.state.deviation) {
            if let Some(motion) = motion {
                rates.cast(motion.rate - deviation.rate);
                forces.cast(motion.force - deviation.force);
            }
        }
        let (rate_rad_s, specific_force_m_s2) = (rates.result()?, forces.result()?);
        // The deviation of a single sensor from itself is 0.
        if rates.count() > 1 {
            for (motion, deviation) in measured.iter().zip(&mut self.state.deviation) {
                if let Some(motion) = motion {
                    let (rate, force) = (motion.rate - rate_rad_s, motion.force - specific_force_m_s2);
                    deviation.rate = limited(
                        deviation.rate + (rate - deviation.rate) * self.gain,
                        MAX_RATE_DEVIATION_RAD_S,
                    );
                    deviation.force = limited(
                        deviation.force + (force - deviation.force) * self.gain,
                        MAX_FORCE_DEVIATION_M_S2,
                    );
                }
            }
        }
        Some(Voted { rate_rad_s, specific_force_m_s2, usable: rates.count() })
    }

    /// Rate and force of a usable sample.
    fn measurement(&self, sample: &ImuSample) -> Option<Motion> {
        let (rate, force) = (sample.rate_rad_s(), sample.specific_force_m_s2());
        // False for NaN.
        let counts = sample.age_us <= self.max_age_us
            && rate.norm_squared() < RATE_MAX_SQUARED
            && force.norm_squared() < FORCE_MAX_SQUARED;
        counts.then_some(Motion { rate, force })
    }

    /// Sets the deviations to 0.
    pub fn reset(&mut self) {
        self.state.deviation = [Motion::default(); N];
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> ImuVoteState<N> {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: ImuVoteState<N>) {
        self.state = state;
    }
}

fn limited(v: Vector<Body>, limit: f32) -> Vector<Body> {
    let [x, y, z] = v.to_array().map(|x| saturate_symmetric(x, limit));
    Vector::new(x, y, z)
}

/// Up to three votes.
struct Votes(heapless::Vec<Vector<Body>, 3>);

impl Votes {
    const fn new() -> Self {
        Self(heapless::Vec::new())
    }

    fn cast(&mut self, vote: Vector<Body>) {
        // `N` is at most three.
        let _ = self.0.push(vote);
    }

    fn count(&self) -> u8 {
        self.0.len() as u8
    }

    fn result(&self) -> Option<Vector<Body>> {
        match *self.0.as_slice() {
            [] => None,
            [a] => Some(a),
            [a, b] => Some((a + b) * 0.5),
            [a, b, c, ..] => Some(Vector::new(
                median(a.x(), b.x(), c.x()),
                median(a.y(), b.y(), c.y()),
                median(a.z(), b.z(), c.z()),
            )),
        }
    }
}

fn median(a: f32, b: f32, c: f32) -> f32 {
    a.min(b).max(a.max(b).min(c))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(roll: f32, age_us: u32) -> ImuSample {
        let (rate, force) = (Vector::new(roll, 0.0, 0.0), Vector::new(0.0, 0.0, -9.8 - roll));
        ImuSample { age_us, ..ImuSample::from_rates(rate, force, 1e-3) }
    }

    #[test]
    fn one_wrong_sensor_of_three_is_outvoted() {
        let mut vote = ImuVote::<3>::new(5e-3, 1e-3);
        for _ in 0..5000 {
            let voted = vote.step(&[sample(0.01, 0), sample(50.0, 0), sample(0.03, 0)]).unwrap();
            assert!(voted.rate_rad_s.x().abs() < 0.05);
        }
    }

    #[test]
    fn losing_a_sensor_with_a_bias_makes_no_step() {
        let jump = |seconds: u32| {
            let mut vote = ImuVote::<2>::new(5e-3, 1e-3);
            let mut before = 0.0;
            for _ in 0..seconds * 1000 + 1 {
                before = vote.step(&[sample(0.02, 0), sample(-0.02, 0)]).unwrap().rate_rad_s.x();
            }
            let after = vote.step(&[sample(0.02, 5001), sample(-0.02, 0)]).unwrap();
            assert_eq!(after.usable, 1);
            (after.rate_rad_s.x() - before).abs()
        };
        assert!(jump(60) < 1e-3 && jump(0) > 0.019);
    }

    #[test]
    fn with_none_left_there_is_no_result() {
        let mut one = ImuVote::<1>::new(5e-3, 1e-3);
        assert!((one.step(&[sample(0.5, 0)]).unwrap().rate_rad_s.x() - 0.5).abs() < 1e-6);
        assert_eq!(one.step(&[sample(f32::NAN, 0)]), None);
        let mut two = ImuVote::<2>::new(5e-3, 1e-3);
        assert_eq!(two.step(&[sample(0.1, 5001), sample(f32::INFINITY, 0)]), None);
        assert_eq!(two.step(&[sample(0.1, 0), sample(0.1, 0)]).unwrap().usable, 2);
    }
}
