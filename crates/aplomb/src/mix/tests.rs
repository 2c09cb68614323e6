//! The optimum against a general linear-programming solver (`microlp`), stage by stage, in `f64`.

extern crate std;

use std::println;
use std::vec::Vec;

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};

use super::*;
use crate::{MotorCommand, Spin};

/// A small generator with a fixed seed (SplitMix64; Steele, Lea, Flood 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn within(&mut self, low: f64, high: f64) -> f32 {
        (low + (high - low) * self.next()) as f32
    }

    fn one_in(&mut self, n: u64) -> bool {
        self.next() * (n as f64) < 1.0
    }
}

/// What a stage of the optimum fixed: share of roll and pitch, thrust, yaw.
#[derive(Clone, Copy, Debug)]
struct Optimum {
    share: f64,
    thrust: f64,
    yaw: f64,
}

/// Feasible set over the four thrusts, the share and the distance: built anew for each stage.
struct Stages<'a> {
    config: &'a Config,
    demand: [f64; 4],
    /// Largest total thrust without torque, and least.
    level: (f64, f64),
    /// Yaw to be kept.
    kept: f64,
}

impl Stages<'_> {
    /// Optimises: the share (stage 0), the thrust's distance (1), the yaw's distance (2), yaw itself (3).
    fn solve(&self, stage: usize, fixed: &Optimum) -> f64 {
        let direction = if matches!(stage, 0 | 3) {
            OptimizationDirection::Maximize
        } else {
            OptimizationDirection::Minimize
        };
        let mut problem = Problem::new(direction);
        let (low, high) = (f64::from(self.config.min_thrust_n), f64::from(self.config.max_thrust_n));
        let [thrust, roll, pitch, yaw] = self.demand;
        let f = [0; 4].map(|_: i32| problem.add_var(0.0, (low, high)));
        let share = problem.add_var(if stage == 0 { 1.0 } else { 0.0 }, (0.0, 1.0));
        let distance = problem.add_var(if stage == 0 { 0.0 } else { 1.0 }, (0.0, f64::INFINITY));
        let arms = self.config.geometry.arms.into_array();
        let kappa = f64::from(self.config.geometry.torque_to_thrust_m);
        let row = |gain: &dyn Fn(&Arm) -> f64| -> Vec<(microlp::Variable, f64)> {
            f.iter().zip(&arms).map(|(f, arm)| (*f, gain(arm))).collect()
        };
        let sum = row(&|_| 1.0);
        let rolls = row(&|arm| -f64::from(arm.y_m));
        let pitches = row(&|arm| f64::from(arm.x_m));
        let yaws = row(&|arm| kappa * f64::from(arm.spin.reaction()));
        let with = |row: &[(microlp::Variable, f64)], extra: (microlp::Variable, f64)| {
            let mut row = row.to_vec();
            row.push(extra);
            row
        };
        if stage == 0 {
            problem.add_constraint(with(&rolls, (share, -roll)), ComparisonOp::Eq, 0.0);
            problem.add_constraint(with(&pitches, (share, -pitch)), ComparisonOp::Eq, 0.0);
        } else {
            // A hair less, so that round-off cannot make the later stages infeasible.
            let k = fixed.share * (1.0 - 1e-9);
            problem.add_constraint(&rolls, ComparisonOp::Eq, k * roll);
            problem.add_constraint(&pitches, ComparisonOp::Eq, k * pitch);
        }
        let (down, up) = (f64::from(self.config.allowance_down_n), f64::from(self.config.allowance_up_n));
        if down.is_finite() {
            problem.add_constraint(&sum, ComparisonOp::Ge, thrust.min(self.level.0) - down);
        }
        if up.is_finite() {
            problem.add_constraint(&sum, ComparisonOp::Le, thrust.max(self.level.1) + up);
        }
        problem.add_constraint(&yaws, ComparisonOp::Ge, yaw.min(self.kept));
        problem.add_constraint(&yaws, ComparisonOp::Le, yaw.max(self.kept));
        let mut near = |row: &[(microlp::Variable, f64)], target: f64| {
            problem.add_constraint(with(row, (distance, -1.0)), ComparisonOp::Le, target);
            problem.add_constraint(with(row, (distance, 1.0)), ComparisonOp::Ge, target);
        };
        match stage {
            1 => near(&sum, thrust),
            2 => {
                near(&yaws, yaw);
                problem.add_constraint(&sum, ComparisonOp::Ge, fixed.thrust - 1e-9);
                problem.add_constraint(&sum, ComparisonOp::Le, fixed.thrust + 1e-9);
            }
            3 => {
                let yaws: Vec<_> =
                    yaws.iter().map(|&(variable, gain)| (variable, gain * yaw.signum())).collect();
                problem.add_constraint(with(&yaws, (distance, -1.0)), ComparisonOp::Ge, 0.0);
            }
            _ => {}
        }
        let solution = match problem.solve() {
            Ok(SolveOutcome::Solution(solution)) => solution,
            other => panic!("{other:?} at stage {stage} for {:?} {fixed:?} {:?}", self.demand, self.config),
        };
        match stage {
            0 => solution[share],
            1 => sum.iter().map(|(variable, gain)| solution[*variable] * gain).sum(),
            _ => yaws.iter().map(|(variable, gain)| solution[*variable] * gain).sum(),
        }
    }

    fn optimum(&mut self) -> Optimum {
        let mut optimum = Optimum { share: 0.0, thrust: 0.0, yaw: 0.0 };
        let reserved = f64::from(self.config.reserved_yaw_nm());
        if reserved > 0.0 {
            // What can be had of it without roll and pitch, a hair less.
            self.kept = self.solve(3, &optimum).clamp(-reserved, reserved) * (1.0 - 1e-9);
        }
        optimum.share = self.solve(0, &optimum).clamp(0.0, 1.0);
        optimum.thrust = self.solve(1, &optimum);
        optimum.yaw = self.solve(2, &optimum);
        optimum
    }
}

