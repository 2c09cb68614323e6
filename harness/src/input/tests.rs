//! Every kind of mistake in a file: location, text, reason and hint.

use aplomb_flight::FlightPlan;

use super::*;

/// `line:column text | reason | help` of each problem.
fn reported(error: &InputError) -> Vec<String> {
    let reported = error.problems.iter().map(|problem| {
        let location = problem
            .location
            .as_ref()
            .map_or("-".to_owned(), |at| format!("{}:{} {}", at.line, at.column, at.text));
        format!("{location} | {} | {}", problem.reason, problem.help.as_deref().unwrap_or("-"))
    });
    reported.collect()
}

const GOOD: &str = r#"title = "Hold"
purpose = "Shows that it holds."
duration_s = 30.0
start = "hover"
height_m = 6
"#;

const EXPECT: &str = "[[check]]\nwhat = \"height_error_m\"\nshare = 0.95\nat_most = 0.3\n";

fn flight(extra: &str) -> Result<FlightPlan, InputError> {
    crate::input::flight("flight.toml", "flight", &format!("{GOOD}{extra}{EXPECT}"))
}

#[track_caller]
fn flight_reports(extra: &str, expected: &[&str]) {
    match flight(extra) {
        Ok(_) => panic!("accepted: {extra}"),
        Err(error) => assert_eq!(reported(&error), expected),
    }
}

#[test]
fn good_flight_is_accepted() {
    let plan = flight("").unwrap();
    assert_eq!((plan.seed, plan.duration_s, plan.checks.len()), (1, 30.0, 1));
    assert_eq!(plan.checks[0].words(), "height error, 95 % of the time, 0 to 30 s");
}

#[test]
fn unknown_key_gets_the_nearest_valid_one() {
    flight_reports(
        "haeding_deg = 3\n",
        &["6:1 haeding_deg | unknown key `haeding_deg` | did you mean `heading_deg`?"],
    );
    flight_reports(
        "[[gust]]\nat_s = 1\npeak_m_s = 6\nlength_m = 40\nfrom_deg = 0\nwobble = 1\n",
        &["11:1 wobble | unknown key `wobble` | valid here: at_s, peak_m_s, length_m, from_deg, dies_down"],
    );
}

#[test]
fn missing_unit_is_named_and_not_reported_as_missing_key_too() {
    flight_reports(
        "[[push]]\nat = 1\nuntil_s = 2\nforce_n = { up = 1 }\n",
        &["7:1 at | unknown key `at` | did you mean `at_s`? The key of a number carries its unit"],
    );
    let craft =
        crate::input::craft("craft.toml", &CRAFT.replace("mass_kg = 1.23", "mass = 1.23")).unwrap_err();
    assert_eq!(
        reported(&craft),
        ["4:1 mass | unknown key `mass` | did you mean `mass_kg`? The key of a number carries its unit"]
    );
}

#[test]
fn wrong_type_is_reported_with_the_required_type() {
    flight_reports("seed = -1\n", &["6:8 -1 | expected a whole number, 0 or more, found the number -1 | -"]);
    flight_reports(
        "heading_deg = \"north\"\n",
        &["6:15 \"north\" | expected a finite number, found a text | -"],
    );
    flight_reports("heading_deg = nan\n", &["6:15 nan | expected a finite number, found the number nan | -"]);
    flight_reports(
        "[[command]]\nat_s = 1\nland = 1\n",
        &["8:8 1 | expected true or false, found the number 1 | -"],
    );
    let one_wind = "expected a list ([[double brackets]] for each entry), found a table";
    flight_reports("[wind]\nwind_m_s = 3\n", &[&format!("6:1 [wind] | {one_wind} | -")]);
    let vector = CRAFT.replace("[0.0113, 0.0122, 0.0214]", "[0.0113, 0.0122]");
    assert_eq!(
        reported(&crate::input::craft("craft.toml", &vector).unwrap_err()),
        ["5:17 [0.0113, 0.0122] | expected a list of 3, found a list of 2 | -"]
    );
}

