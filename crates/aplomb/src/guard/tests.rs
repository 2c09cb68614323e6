//! Each transition, and what must not cause it.

use super::*;
use crate::frames::{Attitude, Vector};
use crate::{HeadingDemand, Libm, Sticks, VerticalDemand};

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

/// A verdict that outlives its command.
struct Outcome {
    demand: Demand,
    motors: Motors,
    reset_controllers: bool,
}

/// A guard with its state and what it sees.
struct Bench {
    guard: Guard,
    state: State,
    motion: estimate::State,
    imu_age_ticks: u16,
    voltage_v: Option<f32>,
    thrust_n: f32,
}

impl Bench {
    fn new() -> Self {
        let motion = estimate::State { attitude_valid: true, ..estimate::State::default() };
        Self {
            guard: Guard::new::<Libm>(
                &config(),
                &GuardParameters { weight_n: WEIGHT_N, empty_v: 12.0, landing_speed_m_s: 0.7 },
                1e-3,
            )
            .unwrap(),
            state: State::new(),
            motion,
            imu_age_ticks: 0,
            voltage_v: Some(15.0),
            thrust_n: WEIGHT_N,
        }
    }

    fn flying() -> Self {
        Self { state: State::in_flight(), ..Self::new() }
    }

    fn ticks(&mut self, count: usize, command: Command) -> Outcome {
        let mut last = None;
        for _ in 0..count {
            let situation = GuardInput {
                motion: &self.motion,
                imu_age_ticks: self.imu_age_ticks,
                voltage_v: self.voltage_v,
                thrust_n: self.thrust_n,
            };
            let GuardDecision { demand, motors, reset_controllers } =
                self.guard.step(&mut self.state, &command, &situation);
            last = Some(Outcome { demand: *demand, motors, reset_controllers });
        }
        last.unwrap()
    }

    fn armed(mut self) -> Self {
        self.ticks(1, Command::IDLE);
        self.ticks(1, centred());
        assert_eq!(self.state.phase(), Phase::OnGround);
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
    assert!(bench.state.arming_blockers().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
}

#[test]
fn each_obstacle_refuses_arming_and_is_named() {
    type Obstacle = (fn(&mut Bench, &mut Command), fn(&ArmingBlockers) -> bool);
    let cases: [Obstacle; 7] = [
        (|_, c| c.demand = Demand::Sticks(Sticks { roll: f32::NAN, ..Sticks::CENTRED }), |r| r.sticks),
        (|_, c| c.demand = Demand::Sticks(Sticks { climb: 0.3, ..Sticks::CENTRED }), |r| r.sticks),
        (|b, _| b.motion.attitude = Attitude::from_angles::<Libm>(0.3, 0.0, 0.0), |r| r.tilted),
        (|b, _| b.motion.rate_rad_s = Vector::new(0.0, 0.5, 0.0), |r| r.moving),
        (|b, _| b.imu_age_ticks = 100, |r| r.sensors),
        (|b, _| b.voltage_v = Some(12.0), |r| r.battery),
        (|_, c| c.age_us = 600_000, |r| r.link),
    ];
    for (i, (spoil, named)) in cases.iter().enumerate() {
        let (mut bench, mut command) = (Bench::new(), centred());
        bench.ticks(1, Command::IDLE);
        spoil(&mut bench, &mut command);
        assert_eq!(bench.ticks(10, command).motors, Motors::Stopped, "case {i}");
        assert!(named(&bench.state.arming_blockers()), "case {i}");
    }
}

#[test]
fn armed_craft_waits_until_asked_to_rise() {
    let mut bench = Bench::new().armed();
    assert_eq!(bench.ticks(5000, centred()).motors, Motors::Idle);
    let verdict = bench.ticks(1, climbing());
    assert!(verdict.motors == Motors::Running && verdict.reset_controllers);
    assert!(!bench.ticks(1, climbing()).reset_controllers);
}

#[test]
fn cut_motors_wins_in_every_state_and_lasts_until_arm_was_off() {
    for mut bench in [Bench::new().armed(), Bench::flying()] {
        let cut = Command { cut_motors: true, ..climbing() };
        assert_eq!(bench.ticks(1, cut).motors, Motors::Stopped);
        assert_eq!(bench.state.phase(), Phase::Stopped { reason: Reason::Cut });
        assert_eq!(bench.ticks(100, climbing()).motors, Motors::Stopped);
        bench.ticks(1, Command::IDLE);
        assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
    }
}

#[test]
fn lost_link_holds_then_lands_and_a_new_command_takes_over_again() {
    let mut bench = Bench::flying();
    let aged = |age_ms: u32| Command { age_us: 1000 * age_ms, ..climbing() };
    assert_eq!(bench.ticks(1, aged(400)).demand, climbing().demand);
    assert_eq!(bench.ticks(1, aged(600)).demand, Demand::Sticks(Sticks::CENTRED));
    assert_eq!(bench.ticks(1, aged(3100)).demand, Demand::Land);
    assert!(matches!(bench.state.phase(), Phase::Landing { reason: Reason::LinkLost, .. }));
    assert_eq!(bench.ticks(2, climbing()).demand, climbing().demand);
}

#[test]
fn low_battery_lands_after_its_time_and_a_short_sag_does_not() {
    let mut bench = Bench::flying();
    bench.voltage_v = Some(12.5);
    bench.ticks(900, climbing());
    bench.voltage_v = Some(14.0);
    bench.ticks(1, climbing());
    assert!(matches!(bench.state.phase(), Phase::Flying { .. }));
    bench.voltage_v = Some(12.5);
    assert_eq!(bench.ticks(1100, climbing()).demand, Demand::Land);
    bench.voltage_v = Some(14.0);
    assert_eq!(bench.ticks(100, climbing()).demand, Demand::Land);
}

#[test]
fn lying_on_the_side_stops_the_motors_but_an_upset_in_the_air_does_not() {
    let over = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    let mut lying = Bench::flying();
    lying.motion.attitude = over;
    assert_eq!(lying.ticks(600, climbing()).motors, Motors::Stopped);
    assert_eq!(lying.state.phase(), Phase::Stopped { reason: Reason::TippedOver });
    let mut upset = Bench::flying();
    upset.motion.attitude = over;
    upset.motion.velocity_m_s = Vector::new(0.0, 0.0, 2.0);
    assert_eq!(upset.ticks(600, climbing()).motors, Motors::Running);
}

#[test]
fn stale_inertial_samples_are_bridged_and_then_stop_the_motors() {
    let mut bench = Bench::flying();
    bench.imu_age_ticks = 30;
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Running);
    bench.imu_age_ticks = 60;
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Stopped);
    assert_eq!(bench.state.phase(), Phase::Stopped { reason: Reason::ImuLost });
}

