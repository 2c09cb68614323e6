//! The controller file written by a tuning: model parameters of the craft and the tuned overrides.

use std::fmt::Write as _;

use aplomb::flight::Airframe;

use aplomb_study::craft::{Craft, INCH_M};
use aplomb_study::tune::parameter::{PARAMETERS, Setting};

/// Text of the controller file for `airframe` with the overrides in `settings`.
#[must_use]
pub fn text(craft: &Craft, airframe: &Airframe, settings: &[Setting]) -> String {
    let Airframe { inertia, geometry, thrust_curve: curve, .. } = airframe;
    let number = |value: f32| significant(f64::from(value));
    let list = |values: [f32; 3]| values.map(number).join(", ");
    let mut text = format!(
        "# Controller of the {}, derived from its craft file and refined by `aplomb tune`. Settings are derived from these\n\
         # parameters; an [override] table replaces them.\n\
         mass_kg = {}\n\
         inertia_kg_m2 = [{}] # roll, pitch, yaw\n",
        craft.name,
        number(airframe.mass_kg),
        list([inertia.roll_kg_m2, inertia.pitch_kg_m2, inertia.yaw_kg_m2])
    );
    let products = [inertia.forward_right_kg_m2, inertia.forward_down_kg_m2, inertia.right_down_kg_m2];
    if products != [0.0; 3] {
        let _ = writeln!(text, "products_of_inertia_kg_m2 = [{}]", list(products));
    }
    let _ = writeln!(
        text,
        "rotor_time_constant_s = {}\nspeed_controller_delay_s = {} # from a command to the voltage at the motor",
        number(airframe.rotor_time_constant_s),
        number(airframe.speed_controller_delay_s)
    );
    if let Some(drag) = airframe.rotor_drag_per_s {
        let _ = writeln!(text, "rotor_drag_per_s = {}", number(drag));
    }
    text.push_str("\n[arms]\n");
    let arms = geometry.arms.into_array();
    for (corner, arm) in ["front_left", "front_right", "rear_left", "rear_right"].into_iter().zip(arms) {
        let spin = match arm.spin {
            aplomb::Spin::Clockwise => "clockwise",
            aplomb::Spin::CounterClockwise => "counter_clockwise",
        };
        let _ = writeln!(
            text,
            "{corner} = {{ x_m = {}, y_m = {}, spin = \"{spin}\" }}",
            number(arm.x_m),
            number(arm.y_m)
        );
    }
    let _ = write!(
        text,
        "\n[propeller]\n\
         diameter_in = {}\n\
         torque_to_thrust_m = {}\n\
         inertia_kg_m2 = {} # propeller and bell\n\
         hover_rpm = {}\n\
         \n[thrust_curve]\n\
         max_thrust_n = {} # one rotor, at full command and the reference voltage, standard air at sea level\n\
         back_emf_share = {}\n\
         reference_voltage_v = {}\n\
         lowest_voltage_v = {}\n\
         highest_voltage_v = {}\n\
         voltage_filter_s = {}\n",
        significant(f64::from(airframe.rotor_diameter_m) / INCH_M),
        number(geometry.torque_to_thrust_m),
        number(airframe.rotor_inertia_kg_m2),
        significant(f64::from(airframe.hover_speed_rad_s) * 60.0 / std::f64::consts::TAU),
        number(curve.max_thrust_n),
        number(curve.back_emf_share),
        number(curve.reference_voltage_v),
        number(curve.lowest_voltage_v),
        number(curve.highest_voltage_v),
        number(curve.voltage_filter_s),
    );
    // Each table once, in the order of its first key.
    let mut tables: Vec<(&str, String)> = Vec::new();
    for setting in settings {
        for key in PARAMETERS[setting.parameter].keys {
            let value = f64::from((key.derived)(&setting.derived)) * setting.factor;
            let line = format!(
                "{} = {} # {} times the derived value\n",
                key.key,
                significant(value),
                significant(setting.factor)
            );
            match tables.iter_mut().find(|(table, _)| *table == key.table) {
                Some((_, lines)) => lines.push_str(&line),
                None => tables.push((key.table, line)),
            }
        }
    }
    for (table, lines) in tables {
        let _ = write!(text, "\n[override.{table}]\n{lines}");
    }
    text
}

/// A TOML float with four significant digits.
fn significant(value: f64) -> String {
    if value == 0.0 {
        return "0.0".to_owned();
    }
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    // Debug formatting keeps the decimal point of a TOML float.
    format!("{rounded:?}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_keep_their_decimal_point() {
        assert_eq!(significant(0.123_456), "0.1235");
        assert_eq!(significant(5600.4), "5600.0");
        assert_eq!(significant(-4.0e-7), "-4e-7");
    }
}
