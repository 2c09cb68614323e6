//! `[gimbal]` of `craft.toml`.

use aplomb_craft::gimbal::Config;
use schemars::JsonSchema;
use serde::Deserialize;

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