#[test]
fn landing_ends_when_the_thrust_is_low_and_nothing_moves() {
    let land = Command::fly(Demand::Land);
    let mut bench = Bench::flying();
    bench.motion.velocity_m_s = Vector::new(0.0, 0.0, 0.7);
    bench.thrust_n = 0.6 * WEIGHT_N;
    assert_eq!(bench.ticks(2000, land).motors, Motors::Running, "still coming down");
    bench.motion.velocity_m_s = Vector::ZERO;
    bench.thrust_n = WEIGHT_N;
    assert_eq!(bench.ticks(2000, land).motors, Motors::Running, "hanging in the air");
    bench.thrust_n = 0.6 * WEIGHT_N;
    assert_eq!(bench.ticks(600, land).motors, Motors::Stopped);
    assert_eq!(bench.state.phase(), Phase::Stopped { reason: Reason::Asked });
}

#[test]
fn a_demand_that_is_no_number_is_flown_as_centred_sticks() {
    let mut bench = Bench::flying();
    let nan = Demand::Velocity {
        velocity_m_s: Vector::new(f32::NAN, 0.0, 0.0),
        heading: HeadingDemand::Rate(0.0),
        vertical: VerticalDemand::Climb(0.0),
    };
    assert_eq!(bench.ticks(1, Command::fly(nan)).demand, Demand::Sticks(Sticks::CENTRED));
}

#[test]
fn link_lost_on_the_ground_disarms_and_the_motors_stay_off_until_arm_was_off() {
    let mut bench = Bench::new().armed();
    assert_eq!(bench.ticks(1, Command { age_us: 3_100_000, ..centred() }).motors, Motors::Stopped);
    assert_eq!(bench.state.phase(), Phase::Disarmed);
    // The link comes back with the arm command still on.
    assert_eq!(bench.ticks(1000, centred()).motors, Motors::Stopped);
    assert!(bench.state.arming_blockers().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
    // Twin: a link that is only late keeps them turning.
    assert_eq!(bench.ticks(1000, Command { age_us: 2_900_000, ..climbing() }).motors, Motors::Idle);
}

#[test]
fn low_battery_keeps_an_armed_craft_on_the_ground() {
    let mut bench = Bench::new().armed();
    bench.voltage_v = Some(12.5);
    bench.ticks(1100, centred());
    assert_eq!(bench.ticks(100, climbing()).motors, Motors::Idle);
    assert_eq!(bench.state.phase(), Phase::OnGround);
    assert_eq!(bench.state.held(), Some(Reason::BatteryLow));
    // Twin: a sag shorter than a second does not.
    let mut bench = Bench::new().armed();
    bench.voltage_v = Some(12.5);
    bench.ticks(900, centred());
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Running);
}

