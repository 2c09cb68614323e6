//! Generic blade: chord and twist from the designation, and section coefficients.
//!
//! The twist is that of constant pitch, `atan(p/(2 pi r))`. Chord and section are one set of coefficients for
//! all propellers. They were fitted by an evolution strategy to 456 static measurements of CT and CP on 27
//! propellers of 7 to 11 in and 177 measurements of CT in axial flow (UIUC Propeller Database; Brandt and
//! Selig 2011, AIAA 2011-1255; Deters, Ananda and Selig 2014, AIAA 2014-2151), for small mean absolute errors
//! of all three. They describe an average blade. The lift slope over Reynolds number and the drag are high,
//! as usual for sections at 2e4 to 1e5. `tests/validate_propeller.rs` prints and bounds the errors.
//!
//! Cross-validation (`cross_validation.rs` computes and prints it): mean errors of CT and CP in percent of
//! each family when it is left out of the fit, in brackets when it is included: A 17, 17 (14, 15); B 9, 10
//! (7, 10); C 16, 15 (15, 14); D 3, 19 (3, 15); E 10, 17 (10, 15); F 21, 23 (11, 11); G 6, 6 (5, 5); H 5, 10
//! (5, 9). Over all rows 12, 14; a constant fitted in the same way has 12, 18. Family F, a fifth of the rows
//! and the lowest thrust, is not predicted by the others.

use super::section::Section;
use crate::error::{ConfigError, Reason, fail, within};
use core::f64::consts::PI;

/// Designation of a propeller, and its visible properties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Designation {
    /// Diameter (m), 0.02 to 2.
    pub diameter_m: f64,
    /// Pitch: advance per revolution without slip (m), 0.2 to 1.5 diameters.
    pub pitch_m: f64,
    /// Number of blades, 1 to 8.
    pub blades: u32,
    /// Blade width.
    pub planform: Planform,
}

/// Blade width.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Planform {
    /// Unknown.
    #[default]
    Unknown,
    /// Wide blades, as for slow flight.
    Wide,
    /// Narrow blades.
    Thin,
}

/// Diameter, and pitch over diameter, of the propeller whose largest chord is [`Generic::chord`].
const CHORD_DIAMETER_M: f64 = 9.0 * 0.0254;
const CHORD_PITCH: f64 = 0.55;
/// Ratio of the chord of a known planform to that of an unknown one.
const WIDE: f64 = 1.18;
const THIN: f64 = 0.96;
/// Position of the largest chord over the radius, and chord at hub and tip over the largest chord.
const WIDEST: f64 = 0.36;
/// Radius of the blade root over that of the tip.
pub(super) const HUB: f64 = 0.15;
const AT_HUB: f64 = 0.46;
const AT_TIP: f64 = 0.24;
/// One degree (rad).
const DEGREE: f64 = PI / 180.0;
/// Fitted coefficients.
#[derive(Clone, Copy, Debug)]
pub(super) struct Generic {
    /// Largest chord over the tip radius at 9 in and a pitch of 0.55 diameters, and its exponents in both.
    pub(super) chord: f64,
    pub(super) chord_diameter_power: f64,
    pub(super) chord_pitch_power: f64,
    pub(super) section: Section,
}

pub(super) const GENERIC: Generic =
    Generic { chord: 0.26, chord_diameter_power: 0.40, chord_pitch_power: 0.32, section: SECTION };

const SECTION: Section = Section {
    zero_lift_rad: -4.69 * DEGREE,
    slope: 5.18,
    slope_power: 0.119,
    largest_lift: 1.19,
    largest_lift_power: 0.10,
    stall_width_rad: 2.1 * DEGREE,
    drag: 0.0291,
    drag_power: 0.48,
    drag_rise: 0.041,
    least_drag_lift: 0.9,
    plate_lift: 2.04,
    plate_drag: 0.91,
};

impl Designation {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        within("rotor.designation.diameter_m", self.diameter_m, 0.02, 2.0)?;
        within("rotor.designation.pitch_m", self.pitch_m, 0.2 * self.diameter_m, 1.5 * self.diameter_m)?;
        if self.blades < 1 || self.blades > 8 {
            return fail("rotor.designation.blades", Reason::OutOfRange(1.0, 8.0));
        }
        Ok(())
    }
}

impl Designation {
    /// Chord over the radius at `x` radii: two parabolas that join at the largest chord.
    pub(super) fn chord(&self, generic: &Generic, x: f64) -> f64 {
        let (off, edge) = if x < WIDEST {
            ((WIDEST - x) / (WIDEST - HUB), AT_HUB)
        } else {
            ((x - WIDEST) / (1.0 - WIDEST), AT_TIP)
        };
        self.widest(generic) * (1.0 - (1.0 - edge) * off * off)
    }

    fn widest(&self, generic: &Generic) -> f64 {
        let share = match self.planform {
            Planform::Unknown => 1.0,
            Planform::Wide => WIDE,
            Planform::Thin => THIN,
        };
        let pitch = self.pitch_m / self.diameter_m / CHORD_PITCH;
        let diameter = self.diameter_m / CHORD_DIAMETER_M;
        let powers =
            libm::pow(pitch, generic.chord_pitch_power) * libm::pow(diameter, generic.chord_diameter_power);
        share * generic.chord * powers
    }
}