/// Least and largest total thrust without torque, for the window's opening, by Cramer's rule on the null space in f64:
/// the thrusts proportional to the first column of the inverse.
fn level_range(config: &Config) -> Option<(f64, f64)> {
    let mut direction = Problem::new(OptimizationDirection::Maximize);
    let (low, high) = (f64::from(config.min_thrust_n), f64::from(config.max_thrust_n));
    let f = [0; 4].map(|_: i32| direction.add_var(1.0, (low, high)));
    let arms = config.geometry.arms.into_array();
    let rows: [fn(&Arm) -> f64; 3] =
        [|arm| f64::from(arm.x_m), |arm| f64::from(arm.y_m), |arm| f64::from(arm.spin.reaction())];
    for row in rows {
        let terms: Vec<_> = f.iter().zip(&arms).map(|(f, arm)| (*f, row(arm))).collect();
        direction.add_constraint(&terms, ComparisonOp::Eq, 0.0);
    }
    let Ok(SolveOutcome::Solution(solution)) = direction.solve() else { return None };
    let most = solution.objective();
    let share = f.map(|f| solution[f] / most);
    let least = share.iter().fold(0.0f64, |least, share| least.max(low / share));
    (share.iter().all(|share| *share > 1e-3) && most > least).then_some((most, least))
}

fn allowance(random: &mut Random) -> f32 {
    if random.one_in(3) {
        f32::INFINITY
    } else if random.one_in(4) {
        0.0
    } else {
        random.within(0.0, 14.0)
    }
}

fn random_config(random: &mut Random, symmetric: bool) -> Config {
    let spin = if random.one_in(2) { Spin::Clockwise } else { Spin::CounterClockwise };
    let kappa = random.within(0.008, 0.03);
    let (length, width) = (random.within(0.08, 0.3), random.within(0.08, 0.3));
    let mut geometry = Geometry::symmetric_x(length, width, spin, kappa);
    if !symmetric {
        // Unequal arms and an offset centre of mass.
        let (dx, dy) = (random.within(-0.3, 0.3) * length, random.within(-0.3, 0.3) * width);
        geometry.arms = geometry.arms.map(|arm| Arm {
            x_m: arm.x_m * random.within(0.75, 1.25) + dx,
            y_m: arm.y_m * random.within(0.75, 1.25) + dy,
            spin: arm.spin,
        });
    }
    Config {
        geometry,
        min_thrust_n: if random.one_in(2) { 0.0 } else { random.within(0.0, 0.8) },
        max_thrust_n: random.within(3.0, 9.0),
        allowance_down_n: allowance(random),
        allowance_up_n: allowance(random),
        reserved_yaw_share: if !symmetric && random.one_in(3) { random.within(0.0, 0.5) } else { 0.0 },
    }
}

