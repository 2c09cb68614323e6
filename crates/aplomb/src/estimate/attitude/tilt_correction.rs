//! The tilt correction: separation of a tilt innovation into an attitude error and an acceleration. The
//! thresholds and times were tuned with [`super::Config::RECOMMENDED`] on the same recordings and simulated
//! legs; no published source.

use super::{AttitudeFilter, BIAS_INNOVATION_SQUARED, SETTLED_TILT_LIMIT_RAD};
use crate::math::Math;

/// Time constant in s with which the limit closes, opens, and opens at a gross innovation.
const CLOSING_S: f32 = 1.0;
const OPENING_S: f32 = 100.0;
const GROSS_OPENING_S: f32 = 2.0;
/// An innovation beyond this (sine of about 37 deg), squared, is gross.
const GROSS_SQUARED: f32 = 0.36;
/// An innovation beyond this, squared (8 deg), is a tilt error if the average's length exceeds that of
/// gravity by less than this share of the excess that a horizontal acceleration would cause.
const EXPLAINED_SQUARED: f32 = 0.02;
const EXPLAINED_SHARE: f32 = 0.05;
/// Time in s for which this must hold, longer than the averaged force of a changing acceleration meets it.
const EXPLAINED_S: f32 = 1.2;
/// While it is corrected, a larger share of the length may differ, and the correction ends below 1 deg,
/// squared.
const CORRECTING_SHARE: f32 = 0.5;
const CORRECTED_SQUARED: f32 = 3e-4;
/// Time constant in s with which such an error is corrected.
const CORRECTION_S: f32 = 0.5;

/// The tilt correction of one tick.
pub(super) struct TiltCorrection {
    /// The part of the innovation that corrects the attitude: rotation about north and east in rad.
    pub(super) innovation: [f32; 2],
    /// Time constant of the correction in s.
    pub(super) time_constant_s: f32,
    /// The innovation is so large that the attitude may be arbitrary.
    pub(super) is_gross: bool,
    /// The innovation is small enough to be due to the gyro bias.
    pub(super) corrects_bias: bool,
}

impl<M: Math> AttitudeFilter<M> {
    /// Limits the innovation, adapts the limit, and separates an attitude error from an acceleration. An
    /// innovation that is `confirmed` by GNSS has no limit.
    pub(super) fn tilt_correction(&mut self, time_constant_s: f32, confirmed: bool) -> TiltCorrection {
        let (dt, filter) = (self.period_s, &mut self.filter);
        let [x, y, z] = filter.average;
        let squared = x * x + y * y;
        let limit_squared = filter.tilt_limit_rad * filter.tilt_limit_rad;
        // `z` is below 1 where the average is short, as after a large error, and below 0 upside down: the
        // threshold is then lower.
        let doubtful = squared > limit_squared * z || filter.explained_s > 0.0;

        let lengthened = squared + z * z - 1.0;
        let correcting = filter.explained_s > EXPLAINED_S;
        let explained = squared > EXPLAINED_SQUARED && lengthened < EXPLAINED_SHARE * squared;
        let still_correcting =
            correcting && squared > CORRECTED_SQUARED && lengthened < CORRECTING_SHARE * squared;
        if doubtful && explained {
            filter.explained_s += dt;
        } else if !(doubtful && still_correcting) {
            filter.explained_s = 0.0;
        }
        let is_wrong = doubtful && correcting && !confirmed;
        let is_gross = is_wrong || doubtful && (squared > GROSS_SQUARED || z < 0.0);

        let mut share = 1.0;
        if squared > limit_squared && doubtful && !confirmed {
            share = filter.tilt_limit_rad / M::sqrt(squared);
            let opening_s = if is_gross { GROSS_OPENING_S } else { OPENING_S };
            filter.tilt_limit_rad = (filter.tilt_limit_rad * (1.0 + dt / opening_s)).min(1.0);
        } else {
            filter.tilt_limit_rad += (SETTLED_TILT_LIMIT_RAD - filter.tilt_limit_rad) * (dt / CLOSING_S);
        }
        if is_wrong {
            // The average rotates with the attitude, so that the correction ends where the error does.
            filter.tilt_time_constant_s = CORRECTION_S;
            let left = 1.0 - share * (dt / CORRECTION_S);
            filter.average = [x * left, y * left, z];
        }
        TiltCorrection {
            innovation: [x * share, y * share],
            time_constant_s: if is_wrong { CORRECTION_S } else { time_constant_s },
            is_gross,
            corrects_bias: squared < BIAS_INNOVATION_SQUARED && !is_gross,
        }
    }
}
