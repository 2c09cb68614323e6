//! Is the magnetic field the one that has been here all along?

/// Relative difference from the reference up to which a sample counts in full, and from which it does not count.
const NEAR: f32 = 0.05;
const FAR: f32 = 0.20;
/// The reference is learnt through the attitude: while that is still young, both are widened by this share.
const YOUNG_SHARE: f32 = 4.0;
/// Time constants in s: of the reference, of the candidate for a new reference.
const REFERENCE_S: f32 = 10.0;
const CANDIDATE_S: f32 = 5.0;
/// A field that has been steady for this long in s becomes the reference.
const ADOPT_S: f32 = 20.0;
/// After this long in s without an accepted sample some weight returns, so that rejection never lasts for ever.
const PATIENCE_S: f32 = 60.0;
/// The weight that returns.
const IMPATIENT_WEIGHT: f32 = 0.25;

/// Compares strength and dip (as horizontal and down component) with a slowly learnt reference. A field that differs but
/// stays steady is adopted in the end, so a wrong start cannot lock the rejection in.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct FieldCheck {
    reference: (f32, f32),
    candidate: (f32, f32),
    steady_s: f32,
    rejected_s: f32,
    age_s: f32,
}

impl FieldCheck {
    pub(crate) const fn new() -> Self {
        Self { reference: (0.0, 0.0), candidate: (0.0, 0.0), steady_s: 0.0, rejected_s: 0.0, age_s: 0.0 }
    }

    /// Weight 0 to 1 of a sample with the given horizontal and down component, `gap_s` after the one before. `young` goes from
    /// 1 to 0 while the attitude settles.
    pub(crate) fn weight(&mut self, horizontal: f32, down: f32, gap_s: f32, young: f32) -> f32 {
        let sample = (horizontal, down);
        if self.age_s == 0.0 {
            (self.reference, self.candidate) = (sample, sample);
        }
        self.age_s += gap_s;
        approach(&mut self.candidate, sample, gap_s / CANDIDATE_S);
        self.steady_s =
            if distance_squared(sample, self.candidate) < FAR * FAR { self.steady_s + gap_s } else { 0.0 };
        if self.steady_s > ADOPT_S && self.rejected_s > ADOPT_S {
            self.reference = self.candidate;
            self.rejected_s = 0.0;
        }
        let wider = 1.0 + YOUNG_SHARE * young;
        let far = distance_squared(sample, self.reference) / (wider * wider);
        let weight = if far < NEAR * NEAR {
            1.0
        } else if far < FAR * FAR {
            (FAR * FAR - far) * (1.0 / (FAR * FAR - NEAR * NEAR))
        } else {
            0.0
        };
        if weight > 0.0 {
            self.rejected_s = 0.0;
            // Quick at first, while the tilt still settles.
            let time_s = if self.age_s < REFERENCE_S { 0.5 * self.age_s } else { REFERENCE_S };
            approach(&mut self.reference, sample, weight * gap_s / (time_s + gap_s));
            weight
        } else {
            self.rejected_s += gap_s;
            if self.rejected_s > PATIENCE_S { IMPATIENT_WEIGHT } else { 0.0 }
        }
    }
}

/// Square of the distance of `a` from `b`, relative to the length of `b`.
fn distance_squared(a: (f32, f32), b: (f32, f32)) -> f32 {
    let (x, y) = (a.0 - b.0, a.1 - b.1);
    (x * x + y * y) / (b.0 * b.0 + b.1 * b.1)
}

fn approach(value: &mut (f32, f32), target: (f32, f32), share: f32) {
    let share = if share < 1.0 { share } else { 1.0 };
    value.0 += (target.0 - value.0) * share;
    value.1 += (target.1 - value.1) * share;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds until a field is accepted after the reference was learnt from one of 1.5 times its strength.
    fn accepted_after_s(young: f32) -> f32 {
        let mut check = FieldCheck::new();
        (0..100).for_each(|_| {
            check.weight(30.0, 60.0, 0.02, young);
        });
        let waited = (0..5000).take_while(|_| check.weight(20.0, 40.0, 0.02, young) < 0.9).count();
        waited as f32 * 0.02
    }

    #[test]
    fn first_field_binds_only_a_settled_attitude() {
        assert!(accepted_after_s(1.0) < 0.1, "{}", accepted_after_s(1.0));
        let settled = accepted_after_s(0.0);
        assert!((15.0..30.0).contains(&settled), "never for ever: {settled}");
    }

    #[test]
    fn nearby_counts_in_full_far_off_not_at_all() {
        let weight_at = |share: f32| {
            let mut check = FieldCheck::new();
            (0..2000).for_each(|_| {
                check.weight(20.0, 40.0, 0.02, 0.0);
            });
            check.weight(20.0 * share, 40.0 * share, 0.02, 0.0)
        };
        assert_eq!((weight_at(1.04), weight_at(1.25), weight_at(0.75)), (1.0, 0.0, 0.0));
        // (FAR^2 - 0.1^2)/(FAR^2 - NEAR^2) = 0.03/0.0375.
        assert!((weight_at(1.1) - 0.8).abs() < 0.01, "{}", weight_at(1.1));
    }
}