fn random_demand(random: &mut Random, config: &Config) -> Wrench {
    let (high, reach) = (f64::from(config.max_thrust_n), f64::from(config.geometry.reach_m()));
    let torque = 2.5 * high * reach;
    let yaw = 3.0 * high * f64::from(config.geometry.torque_to_thrust_m);
    let mut torque_nm =
        [random.within(-torque, torque), random.within(-torque, torque), random.within(-yaw, yaw)];
    for axis in &mut torque_nm {
        if random.one_in(7) {
            *axis = 0.0;
        } else if random.one_in(2) {
            *axis *= 0.2;
        }
    }
    let [x, y, z] = torque_nm;
    Wrench { torque_nm: Vector::new(x, y, z), thrust_n: random.within(-0.1 * high, 4.3 * high) }
}

/// Compares `count` demands; returns how many were limited and the worst error in shares of full thrust.
fn compare(symmetric: bool, count: usize) -> (usize, f64) {
    let mut random = Random(if symmetric { 1 } else { 2 });
    let (mut done, mut limited, mut worst) = (0, 0, 0.0f64);
    while done < count {
        let config = random_config(&mut random, symmetric);
        let Some(level) = level_range(&config) else { continue };
        let mixer = Mixer::new(&config).unwrap();
        assert_eq!(symmetric, matches!(mixer.solver, Solver::Symmetric(_)));
        for _ in 0..10 {
            done += 1;
            let wrench = random_demand(&mut random, &config);
            let mixed = mixer.mix(wrench);
            let [roll, pitch, yaw] = wrench.torque_nm.to_array().map(f64::from);
            let demand = [f64::from(wrench.thrust_n), roll, pitch, yaw];
            let optimum = Stages { config: &config, demand, level, kept: 0.0 }.optimum();
            for f in mixed.thrust_n.into_array() {
                assert!(f >= config.min_thrust_n && f <= config.max_thrust_n, "{f} {config:?}");
            }
            limited += usize::from(mixed.limited != Limited::default());
            // Everything in shares of full thrust of one rotor: torques over arm and kappa.
            let high = f64::from(config.max_thrust_n);
            let arm = f64::from(config.geometry.reach_m());
            let kappa = f64::from(config.geometry.torque_to_thrust_m);
            let size = roll.hypot(pitch) / (arm * high);
            let [gx, gy, gz] = mixed.given.torque_nm.to_array().map(f64::from);
            let errors = [
                (f64::from(mixed.roll_pitch_share) - optimum.share).abs() * size,
                (gx - optimum.share * roll).abs() / (arm * high),
                (gy - optimum.share * pitch).abs() / (arm * high),
                (f64::from(mixed.given.thrust_n) - optimum.thrust).abs() / (4.0 * high),
                (gz - optimum.yaw).abs() / (4.0 * kappa * high),
            ];
            let error = errors.into_iter().fold(0.0f64, f64::max);
            assert!(error <= 1e-5, "{errors:?} for {wrench:?} of {config:?}: {mixed:?} against {optimum:?}");
            // What is said to be given is what the thrusts give.
            let f = mixed.thrust_n.into_array().map(f64::from);
            let arms = config.geometry.arms.into_array();
            let sum = |gain: &dyn Fn(&Arm) -> f64| -> f64 {
                f.iter().zip(&arms).map(|(f, arm)| f * gain(arm)).sum()
            };
            let felt = [
                (sum(&|arm| -f64::from(arm.y_m)) - gx) / (arm * high),
                (sum(&|arm| f64::from(arm.x_m)) - gy) / (arm * high),
                (sum(&|_| 1.0) - f64::from(mixed.given.thrust_n)) / (4.0 * high),
                (sum(&|arm| kappa * f64::from(arm.spin.reaction())) - gz) / (4.0 * kappa * high),
            ];
            assert!(
                felt.into_iter().all(|error| error.abs() < 5e-6),
                "{felt:?} for {wrench:?} of {config:?}: {mixed:?}"
            );
            worst = worst.max(error);
        }
    }
    println!("{count} demands, {limited} limited, worst error {worst:.1e}");
    (limited, worst)
}

