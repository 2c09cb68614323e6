//! What to make of an average whose horizontal part is beyond the limit: an acceleration or an error.

use super::{AttitudeFilter, CORRECT_TIME_S, about_length, grown};
use crate::math::Math;

/// A horizontal average beyond this (sine of about 37 deg) is a gross error.
const GROSS_SQUARED: f32 = 0.36;
/// Time constants in s of the limit's opening, and of its opening at a gross error.
const LIMIT_OPEN_S: f32 = 100.0;
const LIMIT_OPEN_GROSS_S: f32 = 2.0;
/// A horizontal average beyond this, squared (10 deg), is an error of tilt if its length differs from gravity's by less
/// than this share of what an acceleration along the horizon would make it differ.
const EXPLAINED_SQUARED: f32 = 0.02;
const EXPLAINED_SHARE: f32 = 0.05;
/// It must have lasted for this long in s: what passes through such a state on the way to another has not.
const EXPLAINED_S: f32 = 1.2;
/// Its square when the correction of such an error ends (1 deg).
const CORRECTED_SQUARED: f32 = 3e-4;

/// What is made of an average beyond the limit.
pub(super) struct Doubt {
    /// The share of it that steers.
    pub(super) share: f32,
    /// It is far off, so it teaches no offset.
    pub(super) gross: bool,
    /// The attitude is taken to be wrong.
    pub(super) wrong: bool,
}

impl<M: Math> AttitudeFilter<M> {
    /// What to make of an average whose horizontal part, of squared length `n2`, is beyond the limit: an acceleration or
    /// an error.
    #[inline(never)]
    pub(super) fn doubt(&mut self, n2: f32, aided: bool) -> Doubt {
        let dt = self.period_s;
        let [ux, uy, uz] = self.average;
        let lengthened = n2 + uz * uz - 1.0;
        let correcting = f32::from(self.explained_ticks) * dt > EXPLAINED_S;
        if n2 > EXPLAINED_SQUARED && lengthened < EXPLAINED_SHARE * n2 {
            self.explained_ticks = self.explained_ticks.saturating_add(1);
        } else if !(correcting && n2 > CORRECTED_SQUARED && lengthened < 0.5 * n2) {
            self.explained_ticks = 0;
        }
        let wrong = correcting && !aided;
        let gross = wrong || n2 > GROSS_SQUARED || uz < 0.0;
        let mut share = 1.0;
        // What the receiver has confirmed needs no limit.
        if n2 > self.limit * self.limit && !aided {
            share = self.limit / about_length(ux, uy);
            let open_s = if gross { LIMIT_OPEN_GROSS_S } else { LIMIT_OPEN_S };
            self.limit = grown(self.limit, self.limit * (dt / open_s), 1.0);
        } else {
            self.close_limit();
        }
        if wrong {
            // What is averaged turns with the attitude, so that the correction ends where the error does.
            self.tilt_time_s = CORRECT_TIME_S;
            let turned = 1.0 - share * (dt / CORRECT_TIME_S);
            self.average = [ux * turned, uy * turned, uz];
        }
        Doubt { share, gross, wrong }
    }
}
