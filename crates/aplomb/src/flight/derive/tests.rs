//! The rules hold for craft of any size, and nothing is fixed in Hz, deg or s without one.

extern crate std;

use std::vec::Vec;

use super::*;
use crate::mix::{Arm, Geometry};
use crate::{FlightController, Libm, Rotors, STANDARD_GRAVITY_M_S2, Spin, frames};

const G: f32 = STANDARD_GRAVITY_M_S2;

fn airframe() -> Airframe {
    let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.0138);
    Airframe {
        rotor_time_constant_s: 0.035,
        rotor_drag_per_s: Some(0.25),
        ..Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.9)
    }
}

fn with_thrust_to_weight(ratio: f32) -> Airframe {
    let mut airframe = airframe();
    airframe.thrust_curve.max_thrust_n = 0.25 * ratio * airframe.mass_kg * G;
    airframe
}

fn derived(airframe: &Airframe) -> Config {
    let config = Config::for_airframe(airframe).unwrap();
    FlightController::<Libm>::new(&config).unwrap();
    config
}

#[test]
fn tilt_limit_leaves_the_stated_thrust_reserve() {
    let mut last_rad = 0.0;
    for ratio in [1.3, 1.8, 2.2, 2.5, 4.0, 8.0, 9.0, 11.0] {
        let airframe = with_thrust_to_weight(ratio);
        let limit_rad = derived(&airframe).thrust.tilt_limit_rad;
        let up_m_s2 = 4.0 * airframe.thrust_curve.max_thrust_n * limit_rad.cos() / airframe.mass_kg - G;
        let stated_m_s2 = G * (2.0 / 3.0 * (ratio - 1.0)).min(1.0);
        assert!((up_m_s2 - stated_m_s2).abs() < 1e-3 * G, "{ratio}: {up_m_s2} {stated_m_s2}");
        assert!(limit_rad > last_rad);
        last_rad = limit_rad;
    }
    assert!(derived(&with_thrust_to_weight(8.0)).thrust.tilt_limit_rad.to_degrees() > 70.0);
    // The type of the limit ends at 1.4 rad.
    assert_eq!(derived(&with_thrust_to_weight(14.0)).thrust.tilt_limit_rad, 1.4);
}

#[test]
fn rate_limits_follow_from_torque_and_inertia() {
    let scaled = |inertia: f32, arms: f32, kappa: f32| {
        let mut airframe = airframe();
        let [roll, pitch, yaw] = [0.011, 0.012, 0.021].map(|moment| inertia * moment);
        airframe.inertia = crate::control::rate::Inertia::diagonal(roll, pitch, yaw);
        airframe.geometry =
            Geometry::symmetric_x(0.16 * arms, 0.16 * arms, Spin::CounterClockwise, 0.0138 * kappa);
        derived(&airframe).attitude
    };
    let near = |a: f32, b: f32| assert!((a / b - 1.0).abs() < 1e-3, "{a} {b}");
    let one = scaled(1.0, 1.0, 1.0);
    // Largest torque at hover thrust over inertia: by hand, pitch has the larger inertia.
    let hover_n = 0.25 * 1.2 * G;
    let range_n = (35.0 / 36.0 * hover_n).min(6.9 - hover_n);
    near(one.tilt.acceleration_limit_rad_s2, range_n * 4.0 * 0.16 / 0.012);
    near(one.heading.acceleration_limit_rad_s2, 0.5 * range_n * 4.0 * 0.0138 / 0.021);
    // Half of it brakes from the rate limit at omega/(1 + 2 zeta).
    for part in [one.tilt, one.heading] {
        near(
            part.rate_limit_rad_s * part.reference_bandwidth_rad_s / 2.5,
            0.5 * part.acceleration_limit_rad_s2,
        );
    }
    // Twice the inertia halves the acceleration. The bandwidth falls by its cube root, so that the rate falls
    // by 2^(2/3).
    let heavy = scaled(2.0, 1.0, 1.0);
    near(heavy.tilt.acceleration_limit_rad_s2, 0.5 * one.tilt.acceleration_limit_rad_s2);
    near(heavy.tilt.rate_limit_rad_s, one.tilt.rate_limit_rad_s / 2f32.powf(2.0 / 3.0));
    // Twice the torque with it: as before.
    let both = scaled(2.0, 2.0, 2.0);
    near(both.tilt.rate_limit_rad_s, one.tilt.rate_limit_rad_s);
    near(both.heading.rate_limit_rad_s, one.heading.rate_limit_rad_s);
}