#[test]
fn prop_mixed_thrusts_are_the_lexicographic_optimum() {
    let (limited, worst) = compare(true, 12_000);
    assert!(limited > 6_000 && limited < 12_000, "the demands must cover both: {limited}");
    assert!(worst < 4e-6, "{worst}");
    let (limited, worst) = compare(false, 12_000);
    assert!(limited > 6_000 && limited < 12_000, "the demands must cover both: {limited}");
    assert!(worst < 8e-6, "{worst}");
}

#[test]
fn the_walk_is_short() {
    let mut random = Random(3);
    let mut cuts = [0; walk::MOST_CUTS + 1];
    for _ in 0..20_000 {
        let config = random_config(&mut random, false);
        let Ok(Mixer { solver: Solver::General(general) }) = Mixer::new(&config) else { continue };
        for _ in 0..10 {
            cuts[general.walk(&random_demand(&mut random, &config)).cuts] += 1;
        }
    }
    let limited: u32 = cuts[1..].iter().sum();
    assert!(limited > 100_000 && cuts[4..].iter().sum::<u32>() < limited / 9, "{cuts:?}");
    assert!(cuts[8..].iter().all(|count| *count == 0), "{cuts:?}");
}

#[test]
fn roll_and_pitch_thirty_times_too_large_are_cut_to_the_same() {
    let mut random = Random(5);
    for _ in 0..5_000 {
        let config = random_config(&mut random, false);
        let (Ok(mixer), demand) = (Mixer::new(&config), random_demand(&mut random, &config)) else {
            continue;
        };
        let ([x, y, z], near) = (demand.torque_nm.to_array(), mixer.mix(demand));
        let far = mixer.mix(Wrench { torque_nm: Vector::new(30.0 * x, 30.0 * y, z), ..demand });
        let apart = far.given.torque_nm - near.given.torque_nm;
        let apart = if near.limited.roll_pitch { apart.x().abs().max(apart.y().abs()) } else { 0.0 };
        assert!(
            apart < 1e-5 * config.max_thrust_n * config.geometry.reach_m(),
            "{near:?} {far:?} of {config:?}"
        );
    }
}

#[test]
fn a_craft_a_hair_from_symmetric_is_mixed_as_the_symmetric_one() {
    let mut random = Random(4);
    for _ in 0..300 {
        let config = random_config(&mut random, true);
        let mut hair = config;
        hair.geometry.arms.front_left.x_m *= 1.0 + f32::EPSILON;
        let (even, odd) = (Mixer::new(&config).unwrap(), Mixer::new(&hair).unwrap());
        assert!(matches!(even.solver, Solver::Symmetric(_)) && matches!(odd.solver, Solver::General(_)));
        for _ in 0..20 {
            let demand = random_demand(&mut random, &config);
            let (even, odd) = (even.mix(demand).thrust_n.into_array(), odd.mix(demand).thrust_n.into_array());
            let apart = even.iter().zip(odd).map(|(even, odd)| (even - odd).abs()).fold(0.0, f32::max);
            assert!(apart < 1e-5 * config.max_thrust_n, "{even:?} {odd:?} for {demand:?} of {config:?}");
        }
    }
}

/// The example craft: half-spans 0.0848528 m, kappa 0.0138 m, 0 to 6 N a rotor.
fn example() -> Config {
    Config {
        geometry: Geometry::symmetric_x(0.084_852_8, 0.084_852_8, Spin::CounterClockwise, 0.0138),
        min_thrust_n: 0.0,
        max_thrust_n: 6.0,
        allowance_down_n: 0.0,
        allowance_up_n: 0.0,
        reserved_yaw_share: 0.0,
    }
}

