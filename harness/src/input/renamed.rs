//! Keys and words of input files that were renamed: a file with the old name is refused with the new one as
//! the hint.

/// Old name, new name. An old name may be in several rows: the row whose new name is valid at that location
/// applies.
const RENAMED: &[(&str, &str)] = &[
    // craft.toml
    ("feet", "landing_gear"),
    ("receiver", "gnss"),
    ("camera_mount", "gimbal"),
    ("rotor_1_s", "rotor_drag_per_s"),
    ("body_n_s_m", "body_drag_n_s_m"),
    ("body_area_m2", "drag_area_m2"),
    ("turn_nm_s", "rotational_damping_nm_s"),
    ("sink_m", "static_deflection_m"),
    ("instability_s", "bias_correlation_time_s"),
    ("instability_deg_h", "bias_instability_deg_h"),
    ("instability_m_s2", "bias_instability_m_s2"),
    ("random_walk_deg_s_rts", "rate_random_walk_deg_s_rts"),
    ("random_walk_m_s2_rts", "acceleration_random_walk_m_s2_rts"),
    ("turn_on_deg_s", "turn_on_bias_deg_s"),
    ("turn_on_m_s2", "turn_on_bias_m_s2"),
    ("scale_percent", "scale_factor_percent"),
    ("step_deg_s", "resolution_deg_s"),
    ("step_m_s2", "resolution_m_s2"),
    ("white_m", "white_noise_m"),
    ("correlated_m", "correlated_noise_m"),
    ("correlated_s", "correlation_time_s"),
    ("wash_m", "rotor_wash_m"),
    ("wash_below_m", "rotor_wash_below_m"),
    ("velocity_m_s", "velocity_noise_m_s"),
    ("field_ut", "magnetic_field_ut"),
    ("white_ut", "white_noise_ut"),
    ("offset_ut", "hard_iron_ut"),
    ("stall_nm", "stall_torque_nm"),
    ("free_deg_s", "no_load_speed_deg_s"),
    ("viscous_nm_s", "viscous_friction_nm_s"),
    ("dry_nm", "coulomb_friction_nm"),
    ("gyro_offset_deg_s", "gyro_bias_deg_s"),
    ("view_deg", "field_of_view_deg"),
    // controller.toml
    ("wish", "override"),
    ("delay_s", "speed_controller_delay_s"),
    ("rotor_lag_s", "rotor_time_constant_s"),
    ("rotor_drag_1_s", "rotor_drag_per_s"),
    ("full_n", "max_thrust_n"),
    ("low_n", "min_thrust_n"),
    ("high_n", "max_thrust_n"),
    ("speed_share", "back_emf_share"),
    ("attitude_every", "attitude_divider"),
    ("velocity_every", "velocity_divider"),
    ("least_command", "idle_command"),
    ("centre_softness", "expo"),
    ("full_stick_deg", "full_stick_tilt_deg"),
    ("full_stick_deg_s", "full_stick_yaw_rate_deg_s"),
    ("reference_rad_s", "reference_bandwidth_rad_s"),
    ("home_k", "home_temperature_k"),
    ("tilt_time_s", "tilt_time_constant_s"),
    ("tilt_start_s", "initial_tilt_time_constant_s"),
    ("offset_time_s", "bias_time_constant_s"),
    ("offset_start_s", "initial_bias_time_constant_s"),
    ("offset_limit_deg_s", "max_gyro_bias_deg_s"),
    ("heading_time_s", "heading_time_constant_s"),
    ("heading_offset_time_s", "heading_bias_time_constant_s"),
    ("acceleration_walk", "bias_random_walk_m_s2_rts"),
    ("position_noise_m", "position_white_noise_m"),
    ("velocity_noise_m_s", "velocity_white_noise_m_s"),
    ("gate_m", "position_gate_m"),
    ("gate_m_s", "velocity_gate_m_s"),
    ("worst_accuracy_m", "max_accuracy_m"),
    // Flight files and requirements.toml
    ("expect", "check"),
    ("place_m", "position_m"),
    ("place_error_m", "position_error_m"),
    ("place_control_error_m", "position_error_to_gnss_m"),
    ("north_control_error_m", "north_error_to_gnss_m"),
    ("east_control_error_m", "east_error_to_gnss_m"),
    ("place_estimate_error_m", "position_estimate_error_m"),
    ("carried_off", "cannot_hold_position"),
    ("roll_pitch_cut", "roll_pitch_saturated"),
    ("thrust_cut", "thrust_saturated"),
    ("yaw_cut", "yaw_saturated"),
    ("rotor_rpm_spread_percent", "rotor_rpm_range_percent"),
    ("over_seeds", "pooling"),
    ("offset", "bias"),
    ("offset_deg_s", "bias_deg_s"),
    ("offset_m_s2", "bias_m_s2"),
    ("offset_ut", "bias_ut"),
    ("offset_pa", "bias_pa"),
    ("offset_m", "bias_m"),
    // Requirements
    ("gain-margin-up", "upper-gain-margin"),
    ("gain-margin-down", "lower-gain-margin"),
    ("tilt-believed", "tilt-estimated"),
    ("heading-coupling", "yaw-coupling"),
    // dispersions.toml
    ("motor_lag_percent", "motor_time_constant_percent"),
    ("receiver_noise_percent", "gnss_noise_percent"),
];

