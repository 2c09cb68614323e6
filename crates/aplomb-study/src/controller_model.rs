//! Controller model of a craft, derived from its true parameters: the initial controller where there is no
//! controller file.

use aplomb::control::rate::Inertia;
use aplomb::flight::{Airframe, Config};
use aplomb::mix::{Arm, Geometry, ThrustCurveConfig};
use aplomb::{ConfigError, FlightController};
use aplomb_craft::battery::cell;
use aplomb_craft::gravity::STANDARD_M_S2;

use crate::craft::Craft;
use crate::craft::INCH_M;

/// Lithium-polymer cell, in V: empty and full (common practice, no source).
const CELL_V: (f64, f64) = (3.0, 4.2);
/// Time constant in s of the battery voltage filter: slow against a climb, fast against a discharge.
const VOLTAGE_FILTER_S: f64 = 0.5;

/// The controller configuration derived from the true parameters of `craft`.
///
/// # Errors
/// A craft that the control crate refuses, such as one that cannot lift 1.3 times its weight.
pub fn controller(craft: &Craft) -> Result<Config, ConfigError> {
    let config = Config::for_airframe(&airframe(craft))?;
    FlightController::<aplomb::Libm>::new(&config)?;
    Ok(config)
}

/// The parameters of `craft` as the control crate takes them.
#[must_use]
pub fn airframe(craft: &Craft) -> Airframe {
    let truth = &craft.config;
    let [[roll, forward_right, forward_down], [_, pitch, right_down], [_, _, yaw]] =
        truth.inertia_kg_m2.map(|row| row.map(|value| value as f32));
    let hover_speed = truth.rotor.static_speed_rad_s(truth.mass_kg * STANDARD_M_S2 / 4.0, 1.0);
    Airframe {
        mass_kg: truth.mass_kg as f32,
        inertia: Inertia {
            roll_kg_m2: roll,
            pitch_kg_m2: pitch,
            yaw_kg_m2: yaw,
            forward_right_kg_m2: -forward_right,
            forward_down_kg_m2: -forward_down,
            right_down_kg_m2: -right_down,
        },
        geometry: Geometry {
            arms: truth.arms.map(|arm| Arm { x_m: arm.x_m as f32, y_m: arm.y_m as f32, spin: arm.spin }),
            torque_to_thrust_m: (truth.rotor.static_torque_nm(hover_speed, 1.0)
                / truth.rotor.static_thrust_n(hover_speed, 1.0)) as f32,
        },
        thrust_curve: thrust_curve(craft, hover_speed),
        rotor_diameter_m: (craft.diameter_in * INCH_M) as f32,
        rotor_time_constant_s: truth.rotor.time_constant_s(hover_speed, 1.0) as f32,
        speed_controller_delay_s: truth.speed_controller.delay_s as f32,
        // A first-order low-pass delays a slow signal by its time constant.
        imu_delay_s: truth
            .sensors
            .imu
            .as_ref()
            .map_or(0.0, |imu| 0.5 / (std::f64::consts::PI * imu.low_pass_hz) + imu.delay_s)
            .min(0.02) as f32,
        rotor_inertia_kg_m2: truth.rotor.inertia_kg_m2 as f32,
        hover_speed_rad_s: hover_speed as f32,
        rotor_drag_per_s: Some(truth.drag.rotor_drag_per_s[0] as f32).filter(|&drag| drag > 0.0),
    }
}

/// The thrust curve at the battery voltage in hover.
fn thrust_curve(craft: &Craft, hover_speed: f64) -> ThrustCurveConfig {
    let (rotor, battery) = (&craft.config.rotor, &craft.config.battery);
    let cells = f64::from(battery.cells);
    let hover_a = 4.0 * rotor.steady_current_a(hover_speed, 1.0) + battery.base_current_a;
    let voltage_v = cells * cell::open_circuit_v(battery.state_of_charge) - battery.resistance_ohm * hover_a;
    let speed = rotor.steady_speed_rad_s(voltage_v, 1.0);
    ThrustCurveConfig {
        max_thrust_n: rotor.static_thrust_n(speed, 1.0) as f32,
        reference_voltage_v: voltage_v as f32,
        back_emf_share: (rotor.torque_constant_nm_a() * speed / voltage_v) as f32,
        lowest_voltage_v: (cells * CELL_V.0) as f32,
        highest_voltage_v: (cells * CELL_V.1) as f32,
        voltage_filter_s: VOLTAGE_FILTER_S as f32,
    }
}
