//! Rotors on the craft: signs, time constant, reaction torque, density, hover speeds of published craft.

use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start, Truth, rotor, sensors};

fn hovering(config: &Config, air: &AirConfig) -> Plant {
    let start = Start { airborne: true, height_m: 20.0, ..Start::default() };
    Plant::new(config, air, &start, 1, 0.001).unwrap()
}

/// The demo craft without drag, noise and quantisation of the commands.
fn clean() -> Config {
    let mut config =
        Config { drag: Default::default(), sensors: sensors::Config::default(), ..Config::weir_gauge() };
    config.speed_controller.steps = 0;
    config
}

/// State after 60 ms with the hover commands changed by these shares.
fn after(change: Rotors<f64>) -> Truth {
    let mut plant = hovering(&clean(), &AirConfig::default());
    let command = plant.truth().motor_command.zip(change).map(|(hover, share)| hover * (1.0 + share));
    for _ in 0..60 {
        plant.advance(command);
    }
    plant.truth()
}

#[test]
fn each_thrust_difference_has_the_right_sign() {
    let left = after(Rotors { front_left: 0.05, rear_left: 0.05, front_right: -0.05, rear_right: -0.05 });
    assert!(left.body_rate_rad_s.x > 0.1, "stronger left rolls right: {}", left.body_rate_rad_s);
    let front = after(Rotors { front_left: 0.05, front_right: 0.05, rear_left: -0.05, rear_right: -0.05 });
    assert!(front.body_rate_rad_s.y > 0.1, "stronger front pitches up: {}", front.body_rate_rad_s);
    // Front left and rear right turn counter-clockwise.
    let yaw = after(Rotors { front_left: 0.05, rear_right: 0.05, front_right: -0.05, rear_left: -0.05 });
    assert!(
        yaw.body_rate_rad_s.z > 0.01,
        "stronger counter-clockwise pair turns right: {}",
        yaw.body_rate_rad_s
    );
    for (truth, others) in [(left, [1, 2]), (front, [0, 2]), (yaw, [0, 1])] {
        let rate = truth.body_rate_rad_s.to_array();
        assert!(others.iter().all(|&axis| rate[axis].abs() < 0.01), "{rate:?}");
    }
    let up = after(Rotors::splat(0.05));
    assert!(up.velocity_m_s.z < -0.01 && up.body_rate_rad_s.length() < 1e-12);
}

#[test]
fn torque_accelerates_the_body_by_its_inertia() {
    // Roll: tau = sum of -y f; the plant's own thrusts against its own angular acceleration.
    let truth = after(Rotors { front_left: 0.05, rear_left: 0.05, front_right: -0.05, rear_right: -0.05 });
    let f = truth.thrust_n;
    let torque = 0.16 * (f.front_left + f.rear_left - f.front_right - f.rear_right);
    assert!((truth.body_acceleration_rad_s2.x / (torque / 0.011) - 1.0).abs() < 1e-9);
}

#[test]
fn speed_follows_the_command_with_its_time_constant() {
    // A small step, so that the local time constant J/(2 kQ w + Kt^2/R) holds (Drela 2007, linearised).
    let mut config = clean();
    config.speed_controller.delay_s = 0.0;
    config.battery.resistance_ohm = 0.0;
    config.rotor.inflow = rotor::Inflow::Constant;
    let share_after = |config: &Config, ticks: usize| {
        let mut plant = hovering(config, &AirConfig::default());
        let start = plant.truth();
        let command = 1.01 * start.motor_command.rear_left;
        let target =
            config.rotor.steady_speed_rad_s(command * start.battery.voltage_v, start.density_kg_m3 / 1.225);
        for _ in 0..ticks {
            plant.advance(Rotors::splat(command));
        }
        let before = start.rotor_speed_rad_s.rear_left;
        (plant.truth().rotor_speed_rad_s.rear_left - before) / (target - before)
    };
    let hover = hovering(&config, &AirConfig::default()).truth();
    let time_constant_s =
        config.rotor.time_constant_s(hover.rotor_speed_rad_s.rear_left, hover.density_kg_m3 / 1.225);
    let ticks = (time_constant_s * 1000.0).round() as usize;
    let expected = 1.0 - (-(ticks as f64) * 0.001 / time_constant_s).exp();
    assert!((share_after(&config, ticks) - expected).abs() < 2e-3, "{}", share_after(&config, ticks));
    // The twin: a quarter of the inertia would be nearly settled.
    config.rotor.inertia_kg_m2 *= 0.25;
    assert!(share_after(&config, ticks) > 0.95, "{}", share_after(&config, ticks));
}