/// A craft of `length` times the size with the same thrust to weight, dynamically alike (Froude scaling):
/// times go with the root of the length, masses with its cube.
fn scaled(length: f32) -> Airframe {
    let base = airframe();
    let time = length.sqrt();
    let (mass, inertia) = (length.powi(3), length.powi(5));
    let mut thrust_curve = base.thrust_curve;
    thrust_curve.max_thrust_n *= mass;
    thrust_curve.voltage_filter_s *= time;
    Airframe {
        mass_kg: base.mass_kg * mass,
        inertia: crate::control::rate::Inertia::diagonal(0.011 * inertia, 0.012 * inertia, 0.021 * inertia),
        geometry: Geometry {
            arms: base.geometry.arms.map(|arm| Arm { x_m: arm.x_m * length, y_m: arm.y_m * length, ..arm }),
            torque_to_thrust_m: base.geometry.torque_to_thrust_m * length,
        },
        thrust_curve,
        rotor_diameter_m: base.rotor_diameter_m * length,
        rotor_time_constant_s: base.rotor_time_constant_s * time,
        speed_controller_delay_s: base.speed_controller_delay_s * time,
        imu_delay_s: base.imu_delay_s * time,
        rotor_inertia_kg_m2: base.rotor_inertia_kg_m2 * inertia,
        hover_speed_rad_s: base.hover_speed_rad_s / time,
        rotor_drag_per_s: base.rotor_drag_per_s.map(|drag| drag / time),
    }
}