#[test]
fn unknown_word_gets_the_nearest_valid_one() {
    flight_reports(
        "[turbulence]\nintensity = \"modrate\"\n",
        &["7:13 \"modrate\" | unknown word \"modrate\" | did you mean `moderate`?"],
    );
    flight_reports(
        "[turbulence]\nintensity = \"gusty\"\n",
        &["7:13 \"gusty\" | unknown word \"gusty\" | valid here: light, moderate, severe"],
    );
}

#[test]
fn missing_key_is_reported_at_the_table_that_lacks_it() {
    flight_reports(
        "[[command]]\nat_s = 1\nposition_m = { north = 3 }\n",
        &["8:14 { north = 3 } | missing key `east` | `east` is a finite number"],
    );
    let text = GOOD.replace("title = \"Hold\"\n", "") + EXPECT;
    let error = crate::input::flight("flight.toml", "flight", &text).unwrap_err();
    assert_eq!(reported(&error), ["1:1  | missing key `title` | `title` is a text"]);
}

#[test]
fn impossible_value_is_reported_at_the_value() {
    flight_reports("heading_deg = 400\n", &["6:15 400 | must lie between 0 and 360 | -"]);
    flight_reports(
        "[[push]]\nat_s = 3\nuntil_s = 2\ntorque_nm = { roll = 0.1 }\n",
        &["8:11 2 | must be later than `at_s` | -"],
    );
    flight_reports(
        "[[command]]\nat_s = 5\nland = true\n[[command]]\nat_s = 4\nsticks = { climb = 3 }\n",
        &[
            "10:8 4 | commands must stand in order of time: the one before is at 5 s | -",
            "11:20 3 | must lie between -1 and 1 | -",
        ],
    );
}

#[test]
fn impossible_craft_is_reported_at_its_key() {
    for (from, to, expected) in [
        ("mass_kg = 1.23", "mass_kg = -1.0", "11 -1.0 | must lie between 0.001 and 1000 | -"),
        ("no_load_current_a = 0.5", "no_load_current_a = -1", "21 -1 | must lie between 0 and 100 | -"),
        ("friction = 0.7", "friction = 7", "12 7 | must lie between 0 and 5 | -"),
        ("charge_percent = 90.0", "charge_percent = 900", "18 900 | must lie between 0 and 100 | -"),
        (
            "[motor]",
            "[motor] #",
            "2 motor | the rotors cannot carry the craft on this battery | thrust follows from [propeller], kv_rpm_per_v, \
             resistance_ohm and current_limit_a of the motor, cells, charge_percent and resistance_ohm of the battery; the \
             weight from mass_kg",
        ),
    ] {
        let mut text = CRAFT.replace(from, to);
        if from == "[motor]" {
            text = text.replace("kv_rpm_per_v = 810.0", "kv_rpm_per_v = 200.0");
        }
        let line = text.lines().position(|line| line.starts_with(to)).unwrap() + 1;
        let error = crate::input::craft("craft.toml", &text).unwrap_err();
        assert_eq!(reported(&error), [format!("{line}:{expected}")]);
    }
}

#[test]
fn several_impossible_values_of_a_craft_are_reported_at_once() {
    let text = CRAFT
        .replace("mass_kg = 1.23", "mass_kg = 0")
        .replace("inertia_kg_m2 = 5e-5", "inertia_kg_m2 = -1.0");
    let error =
        crate::input::craft("craft.toml", &text.replace("charge_percent = 90", "charge_percent = 101"))
            .unwrap_err();
    let reasons: Vec<_> = error.problems.iter().map(|problem| problem.reason.as_str()).collect();
    assert_eq!(
        reasons,
        ["must lie between 0.001 and 1000", "must lie between 1e-12 and 10", "must lie between 0 and 100"]
    );
}

