//! Each transition, and inputs that must not cause it.

use super::*;
use crate::frames::{Attitude, Horizontal, Vector};
use crate::{HeadingDemand, Libm, PositionSetpoint, Sticks, VelocitySetpoint, VerticalDemand};

const WEIGHT_N: f32 = 11.8;

pub(super) fn config() -> Config {
    Config {
        arming_tilt_rad: 0.26,
        arming_rate_rad_s: 0.35,
        arming_stick: 0.1,
        imu_hold_s: 0.04,
        link_hold_s: 0.5,
        link_land_s: 3.0,
        low_battery_v: 13.0,
        low_battery_s: 1.0,
        tip_over_tilt_rad: 1.05,
        tip_over_s: 0.5,
        landed_thrust_share: 0.7,
        landed_climb_m_s: 0.3,
        landed_s: 0.5,
    }
}

/// A guard with its inputs.
struct Bench {
    guard: Guard,
    estimate: estimate::State,
    imu_age_us: u32,
    voltage_v: Option<f32>,
    thrust_n: f32,
}

impl Bench {
    fn new() -> Self {
        let estimate = estimate::State { attitude_valid: true, ..estimate::State::default() };
        Self {
            guard: Guard::new(
                &config(),
                &GuardParameters { weight_n: WEIGHT_N, empty_v: 12.0, landing_speed_m_s: 0.7 },
                1e-3,
            )
            .unwrap(),
            estimate,
            imu_age_us: 0,
            voltage_v: Some(15.0),
            thrust_n: WEIGHT_N,
        }
    }

    fn flying() -> Self {
        let mut bench = Self::new();
        bench.guard.set_state(State::in_flight());
        bench
    }

    fn ticks(&mut self, count: usize, command: Command) -> GuardDecision {
        let input =
            GuardInput { imu_age_us: self.imu_age_us, voltage_v: self.voltage_v, thrust_n: self.thrust_n };
        let mut last = None;
        for _ in 0..count {
            last = Some(self.guard.step(&command, &self.estimate, &input));
        }
        last.unwrap()
    }

    fn phase(&self) -> Phase {
        self.guard.state().phase()
    }

    fn armed(mut self) -> Self {
        self.ticks(1, Command::IDLE);
        self.ticks(1, centred());
        assert_eq!(self.phase(), Phase::OnGround);
        self
    }
}

fn centred() -> Command {
    Command::fly(Demand::Sticks(Sticks::CENTRED))
}

fn climbing() -> Command {
    Command::fly(Demand::Sticks(Sticks { climb: 0.5, ..Sticks::CENTRED }))
}

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
fn cut_motors_has_priority_in_every_phase_and_lasts_until_arm_was_off() {
    for mut bench in [Bench::new().armed(), Bench::flying()] {
        let cut = Command { cut_motors: true, ..climbing() };
        assert_eq!(bench.ticks(1, cut).motors, Motors::Stopped);
        assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::Cut });
        assert_eq!(bench.ticks(100, climbing()).motors, Motors::Stopped);
        bench.ticks(1, Command::IDLE);
        assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
    }
}

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
fn tip_over_stops_the_motors_and_an_upset_in_the_air_does_not() {
    let over = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    let mut lying = Bench::flying();
    lying.estimate.attitude = over;
    assert_eq!(lying.ticks(600, climbing()).motors, Motors::Stopped);
    assert_eq!(lying.phase(), Phase::Stopped { reason: Reason::TippedOver });
    let mut upset = Bench::flying();
    upset.estimate.attitude = over;
    upset.estimate.velocity_m_s = Vector::new(0.0, 0.0, 2.0);
    assert_eq!(upset.ticks(600, climbing()).motors, Motors::Running);
}

