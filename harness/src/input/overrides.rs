//! `[override]` of `controller.toml`: replaces derived settings.

use aplomb::control::{attitude, position, rate, velocity, vertical};
use aplomb::flight::Config;
use aplomb::{ConfigError, FlightController, estimate, guard, pilot};
use schemars::JsonSchema;
use serde::Deserialize;

use super::document::Document;
use super::problem::InputError;
use super::refusal::reason;

/// Declares a table of overrides for one part of the controller: keys that are fields of it, and keys in
/// degrees with the field in radians that each one sets.
macro_rules! overrides {
    ($table:ident for $config:ty: $($field:ident),* $(; $($degrees:ident => $radians:ident),+)?) => {
        #[derive(Clone, Copy, Deserialize, JsonSchema)]
        struct $table {
            $($field: Option<f64>,)*
            $($($degrees: Option<f64>,)+)?
        }

        impl $table {
            fn apply(self, config: &mut $config) {
                $(if let Some(value) = self.$field { config.$field = value as f32; })*
                $($(if let Some(value) = self.$degrees { config.$radians = value.to_radians() as f32; })+)?
            }

            #[allow(dead_code)] // Not used for every table.
            fn value(config: &$config, key: &str) -> Option<f64> {
                $(if key == stringify!($field) { return Some(f64::from(config.$field)); })*
                $($(if key == stringify!($degrees) { return Some(f64::from(config.$radians).to_degrees()); })+)?
                None
            }
        }
    };
}

overrides!(LoopsTable for Config: tick_hz, idle_command, air_density_kg_m3, wind_share, imu_delay_s, gyro_cutoff_hz);
overrides!(NotchTable for aplomb::flight::NotchConfig: bandwidth_hz, harmonic, lowest_hz, highest_hz, hover_speed_rad_s);
overrides!(AxisTable for rate::Axis:
    crossover_rad_s, integral_time_s, derivative_time_s; acceleration_limit_deg_s2 => acceleration_limit_rad_s2);
overrides!(RateTable for rate::Config: derivative_filter_ratio);
overrides!(PartTable for attitude::Part: crossover_rad_s, reference_bandwidth_rad_s;
    rate_limit_deg_s => rate_limit_rad_s, acceleration_limit_deg_s2 => acceleration_limit_rad_s2);
overrides!(AttitudeTable for attitude::Config: reference_damping);
overrides!(ThrustTable for aplomb::control::thrust_vector::Config: min_thrust_n, max_thrust_n; tilt_limit_deg => tilt_limit_rad);
overrides!(MixTable for aplomb::mix::Config: allowance_down_n, allowance_up_n, reserved_yaw_share);
overrides!(VerticalTable for vertical::Config: climb_crossover_rad_s, climb_integral_time_s, height_crossover_rad_s,
    climb_limit_m_s, descent_limit_m_s, acceleration_m_s2);
overrides!(VelocityTable for velocity::Config: crossover_rad_s, integral_time_s, speed_limit_m_s, acceleration_m_s2,
    output_limit_m_s2);
overrides!(PositionTable for position::Config: crossover_rad_s, braking_m_s2, speed_limit_m_s);
overrides!(SticksTable for pilot::Config: dead_band, expo, full_stick_climb_m_s, full_stick_descent_m_s,
    hold_below_m_s, landing_speed_m_s; full_stick_tilt_deg => full_stick_tilt_rad,
    full_stick_roll_pitch_rate_deg_s => full_stick_roll_pitch_rate_rad_s, full_stick_yaw_rate_deg_s => full_stick_yaw_rate_rad_s);
overrides!(GuardTable for guard::Config: arming_stick, imu_hold_s, link_hold_s, link_land_s, low_battery_v, low_battery_s,
    tip_over_s, landed_thrust_share, landed_climb_m_s, landed_s; arming_tilt_deg => arming_tilt_rad,
    arming_rate_deg_s => arming_rate_rad_s, tip_over_tilt_deg => tip_over_tilt_rad);
overrides!(AttitudeEstimateTable for estimate::attitude::Config: tilt_time_constant_s, initial_tilt_time_constant_s,
    bias_time_constant_s, initial_bias_time_constant_s, heading_time_constant_s, heading_bias_time_constant_s;
    max_gyro_bias_deg_s => max_gyro_bias_rad_s, declination_deg => declination_rad);
overrides!(VerticalEstimateTable for estimate::vertical::Config: bias_random_walk_m_s2_rts, gate_m, gate_growth_m_s,
    timeout_s, home_temperature_k);
overrides!(HorizontalEstimateTable for estimate::horizontal::Config: interval_s, position_white_noise_m,
    velocity_white_noise_m_s, bias_random_walk_m_s2_rts, position_gate_m, velocity_gate_m_s, gate_growth_m_s2,
    max_accuracy_m, timeout_s);

/// Settings of the attitude filter from the text of a TOML file with the keys of
/// `[override.attitude_estimate]`. Omitted keys keep their recommended value.
pub fn attitude_settings(path: &str, text: &str) -> Result<estimate::attitude::Config, InputError> {
    let document = Document::parse(path, text)?;
    let config = document.read::<AttitudeEstimateTable>().and_then(|table| {
        let mut config = estimate::attitude::Config::RECOMMENDED;
        table.apply(&mut config);
        // The period is arbitrary: only the configuration is checked here.
        let built = estimate::AttitudeFilter::<aplomb::Libm>::new(&config, 1e-3);
        built.map_err(|error| refuse(&document, "", error)).ok().map(|_| config)
    });
    document.finish(config)
}

