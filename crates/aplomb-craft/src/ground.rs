//! Contact with flat ground: spring, damper and Coulomb friction at the four feet of the landing gear and the
//! four rotor hubs.
//!
//! Each point below the surface has the normal force `k d + c d' d/d0`, not below zero, with its depth d and
//! the static deflection d0. A spring to the point of touchdown gives the friction force, up to `friction`
//! times the normal force; beyond that the point of touchdown is moved along. Stiffness and damping are
//! derived: four feet carry the weight at the depth `static_deflection_m`, with `damping_ratio` of the
//! vertical oscillation.

use crate::ROTORS;
use crate::error::{ConfigError, finite, positive, within};
use glam::{DMat3, DVec2, DVec3};

/// Landing gear and ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Distance of each foot ahead of or behind the centre of the landing gear (m).
    pub foot_x_m: f64,
    /// Distance of each foot to the right or left of the centre of the landing gear (m).
    pub foot_y_m: f64,
    /// Distance of the feet below the centre of mass (m).
    pub foot_z_m: f64,
    /// Centre of the landing gear, ahead of the centre of mass (m).
    pub centre_x_m: f64,
    /// Centre of the landing gear, to the right of the centre of mass (m).
    pub centre_y_m: f64,
    /// Static deflection: depth at which four feet carry the weight (m).
    pub static_deflection_m: f64,
    /// Damping ratio of the vertical oscillation, 0..1.
    pub damping_ratio: f64,
    /// Coefficient of friction, 0..5.
    pub friction: f64,
}

impl Config {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        positive("ground.foot_x_m", self.foot_x_m)?;
        positive("ground.foot_y_m", self.foot_y_m)?;
        positive("ground.foot_z_m", self.foot_z_m)?;
        finite("ground.centre_x_m", self.centre_x_m)?;
        finite("ground.centre_y_m", self.centre_y_m)?;
        within("ground.static_deflection_m", self.static_deflection_m, 5e-4, 0.1)?;
        within("ground.damping_ratio", self.damping_ratio, 0.0, 1.0)?;
        within("ground.friction", self.friction, 0.0, 5.0)
    }
}

const POINTS: usize = 8;

/// Ground contact with the points of touchdown.
#[derive(Clone, Debug)]
pub(crate) struct Ground {
    points: [DVec3; POINTS],
    held: [Option<DVec2>; POINTS],
    /// Down coordinate of the surface. Home is the centre of mass of the stationary craft on its landing
    /// gear.
    surface_m: f64,
    /// Distance of the farthest point from the centre of mass.
    reach_m: f64,
    stiffness: f64,
    damping: f64,
    damping_per_depth: f64,
    friction: f64,
}

impl Ground {
    pub(crate) fn new(config: &Config, hubs: [DVec3; ROTORS], mass_kg: f64) -> Self {
        // Nominal weight, also if a test sets gravity to zero.
        let weight = mass_kg * crate::gravity::STANDARD_M_S2;
        let foot = |x: f64, y: f64| {
            let (x_m, y_m) = (x * config.foot_x_m, y * config.foot_y_m);
            DVec3::new(config.centre_x_m + x_m, config.centre_y_m + y_m, config.foot_z_m)
        };
        let feet = [foot(1.0, -1.0), foot(1.0, 1.0), foot(-1.0, -1.0), foot(-1.0, 1.0)];
        let points: [DVec3; POINTS] = core::array::from_fn(|i| if i < 4 { feet[i] } else { hubs[i - 4] });
        let stiffness = weight / (4.0 * config.static_deflection_m);
        let damping = 2.0 * config.damping_ratio * libm::sqrt(4.0 * stiffness * mass_kg) / 4.0;
        Ground {
            points,
            held: [None; POINTS],
            surface_m: config.foot_z_m - config.static_deflection_m,
            reach_m: points
                .iter()
                .fold(0.0, |far, point| libm::fmax(far, libm::sqrt(point.length_squared()))),
            stiffness,
            damping,
            damping_per_depth: damping / config.static_deflection_m,
            friction: config.friction,
        }
    }

    /// Whether any point can be in contact with the centre of mass at this down coordinate.
    #[inline]
    pub(crate) fn near(&self, down_m: f64) -> bool {
        down_m + self.reach_m >= self.surface_m
    }

    /// Height of the centre of mass above the surface (m).
    #[inline]
    pub(crate) fn clearance_m(&self, down_m: f64) -> f64 {
        self.surface_m - down_m
    }

    /// Contact force in world axes and torque in body axes.
    pub(crate) fn wrench(
        &self,
        position: DVec3,
        velocity: DVec3,
        rotation: &DMat3,
        rate: DVec3,
    ) -> (DVec3, DVec3) {
        let (mut force, mut torque) = (DVec3::ZERO, DVec3::ZERO);
        for (point, held) in self.points.iter().zip(&self.held) {
            let arm = *rotation * *point;
            let contact = position + arm;
            let depth = contact.z - self.surface_m;
            if depth <= 0.0 {
                continue;
            }
            let speed = velocity + *rotation * rate.cross(*point);
            let push = self.push(depth, speed.z);
            let grip = held.map_or(DVec2::ZERO, |spot| (contact.truncate() - spot) * -self.stiffness);
            let side = shorten(grip - speed.truncate() * self.damping, self.friction * push);
            let on_point = DVec3::new(side.x, side.y, -push);
            force += on_point;
            torque += point.cross(rotation.transpose() * on_point);
        }
        (force, torque)
    }

    #[inline]
    fn push(&self, depth: f64, sinking: f64) -> f64 {
        let damping = (self.damping_per_depth * depth).min(2.0 * self.damping);
        (self.stiffness * depth + damping * sinking).max(0.0)
    }

    /// Updates the points of touchdown after a step; returns whether any point is in contact.
    pub(crate) fn update_contacts(
        &mut self,
        position: DVec3,
        velocity: DVec3,
        rotation: &DMat3,
        rate: DVec3,
    ) -> bool {
        let mut touching = false;
        for i in 0..POINTS {
            let point = self.points[i];
            let contact = position + *rotation * point;
            let depth = contact.z - self.surface_m;
            if depth <= 0.0 {
                self.held[i] = None;
                continue;
            }
            touching = true;
            let speed = velocity + *rotation * rate.cross(point);
            let longest = self.friction * self.push(depth, speed.z) / self.stiffness;
            let spot = self.held[i].unwrap_or(contact.truncate());
            self.held[i] = Some(contact.truncate() + shorten(spot - contact.truncate(), longest));
        }
        touching
    }

    pub(crate) fn release_contacts(&mut self) {
        self.held = [None; POINTS];
    }
}

/// `v`, limited to the length `longest`.
#[inline]
fn shorten(v: DVec2, longest: f64) -> DVec2 {
    let squared = v.length_squared();
    if squared > longest * longest { v * (longest / libm::sqrt(squared)) } else { v }
}