#[test]
fn description_of_a_craft_has_its_thrust_to_weight() {
    let craft = crate::input::craft("craft.toml", CRAFT).unwrap();
    assert_eq!(craft.words(), "weir gauge, 1.23 kg, 9 x 5 in propellers, thrust to weight 2.2");
    // The balance of sag and current, put in again.
    let aplomb_craft::Config { rotor, battery, .. } = craft.config;
    let speed = rotor.static_speed_rad_s(craft.full_thrust_n(), 1.0);
    let sag_v = battery.resistance_ohm * (4.0 * rotor.steady_current_a(speed, 1.0) + battery.base_current_a);
    let rested_v = 3.0 * aplomb_craft::battery::cell::open_circuit_v(0.9);
    assert!((rotor.steady_speed_rad_s(rested_v - sag_v, 1.0) / speed - 1.0).abs() < 1e-9);
    assert!((rotor.steady_speed_rad_s(rested_v, 1.0) / speed - 1.0).abs() > 0.02, "without sag it is faster");
}

#[test]
fn contradicting_keys_are_reported() {
    flight_reports(
        "[[command]]\nat_s = 1\nposition_m = { north = 3, east = 1 }\nland = true\n",
        &[
            "6:1 [[command]] | one command sets one thing, not position_m and land | write a second [[command]]",
        ],
    );
    flight_reports(
        "[[command]]\nat_s = 1\nheight_m = 3\nclimb_m_s = 1\n",
        &["9:13 1 | give either `height_m` or `climb_m_s` | -"],
    );
    flight_reports(
        "[turbulence]\n",
        &[
            "6:2 turbulence | the strength of the turbulence must be given once | give either `u20_m_s` or `intensity`",
        ],
    );
    flight_reports(
        "[[check]]\nwhat = \"armed\"\nstatistic = \"mean\"\nat_least = 1\n",
        &["8:13 \"mean\" | `armed` has no such statistic | flags have `time_share_percent` only"],
    );
    flight_reports(
        "[[check]]\nwhat = \"tilt_deg\"\nstatistic = \"overshoot_percent\"\nat_most = 10\n",
        &["8:13 \"overshoot_percent\" | `tilt_deg` has no set-point, so no overshoot | -"],
    );
}

#[test]
fn all_problems_of_a_file_come_at_once_and_in_order() {
    let error = flight("heading = 3\nseed = 1.5\n[wind]\nx = 1\n[turbulence]\nintensity = 3\n").unwrap_err();
    let lines: Vec<_> =
        error.problems.iter().map(|problem| problem.location.as_ref().unwrap().line).collect();
    assert_eq!(lines, [6, 7, 8, 11], "{error}");
}

#[test]
fn syntax_error_is_reported_at_its_location() {
    flight_reports(
        "seed = = 1\n",
        &[
            "6:8 = | not valid TOML: extra `=`, expected nothing | -",
            "6:10  | not valid TOML: unexpected key or value, expected newline, `#` | -",
        ],
    );
    flight_reports("height_m = 3\n", &["6:1 height_m | not valid TOML: duplicate key | -"]);
}

