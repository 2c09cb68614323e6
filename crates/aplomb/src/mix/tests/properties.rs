//! Properties that hold for every frame and demand, by `proptest`; and the closed form of a symmetric X.

extern crate std;

use proptest::prelude::*;

use super::draw::{Frame, Random, config, demand};
use crate::frames::Vector;
use crate::mix::{Allocation, Arm, Config, Geometry, QuadMixer, Wrench};
use crate::{Limited, Rotors, Spin};

/// Valid configurations, with any quadrilateral about the centre of mass, and a ceiling.
fn any_config() -> impl Strategy<Value = (Config, f32)> {
    let arm = || (0.06f32..0.3, 0.06f32..0.3);
    let arms = (arm(), arm(), arm(), arm());
    let limits = (0.0f32..1.0, 3.0f32..9.0, 0.3f32..1.1);
    let allowances = (prop_oneof![Just(0.0f32), 0.0f32..40.0], prop_oneof![Just(0.0f32), 0.0f32..40.0]);
    let reserve = prop_oneof![Just(0.0f32), 0.0f32..0.5];
    (arms, any::<bool>(), 0.005f32..0.04, limits, allowances, reserve).prop_filter_map(
        "no thrust is level",
        |((a, b, c, d), clockwise, kappa, (min_thrust_n, max_thrust_n, ceiling), (down, up), reserve)| {
            let spin = if clockwise { Spin::Clockwise } else { Spin::CounterClockwise };
            let mut geometry = Geometry::symmetric_x(0.1, 0.1, spin, kappa);
            let sizes = Rotors { front_left: a, front_right: b, rear_left: c, rear_right: d };
            geometry.arms = geometry.arms.zip(sizes).map(|(arm, (x, y))| Arm {
                x_m: x.copysign(arm.x_m),
                y_m: y.copysign(arm.y_m),
                ..arm
            });
            let config = Config {
                geometry,
                min_thrust_n,
                max_thrust_n,
                allowance_down_n: down,
                allowance_up_n: up,
                reserved_yaw_share: reserve,
            };
            let ceiling_n = ceiling * max_thrust_n;
            // A ceiling that leaves less than a ten-thousandth of the largest thrust is raised by the mixer.
            let level = Config { max_thrust_n: ceiling_n.min(max_thrust_n) - 1e-4 * max_thrust_n, ..config };
            (QuadMixer::new(&config).is_ok() && QuadMixer::new(&level).is_ok()).then_some((config, ceiling_n))
        },
    )
}

fn any_demand() -> impl Strategy<Value = Wrench> {
    let part = || prop_oneof![Just(0.0f32), -0.3f32..0.3, -5.0f32..5.0];
    (part(), part(), part(), -5.0f32..45.0).prop_map(|(roll, pitch, yaw, thrust_n)| Wrench {
        torque_nm: Vector::new(roll, pitch, 0.1 * yaw),
        thrust_n,
    })
}

fn allocate(config: &Config, demand: &Wrench, ceiling_n: f32) -> Allocation {
    QuadMixer::new(config).unwrap().allocate(demand, ceiling_n)
}

fn roll_pitch(wrench: &Wrench) -> f32 {
    let [roll, pitch, _] = wrench.torque_nm.to_array();
    roll.hypot(pitch)
}

