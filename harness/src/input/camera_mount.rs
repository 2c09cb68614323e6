//! `[camera_mount]` of `craft.toml`.

use aplomb_craft::camera_mount::Config;
use schemars::JsonSchema;
use serde::Deserialize;

/// Everything about the mount and its camera.
#[derive(Deserialize, JsonSchema)]
pub(super) struct CameraMountTable {
    inertia_kg_m2: [f64; 3],
    imbalance_g_mm: Option<[f64; 3]>,
    travel_deg: TravelTable,
    stall_nm: f64,
    free_deg_s: f64,
    viscous_nm_s: Option<f64>,
    dry_nm: Option<f64>,
    delay_s: f64,
    gyro_noise_deg_s_rthz: Option<f64>,
    gyro_offset_deg_s: Option<f64>,
    view_deg: f64,
    width_px: u32,
}

#[derive(Deserialize, JsonSchema)]
struct TravelTable {
    yaw: f64,
    roll: f64,
    pitch: f64,
}

impl CameraMountTable {
    pub(super) fn convert(self) -> Config {
        let travel = self.travel_deg;
        Config {
            inertia_kg_m2: self.inertia_kg_m2,
            imbalance_kg_m: self.imbalance_g_mm.unwrap_or_default().map(|offset| offset * 1e-6),
            travel_rad: [travel.yaw, travel.roll, travel.pitch].map(f64::to_radians),
            stall_nm: self.stall_nm,
            free_rad_s: self.free_deg_s.to_radians(),
            viscous_nm_s: self.viscous_nm_s.unwrap_or_default(),
            dry_nm: self.dry_nm.unwrap_or_default(),
            delay_s: self.delay_s,
            gyro_noise: self.gyro_noise_deg_s_rthz.unwrap_or_default().to_radians(),
            gyro_offset_rad_s: self.gyro_offset_deg_s.unwrap_or_default().to_radians(),
            view_rad: self.view_deg.to_radians(),
            width_px: self.width_px,
        }
    }
}
