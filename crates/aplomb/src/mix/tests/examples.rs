//! Hand-computed allocations, refusals and inputs that are not finite.

extern crate std;

use crate::error::Problem;
use crate::frames::Vector;
use crate::mix::{Allocation, Arm, Config, Geometry, QuadMixer, ThrustCurve, ThrustCurveConfig, Wrench};
use crate::{ConfigError, Limited, MotorCommand, Rotors, Spin};

/// The example craft: half-spans 0.0848528 m, kappa 0.0138 m, 0 to 6 N a rotor, no allowance.
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

fn wrench(roll: f32, pitch: f32, yaw: f32, thrust_n: f32) -> Wrench {
    Wrench { torque_nm: Vector::new(roll, pitch, yaw), thrust_n }
}

#[test]
fn pure_torques_at_the_weight_of_a_kilogram_are_4_l_t_and_4_kappa_t() {
    // From tau_x = -sum y f and tau_z = sum s kappa f with every rotor between 0 and twice 2.4516625 N:
    // 4 l 2.4516625 = 0.83212 N m, 4 kappa 2.4516625 = 0.13533 N m (computed from the definition).
    let mixer = QuadMixer::new(&example()).unwrap();
    let achieved = |demand| mixer.allocate(&demand, 6.0).achieved.torque_nm;
    let roll = achieved(wrench(9.0, 0.0, 0.0, 9.80665)).x();
    assert!((roll - 0.83212).abs() < 2e-5, "{roll}");
    let pitch = achieved(wrench(0.0, -9.0, 0.0, 9.80665)).y();
    assert!((pitch + 0.83212).abs() < 2e-5, "{pitch}");
    let yaw = achieved(wrench(0.0, 0.0, 9.0, 9.80665)).z();
    assert!((yaw - 0.13533).abs() < 1e-5, "{yaw}");
    // Roll authority grows up to half of full thrust and falls again from there.
    let authority = |thrust| achieved(wrench(9.0, 0.0, 0.0, thrust)).x();
    assert!(authority(11.0) < authority(12.0) && authority(13.0) < authority(12.0));
}

#[test]
fn each_demand_moves_the_rotors_of_its_own_side() {
    // l 0.16 m, kappa 0.014 m: 0.064 N m of roll or pitch is 0.1 N a rotor, so is 0.0056 N m of yaw.
    let config =
        Config { geometry: Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014), ..example() };
    let mixer = QuadMixer::new(&config).unwrap();
    let rotors = |front_left, front_right, rear_left, rear_right| Rotors {
        front_left,
        front_right,
        rear_left,
        rear_right,
    };
    for (demand, expected) in [
        (wrench(0.064, 0.0, 0.0, 12.0), rotors(3.1, 2.9, 3.1, 2.9)),
        (wrench(0.0, 0.064, 0.0, 12.0), rotors(3.1, 3.1, 2.9, 2.9)),
        (wrench(0.0, 0.0, 0.0056, 12.0), rotors(3.1, 2.9, 2.9, 3.1)),
        (wrench(0.0, 0.0, 0.0, 8.0), rotors(2.0, 2.0, 2.0, 2.0)),
    ] {
        let given = mixer.allocate(&demand, 6.0);
        for (thrust, expected) in given.thrust_n.zip(expected).into_array() {
            assert!((thrust - expected).abs() < 1e-6, "{demand:?} {given:?}");
        }
        assert_eq!(given.limited, Limited::default());
        assert_eq!(given.achieved, demand);
    }
}

