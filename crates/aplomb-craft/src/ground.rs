//! Flat ground: four feet and four rotor hubs as springs with dampers and dry friction.
//!
//! Each point in the ground pushes up with `k d + c d' d/sink` (never pulls), d its depth. Friction holds it by a spring to
//! the spot where it touched down, up to `friction` times the push; beyond that the spot is dragged along. Stiffness and
//! damping are derived: four feet carry the weight at depth `static_deflection_m`, and the craft bounces on them with `damping_ratio`.

use crate::error::{ConfigError, finite, positive, within};
use glam::{DMat3, DVec2, DVec3};

/// Feet and what they stand on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Distance of each foot ahead of or behind the middle of the feet (m).
    pub foot_x_m: f64,
    /// Distance of each foot right or left of the middle of the feet (m).
    pub foot_y_m: f64,
    /// Depth of the feet below the centre of mass (m).
    pub foot_z_m: f64,
    /// Middle of the feet, ahead of the centre of mass (m).
    pub centre_x_m: f64,
    /// Middle of the feet, right of the centre of mass (m).
    pub centre_y_m: f64,
    /// Depth at which four feet carry the weight (m).
    pub static_deflection_m: f64,
    /// Damping of the bounce over its critical damping, 0..1.
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

/// The ground under the craft, with the spots the points hold on to.
#[derive(Clone, Debug)]
pub(crate) struct Ground {
    points: [DVec3; POINTS],
    held: [Option<DVec2>; POINTS],
    /// Down coordinate of the surface: home is the craft's centre of mass at rest on its feet.
    surface_m: f64,
    /// Distance of the farthest point from the centre of mass.
    reach_m: f64,
    stiffness: f64,
    damping: f64,
    damping_per_depth: f64,
    friction: f64,
}

impl Ground {
    pub(crate) fn new(config: &Config, hubs: [DVec3; 4], mass_kg: f64) -> Self {
        // The nominal weight, also where a test switches gravity off.
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

    /// Whether any point can touch with the centre of mass at this down coordinate.
    #[inline]
    pub(crate) fn near(&self, down_m: f64) -> bool {
        down_m + self.reach_m >= self.surface_m
    }

    /// Height of the centre of mass above the surface (m).
    #[inline]
    pub(crate) fn clearance_m(&self, down_m: f64) -> f64 {
        self.surface_m - down_m
    }

    /// Force in world axes and torque in body axes.
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
            let place = position + arm;
            let depth = place.z - self.surface_m;
            if depth <= 0.0 {
                continue;
            }
            let speed = velocity + *rotation * rate.cross(*point);
            let push = self.push(depth, speed.z);
            let grip = held.map_or(DVec2::ZERO, |spot| (place.truncate() - spot) * -self.stiffness);
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

    /// Moves the held spots after a step; returns whether any point touches.
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
            let place = position + *rotation * point;
            let depth = place.z - self.surface_m;
            if depth <= 0.0 {
                self.held[i] = None;
                continue;
            }
            touching = true;
            let speed = velocity + *rotation * rate.cross(point);
            let longest = self.friction * self.push(depth, speed.z) / self.stiffness;
            let spot = self.held[i].unwrap_or(place.truncate());
            self.held[i] = Some(place.truncate() + shorten(spot - place.truncate(), longest));
        }
        touching
    }

    pub(crate) fn release_contacts(&mut self) {
        self.held = [None; POINTS];
    }
}

/// `v` shortened to at most `longest`.
#[inline]
fn shorten(v: DVec2, longest: f64) -> DVec2 {
    let squared = v.length_squared();
    if squared > longest * longest { v * (longest / libm::sqrt(squared)) } else { v }
}
