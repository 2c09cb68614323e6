//! Lift and drag of the generic blade section over the full range of angle of attack and Reynolds number.
//!
//! Attached flow: `cl = k sin(a)`, `cd = cd0 + cd2 (cl - cl1)^2`. Separated flow, as a flat plate:
//! `cl = P sin(a) cos(a)`, `cd = cd0 + D sin^2(a)`. A logistic weight blends them around the stall. `a` is
//! measured from zero lift. k, the largest lift and cd0 are powers of the Reynolds number, clamped to 5e3 to
//! 5e5, the range of small propellers.

use core::f64::consts::PI;

/// Reference Reynolds number of the powers.
const REFERENCE_REYNOLDS: f64 = 1e5;

/// Section coefficients; [`super::blade`] describes their fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Section {
    pub(super) zero_lift_rad: f64,
    pub(super) slope: f64,
    pub(super) slope_power: f64,
    pub(super) largest_lift: f64,
    pub(super) largest_lift_power: f64,
    pub(super) stall_width_rad: f64,
    pub(super) drag: f64,
    pub(super) drag_power: f64,
    pub(super) drag_rise: f64,
    pub(super) least_drag_lift: f64,
    pub(super) plate_lift: f64,
    pub(super) plate_drag: f64,
}

impl Section {
    /// Lift and drag coefficient at the angle of attack from the chord (rad).
    pub(super) fn polar(&self, attack_rad: f64, reynolds: f64) -> (f64, f64) {
        let log = libm::log((reynolds / REFERENCE_REYNOLDS).clamp(0.05, 5.0));
        let mut a = attack_rad - self.zero_lift_rad;
        if a > PI {
            a -= 2.0 * PI;
        } else if a < -PI {
            a += 2.0 * PI;
        }
        let slope = self.slope * libm::exp(self.slope_power * log);
        let stall = self.largest_lift * libm::exp(self.largest_lift_power * log) / slope;
        let beyond = ((a.abs() - stall) / self.stall_width_rad).clamp(-40.0, 40.0);
        let attached = 1.0 / (1.0 + libm::exp(beyond));
        let (s, c) = libm::sincos(a);
        let along = slope * s;
        let lift = attached * along + (1.0 - attached) * self.plate_lift * s * c;
        let off = along - self.least_drag_lift;
        let drag = self.drag * libm::exp(-self.drag_power * log)
            + attached * self.drag_rise * off * off
            + (1.0 - attached) * self.plate_drag * s * s;
        (lift, drag)
    }
}

#[cfg(test)]
mod tests {
    use super::super::blade::GENERIC;

    const SECTION: super::Section = GENERIC.section;

    #[test]
    fn lift_rises_stalls_and_is_periodic() {
        let lift = |degrees: f64| SECTION.polar(degrees.to_radians(), 1e5).0;
        assert!(lift(4.0) > lift(0.0) && lift(0.0) > 0.0);
        assert!(lift(90.0).abs() < 0.3);
        // In reversed flow the lift is positive but lower.
        let zero = SECTION.zero_lift_rad.to_degrees();
        assert!(lift(zero).abs() < 1e-12);
        assert!(lift(zero - 176.0) > 0.05 && lift(zero - 176.0) < lift(zero + 4.0));
        assert!((lift(zero + 179.999_999) - lift(zero - 179.999_999)).abs() < 1e-6);
    }

    #[test]
    fn lower_reynolds_number_has_more_drag_and_less_lift() {
        let (slow, fast) = (SECTION.polar(0.05, 3e4), SECTION.polar(0.05, 1e5));
        assert!(slow.0 < fast.0 && slow.1 > fast.1);
        // Constant outside the range.
        assert_eq!(SECTION.polar(0.05, 1.0), SECTION.polar(0.05, 5e3));
        assert_eq!(SECTION.polar(0.05, 1e9), SECTION.polar(0.05, 5e5));
    }
}
