//! 1-cosine gust, in two published forms.
//!
//! Rise over the length d: `v = (peak/2)(1 - cos(pi x/d))`, x the length of air passed since the arrival.
//! - [`Form::Held`]: the peak is held (MIL-F-8785C 1980, 3.7.1.3).
//! - [`Form::Isolated`]: the gust decays over another d, `0 <= x <= 2 d` (14 CFR 25.341, d the gust gradient
//!   distance).

use crate::error::{ConfigError, finite, not_negative, positive};
use core::f64::consts::PI;

/// Form after the rise.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Form {
    /// The peak is held (MIL-F-8785C).
    #[default]
    Held,
    /// The gust decays again (14 CFR 25.341).
    Isolated,
}

/// A horizontal gust.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gust {
    /// Arrival (s).
    pub at_s: f64,
    /// Peak speed (m/s).
    pub peak_m_s: f64,
    /// Length of the rise (m).
    pub length_m: f64,
    /// Direction it comes from, clockwise from north (deg).
    pub from_deg: f64,
    /// Form after the rise.
    pub form: Form,
}

impl Gust {
    /// Speed (m/s) after `passed_m` of air since the arrival; zero before it.
    ///
    /// ```
    /// use aplomb_craft::gust::{Form, Gust};
    /// let gust = Gust { at_s: 0.0, peak_m_s: 5.0, length_m: 40.0, from_deg: 0.0, form: Form::Held };
    /// assert!((gust.speed_m_s(10.0) - 0.732233).abs() < 1e-6);
    /// ```
    pub fn speed_m_s(&self, passed_m: f64) -> f64 {
        let x = passed_m / self.length_m;
        let end = match self.form {
            Form::Held => 1.0,
            Form::Isolated => 2.0,
        };
        if x > 0.0 { 0.5 * self.peak_m_s * (1.0 - libm::cos(PI * x.min(end))) } else { 0.0 }
    }

    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        not_negative("air.gusts.at_s", self.at_s)?;
        not_negative("air.gusts.peak_m_s", self.peak_m_s)?;
        positive("air.gusts.length_m", self.length_m)?;
        finite("air.gusts.from_deg", self.from_deg)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GUST: Gust = Gust { at_s: 0.0, peak_m_s: 5.0, length_m: 40.0, from_deg: 0.0, form: Form::Held };

    #[test]
    fn validate_one_minus_cosine() {
        // MIL-F-8785C 3.7.1.3 with vm 5 m/s, dm 40 m.
        for (x, speed) in [(10.0, 0.732233), (20.0, 2.5), (30.0, 4.267767), (40.0, 5.0)] {
            assert!((GUST.speed_m_s(x) - speed).abs() < 5e-7, "{x}");
            // The twin: a linear ramp agrees only in the middle and at the end.
            assert_eq!((5.0 * x / 40.0 - speed).abs() > 1e-3, x == 10.0 || x == 30.0);
        }
        assert_eq!(GUST.speed_m_s(-1.0), 0.0);
        assert_eq!(GUST.speed_m_s(500.0), 5.0);
    }

    #[test]
    fn validate_isolated_gust_decays() {
        // 14 CFR 25.341: U = (Uds/2)(1 - cos(pi s/H)) over 0..2H.
        let isolated = Gust { form: Form::Isolated, ..GUST };
        for (x, speed) in [(20.0, 2.5), (40.0, 5.0), (60.0, 2.5), (80.0, 0.0), (500.0, 0.0)] {
            assert!((isolated.speed_m_s(x) - speed).abs() < 1e-12, "{x}");
        }
    }

    #[test]
    fn bad_fields_are_named() {
        for bad in [f64::NAN, f64::INFINITY, -1.0] {
            assert_eq!(Gust { at_s: bad, ..GUST }.check().unwrap_err().field, "air.gusts.at_s");
            assert_eq!(Gust { peak_m_s: bad, ..GUST }.check().unwrap_err().field, "air.gusts.peak_m_s");
            assert_eq!(Gust { length_m: bad, ..GUST }.check().unwrap_err().field, "air.gusts.length_m");
        }
        assert_eq!(Gust { from_deg: f64::NAN, ..GUST }.check().unwrap_err().field, "air.gusts.from_deg");
    }
}
