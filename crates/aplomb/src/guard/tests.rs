//! Each transition, and what must not cause it.

use super::*;
use crate::frames::{Attitude, Vector};
use crate::{HeadingDemand, Libm, Sticks};

const WEIGHT_N: f32 = 11.8;

fn config() -> Config {
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
        let motion = estimate::State { attitude_known: true, ..estimate::State::default() };
        Self {
            guard: Guard::new::<Libm>(&config(), WEIGHT_N, 1e-3).unwrap(),
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

    fn ticks(&mut self, count: usize, command: Command) -> Verdict {
        let mut last = None;
        for _ in 0..count {
            let situation = Situation {
                motion: &self.motion,
                imu_age_ticks: self.imu_age_ticks,
                voltage_v: self.voltage_v,
                thrust_n: self.thrust_n,
            };
            last = Some(self.guard.step(&mut self.state, &command, &situation));
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
    assert!(bench.state.refusals().arm_not_seen_off);
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
}

#[test]
fn each_obstacle_refuses_arming_and_is_named() {
    type Obstacle = (fn(&mut Bench, &mut Command), fn(&Refusals) -> bool);
    let cases: [Obstacle; 7] = [
        (|_, c| c.demand = Demand::Sticks(Sticks { roll: f32::NAN, ..Sticks::CENTRED }), |r| r.sticks),
        (|_, c| c.demand = Demand::Sticks(Sticks { climb: 0.3, ..Sticks::CENTRED }), |r| r.sticks),
        (|b, _| b.motion.attitude = Attitude::from_angles::<Libm>(0.3, 0.0, 0.0), |r| r.tilted),
        (|b, _| b.motion.rate_rad_s = Vector::new(0.0, 0.5, 0.0), |r| r.moving),
        (|b, _| b.imu_age_ticks = 100, |r| r.sensors),
        (|b, _| b.voltage_v = Some(12.0), |r| r.battery),
        (|_, c| c.age_ticks = 600, |r| r.link),
    ];
    for (i, (spoil, named)) in cases.iter().enumerate() {
        let (mut bench, mut command) = (Bench::new(), centred());
        bench.ticks(1, Command::IDLE);
        spoil(&mut bench, &mut command);
        assert_eq!(bench.ticks(10, command).motors, Motors::Stopped, "case {i}");
        assert!(named(&bench.state.refusals()), "case {i}");
    }
}

#[test]
fn armed_craft_waits_until_asked_to_rise() {
    let mut bench = Bench::new().armed();
    assert_eq!(bench.ticks(5000, centred()).motors, Motors::Idle);
    let verdict = bench.ticks(1, climbing());
    assert!(verdict.motors == Motors::Running && verdict.fresh);
    assert!(!bench.ticks(1, climbing()).fresh);
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
    let aged = |age_ticks| Command { age_ticks, ..climbing() };
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
