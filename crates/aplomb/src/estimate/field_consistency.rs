//! Consistency of the magnetic field with a slowly averaged reference: the weight of a magnetic sample.

use crate::math::saturate;

/// Relative innovation up to which a sample has full weight, and from which it has none. This and the times
/// below were tuned on the recordings of [`super::attitude::Config::RECOMMENDED`]; no published source.
const FULL_WEIGHT: f32 = 0.05;
const NO_WEIGHT: f32 = 0.20;
/// Both limits are multiplied by 1 + this times `settling`: the reference is in world axes, so it has the
/// error of the attitude.
const SETTLING_SHARE: f32 = 4.0;
/// Time constants in s: of the reference, of the candidate for a new reference.
const REFERENCE_S: f32 = 10.0;
const CANDIDATE_S: f32 = 5.0;
/// A field that has been steady for this long in s becomes the reference.
const STEADY_S: f32 = 20.0;
/// After this time in s without an accepted sample a sample has a small weight, so that rejection is not
/// permanent.
const REJECTED_S: f32 = 60.0;
/// That weight.
const RETURNING_WEIGHT: f32 = 0.25;

/// Weights magnetic samples by the innovation of their horizontal and down component relative to a
/// slowly averaged reference.
///
/// A field that differs but stays steady for 20 s becomes the reference, so a wrong start does not cause
/// permanent rejection; after 60 s without an accepted sample the weight is 0.25 again.
///
/// ```
/// use aplomb::estimate::FieldConsistency;
/// let mut field = FieldConsistency::new();
/// let weights: Vec<f32> = [20.0, 20.0, 30.0].map(|north_ut| field.step(north_ut, 2.0 * north_ut, 0.02, 0.0)).into();
/// assert_eq!(weights, [1.0, 1.0, 0.0]);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FieldConsistency {
    state: FieldConsistencyState,
}

/// State of a [`FieldConsistency`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct FieldConsistencyState {
    /// Horizontal and down component of reference and candidate; `None` before the first sample.
    fields: Option<Fields>,
    age_s: f32,
    steady_s: f32,
    rejected_s: f32,
}

#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Fields {
    reference: (f32, f32),
    candidate: (f32, f32),
}

impl FieldConsistency {
    /// Without a reference: the first sample becomes it.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Weight 0 to 1 of a sample with the given horizontal and down component, in any unit, `interval_s`
    /// after the one before. `settling` goes from 1 to 0 while the attitude settles.
    pub fn step(&mut self, horizontal: f32, down: f32, interval_s: f32, settling: f32) -> f32 {
        let state = &mut self.state;
        let sample = (horizontal, down);
        let fields = state.fields.get_or_insert(Fields { reference: sample, candidate: sample });
        state.age_s += interval_s;
        approach(&mut fields.candidate, sample, interval_s / CANDIDATE_S);
        let is_steady = innovation_squared(sample, fields.candidate) < NO_WEIGHT * NO_WEIGHT;
        state.steady_s = if is_steady { state.steady_s + interval_s } else { 0.0 };
        if state.steady_s > STEADY_S && state.rejected_s > STEADY_S {
            fields.reference = fields.candidate;
            state.rejected_s = 0.0;
        }
        let wider = 1.0 + SETTLING_SHARE * settling;
        let innovation_squared = innovation_squared(sample, fields.reference) / (wider * wider);
        let (full, none) = (FULL_WEIGHT * FULL_WEIGHT, NO_WEIGHT * NO_WEIGHT);
        let weight = saturate((none - innovation_squared) / (none - full), 0.0, 1.0);
        if weight > 0.0 {
            state.rejected_s = 0.0;
            // Faster at first, while the tilt settles.
            let time_s = if state.age_s < REFERENCE_S { 0.5 * state.age_s } else { REFERENCE_S };
            approach(&mut fields.reference, sample, weight * interval_s / (time_s + interval_s));
            weight
        } else {
            state.rejected_s += interval_s;
            if state.rejected_s > REJECTED_S { RETURNING_WEIGHT } else { 0.0 }
        }
    }

    /// Initialises the state: the next sample becomes the reference.
    pub fn reset(&mut self) {
        *self = Self::new();
    }

    /// The state, for example to save it.
    #[must_use]
    pub const fn state(&self) -> FieldConsistencyState {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: FieldConsistencyState) {
        self.state = state;
    }
}

/// Square of the distance of `sample` from `reference`, relative to the length of the reference.
fn innovation_squared(sample: (f32, f32), reference: (f32, f32)) -> f32 {
    let (x, y) = (sample.0 - reference.0, sample.1 - reference.1);
    (x * x + y * y) / (reference.0 * reference.0 + reference.1 * reference.1)
}

fn approach(value: &mut (f32, f32), target: (f32, f32), share: f32) {
    let share = saturate(share, 0.0, 1.0);
    value.0 += (target.0 - value.0) * share;
    value.1 += (target.1 - value.1) * share;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds until a field is accepted after a reference of 1.5 times its strength.
    fn accepted_after_s(settling: f32) -> f32 {
        let mut field = FieldConsistency::new();
        (0..100).for_each(|_| {
            field.step(30.0, 60.0, 0.02, settling);
        });
        let waited = (0..5000).take_while(|_| field.step(20.0, 40.0, 0.02, settling) < 0.9).count();
        waited as f32 * 0.02
    }

    #[test]
    fn first_field_is_the_reference_only_of_a_settled_attitude() {
        assert!(accepted_after_s(1.0) < 0.1, "{}", accepted_after_s(1.0));
        let settled = accepted_after_s(0.0);
        assert!((15.0..30.0).contains(&settled), "{settled}");
    }

    #[test]
    fn weight_falls_from_one_to_zero_with_the_innovation() {
        let weight_at = |share: f32| {
            let mut field = FieldConsistency::new();
            (0..2000).for_each(|_| {
                field.step(20.0, 40.0, 0.02, 0.0);
            });
            field.step(20.0 * share, 40.0 * share, 0.02, 0.0)
        };
        assert_eq!((weight_at(1.04), weight_at(1.25), weight_at(0.75)), (1.0, 0.0, 0.0));
        // (0.2^2 - 0.1^2)/(0.2^2 - 0.05^2) = 0.03/0.0375.
        assert!((weight_at(1.1) - 0.8).abs() < 0.01, "{}", weight_at(1.1));
    }

    #[test]
    fn unsteady_disturbed_field_has_a_quarter_of_its_weight_after_a_minute() {
        let mut field = FieldConsistency::new();
        (0..2000).for_each(|_| {
            field.step(20.0, 40.0, 0.02, 0.0);
        });
        // 1.5 and 3 times the reference in turn: 33 % off their mean, so never steady.
        let mut weight_after = |samples: u32| {
            let weights = (0..samples).map(|k| {
                let share = if k % 2 == 0 { 1.5 } else { 3.0 };
                field.step(20.0 * share, 40.0 * share, 0.02, 0.0)
            });
            weights.last().unwrap()
        };
        assert_eq!((weight_after(2900), weight_after(200)), (0.0, 0.25));
    }
}
