//! Test stand with one free axis, tether, payload off the centre of mass, and tip-over.

use aplomb_craft::glam::DVec3;
use aplomb_craft::mount::{Axis, Mount, Stand, Tether};
use aplomb_craft::{AirConfig, Config, Payload, Plant, Rotors, Start, rotor, sensors};
use std::f64::consts::PI;

/// No aerodynamic torque of the propellers, no drag, no noise.
fn bare() -> Config {
    let mut config =
        Config { drag: Default::default(), sensors: sensors::Config::ideal(), ..Config::weir_gauge() };
    config.rotor.inflow = rotor::Inflow::Constant;
    config.speed_controller.steps = 0;
    config
}

fn on_stand(stand: Stand) -> Start {
    Start {
        airborne: true,
        rotors_stopped: true,
        height_m: 2.0,
        mount: Mount::Stand(stand),
        ..Start::default()
    }
}

fn plant(config: &Config, start: &Start) -> Plant {
    Plant::new(config, &AirConfig::default(), start, 1, 0.001).unwrap()
}

const THROUGH_CENTRE: Stand = Stand { axis: Axis::Roll, pivot_m: [0.0; 3], viscous_friction_nm_s: 0.0 };

#[test]
fn stand_frees_one_axis_and_holds_the_rest() {
    let turned = |mount: Mount| {
        let start = Start { mount, ..on_stand(THROUGH_CENTRE) };
        let mut plant = plant(&bare(), &start);
        // A torque about all axes, a force and the rotors.
        plant.push(DVec3::new(1.0, 2.0, 3.0), DVec3::new(0.011, 0.012, 0.021));
        (0..200).for_each(|_| plant.advance(Rotors::splat(0.3)));
        plant.truth()
    };
    for (axis, k) in [(Axis::Roll, 0), (Axis::Pitch, 1), (Axis::Yaw, 2)] {
        let truth = turned(Mount::Stand(Stand { axis, ..THROUGH_CENTRE }));
        let rates = truth.body_rate_rad_s.to_array();
        // 1 rad/s2 for 0.2 s; the four rotors' reactions cancel.
        assert!((rates[k] - 0.2).abs() < 1e-9, "{axis:?}: {rates:?}");
        assert!((0..3).filter(|&other| other != k).all(|other| rates[other] == 0.0), "{rates:?}");
        assert!((truth.position_m + DVec3::Z * 2.0).length() < 1e-12, "{}", truth.position_m);
        assert!(truth.velocity_m_s.length() < 1e-12);
    }
    // The twin: free, it rotates about all axes and moves with the force.
    let free = turned(Mount::Free);
    assert!(free.body_rate_rad_s.to_array().iter().all(|rate| *rate > 0.1) && free.velocity_m_s.x > 0.1);
}

#[test]
fn validate_stand_with_its_axis_above_is_a_pendulum() {
    // Period 2 pi sqrt((J + m h^2)/(m g h)) with the axis h above the centre of mass.
    let config = bare();
    let period = |height_m: f64| {
        let stand = Stand { pivot_m: [0.0, 0.0, -height_m], ..THROUGH_CENTRE };
        let mut plant = plant(&config, &Start { roll_rad: 0.02, ..on_stand(stand) });
        let mut crossings = Vec::new();
        let mut last = plant.truth().attitude.x;
        for tick in 1..10_000 {
            plant.advance(Rotors::splat(0.0));
            let now = plant.truth().attitude.x;
            if last > 0.0 && now <= 0.0 {
                crossings.push(f64::from(tick) - now / (now - last));
            }
            last = now;
        }
        (crossings.len() > 2).then(|| 1e-3 * (crossings[2] - crossings[0]) / 2.0)
    };
    let mass = config.mass_kg;
    let inertia = config.inertia_kg_m2[0][0];
    // The rotors are stopped relative to their arms: they are part of the inertia tensor.
    let expected = 2.0 * PI * ((inertia + mass * 0.05 * 0.05) / (mass * 9.80665 * 0.05)).sqrt();
    let found = period(0.05).unwrap();
    assert!((found / expected - 1.0).abs() < 1e-3, "{found} {expected}");
    // Without the parallel-axis term the period would be 12 % shorter; with the axis through the centre there
    // is no oscillation.
    let short = 2.0 * PI * (inertia / (mass * 9.80665 * 0.05)).sqrt();
    assert!((found / short - 1.0).abs() > 0.1);
    assert!(period(0.0).is_none());
}

