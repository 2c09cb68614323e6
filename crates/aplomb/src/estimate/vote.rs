//! One inertial sample out of one to three.

use super::attitude::{ACCEL_MAX_SQUARED, GYRO_MAX_SQUARED};
use crate::ImuSample;
use crate::frames::{Body, Vector};
use crate::math::saturate_symmetric;

/// Time constant in s with which each sensor's deviation from the vote is learnt.
const DEVIATION_S: f32 = 10.0;
/// Largest deviation that is taken for an offset, in rad/s (5 deg/s) and m/s2 (100 mg); beyond it the sensor is wrong.
const RATE_OFFSET_MAX: f32 = 0.087_266;
const FORCE_OFFSET_MAX: f32 = 1.0;

/// Votes among `N` sensors: the mean of two, component by component the middle of three.
///
/// A sensor counts while its sample can be a measurement (below 140 rad/s and 400 m/s2, no NaN) and is not stale. Each
/// one's lasting deviation from the vote is learnt and taken out (within 5 deg/s and 1 m/s2), so that losing one makes no
/// step in the result. With none left there is no result.
///
/// ```
/// use aplomb::{ImuSample, estimate::ImuVote, frames::Vector};
/// let sample = |roll| ImuSample::from_rates(Vector::new(roll, 0.0, 0.0), Vector::ZERO, 1e-3);
/// let mut vote = ImuVote::<3>::new(5e-3, 1e-3);
/// let voted = vote.step(&[sample(0.1), sample(7.0), sample(0.1)]).unwrap();
/// assert!((voted.gyro_rad_s.x() - 0.1).abs() < 1e-3 && voted.usable == 3);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ImuVote<const N: usize> {
    max_age_us: u32,
    gain: f32,
    deviation: [(Vector<Body>, Vector<Body>); N],
}

/// The result of a vote.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Voted {
    /// Angular rate in rad/s.
    pub gyro_rad_s: Vector<Body>,
    /// Specific force in m/s2.
    pub accel_m_s2: Vector<Body>,
    /// How many sensors counted, at least 1.
    pub usable: u8,
}

impl<const N: usize> ImuVote<N> {
    const COUNT: () = assert!(N >= 1 && N <= 3, "one to three inertial sensors");

    /// A sample older than `max_age_s` does not count; period in s, of which a value that is not positive disables the
    /// learning of deviations.
    #[must_use]
    pub fn new(max_age_s: f32, period_s: f32) -> Self {
        let () = Self::COUNT;
        Self {
            max_age_us: (max_age_s * 1e6 + 0.5) as u32,
            gain: if period_s > 0.0 { period_s / (DEVIATION_S + period_s) } else { 0.0 },
            deviation: [(Vector::ZERO, Vector::ZERO); N],
        }
    }

    /// One tick; `None` when no sensor counts.
    #[inline]
    pub fn step(&mut self, samples: &[ImuSample; N]) -> Option<Voted> {
        let max_age_us = self.max_age_us;
        let samples = samples.map(|s| (s.age_us, s.rate_rad_s(), s.specific_force_m_s2()));
        // False for NaN.
        let counts = |(age_us, rate, force): &(u32, Vector<Body>, Vector<Body>)| {
            *age_us <= max_age_us
                && rate.norm_squared() < GYRO_MAX_SQUARED
                && force.norm_squared() < ACCEL_MAX_SQUARED
        };
        if N == 1 {
            let &(_, gyro_rad_s, accel_m_s2) = samples.first().filter(|s| counts(s))?;
            return Some(Voted { gyro_rad_s, accel_m_s2, usable: 1 });
        }
        let mut rates = Ballot::default();
        let mut forces = Ballot::default();
        for (sample, (rate_offset, force_offset)) in samples.iter().zip(&self.deviation) {
            if counts(sample) {
                rates.cast(sample.1 - *rate_offset);
                forces.cast(sample.2 - *force_offset);
            }
        }
        if rates.count == 0 {
            return None;
        }
        let voted = Voted { gyro_rad_s: rates.result(), accel_m_s2: forces.result(), usable: rates.count };
        for (sample, (rate_offset, force_offset)) in samples.iter().zip(&mut self.deviation) {
            // A sensor on its own has nothing to deviate from.
            if voted.usable > 1 && counts(sample) {
                let rate = sample.1 - voted.gyro_rad_s - *rate_offset;
                let force = sample.2 - voted.accel_m_s2 - *force_offset;
                *rate_offset = limited(*rate_offset + rate * self.gain, RATE_OFFSET_MAX);
                *force_offset = limited(*force_offset + force * self.gain, FORCE_OFFSET_MAX);
            }
        }
        Some(voted)
    }
}

fn limited(v: Vector<Body>, limit: f32) -> Vector<Body> {
    Vector::new(
        saturate_symmetric(v.x(), limit),
        saturate_symmetric(v.y(), limit),
        saturate_symmetric(v.z(), limit),
    )
}

/// Up to three votes.
#[derive(Default)]
struct Ballot {
    first: Vector<Body>,
    second: Vector<Body>,
    third: Vector<Body>,
    count: u8,
}

impl Ballot {
    fn cast(&mut self, v: Vector<Body>) {
        match self.count {
            0 => self.first = v,
            1 => self.second = v,
            _ => self.third = v,
        }
        self.count = self.count.saturating_add(1);
    }

    fn result(&self) -> Vector<Body> {
        let (a, b, c) = (self.first, self.second, self.third);
        match self.count {
            0 | 1 => a,
            2 => (a + b) * 0.5,
            _ => Vector::new(
                middle(a.x(), b.x(), c.x()),
                middle(a.y(), b.y(), c.y()),
                middle(a.z(), b.z(), c.z()),
            ),
        }
    }
}

fn middle(a: f32, b: f32, c: f32) -> f32 {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    if c < low {
        low
    } else if c > high {
        high
    } else {
        c
    }
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
            assert!(voted.gyro_rad_s.x().abs() < 0.05);
        }
    }

    #[test]
    fn losing_a_sensor_with_an_offset_makes_no_step() {
        let jump = |seconds: u32| {
            let mut vote = ImuVote::<2>::new(5e-3, 1e-3);
            let mut before = 0.0;
            for _ in 0..seconds * 1000 + 1 {
                before = vote.step(&[sample(0.02, 0), sample(-0.02, 0)]).unwrap().gyro_rad_s.x();
            }
            let after = vote.step(&[sample(0.02, 5001), sample(-0.02, 0)]).unwrap();
            assert_eq!(after.usable, 1);
            (after.gyro_rad_s.x() - before).abs()
        };
        assert!(jump(60) < 1e-3 && jump(0) > 0.019);
    }

    #[test]
    fn with_none_left_there_is_no_result() {
        let mut one = ImuVote::<1>::new(5e-3, 1e-3);
        assert!((one.step(&[sample(0.5, 0)]).unwrap().gyro_rad_s.x() - 0.5).abs() < 1e-6);
        assert_eq!(one.step(&[sample(f32::NAN, 0)]), None);
        let mut two = ImuVote::<2>::new(5e-3, 1e-3);
        assert_eq!(two.step(&[sample(0.1, 5001), sample(f32::INFINITY, 0)]), None);
        assert_eq!(two.step(&[sample(0.1, 0), sample(0.1, 0)]).unwrap().usable, 2);
    }
}
