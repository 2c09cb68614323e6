//! `controller.toml`: the controller's model of the craft and its settings.
//!
//! The parameters of the model are required. Every setting is optional:
//! [`aplomb::flight::Config::for_airframe`] derives it from the model; an `[override]` replaces the derived
//! value.

use aplomb::control::rate::Inertia;
use aplomb::error::Problem;
use aplomb::flight::{Airframe, Config};
use aplomb::mix::{self, Geometry, ThrustCurveConfig};
use aplomb::{ConfigError, FlightController};
use schemars::JsonSchema;
use serde::Deserialize;

use aplomb_study::craft::INCH_M;

use super::arms::{ArmTables, SpinWord};
use super::document::Document;
use super::overrides::OverrideTables;
use super::problem::InputError;
use super::refusal::reason;

/// Reads the settings of a controller from `text`; `path` names it in messages.
pub fn controller(path: &str, text: &str) -> Result<Config, InputError> {
    let document = Document::parse(path, text)?;
    let config = document.read::<ControllerFile>().and_then(|file| file.config(&document));
    document.finish(config)
}

#[derive(Deserialize, JsonSchema)]
pub(crate) struct ControllerFile {
    mass_kg: f64,
    inertia_kg_m2: [f64; 3],
    products_of_inertia_kg_m2: Option<[f64; 3]>,
    arms: ArmTables<ArmTable>,
    propeller: PropellerTable,
    thrust_curve: ThrustCurveTable,
    rotor_time_constant_s: f64,
    speed_controller_delay_s: f64,
    imu_delay_s: Option<f64>,
    rotor_drag_per_s: Option<f64>,
    #[serde(rename = "override")]
    overrides: Option<OverrideTables>,
}

#[derive(Deserialize, JsonSchema)]
struct ArmTable {
    x_m: f64,
    y_m: f64,
    spin: SpinWord,
}

#[derive(Deserialize, JsonSchema)]
struct PropellerTable {
    diameter_in: f64,
    torque_to_thrust_m: f64,
    inertia_kg_m2: f64,
    hover_rpm: f64,
}

#[derive(Deserialize, JsonSchema)]
struct ThrustCurveTable {
    max_thrust_n: f64,
    back_emf_share: f64,
    reference_voltage_v: f64,
    lowest_voltage_v: f64,
    highest_voltage_v: f64,
    voltage_filter_s: f64,
}

impl ControllerFile {
    fn config(self, document: &Document<'_>) -> Option<Config> {
        self.check(document);
        if !document.is_clean() {
            return None;
        }
        let airframe = self.airframe();
        let refuse = |error: ConfigError| {
            let reason = match (error.field, error.problem) {
                ("max_thrust_n", Problem::Inconsistent(reason)) => format!("{reason} of `mass_kg`"),
                ("reaction_time_constant_s", _) => format!(
                    "the derived {error}: it follows from this key, `torque_to_thrust_m`, `hover_rpm` and `mass_kg`"
                ),
                _ => reason(error, false),
            };
            document.refuse_at(key_path(error.field), reason, None);
        };
        let derived = Config::for_airframe(&airframe).and_then(|config| {
            FlightController::<aplomb::Libm>::new(&config)?;
            Ok(config)
        });
        let mut config = derived.map_err(refuse).ok()?;
        if let Some(overrides) = self.overrides {
            overrides.apply(document, &mut config);
        }
        Some(config)
    }

    /// Refuses all parameters outside of what a multirotor can have at once. The control crate checks the
    /// rest.
    fn check(&self, document: &Document<'_>) {
        let [roll, pitch, yaw] = self.inertia_kg_m2;
        let Self { propeller, thrust_curve: curve, .. } = self;
        document.require_ranges([
            ("mass_kg", self.mass_kg, 0.001, 1000.0),
            ("inertia_kg_m2[0]", roll, 1e-9, 1000.0),
            ("inertia_kg_m2[1]", pitch, 1e-9, 1000.0),
            ("inertia_kg_m2[2]", yaw, 1e-9, 1000.0),
            ("propeller.diameter_in", propeller.diameter_in, 0.5, 200.0),
            ("propeller.torque_to_thrust_m", propeller.torque_to_thrust_m, 1e-4, 1.0),
            ("propeller.inertia_kg_m2", propeller.inertia_kg_m2, 0.0, 10.0),
            ("propeller.hover_rpm", propeller.hover_rpm, 50.0, 200_000.0),
            ("thrust_curve.max_thrust_n", curve.max_thrust_n, 0.001, 10_000.0),
            ("thrust_curve.back_emf_share", curve.back_emf_share, 0.0, 1.0),
            ("thrust_curve.reference_voltage_v", curve.reference_voltage_v, 0.5, 1000.0),
            ("thrust_curve.lowest_voltage_v", curve.lowest_voltage_v, 0.5, 1000.0),
            ("thrust_curve.highest_voltage_v", curve.highest_voltage_v, 0.5, 1000.0),
            ("thrust_curve.voltage_filter_s", curve.voltage_filter_s, 0.0, 60.0),
            ("rotor_time_constant_s", self.rotor_time_constant_s, 0.001, 1.0),
            ("speed_controller_delay_s", self.speed_controller_delay_s, 0.0, 0.1),
            ("imu_delay_s", self.imu_delay_s.unwrap_or(0.0), 0.0, 0.02),
            ("rotor_drag_per_s", self.rotor_drag_per_s.unwrap_or(0.0), 0.0, 10.0),
        ]);
        self.arms.check(document, |arm| [("x_m", arm.x_m), ("y_m", arm.y_m)]);
    }

