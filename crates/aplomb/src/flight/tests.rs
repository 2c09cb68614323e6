//! The derived gains on a rigid body with first-order rotors and a delay of two ticks, in `f64` arithmetic
//! where the craft is concerned.

extern crate std;

use std::collections::VecDeque;
use std::f64::consts::PI;
use std::println;
use std::string::ToString;
use std::vec::Vec;

use super::*;
use crate::frames::Horizontal;
use crate::mix::Geometry;
use crate::{Demand, HeadingDemand, ImuSample, PositionSetpoint, Spin, Tilt, VerticalDemand};

const STEP_S: f64 = 1e-3;

fn airframe() -> Airframe {
    let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.5)
}

/// Planar roll of the demo craft: double integrator, rotors as a first-order lag, two ticks of delay. No
/// vertical motion.
struct Roll {
    controller: FlightController,
    angle: f64,
    rate: f64,
    thrust: [f64; 4],
    pending: VecDeque<[f64; 4]>,
    lag_s: f64,
    torque_nm: f64,
}

impl Roll {
    fn hovering(lag_s: f64) -> Self {
        // 200 and 40 steps a second, in phase with the ticks that the tests name.
        let derived = Config::for_airframe(&airframe()).unwrap();
        let config = Config { attitude_divider: 5, velocity_divider: 25, ..derived };
        let mut controller: FlightController = FlightController::new(&config).unwrap();
        controller.resume_in_flight();
        let hover = 0.25 * 1.2 * 9.80665;
        Self {
            controller,
            angle: 0.0,
            rate: 0.0,
            thrust: [hover; 4],
            pending: VecDeque::from([[hover; 4]; 2]),
            lag_s,
            torque_nm: 0.0,
        }
    }

    fn step(&mut self, demand: Demand) {
        let force: f64 = self.thrust.iter().sum::<f64>() / 1.2;
        let rate_rad_s = Vector::new(self.rate as f32, 0.0, 0.0);
        let imu = ImuSample::from_rates(rate_rad_s, Vector::new(0.0, 0.0, -force as f32), STEP_S as f32);
        let commands = self.controller.step(&Sensors::from_imu(imu), &Command::fly(demand));
        self.pending.push_back(commands.into_array().map(|c| 6.5 * f64::from(c.get()).powi(2)));
        let target = self.pending.pop_front().unwrap();
        for (thrust, target) in self.thrust.iter_mut().zip(target) {
            *thrust += (target - *thrust) * (1.0 - (-STEP_S / self.lag_s).exp());
        }
        let [a, b, c, d] = self.thrust;
        let acceleration = (0.16 * (a + c - b - d) + self.torque_nm) / 0.011;
        self.angle += self.rate * STEP_S + 0.5 * acceleration * STEP_S * STEP_S;
        self.rate += acceleration * STEP_S;
    }
}

fn tilt(roll_rad: f32) -> Demand {
    Demand::Tilt {
        tilt: Tilt::from_roll_pitch::<Libm>(roll_rad, 0.0),
        heading: HeadingDemand::Rate(0.0),
        vertical: VerticalDemand::Climb(0.0),
    }
}

#[test]
fn roll_step_20deg_stays_within_2deg_from_250ms_with_little_overshoot() {
    // The controller's model has 0.04 s; the truth may differ by a quarter.
    for lag_s in [0.03, 0.04, 0.045] {
        let mut roll = Roll::hovering(lag_s);
        // The attitude filter needs its first seconds to grow slow.
        // The command changes just after the outer loops have run: the largest delay.
        for _ in 0..6001 {
            roll.step(tilt(0.0));
        }
        let mut angles = Vec::new();
        for _ in 0..700 {
            roll.step(tilt(20f32.to_radians()));
            angles.push(roll.angle.to_degrees());
        }
        let settled = angles.iter().rposition(|angle| (angle - 20.0).abs() > 2.0).unwrap() + 1;
        let peak = angles.iter().fold(0.0f64, |peak, angle| peak.max(*angle));
        println!("lag {lag_s} s: within 2 deg from {settled} ms, peak {peak:.2} deg");
        assert!(settled <= 250, "{settled} ms at lag {lag_s}");
        assert!(peak < 22.0, "{peak} deg at lag {lag_s}");
    }
}

