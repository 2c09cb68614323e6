//! Moments and products of inertia.

use glam::Mat3;

use crate::error::{ConfigError, Part, Problem, require_finite, require_positive};
use crate::frames::{Body, Vector};

/// Moments and products of inertia about the centre of mass, body axes, in kg m2.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Inertia {
    /// About the forward axis.
    pub roll_kg_m2: f32,
    /// About the right axis.
    pub pitch_kg_m2: f32,
    /// About the down axis.
    pub yaw_kg_m2: f32,
    /// Product of forward and right, the integral of x y dm.
    pub forward_right_kg_m2: f32,
    /// Product of forward and down, the integral of x z dm.
    pub forward_down_kg_m2: f32,
    /// Product of right and down, the integral of y z dm.
    pub right_down_kg_m2: f32,
}

impl Inertia {
    /// Principal axes along the body axes.
    #[must_use]
    pub const fn diagonal(roll_kg_m2: f32, pitch_kg_m2: f32, yaw_kg_m2: f32) -> Self {
        Self {
            roll_kg_m2,
            pitch_kg_m2,
            yaw_kg_m2,
            forward_right_kg_m2: 0.0,
            forward_down_kg_m2: 0.0,
            right_down_kg_m2: 0.0,
        }
    }

    fn matrix(&self) -> Mat3 {
        let (xy, xz, yz) = (-self.forward_right_kg_m2, -self.forward_down_kg_m2, -self.right_down_kg_m2);
        Mat3::from_cols_array(&[self.roll_kg_m2, xy, xz, xy, self.pitch_kg_m2, yz, xz, yz, self.yaw_kg_m2])
    }

    /// Inertia and its inverse, checked.
    ///
    /// # Errors
    /// Names the moment or product that is not finite or not positive; `inertia` itself when it is not
    /// positive definite or breaks the triangle rule of a rigid body (no moment above the sum of the other
    /// two).
    pub(super) fn tensors(&self) -> Result<(Tensor, Tensor), ConfigError> {
        let moment =
            |field, value| require_positive(field, value).map_err(|error| error.within(Part::Inertia));
        let product =
            |field, value| require_finite(field, value).map_err(|error| error.within(Part::Inertia));
        let x = moment("roll_kg_m2", self.roll_kg_m2)?;
        let y = moment("pitch_kg_m2", self.pitch_kg_m2)?;
        let z = moment("yaw_kg_m2", self.yaw_kg_m2)?;
        let xy = product("forward_right_kg_m2", self.forward_right_kg_m2)?;
        product("forward_down_kg_m2", self.forward_down_kg_m2)?;
        product("right_down_kg_m2", self.right_down_kg_m2)?;
        // The triangle rule of a rigid body, and Sylvester's criterion: the leading minors of a positive
        // definite matrix, x, this one and the determinant, are positive.
        let rigid = x <= 1.0001 * (y + z) && y <= 1.0001 * (x + z) && z <= 1.0001 * (x + y);
        let definite = xy * xy < x * y;
        // Scaled to about 1, so that the determinant of a small craft does not vanish.
        let size = x + y + z;
        let matrix = self.matrix();
        let scaled = matrix * (1.0 / size);
        if rigid && definite && scaled.determinant() > 1e-6 {
            Ok((Tensor::of(&matrix), Tensor::of(&(scaled.inverse() * (1.0 / size)))))
        } else {
            Err(ConfigError::new("inertia", Problem::Inconsistent("is that of no rigid body")))
        }
    }
}

/// A symmetric matrix.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Tensor {
    xx: f32,
    yy: f32,
    zz: f32,
    xy: f32,
    xz: f32,
    yz: f32,
}

impl Tensor {
    fn of(matrix: &Mat3) -> Self {
        let Mat3 { x_axis: x, y_axis: y, z_axis: z } = *matrix;
        Self { xx: x.x, yy: y.y, zz: z.z, xy: y.x, xz: z.x, yz: z.y }
    }

    /// Product with a column.
    #[inline]
    pub(super) fn times(&self, v: Vector<Body>) -> Vector<Body> {
        let Self { xx, yy, zz, xy, xz, yz } = *self;
        let [x, y, z] = v.to_array();
        Vector::new(xx * x + xy * y + xz * z, xy * x + yy * y + yz * z, xz * x + yz * y + zz * z)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn accepted(x: f32, y: f32, z: f32, xy: f32, xz: f32, yz: f32) -> bool {
        let inertia = Inertia {
            forward_right_kg_m2: xy,
            forward_down_kg_m2: xz,
            right_down_kg_m2: yz,
            ..Inertia::diagonal(x, y, z)
        };
        inertia.tensors().is_ok()
    }

    #[test]
    fn moments_keep_the_triangle_rule() {
        for (x, y, z) in [(1.0, 2.0, 2.9), (2.9, 1.0, 2.0), (2.0, 2.9, 1.0)] {
            assert!(accepted(x, y, z, 0.0, 0.0, 0.0), "{x} {y} {z}");
        }
        for (x, y, z) in [(1.0, 2.0, 3.1), (3.1, 1.0, 2.0), (2.0, 3.1, 1.0)] {
            assert!(!accepted(x, y, z, 0.0, 0.0, 0.0), "{x} {y} {z}");
        }
    }

    #[test]
    fn products_keep_the_matrix_positive_definite() {
        let (x, y, z) = (0.011, 0.012, 0.021);
        // Each alone: its square is below the product of its two moments.
        let bounds = [f32::sqrt(x * y), f32::sqrt(x * z), f32::sqrt(y * z)];
        for (i, bound) in bounds.into_iter().enumerate() {
            for (share, expected) in [(0.9, true), (-0.9, true), (1.1, false), (-1.1, false)] {
                let mut products = [0.0; 3];
                products[i] = share * bound;
                let [xy, xz, yz] = products;
                assert_eq!(accepted(x, y, z, xy, xz, yz), expected, "{i} {share}");
            }
        }
        // All three beyond their bounds: two negative principal moments, and a positive determinant.
        let [xy, xz, yz] = bounds.map(|bound| 1.5 * bound);
        assert!(!accepted(x, y, z, -xy, -xz, -yz));
    }

    #[test]
    fn tensor_times_its_inverse_is_the_unit_matrix() {
        let inertia = Inertia {
            forward_right_kg_m2: 0.001,
            forward_down_kg_m2: -0.0015,
            right_down_kg_m2: 0.0007,
            ..Inertia::diagonal(0.011, 0.012, 0.021)
        };
        let (tensor, inverse) = inertia.tensors().unwrap();
        for v in [Vector::new(1.0, 0.0, 0.0), Vector::new(0.0, 1.0, 0.0), Vector::new(0.3, -0.5, 2.0)] {
            let back = inverse.times(tensor.times(v));
            assert!((back - v).norm_squared() < 1e-10, "{back:?}");
        }
        // Columns: the moment about its own axis, minus the products about the others.
        let column = tensor.times(Vector::new(1.0, 0.0, 0.0)).to_array();
        assert_eq!(column, [0.011, -0.001, 0.0015]);
    }
}