#[test]
fn pendulum_conserves_energy_and_friction_dissipates_it() {
    let energy_j = |viscous_friction_nm_s: f64| {
        let stand = Stand { axis: Axis::Pitch, pivot_m: [0.0, 0.0, -0.1], viscous_friction_nm_s };
        let config = bare();
        let mut plant = plant(&config, &Start { pitch_rad: 1.5, ..on_stand(stand) });
        let energy = |plant: &Plant| {
            let truth = plant.truth();
            let (v, w) = (truth.velocity_m_s, truth.body_rate_rad_s);
            0.5 * config.mass_kg * v.length_squared()
                + 0.5 * config.inertia_kg_m2[1][1] * w.y * w.y
                + config.mass_kg * 9.80665 * truth.height_m()
        };
        let before = energy(&plant);
        (0..10_000).for_each(|_| plant.advance(Rotors::splat(0.0)));
        energy(&plant) - before
    };
    assert!(energy_j(0.0).abs() < 1e-6, "{}", energy_j(0.0));
    assert!(energy_j(0.01) < -0.5, "{}", energy_j(0.01));
}

#[test]
fn inertial_sensor_on_the_stand_measures_gravity_from_the_first_sample() {
    let mut plant = plant(&bare(), &on_stand(THROUGH_CENTRE));
    for _ in 0..10 {
        let sample = plant.sense().imu.unwrap().value;
        assert!((sample.accel_m_s2 - DVec3::new(0.0, 0.0, -9.80665)).length() < 1e-6, "{sample:?}");
        plant.advance(Rotors::splat(0.0));
    }
}

#[test]
fn tether_limits_the_distance() {
    let highest = |mount: Mount| {
        let start = Start { airborne: true, height_m: 1.0, mount, ..Start::default() };
        let mut plant = plant(&bare(), &start);
        let hover = plant.truth().motor_command;
        let mut highest: f64 = 0.0;
        for _ in 0..6000 {
            plant.advance(hover.map(|command| 1.1 * command));
            highest = highest.max(plant.truth().height_m());
        }
        (highest, plant.truth())
    };
    let (free, _) = highest(Mount::Free);
    let (held, truth) = highest(Mount::Tether(Tether::of_length(3.0)));
    assert!(free > 20.0, "{free}");
    // In equilibrium the elongation is thrust less weight over the stiffness, which is the weight per 2 % of
    // the length.
    let beyond = truth.thrust_n.sum() / (1.2 * 9.80665) - 1.0;
    let expected = 3.0 * (1.0 + 0.02 * beyond);
    assert!(beyond > 0.1 && (truth.height_m() - expected).abs() < 2e-3, "{} {expected}", truth.height_m());
    assert!(truth.velocity_m_s.length() < 0.02 && held < 3.3, "{held}");
}

#[test]
fn slack_tether_has_no_force_and_one_off_the_centre_has_a_torque() {
    let flown = |mount: Mount| {
        let start = Start { airborne: true, height_m: 2.0, mount, ..Start::default() };
        let mut plant = plant(&bare(), &start);
        let hover = plant.truth().motor_command;
        (0..300).for_each(|_| plant.advance(hover.map(|command| 1.05 * command)));
        plant.truth()
    };
    let slack = Mount::Tether(Tether::of_length(20.0));
    assert_eq!(flown(slack), flown(Mount::Free));
    // A downward pull at the nose pitches it down.
    let nose = Tether { position_m: [0.1, 0.0, 0.0], ..Tether::of_length(1.98) };
    assert!(
        flown(Mount::Tether(nose)).body_rate_rad_s.y < -0.1,
        "{}",
        flown(Mount::Tether(nose)).body_rate_rad_s
    );
}

#[test]
fn payload_moves_centre_and_inertia_by_the_parallel_axis_theorem() {
    // The craft as eight points of a box with its mass and inertia about its own centre, and the payload as a
    // ninth.
    let config = bare();
    let [jx, jy, jz] = [0.011, 0.012, 0.021];
    let square = |one: f64, two: f64, minus: f64| ((one + two - minus) / (2.0 * config.mass_kg)).sqrt();
    let (a, b, c) = (square(jy, jz, jx), square(jz, jx, jy), square(jx, jy, jz));
    let place = DVec3::new(0.12, -0.05, 0.08);
    let mut points = vec![(0.3, place)];
    for corner in 0..8 {
        let side = |bit: i32, size: f64| if corner & bit == 0 { size } else { -size };
        points.push((config.mass_kg / 8.0, DVec3::new(side(1, a), side(2, b), side(4, c))));
    }
    let mass: f64 = points.iter().map(|(mass, _)| mass).sum();
    let centre = points.iter().fold(DVec3::ZERO, |sum, (mass, place)| sum + *place * *mass) / mass;
    let laden = config.with_payload(&Payload { mass_kg: 0.3, position_m: place.to_array() }).unwrap();
    for i in 0..3 {
        for j in 0..3 {
            let sum: f64 = points
                .iter()
                .map(|(mass, place)| {
                    let from = (*place - centre).to_array();
                    let square: f64 = from.iter().map(|part| part * part).sum();
                    mass * (if i == j { square } else { 0.0 } - from[i] * from[j])
                })
                .sum();
            assert!((laden.inertia_kg_m2[i][j] - sum).abs() < 1e-12, "{i} {j}");
        }
    }
    assert!((laden.arms.rear_left.x_m - (config.arms.rear_left.x_m - centre.x)).abs() < 1e-12);
    // It hovers level without rotation, with higher thrust near the payload; the twin without the shift would
    // pitch.
    let start = Start { airborne: true, height_m: 5.0, ..Start::default() };
    let mut plant = plant(&laden, &start);
    let hover = plant.truth().motor_command;
    (0..200).for_each(|_| plant.advance(hover));
    let truth = plant.truth();
    assert!(truth.body_rate_rad_s.length() < 1e-3, "{}", truth.body_rate_rad_s);
    assert!(truth.thrust_n.front_left > 1.3 * truth.thrust_n.rear_right, "{:?}", truth.thrust_n);
    assert!(config.with_payload(&Payload { mass_kg: 0.0, position_m: [0.0; 3] }).is_err());
    assert!(config.with_payload(&Payload { mass_kg: 0.1, position_m: [f64::NAN; 3] }).is_err());
}