#[test]
fn unreadable_file_and_wrong_encoding_are_reported() {
    let folder = std::env::temp_dir().join(format!("aplomb-input-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let error = text_of(&folder.join("none.toml")).unwrap_err();
    assert!(error.to_string().contains("none.toml: cannot be read: "), "{error}");
    assert!(error.problems[0].location.is_none());
    let latin = folder.join("latin.toml");
    std::fs::write(&latin, b"a = 1\ntitle = \"\xe4\"\n").unwrap();
    let error = text_of(&latin).unwrap_err();
    assert_eq!(
        reported(&error),
        ["2:10 \u{fffd} | is not UTF-8 text from byte 15 on | save the file as UTF-8"]
    );
    std::fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn commands_hold_until_the_next_and_carry_over_what_they_leave_out() {
    use aplomb::{Demand, HeadingDemand, VerticalDemand};
    let plan = flight(
        "[[command]]\nat_s = 2\nposition_m = { north = 20, east = 0 }\n\
         [[command]]\nat_s = 5\nheading_deg = 90\n\
         [[command]]\nat_s = 8\ntilt_deg = { pitch = -20 }\nclimb_m_s = 1\n\
         [[command]]\nat_s = 9\nland = true\n\
         [[command]]\nat_s = 12\ncut_motors = true\n",
    )
    .unwrap();
    let Demand::Position { setpoint, vertical, .. } = plan.command_at(1.9).demand else { panic!() };
    assert_eq!((setpoint.position_m.north, vertical), (0.0, VerticalDemand::Height(6.0)));
    let Demand::Position { setpoint, vertical, heading } = plan.command_at(6.0).demand else { panic!() };
    let HeadingDemand::Hold(heading) = heading else { panic!() };
    assert_eq!((setpoint.position_m.north, vertical), (20.0, VerticalDemand::Height(6.0)));
    assert!((heading.east() - 1.0).abs() < 1e-6);
    let Demand::Tilt { tilt, vertical, .. } = plan.command_at(8.0).demand else { panic!() };
    assert!((tilt.forward - 0.34202).abs() < 1e-5 && vertical == VerticalDemand::Climb(1.0));
    assert_eq!(plan.command_at(11.0).demand, Demand::Land);
    assert!(plan.command_at(11.0).arm && !plan.command_at(11.0).cut_motors);
    assert!(!plan.command_at(12.0).arm && plan.command_at(12.0).cut_motors);
    let ground = GOOD.replace("hover", "ground").replace("height_m = 6\n", "");
    let ground = ground + "[[command]]\nat_s = 1\nsticks = { climb = 0.5 }\n" + EXPECT;
    let plan = crate::input::flight("flight.toml", "flight", &ground).unwrap();
    assert!(!plan.command_at(0.5).arm && plan.command_at(1.0).arm);
}

#[test]
fn pushes_add_up_while_they_last() {
    let push = "[[push]]\nat_s = 1\nuntil_s = 3\ntorque_nm = { roll = 0.1 }\n\
                [[push]]\nat_s = 2\nuntil_s = 4\nforce_n = { up = 2 }\ntorque_nm = { roll = 0.2 }\n";
    let plan = flight(push).unwrap();
    assert_eq!(plan.push_at(0.5), ([0.0; 3], [0.0; 3]));
    assert_eq!(plan.push_at(1.0).1, [0.1, 0.0, 0.0]);
    let (force_n, torque_nm) = plan.push_at(2.5);
    assert!(force_n == [0.0, 0.0, 2.0] && (torque_nm[0] - 0.3).abs() < 1e-12);
    assert_eq!(plan.push_at(4.0), ([0.0; 3], [0.0; 3]));
}

const CRAFT: &str = include_str!("../../demo/craft.toml");

#[test]
fn craft_file_becomes_si_units() {
    let craft = crate::input::craft("craft.toml", CRAFT).unwrap();
    let known = aplomb_craft::Config::weir_gauge();
    assert_eq!((craft.name.as_str(), craft.diameter_in, craft.config.mass_kg), ("weir gauge", 9.0, 1.23));
    assert!((craft.config.rotor.thrust_n_s2 / known.rotor.thrust_n_s2 - 1.0).abs() < 1e-12);
    assert!((craft.config.rotor.imbalance_kg_m - 1e-6).abs() < 1e-18);
    assert!((craft.config.battery.state_of_charge - 0.9).abs() < 1e-12);
    let text =
        CRAFT.replace("[imu]\nclass = \"consumer\"", "[imu]\nclass = \"ideal\"\ngyro.noise_deg_s_rthz = 1.0");
    let gyro = crate::input::craft("craft.toml", &text).unwrap().config.sensors.imu.unwrap().gyro;
    assert!((gyro.noise_rad_s_rthz.to_degrees() - 1.0).abs() < 1e-12 && gyro.turn_on_bias_rad_s == 0.0);
    let text = CRAFT.replace("[imu]", "[imu]\ngyro.g_sensitivity_deg_s = 0.1");
    let gyro = crate::input::craft("craft.toml", &text).unwrap().config.sensors.imu.unwrap().gyro;
    assert!((gyro.per_force_s_m.to_degrees() * 9.80665 - 0.1).abs() < 1e-12);
    let text =
        CRAFT.replace("[magnetometer]", "[magnetometer]\nsoft_iron_percent = 2\ncurrent_ut_a = [0.1, 0, 0]");
    let text = text.replace("[gnss]", "[gnss]\ndropouts_per_h = 4\njump_s = 3\njump_m = 8");
    let sensors = crate::input::craft("craft.toml", &text).unwrap().config.sensors;
    let (magnetometer, gnss) = (sensors.magnetometer.unwrap(), sensors.gnss.unwrap());
    assert_eq!((magnetometer.soft_iron_share, magnetometer.current_ut_a), (0.02, [0.1, 0.0, 0.0]));
    assert_eq!((gnss.dropouts.per_h, gnss.jumps.mean_s, gnss.jump_m), (4.0, 3.0, 8.0));
    let bad = text.replace("soft_iron_percent = 2", "soft_iron_percent = 30");
    assert_eq!(
        reported(&crate::input::craft("craft.toml", &bad).unwrap_err())[0].split(" | ").nth(1),
        Some("must lie between 0 and 20")
    );
}

#[test]
fn fault_becomes_what_the_craft_takes() {
    use aplomb_craft::fault::{Fault, RotorFault, Sensor, SensorFault, What};
    let text = "[[fault]]\nat_s = 3\nuntil_s = 4\nsensor = \"gyro\"\nkind = \"bias\"\nbias_deg_s = [0, 90, 0]\n\
                [[fault]]\nat_s = 5\nrotor = \"rear_left\"\nkind = \"chipped_blade\"\nloss_percent = 10\n\
                imbalance_g_mm = 20\n\
                [[fault]]\nat_s = 0\nrotor = \"front_left\"\nkind = \"swapped_wiring\"\nwith = \"rear_right\"\n\
                [[fault]]\nat_s = 6\nuntil_s = 7\nsensor = \"gnss\"\nkind = \"bias\"\nbias_m = { up = 5 }\n";
    let plan = flight(text).unwrap();
    let gyro = SensorFault::Offset([0.0, std::f64::consts::FRAC_PI_2, 0.0]);
    assert_eq!(plan.faults[0], Fault { from_s: 3.0, until_s: 4.0, what: What::Sensor(Sensor::Gyro, gyro) });
    let What::Rotor(place, RotorFault::ChippedBlade { loss_share, imbalance_kg_m }) = plan.faults[1].what
    else {
        panic!()
    };
    assert!(place == aplomb_craft::Corner::RearLeft && plan.faults[1].until_s == f64::INFINITY);
    assert!((loss_share - 0.1).abs() < 1e-12 && (imbalance_kg_m - 2e-5).abs() < 1e-12);
    assert_eq!(
        plan.conditions_words(),
        "Still air. Faults: 3 to 4 s the gyro has a bias of 90.0 deg/s; from 5 s on the rear left rotor has a chipped blade: \
         90 % of its thrust, 20 g mm out of balance; throughout the wiring of the front left and the rear right motor is \
         swapped; 6 to 7 s the GNSS receiver has a bias of 5.0 m."
    );
}

#[test]
fn impossible_fault_is_reported_with_what_is_possible() {
    flight_reports(
        "[[fault]]\nat_s = 3\nkind = \"stuck\"\n",
        &["6:1 [[fault]] | a fault is of one rotor or one sensor | give either `rotor` or `sensor`"],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nuntil_s = 2\nsensor = \"gyro\"\nkind = \"stuck\"\n",
        &["8:11 2 | must be later than `at_s` | -"],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nsensor = \"gyro\"\nkind = \"stukc\"\n",
        &["9:8 \"stukc\" | unknown word \"stukc\" | did you mean `stuck`?"],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nsensor = \"barometer\"\nkind = \"seized\"\n",
        &[
            "9:8 \"seized\" | a sensor cannot have the fault \"seized\" | valid for a sensor: stuck, dropped_out, \
           not_a_number, bias, scale, delay",
        ],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nrotor = \"rear_left\"\nkind = \"delay\"\n",
        &["9:8 \"delay\" | the kind \"delay\" needs its size | add `delay_s`"],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nrotor = \"rear_left\"\nkind = \"delay\"\ndelay_s = 3\n",
        &["10:11 3 | must lie between 0 and 2 | -"],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nsensor = \"barometer\"\nkind = \"bias\"\nbias_m = { up = 2 }\n",
        &["10:1 bias_m | is not a key of the kind \"bias\" | this kind takes `bias_pa`"],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nsensor = \"imu\"\nkind = \"scale\"\nscale = 2\n",
        &[
            "8:10 \"imu\" | \"scale\" is of the gyro or of the accelerometer | set `sensor = \"gyro\"` or `sensor = \
           \"accelerometer\"`",
        ],
    );
    flight_reports(
        "[[fault]]\nat_s = 3\nrotor = \"rear_left\"\nkind = \"swapped_wiring\"\nwith = \"rear_left\"\n",
        &["10:8 \"rear_left\" | must be another rotor than `rotor` | -"],
    );
}

#[test]
fn stand_and_tether_become_mounts() {
    use aplomb_craft::mount::{Axis, Mount};
    let stand =
        GOOD.replace("hover", "stand").replace("height_m = 6\n", "") + "[stand]\naxis = \"pitch\"\n" + EXPECT;
    let plan = crate::input::flight("flight.toml", "flight", &stand).unwrap();
    let Mount::Stand(mount) = plan.mount else { panic!() };
    assert_eq!(
        (mount.axis, mount.pivot_m, plan.start),
        (Axis::Pitch, [0.0; 3], aplomb_flight::plan::Start::Stand { height_m: 1.0 })
    );
    assert!(!plan.command_at(0.0).arm);
    assert_eq!(plan.conditions_words(), "Still air. On a test stand that leaves only the pitch axis free.");
    let plan = flight("[tether]\nlength_m = 8\nnorth_m = 2\n").unwrap();
    let Mount::Tether(tether) = plan.mount else { panic!() };
    assert_eq!((tether.length_m, tether.anchor_m, tether.stretch_share), (8.0, [2.0, 0.0, 0.0], 0.02));
    flight_reports("[tether]\nlength_m = 0\n", &["7:12 0 | must be greater than 0 | -"]);
    flight_reports(
        "[stand]\naxis = \"roll\"\n",
        &["6:2 stand | `[stand]` needs a start on the stand | set `start = \"stand\"`"],
    );
    let alone = GOOD.replace("hover", "stand") + EXPECT;
    let error = crate::input::flight("flight.toml", "flight", &alone).unwrap_err();
    assert_eq!(
        reported(&error),
        ["4:9 \"stand\" | a start on a stand needs the stand | add `[stand]` with its `axis`"]
    );
}

#[test]
fn payload_moves_the_centre_of_mass() {
    let laden = format!("{CRAFT}\n[payload]\nmass_kg = 0.2\nposition_m = [0.1, 0, 0.05]\n");
    let (bare, laden) = (
        crate::input::craft("craft.toml", CRAFT).unwrap(),
        crate::input::craft("craft.toml", &laden).unwrap(),
    );
    let shift_m = 0.1 * 0.2 / 1.43;
    let (from, to) = (bare.config.arms.front_left.x_m, laden.config.arms.front_left.x_m);
    assert!((from - to - shift_m).abs() < 1e-12 && (laden.config.mass_kg - 1.43).abs() < 1e-12);
    let none = format!("{CRAFT}\n[payload]\nmass_kg = 0\nposition_m = [0.1, 0, 0.05]\n");
    let error = crate::input::craft("craft.toml", &none).unwrap_err();
    assert!(reported(&error)[0].ends_with("0 | must be above zero | -"), "{:?}", reported(&error));
}
