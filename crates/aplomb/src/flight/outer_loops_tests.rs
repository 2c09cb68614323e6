//! The wiring of the outer loops, one property at a time, on estimates written by hand.

extern crate std;

use std::vec::Vec;

use super::*;
use crate::flight::Airframe;
use crate::mix::Geometry;
use crate::{Spin, VelocitySetpoint};

const HEADING: HeadingDemand = HeadingDemand::Rate(0.0);
const LEVEL_FLIGHT: VerticalDemand = VerticalDemand::Climb(0.0);
const WEIGHT_N: f32 = 1.2 * STANDARD_GRAVITY_M_S2;
/// Steps in a second.
const SECOND: usize = 40;

fn config() -> Config {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    let derived = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5)).unwrap();
    // 40 steps a second.
    Config { attitude_divider: 5, velocity_divider: 25, ..derived }
}

fn outer_loops() -> OuterLoops<Libm> {
    OuterLoops::new(&config()).unwrap()
}

fn at(north_m: f32, velocity_m_s: f32) -> estimate::State {
    estimate::State {
        position_m: Vector::new(north_m, 0.0, -5.0),
        velocity_m_s: Vector::new(velocity_m_s, 0.0, 0.0),
        attitude_valid: true,
        height_valid: true,
        position_valid: true,
        ..estimate::State::default()
    }
}

const HOVERING: Achieved = Achieved {
    torque_nm: Vector::ZERO,
    thrust_n: WEIGHT_N,
    acceleration_m_s2: Vector::ZERO,
    limited: Limited::NONE,
};

fn hold(vertical: VerticalDemand) -> Demand {
    Demand::Position { setpoint: PositionSetpoint::default(), heading: HEADING, vertical }
}

fn velocity(north_m_s: f32) -> Demand {
    let setpoint = VelocitySetpoint::constant(Horizontal::new(north_m_s, 0.0));
    Demand::Velocity { setpoint, heading: HEADING, vertical: LEVEL_FLIGHT }
}

fn tilt(forward: f32) -> Demand {
    Demand::Tilt { tilt: Tilt { forward, right: 0.0 }, heading: HEADING, vertical: LEVEL_FLIGHT }
}

#[test]
fn thrust_that_the_mixer_cut_does_not_wind_up_the_vertical_integral() {
    // 2 m too low for 10 s, while the rotors give 5 % more than the weight and no more.
    let integral = |cut: bool| {
        let mut outer = outer_loops();
        let achieved = Achieved {
            thrust_n: 1.05 * WEIGHT_N,
            limited: Limited { thrust: cut, ..Limited::NONE },
            ..HOVERING
        };
        for _ in 0..10 * SECOND {
            let _ = outer.step(&hold(VerticalDemand::Height(7.0)), false, &at(0.0, 0.0), &achieved);
        }
        -outer.integral_m_s2().z()
    };
    // The twin whose mixer reports the whole demand as achieved is at the limit of the integral, half of g.
    assert!(integral(true) < 0.5 && integral(false) > 4.5, "{} {}", integral(true), integral(false));
}

#[test]
fn thrust_beyond_its_range_does_not_wind_up_the_vertical_integral() {
    // A set-point 100 m higher with a climb that stays at 0: the demand is far above the largest thrust.
    let mut config = config();
    config.thrust.max_thrust_n = 1.1 * WEIGHT_N;
    let mut outer: OuterLoops = OuterLoops::new(&config).unwrap();
    for _ in 0..10 * SECOND {
        let _ = outer.step(&hold(VerticalDemand::Height(105.0)), false, &at(0.0, 0.0), &HOVERING);
    }
    let integral = -outer.integral_m_s2().z();
    assert!(integral < 0.1 * STANDARD_GRAVITY_M_S2, "{integral}");
}

#[test]
fn climb_without_a_valid_height_is_an_acceleration_of_a_quarter_of_the_crossover_times_it() {
    let mut outer = outer_loops();
    let motion = estimate::State { height_valid: false, ..at(0.0, 0.0) };
    let crossover = config().vertical.climb_crossover_rad_s;
    for (climb, expected) in [(0.8, 0.8 * 0.25 * crossover), (-0.4, -0.4 * 0.25 * crossover), (100.0, 2.0)] {
        let output = outer.step(&hold(VerticalDemand::Climb(climb)), false, &motion, &HOVERING);
        let up = output.up_m_s2 - STANDARD_GRAVITY_M_S2;
        assert!((up - expected).abs() < 1e-5, "{climb}: {up} {expected}");
        assert_eq!(output.height_setpoint_m, None);
    }
}