/// The new name of `found` among the names that are `valid` at its location.
pub(super) fn new_name<'a>(found: &str, valid: &[&'a str]) -> Option<&'a str> {
    RENAMED
        .iter()
        .filter(|(old, _)| *old == found)
        .find_map(|(_, new)| valid.iter().copied().find(|name| name == new))
}

#[cfg(test)]
mod tests {
    use super::super::InputError;
    use super::*;
    use crate::input::demo::{CONTROLLER, CRAFT, FLIGHTS};

    /// Asserts that `error` consists of `what` renamed from `old` to `new`, once or more.
    #[track_caller]
    fn assert_renamed(error: &InputError, what: &str, [new, old]: [&str; 2]) {
        let help = format!("`{old}` is now `{new}`");
        assert!(!error.problems.is_empty());
        for problem in &error.problems {
            assert_eq!((problem.reason.as_str(), problem.help.as_deref()), (what, Some(help.as_str())));
        }
    }

    #[test]
    fn old_key_of_a_craft_is_refused_with_the_new_one_and_nothing_else() {
        for (new, old) in [
            ("static_deflection_m", "sink_m"),
            ("[landing_gear]", "[feet]"),
            ("no_load_speed_deg_s", "free_deg_s"),
            ("accel.turn_on_bias_m_s2", "accel.turn_on_m_s2"),
        ] {
            let error = crate::input::craft(CRAFT.path, &CRAFT.text.replace(new, old)).unwrap_err();
            let [new, old] = [new, old].map(|key| key.trim_matches(['[', ']']).rsplit('.').next().unwrap());
            assert_renamed(&error, &format!("unknown key `{old}`"), [new, old]);
        }
    }

    #[test]
    fn old_key_of_a_controller_is_refused_with_the_new_one_and_nothing_else() {
        let model = &CONTROLLER.text[..CONTROLLER.text.find("\n[override").unwrap()];
        let text = model.to_owned()
            + "\n[override]\nattitude_divider = 5\nvelocity_divider = 25\n[override.loops]\nidle_command = 0.05\n\
               [override.tilt]\nreference_bandwidth_rad_s = 10\n[override.thrust]\nmin_thrust_n = 1\n\
               [override.sticks]\nexpo = 0.3\nfull_stick_tilt_deg = 20\nfull_stick_yaw_rate_deg_s = 40\n\
               [override.vertical_estimate]\nhome_temperature_k = 288\n";
        crate::input::controller(CONTROLLER.path, &text).unwrap();
        for (new, old) in [
            ("speed_controller_delay_s", "delay_s"),
            ("full_stick_tilt_deg", "full_stick_deg"),
            ("full_stick_yaw_rate_deg_s", "full_stick_deg_s"),
            ("rotor_time_constant_s", "rotor_lag_s"),
            ("rotor_drag_per_s", "rotor_drag_1_s"),
            ("max_thrust_n", "full_n"),
            ("back_emf_share", "speed_share"),
            ("attitude_divider", "attitude_every"),
            ("velocity_divider", "velocity_every"),
            ("idle_command", "least_command"),
            ("reference_bandwidth_rad_s", "reference_rad_s"),
            ("min_thrust_n", "low_n"),
            ("expo", "centre_softness"),
            ("home_temperature_k", "home_k"),
        ] {
            let old_text = text.replace(&format!("\n{new} "), &format!("\n{old} "));
            let error = crate::input::controller(CONTROLLER.path, &old_text).unwrap_err();
            assert_renamed(&error, &format!("unknown key `{old}`"), [new, old]);
        }
        let error =
            crate::input::controller(CONTROLLER.path, &text.replace("[override", "[wish")).unwrap_err();
        assert_renamed(&error, "unknown key `wish`", ["override", "wish"]);
    }

