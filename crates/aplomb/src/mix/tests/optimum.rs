//! The allocation against the optimum.

extern crate std;

use std::println;
use std::vec::Vec;

use super::draw::{Frame, Random, config, demand};
use super::oracle::{Optimum, level, optimum};
use crate::Limited;
use crate::mix::{Allocation, Arm, Config, QuadMixer, Wrench};

/// Largest difference of an allocation from the optimum, in shares of full thrust: roll and pitch torque over
/// the reach of an arm and the full thrust of one rotor, total thrust over that of all, yaw torque over that
/// of all at kappa.
fn error(config: &Config, ceiling_n: f32, demand: &Wrench, given: &Allocation, best: &Optimum) -> f64 {
    let high = f64::from(ceiling_n);
    let reach = f64::from(config.geometry.reach_m());
    let kappa = f64::from(config.geometry.torque_to_thrust_m);
    let [roll, pitch, _] = demand.torque_nm.to_array().map(f64::from);
    let [x, y, z] = given.achieved.torque_nm.to_array().map(f64::from);
    [
        (x - best.share * roll).abs() / (reach * high),
        (y - best.share * pitch).abs() / (reach * high),
        (f64::from(given.achieved.thrust_n) - best.thrust).abs() / (4.0 * high),
        (z - best.yaw).abs() / (4.0 * kappa * high),
    ]
    .into_iter()
    .fold(0.0, f64::max)
}

/// Largest difference of what is reported as achieved from what the thrusts give, in the same shares.
fn misreported(config: &Config, ceiling_n: f32, given: &Allocation) -> f64 {
    let high = f64::from(ceiling_n);
    let reach = f64::from(config.geometry.reach_m());
    let thrusts = given.thrust_n.into_array().map(f64::from);
    let arms = config.geometry.arms.into_array();
    let sum = |gain: &dyn Fn(&Arm) -> f64| -> f64 {
        thrusts.iter().zip(&arms).map(|(thrust, arm)| thrust * gain(arm)).sum()
    };
    let kappa = f64::from(config.geometry.torque_to_thrust_m);
    let [x, y, z] = given.achieved.torque_nm.to_array().map(f64::from);
    [
        (sum(&|arm| -f64::from(arm.y_m)) - x).abs() / (reach * high),
        (sum(&|arm| f64::from(arm.x_m)) - y).abs() / (reach * high),
        (sum(&|_| 1.0) - f64::from(given.achieved.thrust_n)).abs() / (4.0 * high),
        (sum(&|arm| f64::from(arm.spin.reaction())) - z / kappa).abs() / (4.0 * high),
    ]
    .into_iter()
    .fold(0.0, f64::max)
}

/// Number of demands of a kind: 20,000, or MIX_DEMANDS at build time (fewer in a mutation run).
const DEMANDS: usize = match option_env!("MIX_DEMANDS") {
    None => 20_000,
    Some(text) => match usize::from_str_radix(text, 10) {
        Ok(demands) => demands,
        Err(_) => panic!("MIX_DEMANDS is not a number"),
    },
};

/// Compares [`DEMANDS`] demands of a kind: at most 1e-5 in 99.9 % and 5e-5 in all.
fn compare(frame: Frame, reserved: bool, seed: u64) {
    let mut random = Random(seed);
    let (mut errors, mut limited, mut reported) = (Vec::new(), 0, 0.0f64);
    while errors.len() < DEMANDS {
        let (config, ceiling_n) = config(&mut random, frame, reserved);
        let mixer = QuadMixer::new(&config).unwrap();
        let level = level(&config, ceiling_n);
        for _ in 0..10 {
            let demand = demand(&mut random, &config, ceiling_n);
            let given = mixer.allocate(&demand, ceiling_n);
            let best = optimum(&config, ceiling_n, level, &demand);
            for thrust_n in given.thrust_n.into_array() {
                assert!((config.min_thrust_n..=ceiling_n).contains(&thrust_n), "{thrust_n} {config:?}");
            }
            let off = error(&config, ceiling_n, &demand, &given, &best);
            if off > 1e-5 {
                println!("{off:.1e}: {demand:?} {config:?} {ceiling_n}: {given:?} against {best:?}");
            }
            errors.push(off);
            limited += usize::from(given.limited != Limited::default());
            reported = reported.max(misreported(&config, ceiling_n, &given));
        }
    }
    errors.sort_by(f64::total_cmp);
    let quantile = |share: f64| errors[(share * (DEMANDS - 1) as f64) as usize];
    let (most, all) = (quantile(0.999), quantile(1.0));
    println!(
        "{frame:?}, reserve {}: {limited} of {DEMANDS} limited; error {:.1e} in 50 %, {:.1e} in 99 %, {most:.1e} in 99.9 %, \
         {all:.1e} in all; reported to {reported:.1e}",
        if reserved { "on" } else { "off" },
        quantile(0.5),
        quantile(0.99),
    );
    assert!(limited > DEMANDS / 2 && limited < DEMANDS, "the demands must cover both: {limited}");
    assert!(most <= 1e-5 && all <= 5e-5, "{most} {all}");
    assert!(reported < 1e-5, "{reported}");
}

#[test]
fn prop_symmetric_allocation_is_the_lexicographic_optimum() {
    compare(Frame::Symmetric, false, 1);
    compare(Frame::Symmetric, true, 2);
}

#[test]
fn prop_general_allocation_is_the_lexicographic_optimum() {
    compare(Frame::General, false, 3);
    compare(Frame::General, true, 4);
}

#[test]
fn prop_uneven_allocation_is_the_lexicographic_optimum() {
    compare(Frame::Uneven, false, 5);
    compare(Frame::Uneven, true, 6);
}
