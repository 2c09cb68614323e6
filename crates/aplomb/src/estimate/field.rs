//! Is the magnetic field the one that has been here all along?

/// Relative difference from the reference up to which a sample counts in full, and from which it does not count.
const NEAR: f32 = 0.05;
const FAR: f32 = 0.20;
/// Time constants in s: of the reference, of the candidate for a new reference.
const REFERENCE_S: f32 = 20.0;
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

    /// Weight 0 to 1 of a sample with the given horizontal and down component, `gap_s` after the one before.
    pub(crate) fn weight(&mut self, horizontal: f32, down: f32, gap_s: f32) -> f32 {
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
        let far = distance_squared(sample, self.reference);
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