#[test]
fn accelerating_rotors_draw_more_than_the_steady_current() {
    let mut config = clean();
    config.speed_controller.delay_s = 0.0;
    config.battery.base_current_a = 0.0;
    // Mean current from 5 to 60 ms over the steady one.
    let early_over_settled = |config: &Config| {
        let mut plant = hovering(config, &AirConfig::default());
        let command = plant.truth().motor_command.map(|share| 1.3 * share);
        let mut early = 0.0;
        for tick in 0..400 {
            plant.advance(command);
            early += if (5..60).contains(&tick) { plant.truth().battery.current_a / 55.0 } else { 0.0 };
        }
        early / plant.truth().battery.current_a
    };
    assert!(early_over_settled(&config) > 1.2, "{}", early_over_settled(&config));
    // The twin: with a twentieth of the inertia the additional current is small.
    config.rotor.inertia_kg_m2 *= 0.05;
    assert!(early_over_settled(&config) < 1.05, "{}", early_over_settled(&config));
}

#[test]
fn active_braking_slows_the_rotors_faster_than_coasting() {
    let speed_after_cut = |braking| {
        let mut config = clean();
        config.rotor.braking = braking;
        let mut plant = hovering(&config, &AirConfig::default());
        (0..60).for_each(|_| plant.advance(Rotors::splat(0.1)));
        plant.truth().rotor_speed_rad_s.front_left
    };
    let (braked, coasted) =
        (speed_after_cut(rotor::Braking::Active), speed_after_cut(rotor::Braking::Coasting));
    assert!(braked < 0.4 * coasted, "{braked} {coasted}");
}

/// Damping rates (1/s) of a climb at 4 m/s and of a roll at 10 rad/s, from the accelerations due to the
/// motion.
fn damping_1_s(config: &Config) -> [f64; 2] {
    let acceleration = |velocity_m_s, body_rate_rad_s| {
        let start =
            Start { airborne: true, height_m: 20.0, velocity_m_s, body_rate_rad_s, ..Start::default() };
        let truth = Plant::new(config, &AirConfig::default(), &start, 1, 0.001).unwrap().truth();
        (truth.acceleration_m_s2.z, truth.body_acceleration_rad_s2.x)
    };
    [acceleration([0.0, 0.0, -4.0], [0.0; 3]).0 / 4.0, -acceleration([0.0; 3], [10.0, 0.0, 0.0]).1 / 10.0]
}

#[test]
fn inflow_damps_climb_and_roll() {
    let [climb, roll] = damping_1_s(&clean());
    assert!(climb > 0.15 && climb < 1.0, "{climb}");
    assert!(roll > 0.05 && roll < 3.0, "{roll}");
    // The twin: constant coefficients do not damp.
    let mut constant = clean();
    constant.rotor.inflow = rotor::Inflow::Constant;
    let bare = damping_1_s(&constant);
    assert!(bare[0].abs() < 1e-9 && bare[1].abs() < 1e-9, "{bare:?}");
}

#[test]
fn rotor_acceleration_has_a_reaction_torque() {
    // At the first instant of a yaw command the torque is the reaction to the rotors' acceleration; the twin
    // has massless rotors.
    let onset = |inertia_kg_m2| {
        let mut config = clean();
        config.rotor.inertia_kg_m2 = inertia_kg_m2;
        config.speed_controller.delay_s = 0.0;
        let mut plant = hovering(&config, &AirConfig::default());
        let hover = plant.truth().motor_command;
        let share = Rotors { front_left: 1.1, rear_right: 1.1, front_right: 0.9, rear_left: 0.9 };
        plant.advance(hover.zip(share).map(|(hover, share)| hover * share));
        let truth = plant.truth();
        (truth.body_acceleration_rad_s2.z, truth.torque_nm)
    };
    let (with, q) = onset(4e-5);
    let aerodynamic = q.front_left + q.rear_right - q.front_right - q.rear_left;
    // Nearly massless rotors reach their speed at once.
    let (light, q) = onset(1e-9);
    let settled = q.front_left + q.rear_right - q.front_right - q.rear_left;
    assert!((light - settled / 0.021).abs() < 1e-3 * light.abs(), "{light}");
    assert!(with > 5.0 * aerodynamic / 0.021, "{with}");
}

