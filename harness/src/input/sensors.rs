//! Sensor tables of `craft.toml`: a class, and keys that replace its values.

use aplomb_craft::gravity::STANDARD_M_S2;
use aplomb_craft::sensors::{barometer, gnss, imu, magnetometer};
use schemars::JsonSchema;
use serde::Deserialize;

/// Replaces the named fields that the file contains.
macro_rules! replace {
    ($table:expr => $config:expr; $($field:ident),+) => {
        $(if let Some(value) = $table.$field { $config.$field = value; })+
    };
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum ImuClass {
    Consumer,
    Better,
    Industrial,
    Ideal,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum Class {
    Consumer,
    Ideal,
}

/// `[imu]`.
#[derive(Deserialize, JsonSchema)]
pub(super) struct ImuTable {
    class: ImuClass,
    position_m: Option<[f64; 3]>,
    low_pass_hz: Option<f64>,
    delay_s: Option<f64>,
    bias_correlation_time_s: Option<f64>,
    vibration_gain: Option<f64>,
    gyro: Option<GyroTable>,
    accel: Option<AccelTable>,
}

#[derive(Deserialize, JsonSchema)]
struct GyroTable {
    noise_deg_s_rthz: Option<f64>,
    bias_instability_deg_h: Option<f64>,
    rate_random_walk_deg_s_rts: Option<f64>,
    turn_on_bias_deg_s: Option<f64>,
    scale_factor_percent: Option<f64>,
    misalignment_deg: Option<f64>,
    g_sensitivity_deg_s: Option<f64>,
    range_deg_s: Option<f64>,
    resolution_deg_s: Option<f64>,
}

#[derive(Deserialize, JsonSchema)]
struct AccelTable {
    noise_m_s2_rthz: Option<f64>,
    bias_instability_m_s2: Option<f64>,
    acceleration_random_walk_m_s2_rts: Option<f64>,
    turn_on_bias_m_s2: Option<f64>,
    scale_factor_percent: Option<f64>,
    misalignment_deg: Option<f64>,
    range_m_s2: Option<f64>,
    resolution_m_s2: Option<f64>,
}

impl ImuTable {
    pub(super) fn convert(self) -> imu::Config {
        let mut config = match self.class {
            ImuClass::Consumer => imu::Config::consumer(),
            ImuClass::Better => imu::Config::better(),
            ImuClass::Industrial => imu::Config::industrial(),
            ImuClass::Ideal => imu::Config::ideal(),
        };
        replace!(self => config; position_m, low_pass_hz, delay_s, bias_correlation_time_s, vibration_gain);
        if let Some(table) = self.gyro {
            let gyro = &mut config.gyro;
            let radians = |given: Option<f64>, field: &mut f64| {
                if let Some(degrees) = given {
                    *field = degrees.to_radians();
                }
            };
            radians(table.noise_deg_s_rthz, &mut gyro.noise_rad_s_rthz);
            radians(
                table.bias_instability_deg_h.map(|per_hour| per_hour / 3600.0),
                &mut gyro.bias_instability_rad_s,
            );
            radians(table.rate_random_walk_deg_s_rts, &mut gyro.rate_random_walk_rad_s_rts);
            radians(table.turn_on_bias_deg_s, &mut gyro.turn_on_bias_rad_s);
            radians(table.misalignment_deg, &mut gyro.misalignment_rad);
            let per_force = table.g_sensitivity_deg_s.map(|per_g| per_g / STANDARD_M_S2);
            radians(per_force, &mut gyro.per_force_s_m);
            radians(table.range_deg_s, &mut gyro.range_rad_s);
            radians(table.resolution_deg_s, &mut gyro.resolution_rad_s);
            gyro.scale_factor_share =
                table.scale_factor_percent.map_or(gyro.scale_factor_share, |percent| percent / 100.0);
        }
        if let Some(table) = self.accel {
            let accel = &mut config.accel;
            replace!(
                table => accel;
                noise_m_s2_rthz, bias_instability_m_s2, acceleration_random_walk_m_s2_rts, turn_on_bias_m_s2, range_m_s2, resolution_m_s2
            );
            accel.scale_factor_share =
                table.scale_factor_percent.map_or(accel.scale_factor_share, |percent| percent / 100.0);
            accel.misalignment_rad = table.misalignment_deg.map_or(accel.misalignment_rad, f64::to_radians);
        }
        config
    }
}

/// `[barometer]`.
#[derive(Deserialize, JsonSchema)]
pub(super) struct BarometerTable {
    class: Class,
    rate_hz: Option<f64>,
    delay_s: Option<f64>,
    white_noise_m: Option<f64>,
    correlated_noise_m: Option<f64>,
    correlation_time_s: Option<f64>,
    drift_m_h: Option<f64>,
    offset_pa: Option<f64>,
    rotor_wash_m: Option<f64>,
    rotor_wash_below_m: Option<f64>,
}

impl BarometerTable {
    pub(super) fn convert(self) -> barometer::Config {
        let mut config = match self.class {
            Class::Consumer => barometer::Config::consumer(),
            Class::Ideal => barometer::Config::ideal(),
        };
        replace!(
            self => config;
            rate_hz, delay_s, white_noise_m, correlated_noise_m, correlation_time_s, drift_m_h, offset_pa, rotor_wash_m, rotor_wash_below_m
        );
        config
    }
}

/// `[gnss]`.
#[derive(Deserialize, JsonSchema)]
pub(super) struct GnssTable {
    class: Class,
    rate_hz: Option<f64>,
    delay_s: Option<f64>,
    position_m: Option<[f64; 3]>,
    white_noise_m: Option<f64>,
    correlated_noise_m: Option<f64>,
    correlation_time_s: Option<f64>,
    velocity_noise_m_s: Option<f64>,
    dropouts_per_h: Option<f64>,
    dropout_s: Option<f64>,
    jumps_per_h: Option<f64>,
    jump_s: Option<f64>,
    jump_m: Option<f64>,
}

impl GnssTable {
    pub(super) fn convert(self) -> gnss::Config {
        let mut config = match self.class {
            Class::Consumer => gnss::Config::consumer(),
            Class::Ideal => gnss::Config::ideal(),
        };
        replace!(
            self => config;
            rate_hz, delay_s, position_m, white_noise_m, correlated_noise_m, correlation_time_s, velocity_noise_m_s, jump_m
        );
        for (events, per_h, mean_s) in [
            (&mut config.dropouts, self.dropouts_per_h, self.dropout_s),
            (&mut config.jumps, self.jumps_per_h, self.jump_s),
        ] {
            events.per_h = per_h.unwrap_or(events.per_h);
            events.mean_s = mean_s.unwrap_or(events.mean_s);
        }
        config
    }
}

/// `[magnetometer]`.
#[derive(Deserialize, JsonSchema)]
pub(super) struct MagnetometerTable {
    class: Class,
    rate_hz: Option<f64>,
    delay_s: Option<f64>,
    magnetic_field_ut: Option<[f64; 3]>,
    white_noise_ut: Option<f64>,
    hard_iron_ut: Option<f64>,
    soft_iron_percent: Option<f64>,
    current_ut_a: Option<[f64; 3]>,
}

impl MagnetometerTable {
    pub(super) fn convert(self) -> magnetometer::Config {
        let mut config = match self.class {
            Class::Consumer => magnetometer::Config::consumer(),
            Class::Ideal => magnetometer::Config::ideal(),
        };
        replace!(self => config; rate_hz, delay_s, magnetic_field_ut, white_noise_ut, hard_iron_ut, current_ut_a);
        config.soft_iron_share =
            self.soft_iron_percent.map_or(config.soft_iron_share, |percent| percent / 100.0);
        config
    }
}
