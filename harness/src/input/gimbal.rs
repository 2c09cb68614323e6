//! `[gimbal]` of `craft.toml`.

use aplomb_craft::gimbal::Config;
use schemars::JsonSchema;
use serde::Deserialize;

use super::document::Document;

/// `[gimbal]`: parameters of the gimbal and its camera.
#[derive(Deserialize, JsonSchema)]
pub(super) struct GimbalTable {
    inertia_kg_m2: [f64; 3],
    imbalance_g_mm: Option<[f64; 3]>,
    travel_deg: TravelTable,
    stall_torque_nm: f64,
    no_load_speed_deg_s: f64,
    viscous_friction_nm_s: Option<f64>,
    coulomb_friction_nm: Option<f64>,
    delay_s: f64,
    gyro_noise_deg_s_rthz: Option<f64>,
    gyro_bias_deg_s: Option<f64>,
    field_of_view_deg: f64,
    width_px: u32,
}

#[derive(Deserialize, JsonSchema)]
struct TravelTable {
    yaw: f64,
    roll: f64,
    pitch: f64,
}

impl GimbalTable {
    /// Refuses all values outside of what a gimbal can have at once.
    pub(super) fn check(&self, document: &Document<'_>) {
        let [along, right, down] = self.inertia_kg_m2;
        let [x, y, z] = self.imbalance_g_mm.unwrap_or_default();
        let travel = &self.travel_deg;
        document.require_ranges([
            ("gimbal.inertia_kg_m2[0]", along, 1e-9, 10.0),
            ("gimbal.inertia_kg_m2[1]", right, 1e-9, 10.0),
            ("gimbal.inertia_kg_m2[2]", down, 1e-9, 10.0),
            ("gimbal.imbalance_g_mm[0]", x, -1e6, 1e6),
            ("gimbal.imbalance_g_mm[1]", y, -1e6, 1e6),
            ("gimbal.imbalance_g_mm[2]", z, -1e6, 1e6),
            ("gimbal.travel_deg.yaw", travel.yaw, 1.0, 174.0),
            ("gimbal.travel_deg.roll", travel.roll, 1.0, 80.0),
            ("gimbal.travel_deg.pitch", travel.pitch, 1.0, 174.0),
            ("gimbal.stall_torque_nm", self.stall_torque_nm, 1e-6, 100.0),
            ("gimbal.no_load_speed_deg_s", self.no_load_speed_deg_s, 1.0, 100_000.0),
            ("gimbal.viscous_friction_nm_s", self.viscous_friction_nm_s.unwrap_or(0.0), 0.0, 10.0),
            ("gimbal.coulomb_friction_nm", self.coulomb_friction_nm.unwrap_or(0.0), 0.0, 10.0),
            ("gimbal.delay_s", self.delay_s, 1e-4, 0.1),
            ("gimbal.gyro_noise_deg_s_rthz", self.gyro_noise_deg_s_rthz.unwrap_or(0.0), 0.0, 10.0),
            ("gimbal.gyro_bias_deg_s", self.gyro_bias_deg_s.unwrap_or(0.0), 0.0, 100.0),
            ("gimbal.field_of_view_deg", self.field_of_view_deg, 1.0, 174.0),
            ("gimbal.width_px", f64::from(self.width_px), 1.0, 1e6),
        ]);
    }

    pub(super) fn convert(self) -> Config {
        let travel = self.travel_deg;
        Config {
            inertia_kg_m2: self.inertia_kg_m2,
            imbalance_kg_m: self.imbalance_g_mm.unwrap_or_default().map(|offset| offset * 1e-6),
            travel_rad: [travel.yaw, travel.roll, travel.pitch].map(f64::to_radians),
            stall_torque_nm: self.stall_torque_nm,
            no_load_speed_rad_s: self.no_load_speed_deg_s.to_radians(),
            viscous_friction_nm_s: self.viscous_friction_nm_s.unwrap_or_default(),
            coulomb_friction_nm: self.coulomb_friction_nm.unwrap_or_default(),
            delay_s: self.delay_s,
            gyro_noise: self.gyro_noise_deg_s_rthz.unwrap_or_default().to_radians(),
            gyro_bias_rad_s: self.gyro_bias_deg_s.unwrap_or_default().to_radians(),
            field_of_view_rad: self.field_of_view_deg.to_radians(),
            width_px: self.width_px,
        }
    }
}