#[test]
fn pure_torques_at_the_weight_of_a_kilogram_are_4_l_t_and_4_kappa_t() {
    // From tau_x = -sum y f and tau_z = sum s kappa f with every rotor between 0 and twice 2.4516625 N:
    // 4 l 2.4516625 = 0.83212 N m, 4 kappa 2.4516625 = 0.13533 N m (computed from the definition).
    let mixer = Mixer::new(&example()).unwrap();
    let mix = |x, y, z, thrust_n| mixer.mix(Wrench { torque_nm: Vector::new(x, y, z), thrust_n });
    let roll = mix(9.0, 0.0, 0.0, 9.80665).given.torque_nm.x();
    assert!((roll - 0.83212).abs() < 2e-5, "{roll}");
    let pitch = mix(0.0, -9.0, 0.0, 9.80665).given.torque_nm.y();
    assert!((pitch + 0.83212).abs() < 2e-5, "{pitch}");
    let yaw = mix(0.0, 0.0, 9.0, 9.80665).given.torque_nm.z();
    assert!((yaw - 0.13533).abs() < 1e-5, "{yaw}");
    // Roll authority grows up to half of full thrust and falls again from there.
    let authority = |thrust: f32| mix(9.0, 0.0, 0.0, thrust).given.torque_nm.x();
    assert!(authority(11.0) < authority(12.0) && authority(13.0) < authority(12.0));
}

#[test]
fn a_reserved_share_keeps_yaw_in_both_solvers_and_none_without() {
    for skew in [0.0, 0.01] {
        let mut geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
        geometry.arms.front_left.x_m += skew;
        let with = |reserved_yaw_share| {
            let config = Config {
                geometry,
                min_thrust_n: 0.0,
                max_thrust_n: 6.5,
                allowance_down_n: f32::INFINITY,
                allowance_up_n: f32::INFINITY,
                reserved_yaw_share,
            };
            let wrench = Wrench { torque_nm: Vector::new(9.0, 0.0, 1.0), thrust_n: 13.0 };
            Mixer::new(&config).unwrap().mix(wrench)
        };
        assert!(with(0.0).given.torque_nm.z() < 0.01);
        let kept = with(0.1);
        assert!((kept.given.torque_nm.z() - 0.2 * 0.012 * 6.5).abs() < 1e-4, "{kept:?}");
        assert!(kept.roll_pitch_share < with(0.0).roll_pitch_share && kept.roll_pitch_share > 0.1);
    }
}

#[test]
fn anything_that_is_no_number_keeps_the_thrusts_in_range() {
    let mut skewed = example();
    skewed.geometry.arms.rear_left.y_m *= 1.1;
    for mixer in [example(), skewed].map(|config| Mixer::new(&config).unwrap()) {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN_POSITIVE] {
            for place in 0..4 {
                let mut d = [0.1, -0.2, 0.05, 10.0];
                d[place] = bad;
                let mixed = mixer.mix(Wrench { torque_nm: Vector::new(d[0], d[1], d[2]), thrust_n: d[3] });
                for f in mixed.thrust_n.into_array() {
                    assert!((0.0..=6.0).contains(&f), "{bad} at {place}: {mixed:?}");
                }
                assert!(mixed.given.torque_nm.is_finite() && mixed.roll_pitch_share.is_finite());
            }
        }
    }
}