#[test]
fn what_is_flown_instead_of_the_command_has_a_reason() {
    let mut bench = Bench::flying();
    let held = |bench: &mut Bench, command| {
        let verdict = bench.ticks(1, command);
        (verdict.demand == Demand::Sticks(Sticks::CENTRED), bench.state.held())
    };
    assert_eq!(held(&mut bench, climbing()), (false, None));
    assert_eq!(held(&mut bench, Command { age_us: 500_000, ..climbing() }), (false, None));
    assert_eq!(held(&mut bench, Command { age_us: 500_001, ..climbing() }), (true, Some(Reason::LinkLost)));
    let no_number = Demand::Rates { rate_rad_s: Vector::new(0.0, f32::NAN, 0.0), thrust_n: 12.0 };
    assert_eq!(held(&mut bench, Command::fly(no_number)), (true, Some(Reason::NotANumber)));
    assert_eq!(held(&mut bench, climbing()), (false, None));
}

#[test]
fn every_demand_that_is_no_number_is_replaced_and_its_sound_twin_is_flown() {
    let heading = HeadingDemand::Rate(0.1);
    let vertical = VerticalDemand::Climb(0.1);
    let demands = |x: f32| {
        let v = Vector::new(1.0, x, 0.0);
        let lean = crate::Tilt { forward: x, right: 0.1 };
        [
            Demand::Rates { rate_rad_s: Vector::new(0.0, 0.0, x), thrust_n: 10.0 },
            Demand::Rates { rate_rad_s: Vector::ZERO, thrust_n: x },
            Demand::Tilt { tilt: lean, heading, vertical },
            Demand::Tilt { tilt: crate::Tilt::LEVEL, heading: HeadingDemand::Rate(x), vertical },
            Demand::Tilt { tilt: crate::Tilt::LEVEL, heading, vertical: VerticalDemand::Height(x) },
            Demand::Velocity { velocity_m_s: v, heading, vertical },
            Demand::Velocity { velocity_m_s: Vector::ZERO, heading, vertical: VerticalDemand::Climb(x) },
            Demand::Position { position_m: v, heading, vertical },
        ]
    };
    for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        for demand in demands(x) {
            let verdict = Bench::flying().ticks(1, Command::fly(demand));
            assert_eq!(verdict.demand, Demand::Sticks(Sticks::CENTRED), "{demand:?}");
        }
    }
    for demand in demands(0.2) {
        assert_eq!(Bench::flying().ticks(1, Command::fly(demand)).demand, demand);
    }
}

#[test]
fn nothing_wrong_in_ten_minutes_of_rough_flight_gives_no_false_alarm() {
    // Tilts to 35 deg, turns, climbs and descends, the voltage sags for half a second at a time, commands come late by
    // up to 0.4 s, and a tenth of the inertial samples is missing.
    let mut bench = Bench::flying();
    let mut seed = 1u32;
    let mut random = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 8) as f32 / (1 << 24) as f32
    };
    for tick in 0..600_000u32 {
        let phase = tick as f32 * 2e-3;
        bench.motion.attitude = Attitude::from_angles::<Libm>(0.6 * phase.sin(), 0.2 * phase.cos(), phase);
        bench.motion.rate_rad_s = Vector::new(1.2 * phase.cos(), 0.0, 0.0);
        bench.motion.velocity_m_s = Vector::new(3.0, 0.0, 2.0 * (0.3 * phase).sin());
        bench.imu_age_ticks = if random() < 0.1 { 1 + (20.0 * random()) as u16 } else { 0 };
        bench.voltage_v = Some(if tick % 2000 < 500 { 12.6 } else { 13.4 });
        bench.thrust_n = WEIGHT_N * (0.5 + random());
        let command = Command { age_us: (400_000.0 * random()) as u32, ..climbing() };
        let verdict = bench.ticks(1, command);
        assert!(verdict.motors == Motors::Running && verdict.demand == climbing().demand, "tick {tick}");
        assert_eq!(bench.state.held(), None);
    }
}

#[test]
fn letting_go_of_the_cut_does_not_start_the_motors() {
    let mut bench = Bench::new();
    bench.ticks(1, Command::IDLE);
    bench.ticks(10, Command { cut_motors: true, ..centred() });
    assert_eq!(bench.ticks(100, centred()).motors, Motors::Stopped);
    assert!(bench.state.arming_blockers().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
}