    fn airframe(&self) -> Airframe {
        let [roll, pitch, yaw] = self.inertia_kg_m2;
        let [xy, xz, yz] = self.products_of_inertia_kg_m2.unwrap_or_default();
        let arm = |table: &ArmTable| mix::Arm {
            x_m: table.x_m as f32,
            y_m: table.y_m as f32,
            spin: table.spin.into(),
        };
        let curve = &self.thrust_curve;
        Airframe {
            mass_kg: self.mass_kg as f32,
            inertia: Inertia {
                roll_kg_m2: roll as f32,
                pitch_kg_m2: pitch as f32,
                yaw_kg_m2: yaw as f32,
                forward_right_kg_m2: xy as f32,
                forward_down_kg_m2: xz as f32,
                right_down_kg_m2: yz as f32,
            },
            geometry: Geometry {
                arms: self.arms.rotors().map(arm),
                torque_to_thrust_m: self.propeller.torque_to_thrust_m as f32,
            },
            thrust_curve: ThrustCurveConfig {
                max_thrust_n: curve.max_thrust_n as f32,
                reference_voltage_v: curve.reference_voltage_v as f32,
                back_emf_share: curve.back_emf_share as f32,
                lowest_voltage_v: curve.lowest_voltage_v as f32,
                highest_voltage_v: curve.highest_voltage_v as f32,
                voltage_filter_s: curve.voltage_filter_s as f32,
            },
            rotor_diameter_m: (self.propeller.diameter_in * INCH_M) as f32,
            rotor_time_constant_s: self.rotor_time_constant_s as f32,
            speed_controller_delay_s: self.speed_controller_delay_s as f32,
            imu_delay_s: self.imu_delay_s.unwrap_or(0.0) as f32,
            rotor_inertia_kg_m2: self.propeller.inertia_kg_m2 as f32,
            hover_speed_rad_s: (self.propeller.hover_rpm * std::f64::consts::TAU / 60.0) as f32,
            rotor_drag_per_s: self.rotor_drag_per_s.map(|drag| drag as f32),
        }
    }
}

/// The key of the parameter from which an invalid field is derived.
fn key_path(field: &'static str) -> &'static str {
    match field {
        "max_thrust_n" => "thrust_curve.max_thrust_n",
        "reaction_time_constant_s" => "propeller.inertia_kg_m2",
        "back_emf_share" => "thrust_curve.back_emf_share",
        "reference_voltage_v" => "thrust_curve.reference_voltage_v",
        "lowest_voltage_v" => "thrust_curve.lowest_voltage_v",
        "highest_voltage_v" => "thrust_curve.highest_voltage_v",
        "voltage_filter_s" => "thrust_curve.voltage_filter_s",
        "torque_to_thrust_m" => "propeller.torque_to_thrust_m",
        "rotor_inertia_kg_m2" => "propeller.inertia_kg_m2",
        "hover_speed_rad_s" => "propeller.hover_rpm",
        "rotor_diameter_m" => "propeller.diameter_in",
        "rotor_drag_per_s" => "rotor_drag_per_s",
        "roll_kg_m2" | "pitch_kg_m2" | "yaw_kg_m2" | "inertia" => "inertia_kg_m2",
        "forward_right_kg_m2" | "forward_down_kg_m2" | "right_down_kg_m2" => "products_of_inertia_kg_m2",
        "x_m" | "y_m" => "arms",
        field => field,
    }
}