#[test]
fn every_bad_field_is_named() {
    let good = example();
    let arms = |x_m: f32| {
        let mut geometry = good.geometry;
        geometry.arms.rear_right.x_m = x_m;
        Config { geometry, ..good }
    };
    let kappa =
        |torque_to_thrust_m| Config { geometry: Geometry { torque_to_thrust_m, ..good.geometry }, ..good };
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        for (config, field) in [
            (arms(bad), "x_m"),
            (kappa(bad), "torque_to_thrust_m"),
            (Config { min_thrust_n: bad, ..good }, "min_thrust_n"),
            (Config { max_thrust_n: bad, ..good }, "max_thrust_n"),
            (Config { reserved_yaw_share: bad, ..good }, "reserved_yaw_share"),
        ] {
            assert_eq!(Mixer::new(&config).unwrap_err().field, field, "{bad}");
        }
    }
    let mut exchanged = good;
    let arms_of = &mut exchanged.geometry.arms;
    core::mem::swap(&mut arms_of.front_left, &mut arms_of.front_right);
    for (config, field) in [
        (kappa(0.0), "torque_to_thrust_m"),
        (Config { min_thrust_n: -0.1, ..good }, "min_thrust_n"),
        (Config { min_thrust_n: 7.0, ..good }, "min_thrust_n"),
        (Config { min_thrust_n: 5.999_99, ..good }, "min_thrust_n"),
        (Config { max_thrust_n: 0.0, ..good }, "max_thrust_n"),
        (Config { allowance_down_n: f32::NAN, ..good }, "allowance_down_n"),
        (Config { allowance_down_n: -1.0, ..good }, "allowance_down_n"),
        (Config { allowance_up_n: f32::NAN, ..good }, "allowance_up_n"),
        (Config { allowance_up_n: -1.0, ..good }, "allowance_up_n"),
        (Config { reserved_yaw_share: 0.6, ..good }, "reserved_yaw_share"),
        // The centre of mass outside of the rotors, and two places exchanged.
        (arms(1.0), "arms"),
        (exchanged, "arms"),
    ] {
        assert_eq!(Mixer::new(&config).unwrap_err().field, field);
    }
    let mut parallel = good;
    parallel.geometry.arms = parallel.geometry.arms.map(|arm| Arm { spin: Spin::Clockwise, ..arm });
    assert_eq!(Mixer::new(&parallel).unwrap_err().field, "arms");
}

#[test]
fn thrust_curve_is_its_own_inverse_and_follows_the_motor_equation() {
    for back_emf_share in [0.0, 0.3, 0.7, 1.0] {
        let config = ThrustCurveConfig {
            max_thrust_n: 6.5,
            reference_voltage_v: 14.8,
            back_emf_share,
            lowest_voltage_v: 12.0,
            highest_voltage_v: 16.8,
            voltage_filter_s: 0.0,
        };
        let curve = ThrustCurve::new(&config, 1e-3).unwrap();
        for (voltage, density) in [(14.8, 1.225), (12.5, 1.0), (16.5, 0.9)] {
            let mut supply = curve.supply(density);
            curve.observe(&mut supply, voltage);
            for i in 1..60 {
                let thrust = 0.1 * i as f32;
                let command = curve.command(thrust, &supply, MotorCommand::STOPPED);
                if command.get() < 1.0 {
                    let back = curve.thrust_n(command, &supply);
                    assert!((back - thrust).abs() < 1e-4 * thrust, "{thrust} {back}");
                }
            }
            curve.observe(&mut supply, f32::NAN);
            assert_eq!(supply.voltage_v(), voltage);
            assert_eq!(curve.command(f32::NAN, &supply, MotorCommand::STOPPED).get(), 0.0);
        }
    }
    // The motor of V = Kt w + R kQ w^2/Kt in f64: Kv 920 rpm/V, R 0.117 ohm, kT 5.7504e-6, kQ 7.9384e-8, no-load
    // current left out (Drela 2007, First-Order DC Electric Motor Model).
    let (kt, r, thrust, torque) = (60.0 / (std::f64::consts::TAU * 920.0), 0.117, 5.7504e-6, 7.9384e-8);
    let volts = |w: f64, density: f64| kt * w + r * torque * density / 1.225 * w * w / kt;
    let (w_full, v_full) = (980.0f64, volts(980.0, 1.225));
    let curve = ThrustCurve::new(
        &ThrustCurveConfig {
            max_thrust_n: (thrust * w_full * w_full) as f32,
            reference_voltage_v: v_full as f32,
            back_emf_share: (kt * w_full / v_full) as f32,
            lowest_voltage_v: 5.0,
            highest_voltage_v: 20.0,
            voltage_filter_s: 0.0,
        },
        1e-3,
    )
    .unwrap();
    for density in [1.225, 0.9] {
        let supply = curve.supply(density as f32);
        for w in [300.0f64, 600.0, 850.0] {
            let f = thrust * density / 1.225 * w * w;
            let command = f64::from(curve.command(f as f32, &supply, MotorCommand::STOPPED).get());
            assert!((command - volts(w, density) / v_full).abs() < 1e-5, "{w} {density}");
        }
    }
}