#[test]
fn gyroscopic_torque_couples_roll_into_pitch() {
    // Only the counter-clockwise pair runs: their momentum points up; a roll rate to the right then pitches
    // by -wx hz / Iyy.
    let mut config = clean();
    config.rotor.inertia_kg_m2 = 4e-5;
    let start =
        Start { airborne: true, height_m: 20.0, body_rate_rad_s: [1.0, 0.0, 0.0], ..Start::default() };
    let mut plant = Plant::new(&config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    assert!(plant.truth().body_acceleration_rad_s2.y.abs() < 1e-9, "a balanced set has no momentum");
    for _ in 0..300 {
        let hover = plant.truth().motor_command;
        plant.advance(Rotors { front_right: 0.0, rear_left: 0.0, ..hover });
    }
    let truth = plant.truth();
    let w = truth.rotor_speed_rad_s;
    let hz = -4e-5 * (w.front_left + w.rear_right - w.front_right - w.rear_left);
    let rate = truth.body_rate_rad_s;
    let f = truth.thrust_n;
    let torque = 0.16 * (f.front_left + f.front_right - f.rear_left - f.rear_right);
    let expected = (torque + (0.021 - 0.011) * rate.z * rate.x + rate.x * hz) / 0.012;
    assert!((truth.body_acceleration_rad_s2.y - expected).abs() < 1e-9, "{}", truth.body_acceleration_rad_s2);
    assert!((rate.x * hz / 0.012).abs() > 0.5, "the coupling is no small term: {}", rate.x * hz / 0.012);
}

#[test]
fn lower_density_needs_faster_rotors() {
    // Thrust is proportional to density: at 3000 m (ISO 2533: 0.909122 kg/m3 at geopotential height) the
    // square root of the ratio.
    let mut constant = clean();
    constant.rotor.inflow = rotor::Inflow::Constant;
    let speed = |elevation_m| {
        hovering(&constant, &AirConfig { elevation_m, ..AirConfig::default() })
            .truth()
            .rotor_speed_rad_s
            .front_left
    };
    let (low, high) = (speed(-20.0), speed(2980.0));
    let expected = (1.225_f64 / 0.909_122).sqrt();
    // Geometric 3000 m is geopotential 2998.6 m.
    assert!((high / low / expected - 1.0).abs() < 1e-4, "{}", high / low);
}

#[test]
fn validate_hover_speed_of_published_craft() {
    // kT [N s2], mass [kg], hover speed [rad/s]. Bouabdallah 2007, EPFL thesis 3727; Michael, Mellinger,
    // Lindsey and Kumar 2010, IEEE RAM 17(3); Kaufmann, Bauersfeld and Scaramuzza 2022, ICRA, table II.
    for (thrust_n_s2, mass_kg, expected) in
        [(3.13e-5, 0.650, 225.6), (5.572e-6, 0.500, 469.1), (1.563e-6, 0.768, 1097.6)]
    {
        let mut config = Config { mass_kg, ..clean() };
        config.rotor = rotor::Config {
            inflow: rotor::Inflow::Constant,
            thrust_n_s2,
            torque_nm_s2: 0.015 * thrust_n_s2,
            kv_rpm_per_v: 2000.0,
            ..config.rotor
        };
        let air = AirConfig { elevation_m: -20.0, ..AirConfig::default() };
        let truth = hovering(&config, &air).truth();
        for speed in truth.rotor_speed_rad_s.into_array() {
            assert!((speed / expected - 1.0).abs() < 5e-4, "{speed} {expected}");
        }
        assert!(truth.acceleration_m_s2.length() < 1e-9 && truth.body_acceleration_rad_s2.length() < 1e-9);
    }
}

#[test]
fn reusing_the_last_slope_equals_recomputing_it() {
    // A push, even of zero, makes the plant recompute the slope at the start of the tick.
    let air = AirConfig {
        u20_m_s: Some(6.0),
        turbulence: Some(aplomb_craft::Turbulence::light()),
        ..AirConfig::default()
    };
    let (mut carried, mut found) =
        (hovering(&Config::weir_gauge(), &air), hovering(&Config::weir_gauge(), &air));
    let hover = carried.truth().motor_command;
    let mut apart = Vec::new();
    for tick in 0..2000 {
        let share = if tick % 40 < 20 { 1.02 } else { 0.98 };
        let command =
            Rotors { front_left: hover.front_left * share, rear_right: hover.rear_right / share, ..hover };
        carried.advance(command);
        found.push(Default::default(), Default::default());
        found.advance(command);
        let (a, b) = (carried.truth(), found.truth());
        apart.push((a.position_m - b.position_m).length() + (a.body_rate_rad_s - b.body_rate_rad_s).length());
    }
    assert!(apart[1999] < 1e-9, "{:e}", apart[1999]);
    // The twin: a push of a hundredth of the weight is visible within a second.
    found.push(aplomb_craft::glam::DVec3::X * 0.12, Default::default());
    (0..1000).for_each(|_| {
        carried.advance(hover);
        found.advance(hover);
    });
    assert!((carried.truth().position_m - found.truth().position_m).length() > 0.01);
}