#[test]
fn stale_inertial_samples_are_bridged_and_then_stop_the_motors() {
    let mut bench = Bench::flying();
    bench.imu_age_us = 30_000;
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Running);
    bench.imu_age_us = 60_000;
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Stopped);
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::ImuLost });
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
fn a_demand_that_is_not_finite_is_replaced_by_centred_sticks() {
    let mut bench = Bench::flying();
    let nan = Demand::Velocity {
        setpoint: VelocitySetpoint::constant(Horizontal::new(f32::NAN, 0.0)),
        heading: HeadingDemand::Rate(0.0),
        vertical: VerticalDemand::Climb(0.0),
    };
    assert_eq!(bench.ticks(1, Command::fly(nan)).demand, Demand::Sticks(Sticks::CENTRED));
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

#[test]
fn a_replaced_demand_has_a_reason() {
    let mut bench = Bench::flying();
    let replaced = |bench: &mut Bench, command| {
        let decision = bench.ticks(1, command);
        (decision.demand == Demand::Sticks(Sticks::CENTRED), bench.guard.state().hold_reason())
    };
    assert_eq!(replaced(&mut bench, climbing()), (false, None));
    assert_eq!(replaced(&mut bench, Command { age_us: 500_000, ..climbing() }), (false, None));
    assert_eq!(
        replaced(&mut bench, Command { age_us: 500_001, ..climbing() }),
        (true, Some(Reason::LinkLost))
    );
    let not_finite = Demand::Rates { rate_rad_s: Vector::new(0.0, f32::NAN, 0.0), thrust_n: 12.0 };
    assert_eq!(replaced(&mut bench, Command::fly(not_finite)), (true, Some(Reason::NotANumber)));
    assert_eq!(replaced(&mut bench, climbing()), (false, None));
}

#[test]
fn every_demand_that_is_not_finite_is_replaced_and_its_finite_twin_is_flown() {
    let heading = HeadingDemand::Rate(0.1);
    let vertical = VerticalDemand::Climb(0.1);
    let demands = |x: f32| {
        let v = Horizontal::new(1.0, x);
        let (velocity, position) = (VelocitySetpoint::constant, PositionSetpoint::at);
        let lean = crate::Tilt { forward: x, right: 0.1 };
        [
            Demand::Rates { rate_rad_s: Vector::new(0.0, 0.0, x), thrust_n: 10.0 },
            Demand::Rates { rate_rad_s: Vector::ZERO, thrust_n: x },
            Demand::Tilt { tilt: lean, heading, vertical },
            Demand::Tilt { tilt: crate::Tilt::LEVEL, heading: HeadingDemand::Rate(x), vertical },
            Demand::Tilt { tilt: crate::Tilt::LEVEL, heading, vertical: VerticalDemand::Height(x) },
            Demand::Velocity { setpoint: velocity(v), heading, vertical },
            Demand::Velocity {
                setpoint: velocity(Horizontal::ZERO),
                heading,
                vertical: VerticalDemand::Climb(x),
            },
            Demand::Velocity {
                setpoint: VelocitySetpoint { acceleration_m_s2: v, ..velocity(Horizontal::ZERO) },
                heading,
                vertical,
            },
            Demand::Position { setpoint: position(v), heading, vertical },
            Demand::Position {
                setpoint: PositionSetpoint { velocity_m_s: v, ..PositionSetpoint::default() },
                heading,
                vertical,
            },
            Demand::Position {
                setpoint: PositionSetpoint { acceleration_m_s2: v, ..PositionSetpoint::default() },
                heading,
                vertical,
            },
        ]
    };
    for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        for demand in demands(x) {
            let decision = Bench::flying().ticks(1, Command::fly(demand));
            assert_eq!(decision.demand, Demand::Sticks(Sticks::CENTRED), "{demand:?}");
        }
    }
    for demand in demands(0.2) {
        assert_eq!(Bench::flying().ticks(1, Command::fly(demand)).demand, demand);
    }
}

#[test]
fn ten_minutes_of_rough_flight_give_no_false_alarm() {
    // Tilts to 35 deg, turns, climbs and descends, the voltage sags for half a second at a time, commands
    // come late by up to 0.4 s, and a tenth of the inertial samples is missing.
    let mut bench = Bench::flying();
    let mut seed = 1u32;
    let mut random = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 8) as f32 / (1 << 24) as f32
    };
    for tick in 0..600_000u32 {
        let phase = tick as f32 * 2e-3;
        bench.estimate.attitude = Attitude::from_angles::<Libm>(0.6 * phase.sin(), 0.2 * phase.cos(), phase);
        bench.estimate.rate_rad_s = Vector::new(1.2 * phase.cos(), 0.0, 0.0);
        bench.estimate.velocity_m_s = Vector::new(3.0, 0.0, 2.0 * (0.3 * phase).sin());
        bench.imu_age_us = if random() < 0.1 { 1000 + (20e3 * random()) as u32 } else { 0 };
        bench.voltage_v = Some(if tick % 2000 < 500 { 12.6 } else { 13.4 });
        bench.thrust_n = WEIGHT_N * (0.5 + random());
        let command = Command { age_us: (400e3 * random()) as u32, ..climbing() };
        let decision = bench.ticks(1, command);
        assert!(decision.motors == Motors::Running && decision.demand == climbing().demand, "tick {tick}");
        assert_eq!(bench.guard.state().hold_reason(), None);
    }
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

