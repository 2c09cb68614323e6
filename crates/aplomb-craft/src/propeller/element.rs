//! Blade-element/momentum theory for one propeller in axial flow.
//!
//! On each annulus the thrust of the blade elements, `1/2 rho W^2 B c cn dr`, equals the momentum flux
//! `4 pi rho r F s^2 dr`, with Prandtl's tip loss F and the hover value s of the induced velocity under that
//! loading. The induced velocity in any axial flow follows from s by [`super::momentum`]. The swirl is that
//! of a lightly loaded wake, whose induced velocity is normal to the flow: `t = v (V + v)/(w r)` (Leishman,
//! Principles of Helicopter Aerodynamics, 2nd ed. 2006, ch. 3; Glauert 1935, in Durand, Aerodynamic Theory
//! IV, div. L). The unknown s is found by a few bisections and then by the Illinois variant of false position
//! (Dowell and Jarratt 1971, BIT 11:168-174, from memory).

use super::blade::{Designation, Generic, HUB};
use super::momentum::induced_edgewise_m_s;
use super::section::Section;
use core::f64::consts::PI;

/// Annuli between hub and tip.
pub(super) const STATIONS: usize = 12;
/// Initial bisections, which select one solution if there are several.
const HALVINGS: u32 = 5;
/// Relative tolerance of s, and the maximum number of iterations; about ten are needed.
const LEFT: f64 = 1e-8;
const TRIALS: u32 = 40;

/// Centre of one annulus.
#[derive(Clone, Copy, Debug)]
struct Station {
    /// Radius over the tip radius.
    x: f64,
    /// Chord over the tip radius.
    chord: f64,
    twist_rad: f64,
}

/// A blade divided into annuli.
#[derive(Clone, Debug)]
pub(super) struct Blade {
    radius_m: f64,
    blades: f64,
    width: f64,
    stations: [Station; STATIONS],
    section: Section,
}

/// Flow at the blades, relative to the speed of the Reynolds number.
#[derive(Clone, Copy, Debug)]
pub(super) struct Flow {
    /// Axial, positive in a climb.
    pub(super) axial: f64,
    /// Edgewise.
    pub(super) edgewise: f64,
    /// Tip speed, negative for reversed rotation.
    pub(super) tip: f64,
    /// Reference speed (m/s).
    pub(super) speed_m_s: f64,
    /// Kinematic viscosity (m2/s).
    pub(super) viscosity_m2_s: f64,
}

impl Blade {
    pub(super) fn new(designation: &Designation, generic: &Generic) -> Self {
        let width = (1.0 - HUB) / STATIONS as f64;
        let radius_m = 0.5 * designation.diameter_m;
        Blade {
            radius_m,
            blades: f64::from(designation.blades),
            width,
            stations: core::array::from_fn(|i| {
                let x = HUB + (i as f64 + 0.5) * width;
                Station {
                    x,
                    chord: designation.chord(generic, x),
                    twist_rad: libm::atan(designation.pitch_m / (2.0 * PI * x * radius_m)),
                }
            }),
            section: generic.section,
        }
    }

    /// Thrust over `rho U^2 R^2` and torque over `rho U^2 R^3`, U the reference speed.
    pub(super) fn load(&self, flow: &Flow) -> (f64, f64) {
        self.stations.iter().fold((0.0, 0.0), |(thrust, torque), station| {
            let (along, around) = self.annulus(station, flow);
            let area = 0.5 * self.blades * station.chord * self.width;
            (thrust + area * along, torque + area * station.x * around)
        })
    }

    /// Force coefficients times the squared local speed, axial and against the rotation.
    fn annulus(&self, station: &Station, flow: &Flow) -> (f64, f64) {
        // Ends of the bracket with their residuals; none yet.
        let ((mut low, mut over), (mut high, mut under)) = ((-1.0, 0.0), (1.0, 0.0));
        let (mut last, mut was_over) = (f64::INFINITY, None);
        let mut forces = (0.0, 0.0);
        for trial in 0..TRIALS {
            let known = trial >= HALVINGS && over > 0.0 && under < 0.0;
            let s: f64 = if known { low + (high - low) * over / (over - under) } else { 0.5 * (low + high) };
            let surplus;
            (surplus, forces) = self.surplus(station, flow, s);
            // An end that is kept twice counts for half.
            let is_over = surplus > 0.0;
            let stays = was_over == Some(is_over);
            if is_over {
                (low, over) = (s, surplus);
                under *= if stays { 0.5 } else { 1.0 };
            } else {
                (high, under) = (s, surplus);
                over *= if stays { 0.5 } else { 1.0 };
            }
            if (s - last).abs() < LEFT {
                break;
            }
            (last, was_over) = (s, Some(is_over));
        }
        forces
    }

    /// Loading of the blade elements less the momentum flux of `s`, and the forces.
    fn surplus(&self, station: &Station, flow: &Flow, s: f64) -> (f64, (f64, f64)) {
        // Negative thrust in a climb equals positive thrust in a descent.
        let sign = if s < 0.0 { -1.0 } else { 1.0 };
        let induced = sign * induced_edgewise_m_s(sign * flow.axial, flow.edgewise, s.abs());
        let through = flow.axial + induced;
        let turning = station.x * flow.tip;
        let largest = 0.3 * turning.abs();
        let swirl = if largest > 0.0 { (induced * through / turning).clamp(-largest, largest) } else { 0.0 };
        // Over a revolution the blade sees the edgewise flow from all sides: half of its square adds to the
        // mean square.
        let plain = turning - swirl;
        let around =
            libm::copysign(libm::sqrt(plain * plain + 0.5 * flow.edgewise * flow.edgewise), flow.tip);
        let squared = through * through + around * around;
        let speed = libm::sqrt(squared);
        let chord_m = station.chord * self.radius_m;
        let reynolds = speed * flow.speed_m_s * chord_m / flow.viscosity_m2_s;
        let (lift, drag) = self.section.polar(station.twist_rad - libm::atan2(through, around), reynolds);
        // cn W^2 and ct W^2, from W cos and W sin of the inflow angle.
        let forces = (speed * (lift * around - drag * through), speed * (lift * through + drag * around));
        let loading = self.blades * station.chord * forces.0 / (2.0 * PI);
        let slope = (through.abs() / speed.max(1e-12)).max(1e-3);
        let edge = libm::exp(-0.5 * self.blades * (1.0 - station.x) / (station.x * slope));
        let loss = (2.0 / PI) * libm::acos(edge);
        (loading - 4.0 * loss * station.x * s * s.abs(), forces)
    }
}