#[test]
fn a_lower_ceiling_limits_and_is_reported() {
    let mixer = QuadMixer::new(&example()).unwrap();
    // Level thrust: 16 N need 4 N a rotor, a ceiling of 3.5 N gives 14 N.
    let level = wrench(0.0, 0.0, 0.0, 16.0);
    assert_eq!(mixer.allocate(&level, 6.0).limited, Limited::default());
    let given = mixer.allocate(&level, 3.5);
    assert_eq!(given.limited, Limited { thrust: true, ..Limited::default() });
    assert!((given.achieved.thrust_n - 14.0).abs() < 1e-5, "{given:?}");
    // Roll at 8 N with 2 N a rotor and 1 N more up to the ceiling: 4 l 1 N.
    let roll = wrench(0.6, 0.0, 0.0, 8.0);
    assert_eq!(mixer.allocate(&roll, 6.0).limited, Limited::default());
    let given = mixer.allocate(&roll, 3.0);
    assert_eq!(given.limited, Limited { roll_pitch: true, ..Limited::default() });
    assert!((given.achieved.torque_nm.x() - 4.0 * 0.084_852_8).abs() < 1e-5, "{given:?}");
    // A ceiling above the largest thrust changes nothing; NaN and one that leaves no thrust count as the
    // smallest.
    assert_eq!(
        mixer.allocate(&wrench(9.0, 9.0, 9.0, 20.0), 60.0),
        mixer.allocate(&wrench(9.0, 9.0, 9.0, 20.0), 6.0)
    );
    let smallest = mixer.allocate(&level, f32::NAN);
    assert!(
        smallest.limited.thrust && (smallest.achieved.thrust_n - 4.0 * 6e-4).abs() < 1e-6,
        "{smallest:?}"
    );
    assert_eq!(mixer.allocate(&level, -1.0), smallest);
}

#[test]
fn a_sagging_battery_in_thin_air_limits_where_the_command_does() {
    let config = ThrustCurveConfig {
        max_thrust_n: 6.0,
        reference_voltage_v: 11.4,
        back_emf_share: 0.92,
        lowest_voltage_v: 9.0,
        highest_voltage_v: 12.6,
        voltage_filter_s: 0.5,
    };
    let mut curve: ThrustCurve = ThrustCurve::new(&config, 1e-3).unwrap();
    let mixer = QuadMixer::new(&example()).unwrap();
    // 20 N of the 24 N that four rotors give at the reference.
    let demand = wrench(0.0, 0.0, 0.0, 20.0);
    let allocated = |curve: &ThrustCurve, ceiling_n: f32| {
        let Allocation { thrust_n, limited, .. } = mixer.allocate(&demand, ceiling_n);
        (curve.command(thrust_n.front_left, MotorCommand::STOPPED), limited.thrust)
    };
    let (command, limited) = allocated(&curve, curve.ceiling_n());
    assert!(command.get() < 0.95 && !limited, "{command:?}");
    curve.observe(10.0);
    curve.set_air_density(0.957);
    let (command, limited) = allocated(&curve, curve.ceiling_n());
    assert!(command.get() > 1.0 - 1e-6 && limited, "{command:?}");
    // The twin with the ceiling of the reference: the motor is at full command, and nothing is reported.
    assert_eq!(allocated(&curve, 6.0), (MotorCommand::FULL, false));
}

#[test]
fn thrust_is_moved_for_roll_within_the_allowance_only() {
    let mixer = |down, up| {
        QuadMixer::new(&Config { allowance_down_n: down, allowance_up_n: up, ..example() }).unwrap()
    };
    let l = 0.084_852_8;
    // At 4 N, 1 N a rotor, roll reaches 4 l (1 + up/4); 2 N of allowance give half more.
    for (up, reached) in [(0.0, 1.0), (2.0, 1.5), (100.0, 3.0)] {
        let given = mixer(0.0, up).allocate(&wrench(9.0, 0.0, 0.0, 4.0), 6.0);
        assert!((given.achieved.torque_nm.x() - 4.0 * l * reached).abs() < 1e-5, "{given:?}");
        assert!((given.achieved.thrust_n - 4.0 * reached).abs() < 1e-5, "{given:?}");
        assert_eq!(given.limited.thrust, up > 0.0);
    }
    for (down, reached) in [(0.0, 1.0), (2.0, 1.5), (100.0, 3.0)] {
        let given = mixer(down, 0.0).allocate(&wrench(-9.0, 0.0, 0.0, 20.0), 6.0);
        assert!((given.achieved.torque_nm.x() + 4.0 * l * reached).abs() < 1e-5, "{given:?}");
        assert!((given.achieved.thrust_n - (24.0 - 4.0 * reached)).abs() < 1e-5, "{given:?}");
    }
}