fn scaled(demand: &Wrench, factor: f32) -> Wrench {
    let [roll, pitch, yaw] = demand.torque_nm.to_array();
    Wrench { torque_nm: Vector::new(factor * roll, factor * pitch, yaw), ..*demand }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4096))]

    #[test]
    fn prop_rotors_stay_within_limits((config, ceiling_n) in any_config(), demand in any_demand()) {
        let limits = config.min_thrust_n..=ceiling_n.min(config.max_thrust_n);
        for thrust_n in allocate(&config, &demand, ceiling_n).thrust_n.into_array() {
            prop_assert!(limits.contains(&thrust_n), "{thrust_n}");
        }
    }

    #[test]
    fn prop_roll_and_pitch_keep_their_direction((config, ceiling_n) in any_config(), demand in any_demand()) {
        let [roll, pitch, _] = demand.torque_nm.to_array();
        let [x, y, _] = allocate(&config, &demand, ceiling_n).achieved.torque_nm.to_array();
        prop_assert!((x * pitch - y * roll).abs() <= 1e-6 * (roll * roll + pitch * pitch), "{x} {y}");
        prop_assert!(x * roll >= 0.0 && y * pitch >= 0.0 && x.abs() <= roll.abs() && y.abs() <= pitch.abs());
    }

    #[test]
    fn prop_yaw_is_neither_increased_nor_reversed((config, ceiling_n) in any_config(), demand in any_demand()) {
        let demanded = demand.torque_nm.z();
        let given = allocate(&config, &demand, ceiling_n).achieved.torque_nm.z();
        prop_assert!(given * demanded >= 0.0 && given.abs() <= demanded.abs(), "{given} {demanded}");
    }

    #[test]
    fn prop_thrust_moves_within_the_allowance((config, ceiling_n) in any_config(), demand in any_demand()) {
        let high = ceiling_n.min(config.max_thrust_n);
        let (demanded, given) = (demand.thrust_n, allocate(&config, &demand, ceiling_n).achieved.thrust_n);
        // A demand outside of the range of level thrust is first moved to that range.
        let (least, most) = super::oracle::level(&config, high);
        let round_off = 1e-5 * high;
        prop_assert!(given >= demanded.min(most as f32) - config.allowance_down_n - round_off, "{given} {demanded}");
        prop_assert!(given <= demanded.max(least as f32) + config.allowance_up_n + round_off, "{given} {demanded}");
    }

    #[test]
    fn prop_flags_report_what_was_limited((config, ceiling_n) in any_config(), demand in any_demand()) {
        let Allocation { achieved, limited, .. } = allocate(&config, &demand, ceiling_n);
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let [x, y, z] = achieved.torque_nm.to_array();
        let expected = Limited {
            roll_pitch: x != roll || y != pitch,
            thrust: achieved.thrust_n != demand.thrust_n,
            yaw: z != yaw,
            ..Limited::default()
        };
        // The share may be limited although the torque is 0.
        prop_assert!(expected == limited || (roll == 0.0 && pitch == 0.0), "{expected:?} {limited:?}");
    }

    #[test]
    fn prop_a_larger_demand_never_achieves_less(
        (config, ceiling_n) in any_config(), demand in any_demand(), factor in 1.0f32..30.0,
    ) {
        let [one, more] = [1.0, factor]
            .map(|factor| roll_pitch(&allocate(&config, &scaled(&demand, factor), ceiling_n).achieved));
        let round_off = 2e-5 * config.max_thrust_n * config.geometry.reach_m();
        prop_assert!(more >= one - round_off, "{one} {more}");
        // A demand that is limited at one size is limited to the same value at every larger one.
        if one < roll_pitch(&demand) {
            prop_assert!(more <= one + round_off, "{one} {more}");
        }
    }

    #[test]
    fn prop_more_allowance_and_ceiling_and_less_reserve_never_reduce_roll_and_pitch(
        (config, ceiling_n) in any_config(), demand in any_demand(), more in 0.0f32..10.0, raised in 1.0f32..1.5,
    ) {
        let share = |config: &Config, ceiling_n| roll_pitch(&allocate(config, &demand, ceiling_n).achieved);
        let round_off = 2e-5 * config.max_thrust_n * config.geometry.reach_m();
        let plain = Config { reserved_yaw_share: 0.0, ..config };
        prop_assert!(share(&plain, ceiling_n) >= share(&config, ceiling_n) - round_off);
        let wide = Config {
            allowance_down_n: plain.allowance_down_n + more,
            allowance_up_n: plain.allowance_up_n + more,
            ..plain
        };
        prop_assert!(share(&wide, ceiling_n) >= share(&plain, ceiling_n) - round_off);
        let free = Config { allowance_down_n: 40.0, allowance_up_n: 40.0, ..plain };
        prop_assert!(share(&free, raised * ceiling_n) >= share(&free, ceiling_n) - round_off);
    }

    #[test]
    fn prop_a_mirrored_demand_is_allocated_mirrored(demand in any_demand(), reserved_yaw_share in 0.0f32..0.5) {
        let config = Config {
            geometry: Geometry::symmetric_x(0.16, 0.12, Spin::Clockwise, 0.014),
            min_thrust_n: 0.2,
            max_thrust_n: 6.5,
            allowance_down_n: 4.0,
            allowance_up_n: 3.0,
            reserved_yaw_share,
        };
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let mirrored = Wrench { torque_nm: Vector::new(-roll, pitch, -yaw), ..demand };
        let given = allocate(&config, &demand, 6.0).thrust_n;
        let mirrored = allocate(&config, &mirrored, 6.0).thrust_n;
        let back = Rotors {
            front_left: mirrored.front_right,
            front_right: mirrored.front_left,
            rear_left: mirrored.rear_right,
            rear_right: mirrored.rear_left,
        };
        for (given, back) in given.zip(back).into_array() {
            prop_assert!((given - back).abs() < 2e-5, "{given} {back}");
        }
    }
}

