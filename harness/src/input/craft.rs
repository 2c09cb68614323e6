//! `craft.toml`: parameters of the simulated craft.
//!
//! A key without a default is required. A sensor without its table is not fitted. Each sensor has a class;
//! any key of its table replaces the value of the class.

use aplomb_craft::{
    AirConfig, Arm, Config, ConfigError, Payload, Plant, Reason, Start, battery, drag, ground, ground_effect,
    rotor, sensors, speed_controller,
};
use schemars::JsonSchema;
use serde::Deserialize;

use aplomb_study::craft::{Craft, INCH_M};

use super::arms::{ArmTables, SpinWord};
use super::document::Document;
use super::gimbal::GimbalTable;
use super::problem::InputError;
use super::propeller::PropellerTable;
use super::refusal::refuse_as;
use super::sensors::{BarometerTable, GnssTable, ImuTable, MagnetometerTable};

/// Control period of the check on loading, in s.
const TICK_S: f64 = 0.001;
/// Height of the check on loading, in m.
const TRIAL_HEIGHT_M: f64 = 10.0;

/// Reads a craft from `text`; `path` is its name in messages. Refuses a craft that cannot hover.
pub fn craft(path: &str, text: &str) -> Result<Craft, InputError> {
    let document = Document::parse(path, text)?;
    let craft = document.read::<CraftFile>().map(|file| file.convert(&document));
    if let Some(craft) = craft.as_ref().filter(|_| document.is_clean()) {
        let start = Start { airborne: true, height_m: TRIAL_HEIGHT_M, ..Start::default() };
        if let Err(error) = Plant::new(&craft.config, &AirConfig::default(), &start, 1, TICK_S) {
            refuse(&document, error);
        }
    }
    document.finish(craft)
}

const THRUST: &str = "thrust follows from [propeller], kv_rpm_per_v, resistance_ohm and current_limit_a of the motor, cells, \
                      charge_percent and resistance_ohm of the battery; the weight from mass_kg";

fn refuse(document: &Document<'_>, error: ConfigError) {
    let key = key_path(error.field);
    // Bounds in the units of the file.
    let error = match error.reason {
        Reason::OutOfRange(low, high) if key.ends_with("_percent") => {
            ConfigError { reason: Reason::OutOfRange(100.0 * low, 100.0 * high), ..error }
        }
        Reason::OutOfRange(low, high) if key.ends_with("_deg") => {
            ConfigError { reason: Reason::OutOfRange(low.to_degrees(), high.to_degrees()), ..error }
        }
        Reason::OutOfRange(low, high) if key.ends_with("_in") => {
            ConfigError { reason: Reason::OutOfRange(low / INCH_M, high / INCH_M), ..error }
        }
        _ => error,
    };
    let help = matches!(error.reason, Reason::CannotHover).then_some(THRUST);
    refuse_as(document, &key, error, help);
}

/// Key of the file for a field of [`Config`].
fn key_path(field: &str) -> String {
    match field {
        "rotor" => "motor".to_owned(),
        "rotor.thrust_n_s2" => "propeller.thrust_coefficient".to_owned(),
        "rotor.torque_nm_s2" => "propeller.power_coefficient".to_owned(),
        "rotor.blades" | "rotor.designation.blades" => "propeller.blades".to_owned(),
        "rotor.designation.diameter_m" => "propeller.diameter_in".to_owned(),
        "rotor.designation.pitch_m" => "propeller.pitch_in".to_owned(),
        "ground_effect.radius_m" => "propeller.diameter_in".to_owned(),
        "speed_controller.slew_per_s" => "speed_controller.slew_percent_s".to_owned(),
        "rotor.imbalance_kg_m" => "motor.imbalance_g_mm".to_owned(),
        _ => field
            .replace("rotor.", "motor.")
            .replace("ground.foot_", "landing_gear.")
            .replace("ground.", "landing_gear.")
            .replace("sensors.", "")
            .replace("scale_factor_share", "scale_factor_percent")
            .replace("soft_iron_share", "soft_iron_percent")
            .replace("per_force_s_m", "g_sensitivity_deg_s")
            .replace("bias_instability_rad_s", "bias_instability_deg_h")
            .replace("rad", "deg"),
    }
}

