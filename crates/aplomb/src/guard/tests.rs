//! Each transition, and inputs that must not cause it.

mod arming;
mod landing;
mod stopping;

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

/// On its side, neither falling nor turning: the tip-over condition.
fn tipped_over() -> Bench {
    let mut bench = Bench::flying();
    bench.estimate.attitude = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    bench
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
