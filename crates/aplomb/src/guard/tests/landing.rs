//! Landings: their reasons and their end.

use super::*;

#[test]
fn lost_link_holds_then_lands_and_a_new_command_is_followed_again() {
    let mut bench = Bench::flying();
    let aged = |age_us| Command { age_us, ..climbing() };
    assert_eq!(bench.ticks(1, aged(400_000)).demand, climbing().demand);
    assert_eq!(bench.ticks(1, aged(600_000)).demand, Demand::Sticks(Sticks::CENTRED));
    assert_eq!(bench.ticks(1, aged(3_100_000)).demand, Demand::Land);
    assert!(matches!(bench.phase(), Phase::Landing { reason: Reason::LinkLost, .. }));
    assert_eq!(bench.ticks(2, climbing()).demand, climbing().demand);
}

#[test]
fn low_battery_lands_after_its_time_and_a_short_sag_does_not() {
    let mut bench = Bench::flying();
    bench.voltage_v = Some(12.5);
    bench.ticks(900, climbing());
    bench.voltage_v = Some(14.0);
    bench.ticks(1, climbing());
    assert!(matches!(bench.phase(), Phase::Flying));
    bench.voltage_v = Some(12.5);
    assert_eq!(bench.ticks(1100, climbing()).demand, Demand::Land);
    bench.voltage_v = Some(14.0);
    assert_eq!(bench.ticks(100, climbing()).demand, Demand::Land);
}

#[test]
fn landing_ends_when_the_thrust_is_low_and_nothing_moves() {
    let land = Command::fly(Demand::Land);
    let mut bench = Bench::flying();
    bench.estimate.velocity_m_s = Vector::new(0.0, 0.0, 0.7);
    bench.thrust_n = 0.6 * WEIGHT_N;
    assert_eq!(bench.ticks(2000, land).motors, Motors::Running, "still coming down");
    bench.estimate.velocity_m_s = Vector::ZERO;
    bench.thrust_n = WEIGHT_N;
    assert_eq!(bench.ticks(2000, land).motors, Motors::Running, "hanging in the air");
    bench.thrust_n = 0.6 * WEIGHT_N;
    assert_eq!(bench.ticks(600, land).motors, Motors::Stopped);
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::Commanded });
}

#[test]
fn reasons_to_land_have_a_priority_and_arm_off_is_one() {
    let land = |voltage_v, age_us, arm| {
        let mut bench = Bench::flying();
        bench.voltage_v = Some(voltage_v);
        bench.ticks(1000, Command { age_us: 0, ..climbing() });
        bench.ticks(1, Command { age_us, arm, ..climbing() });
        bench.phase()
    };
    let landing = |reason| Phase::Landing { reason };
    assert_eq!(land(12.5, 3_001_000, false), landing(Reason::BatteryLow));
    assert_eq!(land(15.0, 3_001_000, false), landing(Reason::LinkLost));
    assert_eq!(land(15.0, 3_000_000, false), landing(Reason::Commanded));
    assert_eq!(land(15.0, 3_000_000, true), Phase::Flying);
}

#[test]
fn landed_condition_must_hold_for_its_whole_time_and_starts_anew_in_each_phase() {
    let land = Command::fly(Demand::Land);
    let mut bench = Bench::flying();
    bench.thrust_n = 0.6 * WEIGHT_N;
    // 0.5 s in flight without a demand to descend are no landing, and do not count for the one that follows.
    assert_eq!(bench.ticks(2000, climbing()).motors, Motors::Running);
    assert_eq!(bench.ticks(500, land).motors, Motors::Running);
    assert_eq!(bench.ticks(1, land).motors, Motors::Stopped);
    // An interruption starts the time again.
    let mut bench = Bench::flying();
    bench.thrust_n = 0.6 * WEIGHT_N;
    bench.ticks(400, land);
    bench.thrust_n = WEIGHT_N;
    bench.ticks(1, land);
    bench.thrust_n = 0.6 * WEIGHT_N;
    assert_eq!(bench.ticks(499, land).motors, Motors::Running);
    assert_eq!(bench.ticks(1, land).motors, Motors::Stopped);
    // Thrust or vertical speed that is not finite is no landing.
    for (thrust_n, climb) in [(f32::NAN, 0.0), (0.0, f32::NAN)] {
        let mut bench = Bench::flying();
        bench.thrust_n = thrust_n;
        bench.estimate.velocity_m_s = Vector::new(0.0, 0.0, climb);
        assert_eq!(bench.ticks(2000, land).motors, Motors::Running);
    }
}

#[test]
fn a_demand_to_descend_on_the_ground_goes_back_to_idle_and_the_next_take_off_resets_the_controllers() {
    let heading = HeadingDemand::Rate(0.0);
    let descend = |climb| Demand::Sticks(Sticks { climb, ..Sticks::CENTRED });
    let vertical = |climb| VerticalDemand::Climb(climb);
    let phase_after = |demand| {
        let mut bench = Bench::flying();
        bench.thrust_n = 0.6 * WEIGHT_N;
        bench.ticks(600, Command::fly(demand));
        bench.phase()
    };
    let tilt = |vertical| Demand::Tilt { tilt: crate::Tilt::LEVEL, heading, vertical };
    let velocity = |vertical| Demand::Velocity { setpoint: VelocitySetpoint::default(), heading, vertical };
    let position = |vertical| Demand::Position { setpoint: PositionSetpoint::default(), heading, vertical };
    for demand in [
        descend(-0.21),
        Demand::RateSticks(Sticks { climb: -0.21, ..Sticks::CENTRED }),
        tilt(vertical(-0.21)),
        velocity(vertical(-0.21)),
        position(vertical(-0.21)),
    ] {
        assert_eq!(phase_after(demand), Phase::OnGround, "{demand:?}");
    }
    for demand in [
        descend(-0.19),
        tilt(vertical(-0.19)),
        tilt(VerticalDemand::Height(-9.0)),
        Demand::Rates { rate_rad_s: Vector::ZERO, thrust_n: 0.0 },
    ] {
        assert_eq!(phase_after(demand), Phase::Flying, "{demand:?}");
    }
    let mut bench = Bench::flying();
    bench.thrust_n = 0.6 * WEIGHT_N;
    assert_eq!(bench.ticks(600, Command::fly(descend(-0.5))).motors, Motors::Idle);
    let decision = bench.ticks(1, climbing());
    assert!(decision.motors == Motors::Running && decision.reset_controllers);
}

#[test]
fn arm_off_on_the_ground_disarms_and_a_landing_ends_when_its_reason_does() {
    let mut bench = Bench::new().armed();
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.phase(), Phase::Disarmed);
    bench.ticks(1, centred());
    assert_eq!(bench.phase(), Phase::OnGround, "arm was seen off");
    let mut bench = Bench::flying();
    bench.ticks(10, Command::fly(Demand::Land));
    assert_eq!(bench.phase(), Phase::Landing { reason: Reason::Commanded });
    let decision = bench.ticks(1, climbing());
    assert_eq!(bench.phase(), Phase::Flying);
    assert!(!decision.reset_controllers, "the motors ran all the time");
}