#[test]
fn a_reserved_share_keeps_yaw_and_none_without() {
    for skew in [0.0, 0.01] {
        let mut geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
        geometry.arms.front_left.x_m += skew;
        let allocate = |reserved_yaw_share, yaw_nm, allowance_n| -> Allocation {
            let config = Config {
                geometry,
                max_thrust_n: 6.5,
                allowance_down_n: allowance_n,
                allowance_up_n: allowance_n,
                reserved_yaw_share,
                ..example()
            };
            QuadMixer::new(&config).unwrap().allocate(&wrench(9.0, 0.0, yaw_nm, 13.0), 6.5)
        };
        let yaw = |given: Allocation| given.achieved.torque_nm.z();
        assert!(yaw(allocate(0.0, 1.0, 26.0)) < 0.01);
        // The largest yaw torque without roll and pitch: both rotors of a diagonal at 6.5 N, the others at 0.
        let largest = 2.0 * 0.012 * 6.5;
        for sense in [1.0, -1.0] {
            let kept = allocate(0.1, sense, 26.0);
            assert!((sense * yaw(kept) - 0.1 * largest).abs() < 0.06 * 0.1 * largest, "{kept:?}");
            let torque = kept.achieved.torque_nm.x();
            assert!(torque < allocate(0.0, sense, 26.0).achieved.torque_nm.x() && torque > 0.9, "{kept:?}");
            // Less is demanded than reserved: all of it is achieved.
            assert_eq!(yaw(allocate(0.1, 0.05 * sense * largest, 26.0)), 0.05 * sense * largest);
        }
    }
}

#[test]
fn reserve_counts_what_is_reachable_within_the_window_of_thrust() {
    let with = |allowance_up_n| Config { reserved_yaw_share: 0.5, allowance_up_n, ..example() };
    // At 4 N the diagonals can differ by 4 N, at the 12 N of the second window by 12 N: half of kappa times
    // that is kept.
    for (up, reachable_n) in [(0.0, 4.0), (8.0, 12.0)] {
        let given = QuadMixer::new(&with(up)).unwrap().allocate(&wrench(9.0, 0.0, -9.0, 4.0), 6.0);
        let kept = 0.5 * 0.0138 * reachable_n;
        assert!((given.achieved.torque_nm.z() + kept).abs() < 1e-6, "{kept} {given:?}");
    }
}

#[test]
fn a_nearly_symmetric_frame_is_allocated_as_the_symmetric_one() {
    use super::draw::{Frame, Random, config, demand};
    let mut random = Random(4);
    for _ in 0..300 {
        let (config, ceiling_n) = config(&mut random, Frame::Symmetric, false);
        let mut hair = config;
        hair.geometry.arms.front_left.x_m *= 1.0 + f32::EPSILON;
        let (even, odd) = (QuadMixer::new(&config).unwrap(), QuadMixer::new(&hair).unwrap());
        for _ in 0..20 {
            let demand = demand(&mut random, &config, ceiling_n);
            let [even, odd] = [even, odd].map(|mixer| mixer.allocate(&demand, ceiling_n).thrust_n);
            for (even, odd) in even.zip(odd).into_array() {
                assert!((even - odd).abs() < 1e-5 * ceiling_n, "{even} {odd} for {demand:?} of {config:?}");
            }
        }
    }
}

