//! Mounts: constraints of the motion. Free flight is one of them.
//!
//! On a test stand the craft rotates about one axis that is fixed in the craft and in the world:
//! `Jh a = n (tau + r x (F + m g)) - c w`, n the axis, r from the pivot to the centre of mass,
//! `Jh = n J n + m |n x r|^2` (parallel-axis theorem), c the friction of the bearing. All other effects,
//! including ground contact, are as in flight. A taut tether pulls its attachment point towards the anchor
//! with `k e + c e'`, not below zero, e the elongation.

use crate::body::{Body, Slope, Stage, State, Wrench};
use crate::error::{ConfigError, all_finite, not_negative, positive, within};
use glam::{DMat3, DQuat, DVec3};

/// Constraint of the motion.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Mount {
    /// None.
    #[default]
    Free,
    /// Test stand with one free axis, at the position and attitude of the start.
    Stand(Stand),
    /// A tether.
    Tether(Tether),
}

/// Test stand with one free axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stand {
    /// The free axis.
    pub axis: Axis,
    /// A point of the axis, body axes from the centre of mass (m).
    pub pivot_m: [f64; 3],
    /// Viscous friction of the bearing (N m s).
    pub viscous_friction_nm_s: f64,
}

/// An axis of the craft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// Forward.
    Roll,
    /// To the right.
    Pitch,
    /// Down.
    Yaw,
}

/// A tether from the ground to the craft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tether {
    /// Anchor, north-east-down from home (m).
    pub anchor_m: [f64; 3],
    /// Attachment point, body axes from the centre of mass (m).
    pub position_m: [f64; 3],
    /// Length (m).
    pub length_m: f64,
    /// Relative elongation under the weight of the craft.
    pub stretch_share: f64,
    /// Damping ratio of the craft's oscillation on the tether, 0..1.
    pub damping_ratio: f64,
}

impl Tether {
    /// A tether of this length from the ground below home to the centre of mass: elongation 2 % under the
    /// weight, damping ratio 0.3 (plausible values, no source).
    pub fn of_length(length_m: f64) -> Self {
        Tether { anchor_m: [0.0; 3], position_m: [0.0; 3], length_m, stretch_share: 0.02, damping_ratio: 0.3 }
    }
}

impl Mount {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        match self {
            Mount::Free => Ok(()),
            Mount::Stand(stand) => {
                all_finite("stand.pivot_m", &stand.pivot_m)?;
                not_negative("stand.viscous_friction_nm_s", stand.viscous_friction_nm_s)
            }
            Mount::Tether(tether) => {
                all_finite("tether.anchor_m", &tether.anchor_m)?;
                all_finite("tether.position_m", &tether.position_m)?;
                positive("tether.length_m", tether.length_m)?;
                within("tether.stretch_share", tether.stretch_share, 1e-3, 1.0)?;
                within("tether.damping_ratio", tether.damping_ratio, 0.0, 1.0)
            }
        }
    }
}

/// Bearing of a test stand.
#[derive(Clone, Debug)]
pub(crate) struct Bearing {
    axis: DVec3,
    /// From the pivot to the centre of mass, body axes (m).
    arm: DVec3,
    mass: f64,
    per_inertia: f64,
    viscous: f64,
    pivot_m: DVec3,
    attitude: DQuat,
}

impl Bearing {
    pub(crate) fn new(stand: &Stand, mass_kg: f64, inertia: &DMat3, start: &State) -> Self {
        let axis = match stand.axis {
            Axis::Roll => DVec3::X,
            Axis::Pitch => DVec3::Y,
            Axis::Yaw => DVec3::Z,
        };
        let arm = -DVec3::from_array(stand.pivot_m);
        Bearing {
            axis,
            arm,
            mass: mass_kg,
            per_inertia: 1.0 / (axis.dot(*inertia * axis) + mass_kg * axis.cross(arm).length_squared()),
            viscous: stand.viscous_friction_nm_s,
            pivot_m: start.position_m - start.attitude * arm,
            attitude: start.attitude,
        }
    }

    /// Projection of the motion under a wrench on the free axis.
    pub(crate) fn slope(&self, body: &Body, state: &State, wrench: &Wrench) -> Slope {
        let rate = self.axis * self.axis.dot(state.rate_rad_s);
        let force = state.attitude.conjugate() * (wrench.force_n + body.gravity() * self.mass);
        let torque = self.axis.dot(wrench.torque_nm + self.arm.cross(force) - rate * self.viscous);
        let turn = self.axis * (torque * self.per_inertia);
        let carried = turn.cross(self.arm) + rate.cross(rate.cross(self.arm));
        Slope::of(state.attitude * rate.cross(self.arm), state.attitude * carried, state.attitude, rate, turn)
    }

    /// State after a step, as [`Body::step_from`].
    #[cold]
    pub(crate) fn step_from(
        &self,
        body: &Body,
        state: &State,
        first: Slope,
        step_s: f64,
        mut wrench: impl FnMut(Stage, &State) -> Wrench,
    ) -> State {
        let after = Body::integrate(state, first, step_s, |stage, state| {
            self.slope(body, state, &wrench(stage, state))
        });
        self.held(&after)
    }

    /// Nearest state that satisfies the constraint.
    pub(crate) fn held(&self, state: &State) -> State {
        let turned = self.attitude.conjugate() * state.attitude;
        let along = self.axis.dot(DVec3::new(turned.x, turned.y, turned.z));
        let (s, c) = (along, turned.w);
        let scale = 1.0 / libm::sqrt(s * s + c * c);
        let about = self.axis * (s * scale);
        let attitude = self.attitude * DQuat::from_xyzw(about.x, about.y, about.z, c * scale);
        let rate_rad_s = self.axis * self.axis.dot(state.rate_rad_s);
        State {
            position_m: self.pivot_m + attitude * self.arm,
            velocity_m_s: attitude * rate_rad_s.cross(self.arm),
            attitude,
            rate_rad_s,
        }
    }
}

/// Tether with precomputed coefficients.
#[derive(Clone, Debug)]
pub(crate) struct Rope {
    anchor: DVec3,
    attachment: DVec3,
    length: f64,
    stiffness: f64,
    damping: f64,
}

impl Rope {
    pub(crate) fn new(tether: &Tether, mass_kg: f64) -> Self {
        let stretch_m = tether.length_m * tether.stretch_share;
        let stiffness = mass_kg * crate::gravity::STANDARD_M_S2 / stretch_m;
        Rope {
            anchor: DVec3::from_array(tether.anchor_m),
            attachment: DVec3::from_array(tether.position_m),
            length: tether.length_m,
            stiffness,
            damping: 2.0 * tether.damping_ratio * libm::sqrt(stiffness * mass_kg),
        }
    }

    /// Tether force in world axes and torque in body axes.
    pub(crate) fn wrench(&self, state: &State, rotation: &DMat3) -> (DVec3, DVec3) {
        let from_anchor = state.position_m + *rotation * self.attachment - self.anchor;
        let distance = libm::sqrt(from_anchor.length_squared());
        let stretch = distance - self.length;
        if stretch <= 0.0 {
            return (DVec3::ZERO, DVec3::ZERO);
        }
        let along = from_anchor / distance;
        let speed = (state.velocity_m_s + *rotation * state.rate_rad_s.cross(self.attachment)).dot(along);
        let tension = (self.stiffness * stretch + self.damping * speed).max(0.0);
        let force = along * -tension;
        (force, self.attachment.cross(rotation.transpose() * force))
    }
}
