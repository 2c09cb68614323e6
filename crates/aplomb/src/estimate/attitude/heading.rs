//! The heading's aids, field and course: each asks for a turn about the vertical, and teaches the offset by it.

use super::{AttitudeFilter, Course, grown};
use crate::frames::{Attitude, Body, Vector, World};
use crate::math::{Math, saturate_symmetric};

/// A heading error teaches the offset as if it were not larger than this in rad: a first heading may be far off.
const TEACHING_LIMIT_RAD: f32 = 0.05;
/// Changes of velocity beyond this, squared, are none.
const COURSE_MAX_SQUARED: f32 = 1e4;
/// A heading aid older than this in s counts as this old.
const AID_GAP_S: f32 = 0.2;

impl<M: Math> AttitudeFilter<M> {
    /// The turn about the vertical that the field asks for; it also teaches the offset.
    #[inline(never)]
    pub(super) fn heading_turn(
        &mut self,
        field: Vector<World>,
        down: Vector<Body>,
        resting: bool,
    ) -> Vector<Body> {
        let gap_s = self.gap_s(self.field_tick);
        self.field_tick = self.ticks;
        let (n, e) = (self.declination.north(), self.declination.east());
        let (north, east) = (field.x() * n + field.y() * e, field.y() * n - field.x() * e);
        let horizontal_squared = north * north + east * east;
        if horizontal_squared < 1e-12 {
            return Vector::ZERO;
        }
        let per_horizontal = 1.0 / M::sqrt(horizontal_squared);
        let (cosine, sine) = (north * per_horizontal, east * per_horizontal);
        if !self.heading_valid {
            self.heading_valid = true;
            self.turn_about_down(cosine, -sine);
            return Vector::ZERO;
        }
        self.heading_time_s = grown(self.heading_time_s, gap_s, self.config.heading_time_s);
        let young = self.config.offset_start_s / self.offset_time_s;
        let weight = self.field.weight(horizontal_squared * per_horizontal, field.z(), gap_s, young);
        let error = weight
            * if cosine > 0.0 {
                -sine
            } else if sine > 0.0 {
                -1.0
            } else {
                1.0
            };
        self.turn_by_heading(error, gap_s, !resting, down)
    }

    /// The turn about the vertical that a change of velocity asks for; it also teaches the offset.
    #[inline(never)]
    pub(super) fn course_turn(&mut self, course: &Course, down: Vector<Body>) -> Vector<Body> {
        let gap_s = self.gap_s(self.course_tick);
        self.course_tick = self.ticks;
        let Course { along, across, squares } = *course;
        if squares.is_nan() || squares > COURSE_MAX_SQUARED {
            return Vector::ZERO;
        }
        if !self.heading_valid {
            let length_squared = along * along + across * across;
            if squares > Course::NOISE_SQUARED && length_squared > 0.25 * squares * squares {
                self.heading_valid = true;
                let per_length = 1.0 / M::sqrt(length_squared);
                self.turn_about_down(along * per_length, across * per_length);
            }
            return Vector::ZERO;
        }
        let error = across / (squares + Course::NOISE_SQUARED);
        self.turn_by_heading(error, gap_s, true, down)
    }

    /// The turn about the vertical by a share of a heading error; it also teaches the offset.
    #[inline(never)]
    fn turn_by_heading(&mut self, error: f32, gap_s: f32, teach: bool, down: Vector<Body>) -> Vector<Body> {
        if teach {
            let time_s = self.config.heading_time_s
                * self.config.heading_offset_time_s
                * (self.offset_time_s / self.config.offset_time_s);
            let teaching = saturate_symmetric(error, TEACHING_LIMIT_RAD);
            let settled = self.heading_time_s / self.config.heading_time_s;
            self.learn_offset(down * (settled * teaching * gap_s / time_s));
        }
        let share = gap_s / self.heading_time_s;
        down * (error * if share < 1.0 { share } else { 1.0 })
    }

    /// Time in s since the tick `then`, at most the longest gap.
    fn gap_s(&self, then: u16) -> f32 {
        grown(f32::from(self.ticks.wrapping_sub(then)) * self.period_s, 0.0, AID_GAP_S)
    }

    /// Turns the attitude about the world's down axis by the angle of the given cosine and sine.
    #[inline(never)]
    pub(super) fn turn_about_down(&mut self, cosine: f32, sine: f32) {
        let (c, s) = if cosine > -0.999 { (1.0 + cosine, sine) } else { (0.0, 1.0) };
        let [w, x, y, z] = self.attitude.wxyz();
        let turned = [c * w - s * z, c * x - s * y, c * y + s * x, c * z + s * w];
        self.attitude = Attitude::from_wxyz::<M>(turned).unwrap_or(self.attitude);
    }
}
