//! Where the rotors sit and how they turn.

use glam::{Mat4, Vec4};

use crate::error::{ConfigError, Problem, require_finite, require_positive};
use crate::{Rotors, Spin};

/// Place and sense of one rotor, in body axes from the centre of mass.
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
/// With thrusts f (N) the body feels (see [`crate::conventions`])
/// `T = sum f`, `tau_x = -sum y f`, `tau_y = sum x f`, `tau_z = kappa sum s f`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Geometry {
    /// The arms by place.
    pub arms: Rotors<Arm>,
    /// Reaction torque over thrust, kappa, in m (= kQ/kT = CP D/(2 pi CT)).
    pub torque_to_thrust_m: f32,
}

/// The half-spans of a symmetric X and the sense of its front left rotor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spans {
    pub half_length_m: f32,
    pub half_width_m: f32,
    pub front_left: f32,
}

/// One row of the inverse: the thrust of one rotor per unit of total thrust and of each torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Share {
    pub thrust: f32,
    pub roll: f32,
    pub pitch: f32,
    pub yaw: f32,
}

impl Geometry {
    /// A symmetric X: rotors at (+-half_length, +-half_width); the diagonal of the front left rotor turns as `front_left`.
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

    /// The half-spans, if this is a symmetric X to the last bit.
    pub(super) fn as_symmetric(&self) -> Option<Spans> {
        let Rotors { front_left: a, .. } = self.arms;
        let x = Self::symmetric_x(a.x_m, -a.y_m, a.spin, self.torque_to_thrust_m);
        (*self == x && a.x_m > 0.0 && a.y_m < 0.0).then_some(Spans {
            half_length_m: a.x_m,
            half_width_m: -a.y_m,
            front_left: a.spin.reaction(),
        })
    }

    /// Checks every value and inverts the map from thrusts to thrust and torques.
    pub(super) fn inverse(&self) -> Result<Rotors<Share>, ConfigError> {
        require_positive("torque_to_thrust_m", self.torque_to_thrust_m)?;
        for arm in self.arms.into_array() {
            require_finite("x_m", arm.x_m)?;
            require_finite("y_m", arm.y_m)?;
        }
        let refusal = ConfigError::new("arms", Problem::Inconsistent);
        let (reach, kappa) = (self.reach_m(), self.torque_to_thrust_m);
        if !(reach > 0.0 && reach < f32::INFINITY) {
            return Err(refusal);
        }
        // Dimensionless columns keep the inverse well conditioned whatever the size of the craft.
        let column = |arm: Arm| Vec4::new(1.0, -arm.y_m / reach, arm.x_m / reach, arm.spin.reaction());
        let [a, b, c, d] = self.arms.map(column).into_array();
        let effect = Mat4::from_cols(a, b, c, d);
        let independent = effect.determinant().abs() > 1e-3;
        if !independent {
            return Err(refusal);
        }
        let rows = effect.inverse().transpose();
        let share = |row: Vec4| Share {
            thrust: row.x,
            roll: row.y / reach,
            pitch: row.z / reach,
            yaw: row.w / kappa,
        };
        let shares = Rotors {
            front_left: share(rows.x_axis),
            front_right: share(rows.y_axis),
            rear_left: share(rows.z_axis),
            rear_right: share(rows.w_axis),
        };
        // Hovering must need a positive thrust of each rotor: the centre of mass lies inside.
        if shares.into_array().iter().all(|share| share.thrust > 1e-3) { Ok(shares) } else { Err(refusal) }
    }
}
