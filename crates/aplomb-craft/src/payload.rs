//! Payload off the centre of mass.

use crate::config::{Arm, Config};
use crate::error::{ConfigError, all_finite, positive};
use glam::{DMat3, DVec3};

/// Payload as a point mass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Payload {
    /// Mass (kg).
    pub mass_kg: f64,
    /// Position, body axes from the centre of mass of the craft without it (m).
    pub position_m: [f64; 3],
}

impl Config {
    /// The craft with a payload. The centre of mass moves by `s = mp p/(m + mp)`, all positions change by -s,
    /// and the inertia grows by the parallel-axis theorem, `m (|s|^2 1 - s s') + mp (|q|^2 1 - q q')` with
    /// `q = p - s`.
    ///
    /// ```
    /// use aplomb_craft::{Config, Payload};
    /// let bare = Config::weir_gauge();
    /// let laden = bare.with_payload(&Payload { mass_kg: 0.3, position_m: [0.1, 0.0, 0.05] })?;
    /// assert!((laden.mass_kg - 1.5).abs() < 1e-12);
    /// // 0.3 kg of 1.5 kg, 0.1 m ahead: the arms are 0.02 m further back.
    /// assert!((laden.arms.front_left.x_m - (bare.arms.front_left.x_m - 0.02)).abs() < 1e-12);
    /// // Reduced mass 0.24 kg at (0.1, 0, 0.05) m.
    /// assert!((laden.inertia_kg_m2[1][1] - (0.012 + 0.24 * 0.0125)).abs() < 1e-12);
    /// # Ok::<(), aplomb_craft::ConfigError>(())
    /// ```
    ///
    /// # Errors
    ///
    /// A payload whose mass is not positive or whose position is not finite.
    pub fn with_payload(&self, payload: &Payload) -> Result<Config, ConfigError> {
        positive("payload.mass_kg", payload.mass_kg)?;
        all_finite("payload.position_m", &payload.position_m)?;
        let mass_kg = self.mass_kg + payload.mass_kg;
        let position = DVec3::from_array(payload.position_m);
        let shift = position * (payload.mass_kg / mass_kg);
        let inertia = self.inertia() + apart(self.mass_kg, shift) + apart(payload.mass_kg, position - shift);
        let moved = |[x, y, z]: [f64; 3]| [x - shift.x, y - shift.y, z - shift.z];
        let mut laden = Config { mass_kg, inertia_kg_m2: inertia.to_cols_array_2d(), ..*self };
        laden.arms = self.arms.map(|arm| {
            let [x_m, y_m, z_m] = moved([arm.x_m, arm.y_m, arm.z_m]);
            Arm { x_m, y_m, z_m, ..arm }
        });
        laden.ground.centre_x_m -= shift.x;
        laden.ground.centre_y_m -= shift.y;
        laden.ground.foot_z_m -= shift.z;
        if let Some(imu) = &mut laden.sensors.imu {
            imu.position_m = moved(imu.position_m);
        }
        if let Some(gnss) = &mut laden.sensors.gnss {
            gnss.position_m = moved(gnss.position_m);
        }
        Ok(laden)
    }
}

/// Inertia of a point mass at `position_m`.
fn apart(mass_kg: f64, position_m: DVec3) -> DMat3 {
    let outer =
        DMat3::from_cols(position_m * position_m.x, position_m * position_m.y, position_m * position_m.z);
    (DMat3::from_diagonal(DVec3::splat(position_m.length_squared())) - outer) * mass_kg
}