#[derive(Deserialize, JsonSchema)]
pub(crate) struct CraftFile {
    name: String,
    mass_kg: f64,
    inertia_kg_m2: [f64; 3],
    products_of_inertia_kg_m2: Option<[f64; 3]>,
    arms: ArmTables<ArmTable>,
    propeller: PropellerTable,
    motor: MotorTable,
    speed_controller: SpeedControllerTable,
    battery: BatteryTable,
    drag: DragTable,
    landing_gear: LandingGearTable,
    payload: Option<PayloadTable>,
    imu: ImuTable,
    barometer: Option<BarometerTable>,
    gnss: Option<GnssTable>,
    magnetometer: Option<MagnetometerTable>,
    gimbal: Option<GimbalTable>,
}

#[derive(Deserialize, JsonSchema)]
struct ArmTable {
    x_m: f64,
    y_m: f64,
    z_m: Option<f64>,
    spin: SpinWord,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum BrakingWord {
    Active,
    Coasting,
}

#[derive(Deserialize, JsonSchema)]
struct MotorTable {
    kv_rpm_per_v: f64,
    resistance_ohm: f64,
    no_load_current_a: f64,
    current_limit_a: Option<f64>,
    inertia_kg_m2: f64,
    imbalance_g_mm: Option<f64>,
}

#[derive(Deserialize, JsonSchema)]
struct SpeedControllerTable {
    steps: u32,
    delay_s: f64,
    stop_below_percent: f64,
    slew_percent_s: Option<f64>,
    braking: Option<BrakingWord>,
}

#[derive(Deserialize, JsonSchema)]
struct BatteryTable {
    cells: u32,
    capacity_ah: f64,
    charge_percent: f64,
    resistance_ohm: f64,
    base_current_a: f64,
    transients: Option<bool>,
}

#[derive(Deserialize, JsonSchema)]
struct DragTable {
    rotor_drag_per_s: Option<[f64; 3]>,
    scaled_with_thrust: Option<bool>,
    body_drag_n_s_m: Option<[f64; 3]>,
    drag_area_m2: Option<[f64; 3]>,
    rotational_damping_nm_s: Option<[f64; 3]>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct PayloadTable {
    mass_kg: f64,
    position_m: [f64; 3],
}

#[derive(Deserialize, JsonSchema)]
struct LandingGearTable {
    x_m: f64,
    y_m: f64,
    z_m: f64,
    static_deflection_m: f64,
    damping_ratio: f64,
    friction: f64,
    ground_effect: Option<bool>,
}

impl CraftFile {
    /// Refuses all values outside of what a multirotor can have at once. The plant checks the rest.
    fn check(&self, document: &Document<'_>) {
        let Self { motor, battery, landing_gear, speed_controller, .. } = self;
        document.require_one_line("name", &self.name);
        let [roll, pitch, yaw] = self.inertia_kg_m2;
        document.require_ranges([
            ("mass_kg", self.mass_kg, 0.001, 1000.0),
            ("inertia_kg_m2[0]", roll, 1e-9, 1000.0),
            ("inertia_kg_m2[1]", pitch, 1e-9, 1000.0),
            ("inertia_kg_m2[2]", yaw, 1e-9, 1000.0),
            ("speed_controller.delay_s", speed_controller.delay_s, 0.0, 0.03),
            ("motor.kv_rpm_per_v", motor.kv_rpm_per_v, 5.0, 100_000.0),
            ("motor.resistance_ohm", motor.resistance_ohm, 1e-4, 100.0),
            ("motor.no_load_current_a", motor.no_load_current_a, 0.0, 100.0),
            ("motor.current_limit_a", motor.current_limit_a.unwrap_or(1.0), 0.01, 10_000.0),
            ("motor.inertia_kg_m2", motor.inertia_kg_m2, 1e-12, 10.0),
            ("battery.cells", f64::from(battery.cells), 1.0, 14.0),
            ("battery.capacity_ah", battery.capacity_ah, 0.001, 1000.0),
            ("battery.charge_percent", battery.charge_percent, 0.0, 100.0),
            ("battery.resistance_ohm", battery.resistance_ohm, 0.0, 10.0),
            ("battery.base_current_a", battery.base_current_a, 0.0, 100.0),
            ("speed_controller.stop_below_percent", speed_controller.stop_below_percent, 0.0, 100.0),
            ("speed_controller.slew_percent_s", speed_controller.slew_percent_s.unwrap_or(100.0), 1.0, 1e6),
            ("landing_gear.x_m", landing_gear.x_m, 0.001, 10.0),
            ("landing_gear.y_m", landing_gear.y_m, 0.001, 10.0),
            ("landing_gear.z_m", landing_gear.z_m, 0.001, 10.0),
        ]);
        self.arms
            .check(document, |arm| [("x_m", arm.x_m), ("y_m", arm.y_m), ("z_m", arm.z_m.unwrap_or(0.0))]);
    }