#[test]
fn payload_beyond_the_landing_gear_causes_tip_over() {
    let rest = |ahead_m: f64| {
        let laden = bare().with_payload(&Payload { mass_kg: 1.2, position_m: [ahead_m, 0.0, 0.0] }).unwrap();
        let mut plant = plant(&laden, &Start::default());
        (0..4000).for_each(|_| plant.advance(Rotors::splat(0.0)));
        plant.truth()
    };
    // As heavy as the craft, so the centre of mass is half as far ahead; the landing gear reaches 0.12 m.
    let (inside, outside) = (rest(0.18), rest(0.26));
    assert!(inside.tilt_rad() < 0.1, "{}", inside.tilt_rad());
    assert!(outside.tilt_rad() > 0.3, "{}", outside.tilt_rad());
}

#[test]
fn side_force_causes_tip_over_with_friction_and_sliding_without() {
    let config = bare();
    let weight = config.mass_kg * 9.80665;
    let pushed = |share: f64, friction: f64| {
        let mut config = config;
        (config.ground.friction, config.ground.static_deflection_m) = (friction, 5e-4);
        let mut plant = plant(&config, &Start::default());
        let mut tilt_rad: f64 = 0.0;
        // A linear rise to the full push, then constant: a step would overshoot on the springs of the landing
        // gear.
        for tick in 0..2500 {
            let force_n = share * weight * (f64::from(tick) / 2000.0).min(1.0);
            plant.push(DVec3::new(0.0, force_n, 0.0), DVec3::ZERO);
            plant.advance(Rotors::splat(0.0));
            tilt_rad = tilt_rad.max(plant.truth().tilt_rad());
        }
        (tilt_rad, plant.truth().position_m.y)
    };
    // Stiff landing gear, 0.12 m to the side and 0.08 m below: tip-over at 1.5 weights, less the
    // deflection on the low side, 1.49, if the friction is higher.
    let (held, tipped, slid) = (pushed(1.45, 3.0), pushed(1.53, 3.0), pushed(1.53, 0.7));
    assert!(held.0 < 0.1 && held.1 < 0.02, "{held:?}");
    assert!(tipped.0 > 0.5, "{tipped:?}");
    assert!(slid.0 < 0.2 && slid.1 > 0.5, "{slid:?}");
}

#[test]
fn impossible_mounts_are_refused_by_name() {
    let refused = |mount: Mount, airborne: bool| {
        let start = Start { mount, airborne, ..on_stand(THROUGH_CENTRE) };
        Plant::new(&bare(), &AirConfig::default(), &start, 1, 0.001).unwrap_err().field
    };
    for bad in [f64::NAN, f64::INFINITY, -1.0] {
        let tether = Tether::of_length(2.0);
        assert_eq!(refused(Mount::Tether(Tether::of_length(bad)), true), "tether.length_m");
        let stretch = Tether { stretch_share: bad, ..tether };
        assert_eq!(refused(Mount::Tether(stretch), true), "tether.stretch_share");
        let damping = Tether { damping_ratio: bad, ..tether };
        assert_eq!(refused(Mount::Tether(damping), true), "tether.damping_ratio");
        let friction = Stand { viscous_friction_nm_s: bad, ..THROUGH_CENTRE };
        assert_eq!(refused(Mount::Stand(friction), true), "stand.viscous_friction_nm_s");
    }
    let nowhere = Stand { pivot_m: [0.0, f64::NAN, 0.0], ..THROUGH_CENTRE };
    assert_eq!(refused(Mount::Stand(nowhere), true), "stand.pivot_m");
    let nowhere = Tether { anchor_m: [f64::NAN; 3], ..Tether::of_length(2.0) };
    assert_eq!(refused(Mount::Tether(nowhere), true), "tether.anchor_m");
    let nowhere = Tether { position_m: [f64::NAN; 3], ..Tether::of_length(2.0) };
    assert_eq!(refused(Mount::Tether(nowhere), true), "tether.position_m");
    assert_eq!(refused(Mount::Stand(THROUGH_CENTRE), false), "start.airborne");
}
