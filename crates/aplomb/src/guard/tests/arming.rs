//! Arming, its blockers, and take-off.

use super::*;

#[test]
fn motors_do_not_start_at_power_up_with_arm_already_on() {
    let mut bench = Bench::new();
    assert_eq!(bench.ticks(1000, centred()).motors, Motors::Stopped);
    assert!(bench.guard.state().arming_blockers().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
}

#[test]
fn each_blocker_prevents_arming_and_is_named() {
    type Blocker = (fn(&mut Bench, &mut Command), fn(&ArmingBlockers) -> bool);
    let cases: [Blocker; 7] = [
        (|_, c| c.demand = Demand::Sticks(Sticks { roll: f32::NAN, ..Sticks::CENTRED }), |r| r.sticks),
        (|_, c| c.demand = Demand::Sticks(Sticks { climb: 0.3, ..Sticks::CENTRED }), |r| r.sticks),
        (|b, _| b.estimate.attitude = Attitude::from_angles::<Libm>(0.3, 0.0, 0.0), |r| r.tilted),
        (|b, _| b.estimate.rate_rad_s = Vector::new(0.0, 0.5, 0.0), |r| r.moving),
        (|b, _| b.imu_age_us = 100_000, |r| r.sensors),
        (|b, _| b.voltage_v = Some(12.0), |r| r.battery),
        (|_, c| c.age_us = 600_000, |r| r.link),
    ];
    for (i, (apply, named)) in cases.iter().enumerate() {
        let (mut bench, mut command) = (Bench::new(), centred());
        bench.ticks(1, Command::IDLE);
        apply(&mut bench, &mut command);
        assert_eq!(bench.ticks(10, command).motors, Motors::Stopped, "case {i}");
        assert!(named(&bench.guard.state().arming_blockers()), "case {i}");
    }
}

#[test]
fn armed_craft_waits_for_a_demand_to_take_off() {
    let mut bench = Bench::new().armed();
    assert_eq!(bench.ticks(5000, centred()).motors, Motors::Idle);
    let decision = bench.ticks(1, climbing());
    assert!(decision.motors == Motors::Running && decision.reset_controllers);
    assert!(!bench.ticks(1, climbing()).reset_controllers);
}

#[test]
fn releasing_the_cut_does_not_start_the_motors() {
    let mut bench = Bench::new();
    bench.ticks(1, Command::IDLE);
    bench.ticks(10, Command { cut_motors: true, ..centred() });
    assert_eq!(bench.ticks(100, centred()).motors, Motors::Stopped);
    assert!(bench.guard.state().arming_blockers().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
}

#[test]
fn each_demand_to_take_off_does_so_just_above_its_threshold() {
    let heading = HeadingDemand::Rate(0.0);
    let phase_after = |demand| {
        let mut bench = Bench::new().armed();
        // 1.5 m above home.
        bench.estimate.position_m = Vector::new(0.0, 0.0, -1.5);
        bench.ticks(1, Command::fly(demand));
        bench.phase()
    };
    let sticks = |climb| Sticks { climb, ..Sticks::CENTRED };
    let tilt = |vertical| Demand::Tilt { tilt: crate::Tilt::LEVEL, heading, vertical };
    let velocity = |vertical| Demand::Velocity { setpoint: VelocitySetpoint::default(), heading, vertical };
    let position = |vertical| Demand::Position { setpoint: PositionSetpoint::default(), heading, vertical };
    let rates = |thrust_n| Demand::Rates { rate_rad_s: Vector::ZERO, thrust_n };
    let (height, climb) = (VerticalDemand::Height, VerticalDemand::Climb);
    for demand in [
        Demand::Sticks(sticks(0.21)),
        Demand::RateSticks(sticks(0.21)),
        tilt(climb(0.21)),
        velocity(height(1.71)),
        position(height(1.71)),
        rates(0.1),
    ] {
        assert_eq!(phase_after(demand), Phase::Flying, "{demand:?}");
    }
    for demand in [
        Demand::Sticks(sticks(0.19)),
        Demand::RateSticks(sticks(0.19)),
        tilt(climb(0.19)),
        velocity(height(1.69)),
        position(height(1.69)),
        rates(0.0),
        Demand::Land,
    ] {
        assert_eq!(phase_after(demand), Phase::OnGround, "{demand:?}");
    }
}

#[test]
fn demands_that_take_off_prevent_arming_and_climb_stick_down_does_not() {
    let position = |height| Demand::Position {
        setpoint: PositionSetpoint::default(),
        heading: HeadingDemand::Rate(0.0),
        vertical: VerticalDemand::Height(height),
    };
    let armed = |demand| {
        let mut bench = Bench::new();
        bench.ticks(1, Command::IDLE);
        bench.ticks(1, Command::fly(demand)).motors == Motors::Idle
    };
    assert!(!armed(position(1.0)) && armed(position(0.1)));
    for demand in [Demand::Sticks, Demand::RateSticks] {
        assert!(armed(demand(Sticks { climb: -1.0, ..Sticks::CENTRED })));
        for stick in [0.11, -0.11] {
            assert!(!armed(demand(Sticks { roll: stick, ..Sticks::CENTRED })));
            assert!(!armed(demand(Sticks { pitch: stick, ..Sticks::CENTRED })));
            assert!(!armed(demand(Sticks { yaw: stick, ..Sticks::CENTRED })));
        }
        assert!(!armed(demand(Sticks { climb: 0.11, ..Sticks::CENTRED })));
    }
}

#[test]
fn attitude_that_is_not_valid_and_rates_that_are_not_finite_prevent_arming() {
    let blockers = |change: fn(&mut Bench)| {
        let mut bench = Bench::new();
        bench.ticks(1, Command::IDLE);
        change(&mut bench);
        bench.ticks(1, centred());
        bench.guard.state().arming_blockers()
    };
    assert_eq!(blockers(|_| ()), ArmingBlockers::NONE);
    assert!(blockers(|b| b.estimate.attitude_valid = false).sensors);
    assert!(blockers(|b| b.imu_age_us = 40_001).sensors && !blockers(|b| b.imu_age_us = 40_000).sensors);
    assert!(blockers(|b| b.estimate.rate_rad_s = Vector::new(f32::NAN, 0.0, 0.0)).moving);
    assert!(blockers(|b| b.voltage_v = Some(f32::NAN)).battery && !blockers(|b| b.voltage_v = None).battery);
}

#[test]
fn arming_blockers_are_any_of_their_fields_and_are_gone_once_arm_is_off() {
    let none = ArmingBlockers::NONE;
    assert!(!none.any());
    for blockers in [
        ArmingBlockers { arm_not_seen_off: true, ..none },
        ArmingBlockers { sticks: true, ..none },
        ArmingBlockers { tilted: true, ..none },
        ArmingBlockers { moving: true, ..none },
        ArmingBlockers { sensors: true, ..none },
        ArmingBlockers { battery: true, ..none },
        ArmingBlockers { link: true, ..none },
    ] {
        assert!(blockers.any());
    }
    let mut bench = Bench::new();
    bench.ticks(1, centred());
    assert!(bench.guard.state().arming_blockers().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.guard.state().arming_blockers(), none);
}

#[test]
fn link_lost_on_the_ground_disarms_and_the_motors_stay_off_until_arm_was_off() {
    let mut bench = Bench::new().armed();
    assert_eq!(bench.ticks(1, Command { age_us: 3_100_000, ..centred() }).motors, Motors::Stopped);
    assert_eq!(bench.phase(), Phase::Disarmed);
    // The link comes back with the arm command still on.
    assert_eq!(bench.ticks(1000, centred()).motors, Motors::Stopped);
    assert!(bench.guard.state().arming_blockers().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
    // Twin: a link that is only late keeps them running.
    assert_eq!(bench.ticks(1000, Command { age_us: 2_900_000, ..climbing() }).motors, Motors::Idle);
}

#[test]
fn low_battery_keeps_an_armed_craft_on_the_ground() {
    let mut bench = Bench::new().armed();
    bench.voltage_v = Some(12.5);
    bench.ticks(1100, centred());
    assert_eq!(bench.ticks(100, climbing()).motors, Motors::Idle);
    assert_eq!(bench.phase(), Phase::OnGround);
    assert_eq!(bench.guard.state().hold_reason(), Some(Reason::BatteryLow));
    // Twin: a sag shorter than a second does not.
    let mut bench = Bench::new().armed();
    bench.voltage_v = Some(12.5);
    bench.ticks(900, centred());
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Running);
}
