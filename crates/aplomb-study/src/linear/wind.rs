//! Response of the wind feed-forward to the estimated motion, about a steady flight.
//!
//! The estimate is `u = v + R (f_x/d, f_y/d, 0) - R (0, 0, (R'v)_z)`, horizontal, of the specific force `f =
//! R'(a - g)`. With the small rotation p in body axes, R becomes R (1 + p x). With P and Q the projections on
//! the rotor disc and its axis, b = R'v:
//!
//! ```text
//! du = [1 - R Q R'] dv + 1/d R P R' da + 1/d R [P f x - (P f) x] p + R [(Q b) x - Q b x] p
//! ```

use aplomb::flight;
use aplomb_craft::glam::{DMat3, DVec3};
use aplomb_craft::gravity;

use super::Clock;
use super::body::{MOTION, cross};
use super::matrix::{C64, Matrix, zeros};
use super::trim::Trim;

/// The feed-forward of the wind about a steady flight.
#[derive(Clone, Debug)]
pub(super) struct Wind {
    by_rotation: DMat3,
    by_velocity: DMat3,
    by_acceleration: DMat3,
    drag_per_s: f64,
    pole_rad_s: f64,
}

impl Wind {
    /// `None` where nothing is fed forward.
    pub(super) fn new(config: &flight::Config, trim: &Trim) -> Option<Self> {
        let drag_per_s = f64::from(config.estimate.rotor_drag_per_s?);
        if config.wind_share == 0.0 {
            return None;
        }
        let (r, back) = (trim.attitude, trim.attitude.transpose());
        let (along, across) =
            (DMat3::from_diagonal(DVec3::new(1.0, 1.0, 0.0)), DMat3::from_diagonal(DVec3::Z));
        let force_m_s2 = back * DVec3::new(0.0, 0.0, -gravity::STANDARD_M_S2);
        let air_m_s = back * trim.velocity_m_s;
        let by_force = along * cross(force_m_s2) - cross(along * force_m_s2);
        let by_airspeed = cross(across * air_m_s) - across * cross(air_m_s);
        Some(Self {
            by_rotation: r * (by_force * (1.0 / drag_per_s) + by_airspeed),
            by_velocity: DMat3::IDENTITY - r * across * back,
            by_acceleration: r * along * back * (1.0 / drag_per_s),
            drag_per_s,
            pole_rad_s: f64::from(config.wind_share * config.velocity.crossover_rad_s),
        })
    }

    /// Motion to the acceleration of the feed-forward; `slow` is the clock of the velocity loop.
    pub(super) fn at(&self, tick: &Clock, slow: &Clock) -> Matrix<3, MOTION> {
        let estimate = low_pass(tick, 1.0 / f64::from(aplomb::estimate::WIND_TIME_CONSTANT_S));
        let against = -self.drag_per_s * estimate * low_pass(slow, self.pole_rad_s);
        let mut by_motion = zeros();
        for (i, row) in by_motion.iter_mut().enumerate().take(2) {
            for j in 0..3 {
                let acceleration = self.by_acceleration.col(j)[i] / tick.summed();
                row[3 + j] = against * self.by_rotation.col(j)[i];
                row[6 + j] = against * (self.by_velocity.col(j)[i] + acceleration);
            }
        }
        by_motion
    }
}

/// y += p h/(1 + p h) (x - y).
fn low_pass(clock: &Clock, pole_rad_s: f64) -> C64 {
    let gain = pole_rad_s * clock.tick_s / (1.0 + pole_rad_s * clock.tick_s);
    gain / (1.0 - (1.0 - gain) * clock.delay)
}