#[test]
fn torque_step_disturbs_little() {
    let mut roll = Roll::hovering(0.04);
    for _ in 0..500 {
        roll.step(tilt(0.0));
    }
    roll.torque_nm = 0.1;
    let mut worst = 0.0f64;
    for _ in 0..2000 {
        roll.step(tilt(0.0));
        worst = worst.max(roll.angle.abs().to_degrees());
    }
    println!("0.1 N m disturbs {worst:.2} deg, {:.2} deg are left", roll.angle.to_degrees());
    assert!(worst < 3.0 && worst > 0.2, "{worst}");
}

#[test]
fn outputs_stay_in_range_for_any_input() {
    let bad = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, -1e20, 0.0];
    let mut roll = Roll::hovering(0.04);
    for i in 0..6000usize {
        let pick = |k: usize| bad[(i / 7 + k * i) % bad.len()];
        let (rate_rad_s, force_m_s2) =
            (Vector::new(pick(1), pick(2), pick(3)), Vector::new(pick(2), pick(1), pick(5)));
        let imu = ImuSample::from_rates(rate_rad_s, force_m_s2, STEP_S as f32);
        let demand = match i % 3 {
            0 => Demand::Rates { rate_rad_s: Vector::new(pick(1), pick(3), pick(1)), thrust_n: pick(2) },
            1 => Demand::Tilt {
                tilt: Tilt { forward: pick(1), right: pick(4) },
                heading: HeadingDemand::Rate(pick(2)),
                vertical: VerticalDemand::Height(pick(3)),
            },
            _ => Demand::Position {
                setpoint: PositionSetpoint {
                    position_m: Horizontal::new(pick(1), pick(2)),
                    velocity_m_s: Horizontal::new(pick(3), pick(4)),
                    acceleration_m_s2: Horizontal::new(pick(5), pick(0)),
                },
                heading: HeadingDemand::Rate(pick(1)),
                vertical: VerticalDemand::Climb(pick(3)),
            },
        };
        let commands = roll.controller.step(&Sensors::from_imu(imu), &Command::fly(demand));
        for command in commands.into_array() {
            assert!((0.0..=1.0).contains(&command.get()));
        }
        let [w, x, y, z] = roll.controller.record().attitude.attitude_reference.wxyz();
        assert!((w * w + x * x + y * y + z * z - 1.0).abs() < 1e-5);
    }
}

#[test]
fn state_stays_within_16_kib() {
    let size = core::mem::size_of::<FlightController>();
    assert!(size <= 16 * 1024, "{size}");
}

#[test]
fn notches_slow_the_rate_loop_by_what_they_delay() {
    let airframe = airframe();
    let config = Config::for_airframe(&airframe).unwrap();
    // Closed form: 4 h tan(pi B h)/(1 - cos(w h)).
    let (b, w) = (f64::from(config.notch.bandwidth_hz), f64::from(config.notch.hover_speed_rad_s));
    let closed = 4.0 * STEP_S * (PI * b * STEP_S).tan() / (1.0 - (w * STEP_S).cos());
    let delay = f64::from(config.notch.hover_delay_s(1e-3).unwrap());
    assert!((delay - closed).abs() < 1e-7 && delay > 1.2e-3, "{delay} {closed}");
    // The dead time is 0.36 over the crossover; half of the notches' delay more in the speed controllers, at
    // the same tick rate, is as much more dead time.
    let dead_s = |config: &Config| 0.36 / f64::from(config.rate.roll.crossover_rad_s);
    let longer_s = airframe.speed_controller_delay_s + 0.5 * delay as f32;
    let longer = Config::for_airframe(&Airframe { speed_controller_delay_s: longer_s, ..airframe }).unwrap();
    assert_eq!(longer.tick_hz, config.tick_hz);
    assert!((dead_s(&longer) - dead_s(&config) - 0.5 * delay).abs() < 1e-6);
    // What flies reports the same in hover, with the low-pass.
    let mut roll = Roll::hovering(0.04);
    for _ in 0..1000 {
        roll.step(tilt(0.0));
    }
    let reported = f64::from(roll.controller.gyro_delay_s());
    let low_pass = STEP_S / (2f64.sqrt() * (PI * f64::from(config.gyro_cutoff_hz) * STEP_S).tan());
    assert!((reported - closed - low_pass).abs() < 1e-5, "{reported}");
    let without = Config { notch: NotchConfig { bandwidth_hz: 0.0, ..config.notch }, ..config };
    let controller: FlightController = FlightController::new(&without).unwrap();
    assert!((f64::from(controller.gyro_delay_s()) - low_pass).abs() < 1e-6);
}