#[test]
fn inputs_that_are_not_finite_keep_the_thrusts_in_range() {
    let mut skewed = example();
    skewed.geometry.arms.rear_left.y_m *= 1.1;
    for mixer in [example(), skewed].map(|config| QuadMixer::new(&config).unwrap()) {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN_POSITIVE] {
            for index in 0..5 {
                let mut d = [0.1, -0.2, 0.05, 10.0, 5.0];
                d[index] = bad;
                let given = mixer.allocate(&wrench(d[0], d[1], d[2], d[3]), d[4]);
                for thrust in given.thrust_n.into_array() {
                    assert!((0.0..=6.0).contains(&thrust), "{bad} at {index}: {given:?}");
                }
                assert!(given.achieved.torque_nm.is_finite() && given.achieved.thrust_n.is_finite());
            }
        }
        // A torque that is not finite counts as 0, a thrust that is not finite as the smallest.
        let nan = f32::NAN;
        assert_eq!(
            mixer.allocate(&wrench(nan, 0.1, nan, 10.0), 6.0),
            mixer.allocate(&wrench(0.0, 0.1, 0.0, 10.0), 6.0)
        );
        assert_eq!(mixer.allocate(&wrench(0.0, nan, 0.05, nan), 6.0).achieved.thrust_n, 0.0);
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
    let error = |config: &Config| QuadMixer::new(config).unwrap_err();
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        for (config, field) in [
            (arms(bad), "x_m"),
            (kappa(bad), "torque_to_thrust_m"),
            (Config { min_thrust_n: bad, ..good }, "min_thrust_n"),
            (Config { max_thrust_n: bad, ..good }, "max_thrust_n"),
            (Config { allowance_down_n: bad, ..good }, "allowance_down_n"),
            (Config { allowance_up_n: bad, ..good }, "allowance_up_n"),
            (Config { reserved_yaw_share: bad, ..good }, "reserved_yaw_share"),
        ] {
            assert_eq!(error(&config), ConfigError::new(field, Problem::NotFinite), "{bad}");
        }
    }
    for (config, field, problem) in [
        (kappa(0.0), "torque_to_thrust_m", Problem::NotPositive),
        (Config { min_thrust_n: -0.1, ..good }, "min_thrust_n", Problem::Negative),
        (Config { min_thrust_n: 7.0, ..good }, "min_thrust_n", Problem::WrongOrder("max_thrust_n")),
        (Config { min_thrust_n: 5.999_99, ..good }, "min_thrust_n", Problem::WrongOrder("max_thrust_n")),
        (Config { max_thrust_n: 0.0, ..good }, "max_thrust_n", Problem::NotPositive),
        (Config { allowance_down_n: -1.0, ..good }, "allowance_down_n", Problem::Negative),
        (Config { allowance_up_n: -1.0, ..good }, "allowance_up_n", Problem::Negative),
        (
            Config { reserved_yaw_share: 0.6, ..good },
            "reserved_yaw_share",
            Problem::OutOfRange { low: 0.0, high: 0.5 },
        ),
        // The centre of mass outside of the rotors; on one side the rear rotor carries most, so that no
        // thrust is level.
        (arms(1.0), "arms", Problem::Inconsistent("have torques that are not independent")),
        (
            Config { min_thrust_n: 5.0, ..arms(-0.15) },
            "min_thrust_n",
            Problem::Inconsistent("leaves no thrust without torque with these arms"),
        ),
    ] {
        assert_eq!(error(&config), ConfigError::new(field, problem));
    }
}

#[test]
fn arms_that_are_not_at_their_corners_are_refused() {
    let good = example();
    let with = |change: fn(&mut Rotors<Arm>)| {
        let mut geometry = good.geometry;
        change(&mut geometry.arms);
        QuadMixer::new(&Config { geometry, ..good }).map(drop)
    };
    let refused =
        Err(ConfigError::new("arms", Problem::Inconsistent("have torques that are not independent")));
    assert_eq!(with(|_| ()), Ok(()));
    assert_eq!(with(|arms| core::mem::swap(&mut arms.front_left, &mut arms.front_right)), refused);
    assert_eq!(with(|arms| core::mem::swap(&mut arms.front_left, &mut arms.rear_left)), refused);
    assert_eq!(with(|arms| *arms = arms.map(|arm| Arm { x_m: -arm.x_m, ..arm })), refused);
    assert_eq!(with(|arms| *arms = arms.map(|arm| Arm { y_m: -arm.y_m, ..arm })), refused);
    assert_eq!(with(|arms| *arms = arms.map(|arm| Arm { spin: Spin::Clockwise, ..arm })), refused);
    assert_eq!(with(|arms| *arms = arms.map(|arm| Arm { x_m: 0.0, y_m: 0.0, ..arm })), refused);
    // Two neighbours with the same spin: the diagonals do not have opposite spin.
    assert_eq!(
        with(|arms| {
            (arms.front_right.spin, arms.front_left.spin) = (arms.front_left.spin, arms.front_right.spin);
            arms.rear_left.y_m *= 1.3;
        }),
        refused
    );
}