/// The value in use of a setting such as `rate_roll.crossover_rad_s`, in the file's unit; `None` where there
/// is none.
#[must_use]
pub fn in_force(config: &Config, path: &str) -> Option<f64> {
    let (table, key) = path.split_once('.')?;
    match table {
        "loops" => LoopsTable::value(config, key),
        "rate" => RateTable::value(&config.rate, key),
        "rate_roll" => AxisTable::value(&config.rate.roll, key),
        "rate_pitch" => AxisTable::value(&config.rate.pitch, key),
        "rate_yaw" => AxisTable::value(&config.rate.yaw, key),
        "attitude" => AttitudeTable::value(&config.attitude, key),
        "tilt" => PartTable::value(&config.attitude.tilt, key),
        "heading" => PartTable::value(&config.attitude.heading, key),
        "thrust" => ThrustTable::value(&config.thrust, key),
        "mix" => MixTable::value(&config.mix, key),
        "vertical" => VerticalTable::value(&config.vertical, key),
        "velocity" => VelocityTable::value(&config.velocity, key),
        "position" => PositionTable::value(&config.position, key),
        _ => None,
    }
}

/// `[override]`.
#[derive(Deserialize, JsonSchema)]
pub(super) struct OverrideTables {
    loops: Option<LoopsTable>,
    attitude_divider: Option<u32>,
    velocity_divider: Option<u32>,
    notch: Option<NotchTable>,
    rate: Option<RateTable>,
    rate_roll: Option<AxisTable>,
    rate_pitch: Option<AxisTable>,
    rate_yaw: Option<AxisTable>,
    attitude: Option<AttitudeTable>,
    tilt: Option<PartTable>,
    heading: Option<PartTable>,
    thrust: Option<ThrustTable>,
    mix: Option<MixTable>,
    vertical: Option<VerticalTable>,
    velocity: Option<VelocityTable>,
    position: Option<PositionTable>,
    sticks: Option<SticksTable>,
    guard: Option<GuardTable>,
    attitude_estimate: Option<AttitudeEstimateTable>,
    vertical_estimate: Option<VerticalEstimateTable>,
    horizontal_estimate: Option<HorizontalEstimateTable>,
}

impl OverrideTables {
    /// Applies the overrides to `config`. A controller is built after each table: a table with which that
    /// fails is refused and not applied.
    pub(super) fn apply(self, document: &Document<'_>, config: &mut Config) {
        let mut attempt = |table: &str, change: &dyn Fn(&mut Config)| {
            let mut changed = *config;
            change(&mut changed);
            match FlightController::<aplomb::Libm>::new(&changed) {
                Ok(_) => *config = changed,
                Err(error) => refuse(document, table, error),
            }
        };
        macro_rules! attempt {
            ($($table:ident => $($part:ident).*;)+) => {
                $(if let Some(overrides) = self.$table {
                    attempt(concat!("override.", stringify!($table)), &|config| overrides.apply(&mut config.$($part).*));
                })+
            };
        }
        if let Some(overrides) = self.loops {
            attempt("override.loops", &|config| overrides.apply(config));
        }
        let (attitude_divider, velocity_divider) = (self.attitude_divider, self.velocity_divider);
        if attitude_divider.is_some() || velocity_divider.is_some() {
            let ticks = |given: Option<u32>, derived: u16| {
                given.map_or(derived, |ticks| u16::try_from(ticks).unwrap_or(u16::MAX))
            };
            attempt("override", &|config| {
                config.attitude_divider = ticks(attitude_divider, config.attitude_divider);
                config.velocity_divider = ticks(velocity_divider, config.velocity_divider);
            });
        }
        attempt! {
            notch => notch;
            rate => rate;
            rate_roll => rate.roll;
            rate_pitch => rate.pitch;
            rate_yaw => rate.yaw;
            attitude => attitude;
            tilt => attitude.tilt;
            heading => attitude.heading;
            thrust => thrust;
            mix => mix;
            vertical => vertical;
            velocity => velocity;
            position => position;
            sticks => pilot;
            guard => guard;
            attitude_estimate => estimate.attitude;
            vertical_estimate => estimate.vertical;
            horizontal_estimate => estimate.horizontal;
        }
    }
}

/// Refuses at the key of the field, in degrees where the field is in radians; without the key at its table.
fn refuse(document: &Document<'_>, table: &str, error: ConfigError) {
    let key = match error.field {
        field
            if field.ends_with("_rad")
                || field.contains("limit_rad_s")
                || field.starts_with("arming_")
                || field.starts_with("full_stick_") =>
        {
            field.replace("_rad", "_deg")
        }
        field => field.to_owned(),
    };
    let path = if table.is_empty() { key.clone() } else { format!("{table}.{key}") };
    document.refuse_at(&path, format!("`{key}` {}", reason(error, key != error.field)), None);
}