#[test]
fn fast_rotors_take_a_faster_tick_and_too_fast_ones_go_without_notches() {
    for (speed, tick_hz, is_notched) in
        [(1500.0, 1000.0, true), (2400.0, 2000.0, true), (6000.0, 4000.0, true), (30_000.0, 8000.0, false)]
    {
        let rotor_inertia_kg_m2 = 4e-5 * 600.0 / speed;
        let airframe = Airframe { hover_speed_rad_s: speed, rotor_inertia_kg_m2, ..airframe() };
        let config = Config::for_airframe(&airframe).unwrap();
        assert_eq!((config.tick_hz, config.notch.bandwidth_hz > 0.0), (tick_hz, is_notched), "{speed}");
        FlightController::<crate::Libm>::new(&config).unwrap();
    }
}

#[test]
fn gains_of_the_rate_controller_change_in_flight_without_a_step_in_the_motor_commands() {
    let config = Config::for_airframe(&airframe()).unwrap();
    let softer = |axis: rate::Axis| rate::Axis {
        crossover_rad_s: 0.7 * axis.crossover_rad_s,
        integral_time_s: 1.3 * axis.integral_time_s,
        derivative_time_s: 0.9 * axis.derivative_time_s,
        ..axis
    };
    let gains = rate::Config {
        roll: softer(config.rate.roll),
        pitch: softer(config.rate.pitch),
        yaw: softer(config.rate.yaw),
        ..config.rate
    };
    let tilt = |sine| Demand::Tilt {
        tilt: Tilt { forward: 0.0, right: sine },
        heading: HeadingDemand::Rate(0.0),
        vertical: VerticalDemand::Climb(0.0),
    };
    // In hover under a constant torque, then in the middle of a tilt step, where error, derivative and
    // feed-forward are large.
    let mut roll = Roll::hovering(0.04);
    roll.torque_nm = 0.05;
    for tick in 0..2200 {
        roll.step(tilt(if tick < 2000 { 0.0 } else { 0.3 }));
        if tick != 1990 && tick != 2060 {
            continue;
        }
        let (mut kept, mut retuned, mut jumped) =
            (roll.controller.clone(), roll.controller.clone(), roll.controller.clone());
        retuned.retune_rate(&gains).unwrap();
        // Twin without the transfer: the old state under the new gains.
        let state = jumped.rate.state();
        jumped.rate = RateController::new(&gains, 1e-3).unwrap();
        jumped.rate.set_state(state);
        let next = |controller: &mut FlightController| {
            let rate_rad_s = Vector::new(roll.rate as f32, 0.0, 0.0);
            let imu = ImuSample::from_rates(rate_rad_s, Vector::new(0.0, 0.0, -9.81), STEP_S as f32);
            let demand = tilt(if tick < 2000 { 0.0 } else { 0.3 });
            controller
                .step(&Sensors::from_imu(imu), &Command::fly(demand))
                .into_array()
                .map(MotorCommand::get)
        };
        let kept = next(&mut kept);
        let step =
            |commands: [f32; 4]| commands.iter().zip(kept).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        // A tick further the new gains already act on the change of a tick.
        let (bumpless, bump) = (step(next(&mut retuned)), step(next(&mut jumped)));
        println!("tick {tick}: {bumpless} with bumpless transfer, {bump} without");
        assert!(bumpless < 0.005, "{tick}: {bumpless}");
        if tick == 2060 {
            assert!(bump > 0.02, "{tick}: {bump}");
        }
    }
    // The flight continues with the new gains.
    let mut roll = Roll::hovering(0.04);
    roll.controller.retune_rate(&gains).unwrap();
    for _ in 0..400 {
        roll.step(tilt(0.3));
    }
    assert!((roll.angle.sin() - 0.3).abs() < 0.05, "{}", roll.angle);
    // What belongs to the craft is refused, and nothing has changed.
    let before = roll.controller.rate;
    let inertia = rate::Inertia::diagonal(0.012, 0.012, 0.021);
    let error = roll.controller.retune_rate(&rate::Config { inertia, ..gains }).unwrap_err();
    assert_eq!(error.to_string(), "rate.inertia cannot change in flight");
    let error =
        roll.controller.retune_rate(&rate::Config { gyroscopic: !gains.gyroscopic, ..gains }).unwrap_err();
    assert_eq!(error.field, "gyroscopic");
    let error =
        roll.controller.retune_rate(&rate::Config { reaction_time_constant_s: 0.5, ..gains }).unwrap_err();
    assert_eq!(error.field, "reaction_time_constant_s");
    assert_eq!(roll.controller.rate, before);
}
