//! The heading corrections, by magnetic field and by changes of velocity: each rotates the attitude about the
//! vertical and corrects the gyro bias.

use super::{AttitudeFilter, Corrections, FIELD_MAX_SQUARED};
use crate::estimate::VelocityChange;
use crate::frames::{Attitude, Body, Vector, World};
use crate::math::{Math, saturate_symmetric};

/// Limit in rad (3 deg) of the heading error that corrects the bias: larger errors are those of the initial
/// heading or of a disturbed field, not of the bias.
const MAX_BIAS_ERROR_RAD: f32 = 0.05;
/// A horizontal field below 1e-6, squared, has no direction, in whatever unit.
const MIN_HORIZONTAL_SQUARED: f32 = 1e-12;

impl<M: Math> AttitudeFilter<M> {
    /// The rotation vector in rad by which the corrections of this tick change the heading.
    pub(super) fn heading_correction(&mut self, corrections: &Corrections, stationary: bool) -> Vector<Body> {
        // Both refer to the attitude of this tick's samples.
        let attitude = self.filter.output.attitude;
        let mut rotation_rad = 0.0;
        // False for NaN.
        if let Some(field) = corrections.magnetic_field.filter(|m| m.norm_squared() < FIELD_MAX_SQUARED) {
            rotation_rad += self.by_field(attitude.to_world(field), stationary);
        }
        if let Some(change) = &corrections.velocity_change {
            rotation_rad += self.by_velocity_change(change);
        }
        attitude.to_body(Vector::new(0.0, 0.0, rotation_rad))
    }

    fn by_field(&mut self, field: Vector<World>, stationary: bool) -> f32 {
        let interval_s = core::mem::take(&mut self.filter.since_field_s);
        let (n, e) = (self.declination.north(), self.declination.east());
        let (north, east) = (field.x() * n + field.y() * e, field.y() * n - field.x() * e);
        let horizontal = M::sqrt(north * north + east * east);
        if horizontal * horizontal < MIN_HORIZONTAL_SQUARED {
            return 0.0;
        }
        if !self.filter.output.heading_valid {
            self.initialise_heading(north, -east);
            return 0.0;
        }
        let filter = &mut self.filter;
        filter.heading_time_constant_s =
            (filter.heading_time_constant_s + interval_s).min(self.config.heading_time_constant_s);
        let settling = self.config.initial_bias_time_constant_s / filter.bias_time_constant_s;
        let weight = self.field.step(horizontal, field.z(), interval_s, settling);
        // The sine of the error, beyond 90 deg its largest value.
        let error_rad = if north > 0.0 { -east / horizontal } else { -1f32.copysign(east) };
        self.correct_heading(weight * error_rad, interval_s, !stationary)
    }

    fn by_velocity_change(&mut self, change: &VelocityChange) -> f32 {
        let interval_s = core::mem::take(&mut self.filter.since_velocity_change_s);
        if !self.filter.output.heading_valid {
            if let Some((along, across)) = change.heading_direction() {
                self.initialise_heading(along, across);
            }
            return 0.0;
        }
        change.heading_error_rad().map_or(0.0, |error_rad| self.correct_heading(error_rad, interval_s, true))
    }

    /// The rotation about the vertical in rad by a share of a heading error; it also corrects the bias.
    fn correct_heading(&mut self, error_rad: f32, interval_s: f32, corrects_bias: bool) -> f32 {
        let (config, filter) = (&self.config, &self.filter);
        if corrects_bias {
            let settled = filter.heading_time_constant_s / config.heading_time_constant_s;
            let product_s2 = config.heading_time_constant_s
                * config.heading_bias_time_constant_s
                * (filter.bias_time_constant_s / config.bias_time_constant_s);
            let error_rad = saturate_symmetric(error_rad, MAX_BIAS_ERROR_RAD);
            let change = settled * error_rad * interval_s / product_s2;
            let down = filter.output.attitude.to_body(Vector::new(0.0, 0.0, change));
            self.correct_bias(down);
        }
        error_rad * (interval_s / self.filter.heading_time_constant_s).min(1.0)
    }

    /// Rotates the attitude about the world's down axis by the angle of the direction (cosine, sine), of any
    /// length.
    pub(super) fn initialise_heading(&mut self, cosine: f32, sine: f32) {
        let length = M::sqrt(cosine * cosine + sine * sine);
        // Half the angle, by the sum of the direction and that of no rotation.
        let (c, s) = if cosine > -0.999 * length { (length + cosine, sine) } else { (0.0, 1.0) };
        let [w, x, y, z] = self.filter.output.attitude.wxyz();
        let rotated = [c * w - s * z, c * x - s * y, c * y + s * x, c * z + s * w];
        let output = &mut self.filter.output;
        output.attitude = Attitude::from_wxyz::<M>(rotated).unwrap_or(output.attitude);
        output.heading_valid = true;
    }
}