/// The optimum on a symmetric X without allowance and reserve in closed form, in `f64` and in N per rotor.
///
/// With r, p, u what roll, pitch and yaw add to a rotor, t its mean, and low..high its range: the diagonal of
/// the front left rotor has t + u +- (r + p), the other one t - u +- (r - p). Only |r| + |p| <= (high -
/// low)/2 bounds the share; with a = |r + p| and b = |r - p|, low + a <= t + u <= high - a and low + b <= t -
/// u <= high - b; u between 0 and the demand.
fn closed_form([t, r, p, u]: [f64; 4], low: f64, high: f64) -> [f64; 4] {
    let share = (0.5 * (high - low) / (r.abs() + p.abs())).min(1.0);
    let (r, p) = (share * r, share * p);
    let (a, b) = ((r + p).abs(), (r - p).abs());
    let (least_u, most_u) = (u.min(0.0), u.max(0.0));
    // t as a function of u is bounded by two lines from below and by two from above, best where they meet.
    let lowest = |u: f64| (low + a - u).max(low + b + u);
    let highest = |u: f64| (high - a - u).min(high - b + u);
    let t = t
        .min(highest((0.5 * (b - a)).clamp(least_u, most_u)))
        .max(lowest((0.5 * (a - b)).clamp(least_u, most_u)));
    let u = u.min((high - a - t).min(t - low - b)).max((low + a - t).max(t - high + b));
    [t, r, p, u]
}

#[test]
fn validate_symmetric_allocation_is_the_closed_form() {
    let mut random = Random(7);
    let mut worst = 0.0f64;
    for _ in 0..5_000 {
        let (config, ceiling_n) = config(&mut random, Frame::Symmetric, false);
        let (low, high) = (f64::from(config.min_thrust_n), f64::from(ceiling_n));
        let whole = 4.0 * config.max_thrust_n;
        let config = Config { allowance_down_n: whole, allowance_up_n: whole, ..config };
        let Arm { x_m, y_m, spin } = config.geometry.arms.front_left;
        let kappa = f64::from(config.geometry.torque_to_thrust_m * spin.reaction());
        let scale = [1.0, -f64::from(y_m), f64::from(x_m), kappa].map(|scale| 0.25 / scale);
        for _ in 0..10 {
            let demand = demand(&mut random, &config, ceiling_n);
            let rotor = |wrench: &Wrench| {
                let [roll, pitch, yaw] = wrench.torque_nm.to_array();
                let all = [wrench.thrust_n, roll, pitch, yaw].map(f64::from);
                [all[0] * scale[0], all[1] * scale[1], all[2] * scale[2], all[3] * scale[3]]
            };
            let given = rotor(&allocate(&config, &demand, ceiling_n).achieved);
            let best = closed_form(rotor(&demand), low, high);
            for (given, best) in given.into_iter().zip(best) {
                worst = worst.max((given - best).abs() / high);
            }
        }
    }
    std::println!("closed form: worst error {worst:.1e}");
    assert!(worst < 1e-5, "{worst}");
}