#[test]
fn velocity_controller_at_its_own_limit_counts_as_at_the_tilt_limit() {
    // A lasting climb demand of 2 m/s2 widens the cone beyond what the velocity controller demands at its
    // limit of g tan(limit).
    let mut config = config();
    config.velocity.output_limit_m_s2 =
        ThrustVector::<Libm>::new(&config.thrust).unwrap().horizontal_limit_m_s2();
    config.velocity.crossover_rad_s *= 4.0;
    let limited = |north_m_s: f32| {
        let mut outer: OuterLoops = OuterLoops::new(&config).unwrap();
        let motion = estimate::State { height_valid: false, ..at(0.0, -5.0) };
        let setpoint = VelocitySetpoint::constant(Horizontal::new(north_m_s, 0.0));
        let vertical = VerticalDemand::Climb(100.0);
        let demand = Demand::Velocity { setpoint, heading: HEADING, vertical };
        let output = (0..SECOND).map(|_| outer.step(&demand, false, &motion, &HOVERING)).last().unwrap();
        let horizontal = output.acceleration_m_s2.horizontal();
        let cone = output.up_m_s2 * config.thrust.tilt_limit_rad.tan();
        assert!(horizontal.north < 0.95 * cone, "the cone must not cut: {horizontal:?} of {cone}");
        output.limited.tilt
    };
    assert!(limited(3.0));
    assert!(!limited(-5.0), "the twin with nothing to do");
}

#[test]
fn set_point_ramp_pauses_under_a_tilt_demand_and_starts_at_the_present_velocity() {
    let mut outer = outer_loops();
    let _ = outer.step(&velocity(0.0), false, &at(0.0, 0.0), &HOVERING);
    let output = outer.step(&tilt(0.2), false, &at(0.0, 4.0), &HOVERING);
    assert_eq!(output.velocity_setpoint_m_s.x(), 0.0, "velocity is not controlled");
    let output = outer.step(&velocity(0.0), false, &at(0.0, 4.0), &HOVERING);
    assert!(output.velocity_setpoint_m_s.x() > 3.5, "{output:?}");
}

#[test]
fn velocity_integral_does_not_change_under_a_tilt_demand() {
    let mut outer = outer_loops();
    for _ in 0..SECOND {
        let _ = outer.step(&velocity(0.0), false, &at(0.0, 0.5), &HOVERING);
    }
    let before = outer.integral_m_s2();
    assert!(before.x() < -0.1);
    for _ in 0..SECOND {
        let _ = outer.step(&tilt(0.1), false, &at(0.0, 0.5), &HOVERING);
    }
    assert_eq!(outer.integral_m_s2().x(), before.x());
}

/// A craft blown away from the origin at 2 m/s, from 30 m on: `cannot_hold_position` of each step.
fn lost(steps: usize) -> Vec<bool> {
    let mut outer = outer_loops();
    (0..steps)
        .map(|step| {
            let north_m = 30.0 + 2.0 * step as f32 / SECOND as f32;
            outer.step(&hold(LEVEL_FLIGHT), false, &at(north_m, 2.0), &HOVERING).cannot_hold_position
        })
        .collect()
}

#[test]
fn cannot_hold_position_takes_a_second_at_the_tilt_limit_and_ends_after_one() {
    let said = lost(3 * SECOND);
    let first = said.iter().position(|lost| *lost).unwrap();
    assert!((SECOND - 1..2 * SECOND).contains(&first), "{first}");
    assert!(said[first..].iter().all(|lost| *lost));
    // It ends a second after the craft comes back, or immediately with another demand.
    let mut outer = outer_loops();
    for step in 0..3 * SECOND {
        let _ = outer.step(&hold(LEVEL_FLIGHT), false, &at(30.0 + step as f32 * 0.05, 2.0), &HOVERING);
    }
    let mut other = outer;
    assert!(!other.step(&tilt(0.1), false, &at(36.0, 2.0), &HOVERING).cannot_hold_position);
    assert!(!other.step(&hold(LEVEL_FLIGHT), false, &at(36.0, 2.0), &HOVERING).cannot_hold_position);
    let back: Vec<bool> = (0..3 * SECOND)
        .map(|_| outer.step(&hold(LEVEL_FLIGHT), false, &at(30.0, -1.0), &HOVERING).cannot_hold_position)
        .collect();
    let over = back.iter().position(|lost| !*lost).unwrap();
    assert!((SECOND - 1..=2 * SECOND).contains(&over), "{over}");
}

#[test]
fn a_position_that_is_approached_or_near_is_not_lost() {
    for (north_m, velocity_m_s) in [(30.0, -2.0), (1.9, 2.0), (30.0, 0.1)] {
        let mut outer = outer_loops();
        for _ in 0..4 * SECOND {
            let output = outer.step(&hold(LEVEL_FLIGHT), false, &at(north_m, velocity_m_s), &HOVERING);
            assert!(!output.cannot_hold_position, "{north_m} {velocity_m_s}");
        }
    }
}

