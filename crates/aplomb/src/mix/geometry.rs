//! Geometry of the rotors: position, spin, torque-to-thrust ratio.

use glam::Vec2;

use crate::error::{ConfigError, Problem, require_finite, require_positive};
use crate::{ROTORS, Rotors, Spin};

const TORQUES_NOT_INDEPENDENT: &str = "have torques that are not independent";

/// Position and spin of one rotor, in body axes from the centre of mass.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Arm {
    /// Forward of the centre of mass in m.
    pub x_m: f32,
    /// Right of the centre of mass in m.
    pub y_m: f32,
    /// Sense of rotation seen from above.
    pub spin: Spin,
}

/// The four rotors and their common ratio of torque to thrust.
///
/// With thrusts f (N), thrust and torques on the body are (see [`crate::conventions`])
/// `T = sum f`, `tau_x = -sum y f`, `tau_y = sum x f`, `tau_z = kappa sum s f`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Geometry {
    /// The arms by corner.
    pub arms: Rotors<Arm>,
    /// Reaction torque over thrust, kappa, in m (= kQ/kT = CP D/(2 pi CT)).
    pub torque_to_thrust_m: f32,
}

/// Smallest share of thrust, and of yaw torque over kappa, that a rotor may have: the limits of a rotor are
/// divided by it, which costs three of the seven digits of `f32`.
const SMALLEST_SHARE: f32 = 1e-3;

/// One row of the inverse: the thrust of one rotor per unit of total thrust and of each torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RotorShare {
    pub thrust: f32,
    pub roll: f32,
    pub pitch: f32,
    pub yaw: f32,
}

impl Geometry {
    /// A symmetric X: rotors at (+-half_length, +-half_width); the rotors of the front left and rear right
    /// corner spin as `front_left`, the other two oppositely.
    ///
    /// ```
    /// use aplomb::{Spin, mix::Geometry};
    /// let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
    /// assert_eq!(x.arms.front_left.spin, x.arms.rear_right.spin);
    /// assert_eq!(x.arms.rear_left.x_m, -0.16);
    /// ```
    #[must_use]
    pub const fn symmetric_x(
        half_length_m: f32,
        half_width_m: f32,
        front_left: Spin,
        torque_to_thrust_m: f32,
    ) -> Self {
        let other = match front_left {
            Spin::Clockwise => Spin::CounterClockwise,
            Spin::CounterClockwise => Spin::Clockwise,
        };
        Self {
            arms: Rotors {
                front_left: Arm { x_m: half_length_m, y_m: -half_width_m, spin: front_left },
                front_right: Arm { x_m: half_length_m, y_m: half_width_m, spin: other },
                rear_left: Arm { x_m: -half_length_m, y_m: -half_width_m, spin: other },
                rear_right: Arm { x_m: -half_length_m, y_m: half_width_m, spin: front_left },
            },
            torque_to_thrust_m,
        }
    }

    /// Largest distance of a rotor from the centre of mass along an axis, in m.
    pub(super) fn reach_m(&self) -> f32 {
        let mut reach = 0.0f32;
        for arm in self.arms.into_array() {
            reach = reach.max(arm.x_m.abs()).max(arm.y_m.abs());
        }
        reach
    }

    /// Checks every value and inverts the map from thrusts to thrust and torques, in closed form.
    ///
    /// The reaction torques set the sum of each diagonal, `F = (T +- s tau_z/kappa)/2`; so its rotors give
    /// `F/2 + d` and `F/2 - d`. With m the middle of a diagonal and e from its rear to its front rotor, the
    /// moments `mu = sum f (x, y) = (tau_y, -tau_x)` need
    ///
    /// ```text
    /// mu = F_1 m_1 + F_2 m_2 + d_1 e_1 + d_2 e_2        d_1 = (mu - F_1 m_1 - F_2 m_2) x e_2 / (e_1 x e_2)
    /// ```
    ///
    /// and likewise for d_2 with the diagonals exchanged. A frame that is symmetric to the last bit has a
    /// symmetric result.
    pub(super) fn inverse(&self) -> Result<Rotors<RotorShare>, ConfigError> {
        require_positive("torque_to_thrust_m", self.torque_to_thrust_m)?;
        for arm in self.arms.into_array() {
            require_finite("x_m", arm.x_m)?;
            require_finite("y_m", arm.y_m)?;
        }
        let refusal = ConfigError::new("arms", Problem::Inconsistent(TORQUES_NOT_INDEPENDENT));
        if !self.is_quadrilateral() {
            return Err(refusal);
        }
        let Rotors { front_left, front_right, rear_left, rear_right } = self.arms;
        let first = Diagonal::new(front_left, rear_right);
        let second = Diagonal::new(front_right, rear_left);
        let ([front_left, rear_right], [front_right, rear_left]) =
            (self.shares(&first, &second), self.shares(&second, &first));
        let shares = Rotors { front_left, front_right, rear_left, rear_right };
        // Each rotor has positive thrust in hover: the centre of mass lies inside the quadrilateral.
        let inside = shares.into_array().iter().all(|share| share.thrust > SMALLEST_SHARE);
        // Yaw torque adds thrust to both rotors of a diagonal: the quadrilateral is convex.
        let convex =
            shares.zip(self.arms).into_array().iter().all(|(share, arm)| {
                self.torque_to_thrust_m * arm.spin.reaction() * share.yaw > SMALLEST_SHARE
            });
        if inside && convex { Ok(shares) } else { Err(refusal) }
    }

    /// Each rotor is at the corner it is named after, and the two diagonals have opposite spin.
    fn is_quadrilateral(&self) -> bool {
        let Rotors { front_left: a, front_right: b, rear_left: c, rear_right: d } = self.arms;
        let at_corners = a.x_m > c.x_m && b.x_m > d.x_m && a.y_m < b.y_m && c.y_m < d.y_m;
        at_corners && a.spin == d.spin && b.spin == c.spin && a.spin != b.spin
    }

    /// Shares of the front and the rear rotor of one diagonal, given the other one.
    fn shares(&self, diagonal: &Diagonal, other: &Diagonal) -> [RotorShare; 2] {
        let (e, m, m_other) = (other.from_rear, diagonal.middle, other.middle);
        let area = diagonal.from_rear.perp_dot(e);
        let difference = RotorShare {
            thrust: -0.5 * (m + m_other).perp_dot(e) / area,
            roll: e.x / area,
            pitch: e.y / area,
            yaw: -0.5 * diagonal.sense * (m - m_other).perp_dot(e) / (area * self.torque_to_thrust_m),
        };
        let equal = 1.0 / ROTORS as f32;
        let yaw = equal * diagonal.sense / self.torque_to_thrust_m;
        [1.0, -1.0].map(|sign| RotorShare {
            thrust: equal + sign * difference.thrust,
            roll: sign * difference.roll,
            pitch: sign * difference.pitch,
            yaw: yaw + sign * difference.yaw,
        })
    }
}

/// Two diagonally opposite rotors; they have the same spin.
struct Diagonal {
    /// Midpoint, and vector from the rear to the front rotor, in m.
    middle: Vec2,
    from_rear: Vec2,
    /// Sign of their reaction torque.
    sense: f32,
}

impl Diagonal {
    fn new(front: Arm, rear: Arm) -> Self {
        let [at_front, at_rear] = [front, rear].map(|arm| Vec2::new(arm.x_m, arm.y_m));
        Self {
            middle: 0.5 * (at_front + at_rear),
            from_rear: at_front - at_rear,
            sense: front.spin.reaction(),
        }
    }
}