/// On its side, neither falling nor turning: the tip-over condition.
fn tipped_over() -> Bench {
    let mut bench = Bench::flying();
    bench.estimate.attitude = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    bench
}

#[test]
fn tip_over_needs_tilt_no_motion_and_its_whole_time() {
    let stopped = |mut bench: Bench| bench.ticks(600, climbing()).motors == Motors::Stopped;
    assert!(stopped(tipped_over()));
    // Twins: each part of the condition missing.
    let twin = |change: fn(&mut estimate::State)| {
        let mut bench = tipped_over();
        change(&mut bench.estimate);
        bench
    };
    assert!(!stopped(twin(|e| e.rate_rad_s = Vector::new(0.0, 0.0, 0.51))), "turning");
    assert!(stopped(twin(|e| e.rate_rad_s = Vector::new(0.0, 0.0, 0.49))));
    assert!(!stopped(twin(|e| e.velocity_m_s = Vector::new(0.0, 0.0, -0.31))), "rising");
    assert!(stopped(twin(|e| e.velocity_m_s = Vector::new(0.0, 0.0, -0.29))));
    assert!(!stopped(twin(|e| e.attitude = Attitude::from_angles::<Libm>(1.04, 0.0, 0.0))), "less tilt");
    assert!(stopped(twin(|e| e.attitude = Attitude::from_angles::<Libm>(0.0, 1.06, 0.0))));
    // NaN does not count as no motion.
    assert!(!stopped(twin(|e| e.rate_rad_s = Vector::new(f32::NAN, 0.0, 0.0))));
    assert!(!stopped(twin(|e| e.velocity_m_s = Vector::new(0.0, 0.0, f32::NAN))));
    // 0.5 s in a row: 499 ticks, one upright, 499 ticks are too short; the 500th stops.
    let mut bench = tipped_over();
    assert_eq!(bench.ticks(499, climbing()).motors, Motors::Running);
    bench.estimate.attitude = Attitude::LEVEL;
    bench.ticks(1, climbing());
    bench.estimate.attitude = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    assert_eq!(bench.ticks(499, climbing()).motors, Motors::Running);
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Stopped);
    // On the ground with idling motors, and in a landing, too.
    let mut bench = Bench::new().armed();
    bench.estimate.attitude = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    bench.ticks(600, centred());
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
    let mut bench = tipped_over();
    bench.ticks(600, Command::fly(Demand::Land));
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
}

#[test]
fn reasons_to_stop_have_a_priority() {
    // Cut, no inertial sample, tip-over; each alone stops.
    let stop = |cut_motors, imu_age_us, tipped| {
        let mut bench = if tipped { tipped_over() } else { Bench::flying() };
        bench.ticks(499, climbing());
        bench.imu_age_us = imu_age_us;
        bench.ticks(1, Command { cut_motors, ..climbing() });
        bench.phase()
    };
    let stopped = |reason| Phase::Stopped { reason };
    assert_eq!(stop(true, 50_000, true), stopped(Reason::Cut));
    assert_eq!(stop(false, 50_000, true), stopped(Reason::ImuLost));
    assert_eq!(stop(false, 0, true), stopped(Reason::TippedOver));
    assert_eq!(stop(false, 0, false), Phase::Flying);
    // At the hold time itself the last sample is still used.
    assert_eq!(stop(false, 40_000, false), Phase::Flying);
    assert_eq!(stop(false, 40_001, false), stopped(Reason::ImuLost));
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
fn stopped_craft_stays_stopped_until_arm_is_off_without_a_cut() {
    let mut bench = tipped_over();
    bench.ticks(600, climbing());
    bench.estimate.attitude = Attitude::LEVEL;
    bench.ticks(1000, centred());
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
    bench.ticks(10, Command { cut_motors: true, ..Command::IDLE });
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.phase(), Phase::Disarmed);
    bench.ticks(1, centred());
    assert_eq!(bench.phase(), Phase::OnGround);
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

#[test]
fn saved_state_continues_and_reset_is_power_up() {
    let mut bench = tipped_over();
    bench.ticks(300, climbing());
    let mut other = tipped_over();
    other.guard.set_state(bench.guard.state());
    assert_eq!(bench.ticks(199, climbing()), other.ticks(199, climbing()));
    assert_eq!(other.ticks(1, climbing()).motors, Motors::Stopped);
    assert_ne!(bench.guard.state(), other.guard.state());
    other.guard.reset();
    assert_eq!(other.guard.state(), State::new());
    assert_eq!(other.phase(), Phase::Disarmed);
    assert!(Bench::flying().phase().is_armed() && Bench::flying().phase().is_flying());
}