    fn convert(self, document: &Document<'_>) -> Craft {
        self.check(document);
        self.propeller.check(document);
        self.gimbal.iter().for_each(|gimbal| gimbal.check(document));
        let [roll, pitch, yaw] = self.inertia_kg_m2;
        let [xy, xz, yz] = self.products_of_inertia_kg_m2.unwrap_or_default();
        let PropellerTable { diameter_in, pitch_in, .. } = self.propeller;
        let (thrust_n_s2, torque_nm_s2, inflow) = self.propeller.convert(document);
        let config = Config {
            mass_kg: self.mass_kg,
            inertia_kg_m2: [[roll, -xy, -xz], [-xy, pitch, -yz], [-xz, -yz, yaw]],
            arms: self.arms.rotors().map(ArmTable::convert),
            rotor: rotor::Config {
                thrust_n_s2,
                torque_nm_s2,
                inflow,
                inertia_kg_m2: self.motor.inertia_kg_m2,
                kv_rpm_per_v: self.motor.kv_rpm_per_v,
                resistance_ohm: self.motor.resistance_ohm,
                no_load_current_a: self.motor.no_load_current_a,
                current_limit_a: self.motor.current_limit_a,
                braking: match self.speed_controller.braking {
                    Some(BrakingWord::Coasting) => rotor::Braking::Coasting,
                    Some(BrakingWord::Active) | None => rotor::Braking::Active,
                },
                blades: self.propeller.blades,
                imbalance_kg_m: self.motor.imbalance_g_mm.unwrap_or(0.0) * 1e-6,
                blade_pass_share: self.propeller.thrust_ripple_percent.unwrap_or(0.0) / 100.0,
            },
            battery: battery::Config {
                cells: self.battery.cells,
                capacity_ah: self.battery.capacity_ah,
                state_of_charge: self.battery.charge_percent / 100.0,
                resistance_ohm: self.battery.resistance_ohm,
                base_current_a: self.battery.base_current_a,
                transients: self.battery.transients.unwrap_or(false),
            },
            drag: drag::Config {
                rotor_drag_per_s: self.drag.rotor_drag_per_s.unwrap_or_default(),
                scaled_with_thrust: self.drag.scaled_with_thrust.unwrap_or_default(),
                body_drag_n_s_m: self.drag.body_drag_n_s_m.unwrap_or_default(),
                drag_area_m2: self.drag.drag_area_m2.unwrap_or_default(),
                rotational_damping_nm_s: self.drag.rotational_damping_nm_s.unwrap_or_default(),
            },
            ground: ground::Config {
                foot_x_m: self.landing_gear.x_m,
                foot_y_m: self.landing_gear.y_m,
                foot_z_m: self.landing_gear.z_m,
                centre_x_m: 0.0,
                centre_y_m: 0.0,
                static_deflection_m: self.landing_gear.static_deflection_m,
                damping_ratio: self.landing_gear.damping_ratio,
                friction: self.landing_gear.friction,
            },
            ground_effect: self
                .landing_gear
                .ground_effect
                .unwrap_or(true)
                .then_some(ground_effect::Config { radius_m: 0.5 * diameter_in * INCH_M }),
            speed_controller: speed_controller::Config {
                steps: self.speed_controller.steps,
                delay_s: self.speed_controller.delay_s,
                stop_below: self.speed_controller.stop_below_percent / 100.0,
                slew_per_s: self.speed_controller.slew_percent_s.map(|percent| percent / 100.0),
            },
            sensors: sensors::Config {
                imu: Some(self.imu.convert()),
                barometer: self.barometer.map(BarometerTable::convert),
                gnss: self.gnss.map(GnssTable::convert),
                magnetometer: self.magnetometer.map(MagnetometerTable::convert),
            },
            gimbal: self.gimbal.map(GimbalTable::convert),
        };
        let config = match self.payload {
            Some(PayloadTable { mass_kg, position_m }) => {
                config.with_payload(&Payload { mass_kg, position_m }).unwrap_or_else(|error| {
                    refuse(document, error);
                    config
                })
            }
            None => config,
        };
        Craft { name: self.name, diameter_in, pitch_in, config }
    }
}

impl ArmTable {
    fn convert(&self) -> Arm {
        Arm { x_m: self.x_m, y_m: self.y_m, z_m: self.z_m.unwrap_or(0.0), spin: self.spin.into() }
    }
}