/// Value, and the exponent of time with which it scales; a length is a time squared, and a mass the sixth
/// power.
type Row = (&'static str, fn(&Config) -> f32, i32);

#[rustfmt::skip]
const ROWS: &[Row] = &[
    ("tick_hz", |c| c.tick_hz, -1),
    ("attitude_divider", |c| c.attitude_divider.into(), 0),
    ("velocity_divider", |c| c.velocity_divider.into(), 0),
    ("idle_command", |c| c.idle_command, 0),
    ("wind_share", |c| c.wind_share, 0),
    ("mix.min_thrust_n", |c| c.mix.min_thrust_n, 6),
    ("mix.max_thrust_n", |c| c.mix.max_thrust_n, 6),
    ("mix.allowance_up_n", |c| c.mix.allowance_up_n, 6),
    ("estimate.imu_max_age_s", |c| c.estimate.imu_max_age_s, 1),
    ("notch.bandwidth_hz", |c| c.notch.bandwidth_hz, -1),
    ("notch.harmonic", |c| c.notch.harmonic, 0),
    ("notch.lowest_hz", |c| c.notch.lowest_hz, -1),
    ("notch.highest_hz", |c| c.notch.highest_hz, -1),
    ("gyro_cutoff_hz", |c| c.gyro_cutoff_hz, -1),
    ("rate.derivative_filter_ratio", |c| c.rate.derivative_filter_ratio, 0),
    ("rate.reaction_time_constant_s", |c| c.rate.reaction_time_constant_s, 1),
    ("rate.roll.crossover_rad_s", |c| c.rate.roll.crossover_rad_s, -1),
    ("rate.roll.integral_time_s", |c| c.rate.roll.integral_time_s, 1),
    ("rate.roll.derivative_time_s", |c| c.rate.roll.derivative_time_s, 1),
    ("rate.roll.acceleration_limit_rad_s2", |c| c.rate.roll.acceleration_limit_rad_s2, -2),
    ("rate.pitch.crossover_rad_s", |c| c.rate.pitch.crossover_rad_s, -1),
    ("rate.pitch.acceleration_limit_rad_s2", |c| c.rate.pitch.acceleration_limit_rad_s2, -2),
    ("rate.yaw.crossover_rad_s", |c| c.rate.yaw.crossover_rad_s, -1),
    ("rate.yaw.acceleration_limit_rad_s2", |c| c.rate.yaw.acceleration_limit_rad_s2, -2),
    ("attitude.tilt.crossover_rad_s", |c| c.attitude.tilt.crossover_rad_s, -1),
    ("attitude.tilt.reference_bandwidth_rad_s", |c| c.attitude.tilt.reference_bandwidth_rad_s, -1),
    ("attitude.tilt.rate_limit_rad_s", |c| c.attitude.tilt.rate_limit_rad_s, -1),
    ("attitude.tilt.acceleration_limit_rad_s2", |c| c.attitude.tilt.acceleration_limit_rad_s2, -2),
    ("attitude.heading.crossover_rad_s", |c| c.attitude.heading.crossover_rad_s, -1),
    ("attitude.heading.reference_bandwidth_rad_s", |c| c.attitude.heading.reference_bandwidth_rad_s, -1),
    ("attitude.heading.rate_limit_rad_s", |c| c.attitude.heading.rate_limit_rad_s, -1),
    ("attitude.heading.acceleration_limit_rad_s2", |c| c.attitude.heading.acceleration_limit_rad_s2, -2),
    ("attitude.reference_damping", |c| c.attitude.reference_damping, 0),
    ("attitude.rotor_time_constant_s", |c| c.attitude.rotor_time_constant_s, 1),
    ("thrust.tilt_limit_rad", |c| c.thrust.tilt_limit_rad, 0),
    ("thrust.min_thrust_n", |c| c.thrust.min_thrust_n, 6),
    ("thrust.max_thrust_n", |c| c.thrust.max_thrust_n, 6),
    ("vertical.climb_crossover_rad_s", |c| c.vertical.climb_crossover_rad_s, -1),
    ("vertical.climb_integral_time_s", |c| c.vertical.climb_integral_time_s, 1),
    ("vertical.height_crossover_rad_s", |c| c.vertical.height_crossover_rad_s, -1),
    ("vertical.climb_limit_m_s", |c| c.vertical.climb_limit_m_s, 1),
    ("vertical.descent_limit_m_s", |c| c.vertical.descent_limit_m_s, 1),
    ("vertical.acceleration_m_s2", |c| c.vertical.acceleration_m_s2, 0),
    ("velocity.crossover_rad_s", |c| c.velocity.crossover_rad_s, -1),
    ("velocity.integral_time_s", |c| c.velocity.integral_time_s, 1),
    ("velocity.speed_limit_m_s", |c| c.velocity.speed_limit_m_s, 1),
    ("velocity.acceleration_m_s2", |c| c.velocity.acceleration_m_s2, 0),
    ("velocity.output_limit_m_s2", |c| c.velocity.output_limit_m_s2, 0),
    ("position.crossover_rad_s", |c| c.position.crossover_rad_s, -1),
    ("position.braking_m_s2", |c| c.position.braking_m_s2, 0),
    ("position.speed_limit_m_s", |c| c.position.speed_limit_m_s, 1),
    ("pilot.full_stick_tilt_rad", |c| c.pilot.full_stick_tilt_rad, 0),
    ("pilot.full_stick_yaw_rate_rad_s", |c| c.pilot.full_stick_yaw_rate_rad_s, -1),
    ("pilot.full_stick_climb_m_s", |c| c.pilot.full_stick_climb_m_s, 1),
    ("pilot.full_stick_descent_m_s", |c| c.pilot.full_stick_descent_m_s, 1),
    ("guard.arming_tilt_rad", |c| c.guard.arming_tilt_rad, 0),
    ("guard.imu_hold_s", |c| c.guard.imu_hold_s, 1),
    ("guard.low_battery_s", |c| c.guard.low_battery_s, 1),
    ("guard.tip_over_tilt_rad", |c| c.guard.tip_over_tilt_rad, 0),
    ("guard.tip_over_s", |c| c.guard.tip_over_s, 1),
    ("guard.landed_s", |c| c.guard.landed_s, 1),
];

#[test]
fn craft_of_other_sizes_get_the_same_settings_in_their_own_time() {
    let base = derived(&airframe());
    assert_eq!((base.tick_hz, base.attitude_divider, base.velocity_divider), (1000.0, 5, 25));
    // Lengths whose tick rates are on the list: everything scales.
    for length in [4.0, 0.25, 0.0625] {
        let config = derived(&scaled(length));
        for (name, value, exponent) in ROWS {
            let expected = value(&base) * length.sqrt().powi(*exponent);
            // Only the gyro's range does not scale: the smallest turns no faster than that.
            let expected =
                if *name == "attitude.tilt.rate_limit_rad_s" { expected.min(27.92) } else { expected };
            assert!((value(&config) / expected - 1.0).abs() < 1e-3, "{name} at {length}: {}", value(&config));
        }
    }
    // Between them the tick rate steps, and with it what the tick delays: within a fifth.
    for length in [2.0, 0.6, 0.12] {
        let config = derived(&scaled(length));
        assert!(TICK_RATES_HZ.contains(&config.tick_hz));
        for (name, value, exponent) in ROWS {
            if !name.ends_with("divider") && *name != "tick_hz" && *name != "estimate.imu_max_age_s" {
                let ratio = value(&config) / (value(&base) * length.sqrt().powi(*exponent));
                assert!((ratio - 1.0).abs() < 0.2, "{name} at {length}: {ratio}");
            }
        }
    }
}

// What a hand, a sensor or a material sets does not scale; each of these has its floor or ceiling.
#[test]
fn bounds_of_hand_sensor_and_landing_gear_do_not_scale() {
    for length in [4.0f32, 1.0, 0.0625] {
        let config = derived(&scaled(length));
        let (pilot, guard) = (config.pilot, config.guard);
        assert_eq!((pilot.dead_band, guard.arming_stick, guard.landed_thrust_share), (0.04, 0.08, 0.7));
        let diameter_m = 0.2286 * length;
        let drop_m = pilot.landing_speed_m_s.powi(2) / (2.0 * G);
        assert!((drop_m / (0.1 * diameter_m).min(0.64 * 0.05) - 1.0).abs() < 1e-3, "{drop_m}");
        assert!((guard.landed_climb_m_s / pilot.landing_speed_m_s - 0.4).abs() < 1e-3);
        let stop_m_s = (diameter_m * config.velocity.crossover_rad_s).max(0.2);
        assert!((pilot.hold_below_m_s / stop_m_s - 1.0).abs() < 1e-3);
        assert!(
            (guard.link_hold_s * config.velocity.crossover_rad_s - 1.0).abs() < 1e-3
                || guard.link_hold_s == 0.2
        );
        let stop_s = config.velocity.speed_limit_m_s / config.velocity.acceleration_m_s2;
        assert!((guard.link_land_s - guard.link_hold_s - stop_s).abs() < 1e-3);
    }
}

/// Craft from 20 g to 60 kg with fast and slow rotors, weak and strong.
fn fleet() -> Vec<Airframe> {
    let mut fleet = Vec::new();
    for length in [0.25, 0.5, 1.0, 2.0, 4.0] {
        for rotors in [0.4, 1.0, 2.0] {
            for ratio in [1.3, 1.8, 3.0, 8.0, 12.0] {
                let mut airframe = scaled(length);
                airframe.rotor_time_constant_s *= rotors;
                airframe.thrust_curve.max_thrust_n = 0.2501 * ratio * airframe.mass_kg * G;
                fleet.push(airframe);
            }
        }
    }
    fleet
}

#[test]
fn every_loop_runs_at_least_20_times_its_crossover() {
    for airframe in fleet() {
        let config = derived(&airframe);
        let hz = |divider: u16| config.tick_hz / f32::from(divider);
        // The rate loop even 20 times in 1/s; Hz are 2 pi times as strict.
        assert!(config.tick_hz >= 20.0 * config.rate.roll.crossover_rad_s);
        let per_turn = core::f32::consts::TAU;
        assert!(hz(config.attitude_divider) >= 20.0 * config.attitude.tilt.crossover_rad_s / per_turn);
        for crossover in [config.velocity.crossover_rad_s, config.vertical.climb_crossover_rad_s] {
            assert!(hz(config.velocity_divider) >= 20.0 * crossover / per_turn);
        }
        assert_eq!(config.velocity_divider % config.attitude_divider, 0);
        // Not faster than it must be.
        if let Some(slower) = TICK_RATES_HZ.iter().rev().find(|&&hz| hz < config.tick_hz) {
            let tone_hz = config.notch.highest_hz;
            // At the lower rate the crossover would be lower, too, by at most what two more periods delay.
            let dead_s = 0.36 / config.rate.roll.crossover_rad_s + 2.0 / config.tick_hz;
            assert!(20.0 * 0.36 / dead_s > 0.95 * slower || tone_hz > 0.45 * slower, "{slower}");
        }
    }
}

#[test]
fn guard_and_sticks_fit_the_limits_of_any_craft() {
    for airframe in fleet() {
        let config = derived(&airframe);
        // Flying at the limit is not lying on the side.
        assert!(config.guard.tip_over_tilt_rad > config.thrust.tilt_limit_rad + 0.05);
        assert!(config.pilot.full_stick_tilt_rad < config.thrust.tilt_limit_rad);
        assert!(config.guard.arming_tilt_rad < config.thrust.tilt_limit_rad);
        // A descent at constant speed is no landing, nor is the ramp into it.
        let ramp_share = 1.0 - config.vertical.acceleration_m_s2 / G;
        assert!(ramp_share > config.guard.landed_thrust_share - 0.05);
        assert!(config.guard.landed_climb_m_s < config.pilot.landing_speed_m_s);
        assert!(config.pilot.landing_speed_m_s <= config.vertical.descent_limit_m_s);
        // About the centre 1 % of the stick is at most a quarter of a degree.
        let slope_rad = (1.0 - config.pilot.expo) * config.pilot.full_stick_tilt_rad;
        assert!(slope_rad < 0.4364, "{slope_rad}");
        // The idling rotors turn at a sixth of their hover speed.
        let share = config.mix.min_thrust_n / (0.25 * airframe.mass_kg * G);
        assert!((share * 36.0 - 1.0).abs() < 1e-3);
        assert!(config.position.speed_limit_m_s < config.velocity.speed_limit_m_s);
    }
}

#[test]
fn uneven_arms_and_any_spin_are_derived() {
    let arm = |x_m, y_m, spin| Arm { x_m, y_m, spin };
    let mut airframe = airframe();
    airframe.geometry.arms = Rotors {
        front_left: arm(0.10, -0.20, Spin::Clockwise),
        front_right: arm(0.10, 0.20, Spin::CounterClockwise),
        rear_left: arm(-0.20, -0.14, Spin::CounterClockwise),
        rear_right: arm(-0.20, 0.14, Spin::Clockwise),
    };
    let basis = Basis::new(&airframe).unwrap();
    let range_n = 35.0 / 36.0 * 0.25 * 1.2 * G;
    let expected: frames::Vector<frames::Body> =
        frames::Vector::new(range_n * 0.68, range_n * 0.6, 4.0 * range_n * 0.0138);
    assert!((basis.torque_nm - expected).norm_squared() < 1e-6);
    derived(&airframe);
}

/// The rules of the documentation, with the numbers of one craft worked by hand.
#[test]
fn settings_of_one_craft_follow_their_rules() {
    let airframe = airframe();
    let config = derived(&airframe);
    let near = |a: f32, b: f32| assert!((a / b - 1.0).abs() < 1e-3, "{a} {b}");
    let (guard, outer, curve) = (config.guard, config.velocity, airframe.thrust_curve);
    near(guard.low_battery_v, 0.8 * curve.lowest_voltage_v + 0.2 * curve.highest_voltage_v);
    near(guard.arming_stick, 2.0 * config.pilot.dead_band);
    near(guard.arming_rate_rad_s, 4.0 * config.estimate.attitude.max_gyro_bias_rad_s);
    near(guard.imu_hold_s, 0.035);
    near(guard.link_land_s - guard.link_hold_s, outer.speed_limit_m_s / outer.acceleration_m_s2);
    near(guard.tip_over_tilt_rad, 0.5 * (config.thrust.tilt_limit_rad + core::f32::consts::FRAC_PI_2));
    near(guard.landed_climb_m_s, 0.4 * config.pilot.landing_speed_m_s);
    near(guard.tip_over_s, guard.landed_s);
    near(config.mix.allowance_down_n, 4.0 * config.mix.max_thrust_n);
    near(config.mix.allowance_up_n, 0.5 * 1.2 * G);
    near(3.0 * config.rate.yaw.crossover_rad_s, config.rate.roll.crossover_rad_s);
    // Jr/(2 kQ w) with kQ w^2 = kappa W/4.
    let hover_torque_nm = 0.0138 * 0.25 * 1.2 * G;
    near(
        config.rate.reaction_time_constant_s,
        0.5 * airframe.rotor_inertia_kg_m2 * airframe.hover_speed_rad_s / hover_torque_nm,
    );
    // Climb: rotors, half a period of the outer loops, one and a half ticks, speed controllers.
    let half_period_s = 0.5 * f32::from(config.velocity_divider) / config.tick_hz;
    let delay_s = 0.035 + half_period_s + 1.5 / config.tick_hz + airframe.speed_controller_delay_s;
    near(config.vertical.climb_crossover_rad_s, 0.2 / delay_s);
    near(config.vertical.height_crossover_rad_s, config.vertical.climb_crossover_rad_s / 3.0);
    // Horizontal: half of g tan(tilt limit); the ramp of seven time constants, or the drag of 0.25 1/s.
    let horizontal_m_s2 = G * config.thrust.tilt_limit_rad.tan();
    near(outer.acceleration_m_s2, 0.5 * horizontal_m_s2);
    let ramped_m_s = 7.0 * outer.acceleration_m_s2 / outer.crossover_rad_s;
    near(outer.speed_limit_m_s, ramped_m_s.min(outer.acceleration_m_s2 / 0.25));
    near(outer.integral_time_s, 5.0 / outer.crossover_rad_s);
    // Without drag the ramp alone limits.
    let free = derived(&Airframe { rotor_drag_per_s: None, ..airframe }).velocity;
    near(free.speed_limit_m_s, 7.0 * free.acceleration_m_s2 / free.crossover_rad_s);
}