    #[test]
    fn old_key_and_old_signal_of_a_flight_are_refused_with_the_new_one_and_nothing_else() {
        let flight = FLIGHTS.iter().find(|file| file.text.contains("\"position_error_to_gnss_m\"")).unwrap();
        let old = flight.text.replace("\"position_error_to_gnss_m\"", "\"place_control_error_m\"");
        let error = crate::input::flight(flight.path, "flight", &old).unwrap_err();
        let words = ["position_error_to_gnss_m", "place_control_error_m"];
        assert_renamed(&error, "unknown word \"place_control_error_m\"", words);
        for (old, new) in [
            ("roll_pitch_cut", "roll_pitch_saturated"),
            ("thrust_cut", "thrust_saturated"),
            ("yaw_cut", "yaw_saturated"),
            ("rotor_rpm_spread_percent", "rotor_rpm_range_percent"),
            ("carried_off", "cannot_hold_position"),
            ("place_error_m", "position_error_m"),
            ("place_estimate_error_m", "position_estimate_error_m"),
            ("north_control_error_m", "north_error_to_gnss_m"),
            ("east_control_error_m", "east_error_to_gnss_m"),
        ] {
            let text = flight.text.replace("\"position_error_to_gnss_m\"", &format!("\"{old}\""));
            let error = crate::input::flight(flight.path, "flight", &text).unwrap_err();
            assert_renamed(&error, &format!("unknown word \"{old}\""), [new, old]);
        }
        let old = flight.text.replace("[[check]]", "[[check]]\nover_seeds = \"worst\"");
        let error = crate::input::flight(flight.path, "flight", &old).unwrap_err();
        assert_renamed(&error, "unknown key `over_seeds`", ["pooling", "over_seeds"]);
        let fault = "\n[[fault]]\nat_s = 1\nsensor = \"gnss\"\nkind = \"bias\"\nbias_m = { up = 1 }\n";
        crate::input::flight(flight.path, "flight", &(flight.text.to_owned() + fault)).unwrap();
        let old = flight.text.to_owned() + &fault.replace("bias_m", "offset_m");
        let error = crate::input::flight(flight.path, "flight", &old).unwrap_err();
        assert_renamed(&error, "unknown key `offset_m`", ["bias_m", "offset_m"]);
        let old = flight.text.to_owned() + &fault.replace("\"bias\"", "\"offset\"");
        let error = crate::input::flight(flight.path, "flight", &old).unwrap_err();
        assert_renamed(&error, "unknown word \"offset\"", ["bias", "offset"]);
        let old = flight.text.replace("[[check]]", "[[expect]]");
        let error = crate::input::flight(flight.path, "flight", &old).unwrap_err();
        assert_renamed(&error, "unknown key `expect`", ["check", "expect"]);
    }

    #[test]
    fn new_name_counts_only_where_it_is_valid() {
        assert_eq!(new_name("velocity_m_s", &["rate_hz", "velocity_noise_m_s"]), Some("velocity_noise_m_s"));
        assert_eq!(new_name("velocity_m_s", &["rate_hz", "position_m"]), None);
        assert_eq!(new_name("velocity_noise_m_s", &["velocity_noise_m_s"]), None);
    }

    #[test]
    fn every_new_name_is_in_the_reference_of_the_keys_or_a_requirement() {
        let (craft, controller) =
            (super::super::demo_craft().unwrap(), super::super::demo_controller().unwrap());
        let size = aplomb_study::requirements::Size::of(&craft, &controller);
        let requirements = aplomb_study::requirements::table::requirements(&size);
        let keys = crate::input::demo::KEYS.text;
        for (_, new) in RENAMED {
            let listed = ["`", "\"", "[", ".", "{ ", "`["]
                .iter()
                .any(|before| keys.contains(&format!("{before}{new}")));
            assert!(listed || requirements.iter().any(|requirement| requirement.id == *new), "{new}");
        }
    }

    #[test]
    fn no_row_is_repeated_or_renames_a_name_to_itself() {
        for (i, row) in RENAMED.iter().enumerate() {
            assert!(row.0 != row.1 && !RENAMED[..i].contains(row), "{row:?}");
        }
    }
}