#[test]
fn landing_craft_on_the_ground_is_levelled() {
    // On the ground, 1 m beside the set-point, with half of the weight as thrust.
    let demand = hold(VerticalDemand::Climb(-0.7));
    let tilts = |landing: bool, thrust_n: f32, climb_m_s: f32| {
        let mut outer = outer_loops();
        let achieved = Achieved { thrust_n, ..HOVERING };
        let mut motion = at(1.0, 0.0);
        motion.velocity_m_s = Vector::new(0.0, 0.0, -climb_m_s);
        (0..SECOND)
            .map(|_| {
                outer.step(&demand, landing, &motion, &achieved).direction
                    != ThrustDirection::Tilt(Tilt::LEVEL)
            })
            .collect::<Vec<bool>>()
    };
    // Level after 0.15 s, six steps.
    let on_ground = tilts(true, 0.5 * WEIGHT_N, 0.0);
    assert_eq!(on_ground.iter().position(|tilted| !*tilted), Some(5));
    assert!(on_ground[5..].iter().all(|tilted| !*tilted));
    // Twins that are not landing, that fly, and that fall.
    for twin in
        [tilts(false, 0.5 * WEIGHT_N, 0.0), tilts(true, WEIGHT_N, 0.0), tilts(true, 0.5 * WEIGHT_N, -0.7)]
    {
        assert!(twin.iter().all(|tilted| *tilted));
    }
}

#[test]
fn without_a_valid_position_velocity_and_position_demands_level_the_craft() {
    let mut outer = outer_loops();
    let motion = estimate::State { position_valid: false, ..at(30.0, 3.0) };
    for demand in [hold(LEVEL_FLIGHT), velocity(5.0)] {
        let output = outer.step(&demand, false, &motion, &HOVERING);
        assert_eq!(output.direction, ThrustDirection::Tilt(Tilt::LEVEL));
    }
    assert!(matches!(
        outer.step(&hold(LEVEL_FLIGHT), false, &at(30.0, 3.0), &HOVERING).direction,
        ThrustDirection::Down(_)
    ));
}

#[test]
fn tilt_demand_is_cut_to_the_tilt_limit_and_reported() {
    let mut outer = outer_loops();
    let limit = config().thrust.tilt_limit_rad.sin();
    for (forward, kept, limited) in [(0.1, 0.1, false), (0.9, limit, true), (f32::NAN, 0.0, true)] {
        let output = outer.step(&tilt(forward), false, &at(0.0, 0.0), &HOVERING);
        let ThrustDirection::Tilt(tilt) = output.direction else { panic!("{output:?}") };
        assert!((tilt.forward - kept).abs() < 1e-6 && output.limited.tilt == limited, "{output:?}");
    }
}

#[test]
fn state_saved_on_any_step_continues_bit_for_bit() {
    let mut outer = outer_loops();
    for step in 0..3 * SECOND {
        let motion = at(0.1 * step as f32, 1.0);
        let mut restored = outer_loops();
        restored.set_state(outer.state());
        let expected = outer.step(&hold(VerticalDemand::Height(6.0)), true, &motion, &HOVERING);
        assert_eq!(restored.step(&hold(VerticalDemand::Height(6.0)), true, &motion, &HOVERING), expected);
    }
}

#[test]
fn wind_is_fed_forward_only_where_its_share_and_the_drag_are_given() {
    let windy = estimate::State { wind_valid: true, wind_m_s: Vector::new(-8.0, 0.0, 0.0), ..at(0.0, 0.0) };
    let fed = |config: &Config, demand: &Demand| {
        let mut outer = OuterLoops::<Libm>::new(config).unwrap();
        let mut last = OuterOutput::HOVER;
        for _ in 0..20 * SECOND {
            last = outer.step(demand, false, &windy, &HOVERING);
        }
        last.wind_feed_forward_m_s2
    };
    let mut with = config();
    with.estimate.rotor_drag_per_s = Some(0.25);
    // 8 m/s at 0.25 1/s, towards the wind, under each kind of demand.
    for demand in [hold(LEVEL_FLIGHT), velocity(0.0), tilt(0.1)] {
        let north = fed(&with, &demand).north;
        assert!((north - 2.0).abs() < 0.05, "{demand:?}: {north}");
    }
    let rates = Demand::Rates { rate_rad_s: Vector::ZERO, thrust_n: WEIGHT_N };
    assert!((fed(&with, &rates).north - 2.0).abs() < 0.05);
    assert_eq!(fed(&Config { wind_share: 0.0, ..with }, &hold(LEVEL_FLIGHT)), Horizontal::ZERO);
    with.estimate.rotor_drag_per_s = None;
    assert_eq!(fed(&with, &hold(LEVEL_FLIGHT)), Horizontal::ZERO);
}

#[test]
fn vertical_part_of_the_achieved_thrust_counts_at_a_tilt() {
    // Tilted by 60 deg with 1.9 times the weight, and no more: 0.95 of the weight upwards.
    let mut outer = outer_loops();
    let achieved =
        Achieved { thrust_n: 1.9 * WEIGHT_N, limited: Limited { thrust: true, ..Limited::NONE }, ..HOVERING };
    let attitude = crate::frames::Attitude::from_angles::<Libm>(60f32.to_radians(), 0.0, 0.0);
    let tilted = estimate::State { attitude, ..at(0.0, 0.0) };
    for _ in 0..10 * SECOND {
        let _ = outer.step(&hold(VerticalDemand::Height(7.0)), false, &tilted, &achieved);
    }
    let integral = -outer.integral_m_s2().z();
    assert!(integral < 0.5, "{integral}");
}
