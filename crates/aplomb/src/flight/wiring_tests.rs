//! The wiring of the tick: what runs on which tick, what a restart keeps, and the state that is saved.

extern crate std;

use std::vec::Vec;

use super::*;
use crate::frames::{Attitude, Horizontal};
use crate::guard::Reason;
use crate::mix::Geometry;
use crate::{
    Battery, GnssFix, HeadingDemand, ImuSample, PositionSetpoint, Sample, Spin, Sticks, Tilt, VerticalDemand,
};

fn config() -> Config {
    let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.5);
    Config::for_airframe(&Airframe { rotor_drag_per_s: Some(0.25), ..airframe }).unwrap()
}

fn flying() -> FlightController {
    let mut controller = FlightController::new(&config()).unwrap();
    controller.resume_in_flight();
    controller
}

fn imu(rate_rad_s: Vector<Body>) -> ImuSample {
    ImuSample::from_rates(rate_rad_s, Vector::new(0.0, 0.0, -STANDARD_GRAVITY_M_S2), 1e-3)
}

fn tilt(forward: f32) -> Demand {
    Demand::Tilt {
        tilt: Tilt { forward, right: 0.0 },
        heading: HeadingDemand::Rate(0.0),
        vertical: VerticalDemand::Climb(0.0),
    }
}

/// A number from -1 to 1 that looks random.
fn noise(tick: u32, salt: u32) -> f32 {
    let hash = tick.wrapping_mul(0x9E37_79B9).wrapping_add(salt.wrapping_mul(0x85EB_CA6B));
    let hash = (hash ^ (hash >> 15)).wrapping_mul(0x2C1B_3C6D);
    (hash >> 8) as f32 / 8_388_608.0 - 1.0
}

/// Every sensor, with noise, and every kind of demand in turn.
fn input(tick: u32) -> (Sensors, Command) {
    let n = |salt| noise(tick, salt);
    let force = Vector::new(0.3 * n(4), 0.3 * n(5), -STANDARD_GRAVITY_M_S2 + 0.3 * n(6));
    let imu = ImuSample::from_rates(Vector::new(n(1), n(2), n(3)) * 0.3, force, 1e-3);
    let every = |n: u32| tick.is_multiple_of(n);
    let fix = GnssFix {
        position_m: Vector::new(n(7), n(8), -6.0),
        velocity_m_s: Vector::new(0.1 * n(9), 0.1 * n(10), 0.0),
        horizontal_accuracy_m: 1.0,
        vertical_accuracy_m: 2.0,
        horizontal_velocity_accuracy_m_s: 0.1,
        vertical_velocity_accuracy_m_s: 0.1,
    };
    let sensors = Sensors {
        rotor_speed_rad_s: (tick % 7 > 2).then(|| Rotors::splat(600.0 + 50.0 * n(11))),
        battery: every(10).then(|| Battery { voltage_v: 14.0 + 0.5 * n(12), current_a: 15.0 }),
        pressure_pa: [every(20).then(|| Sample { value: 101_250.0 + n(13), age_us: 10_000 })],
        gnss: every(200).then_some(Sample { value: fix, age_us: 150_000 }),
        magnetic_field_ut: every(10)
            .then(|| Sample { value: Vector::new(20.0 + n(14), n(15), 45.0), age_us: 5000 }),
        ..Sensors::from_imu(imu)
    };
    let (heading, vertical) = (HeadingDemand::Rate(0.2 * n(16)), VerticalDemand::Height(6.0 + n(17)));
    let demand = match tick / 300 % 6 {
        0 => Demand::Position {
            setpoint: PositionSetpoint::at(Horizontal::new(n(18), 1.0)),
            heading,
            vertical,
        },
        1 => tilt(0.2 * n(19)),
        2 => Demand::Rates { rate_rad_s: Vector::new(n(20), n(21), n(22)), thrust_n: 12.0 },
        3 => Demand::Sticks(Sticks { roll: n(23), ..Sticks::CENTRED }),
        4 => Demand::Sticks(Sticks::CENTRED),
        _ => Demand::Land,
    };
    (sensors, Command::fly(demand))
}

#[cfg(feature = "serde")]
fn through_bytes(state: &ControllerState) -> ControllerState {
    let mut bytes = Vec::new();
    ciborium::into_writer(state, &mut bytes).unwrap();
    ciborium::from_reader(bytes.as_slice()).unwrap()
}

#[cfg(not(feature = "serde"))]
fn through_bytes(state: &ControllerState) -> ControllerState {
    *state
}

#[test]
fn controller_restored_on_any_tick_continues_bit_for_bit() {
    let mut first = flying();
    // Ticks that look random, in every kind of demand.
    let saved_on: Vec<u32> = (0..12).map(|k| 300 * k + ((noise(k, 99) + 1.0) * 149.0) as u32).collect();
    let mut second: Option<FlightController> = None;
    for tick in 0..4000 {
        let (sensors, command) = input(tick);
        let commands = first.step(&sensors, &command);
        if let Some(second) = &mut second {
            assert_eq!(second.step(&sensors, &command), commands, "{tick}");
            assert_eq!(second.record(), first.record(), "{tick}");
        }
        if saved_on.contains(&tick) {
            let mut fresh = FlightController::new(&config()).unwrap();
            fresh.restore(&through_bytes(&first.save()));
            assert_eq!(fresh.save(), first.save());
            second = Some(fresh);
        }
    }
    // The twin that is not restored does not.
    let (sensors, command) = input(4000);
    assert_ne!(flying().step(&sensors, &command), first.step(&sensors, &command));
}

#[test]
fn newest_rate_demand_counts_on_every_tick() {
    let mut controller = flying();
    for tick in 0..100 {
        let rate_rad_s = Vector::new(noise(tick, 1), noise(tick, 2), noise(tick, 3));
        let thrust_n = 12.0 + noise(tick, 4);
        let command = Command::fly(Demand::Rates { rate_rad_s, thrust_n });
        controller.step(&Sensors::from_imu(imu(Vector::ZERO)), &command);
        let attitude = &controller.record().attitude;
        assert_eq!((attitude.rate_setpoint.rate_rad_s, attitude.thrust_n), (rate_rad_s, thrust_n), "{tick}");
    }
}

#[test]
fn all_loops_run_on_the_tick_on_which_a_rate_demand_ends() {
    for rate_ticks in [7, 12, 18] {
        let mut controller = flying();
        let sensors = Sensors::from_imu(imu(Vector::ZERO));
        for _ in 0..rate_ticks {
            let demand = Demand::Rates { rate_rad_s: Vector::ZERO, thrust_n: 12.0 };
            controller.step(&sensors, &Command::fly(demand));
        }
        controller.step(&sensors, &Command::fly(tilt(0.2)));
        let down = controller.record().attitude.attitude_setpoint.down_axis();
        assert!((down.x() + 0.2).abs() < 1e-3, "{down:?}");
    }
}

#[test]
fn loops_run_whole_on_their_dividers_outer_before_inner() {
    let Config { attitude_divider, velocity_divider, .. } = config();
    let mut controller = flying();
    let mut before = Attitude::LEVEL;
    for tick in 0..200u16 {
        // A new tilt on every tick.
        controller
            .step(&Sensors::from_imu(imu(Vector::ZERO)), &Command::fly(tilt(0.001 * f32::from(tick + 1))));
        let record = controller.record();
        let ThrustDirection::Tilt(outer) = record.outer.direction else { panic!("{record:?}") };
        let last_outer = tick - tick % velocity_divider;
        assert!((outer.forward - 0.001 * f32::from(last_outer + 1)).abs() < 1e-6, "{tick}");
        // The attitude set-point of a tick of the outer loops is already theirs.
        let setpoint = record.attitude.attitude_setpoint;
        if tick % attitude_divider == 0 {
            assert!((setpoint.down_axis().x() + outer.forward).abs() < 1e-3, "{tick}");
        } else {
            assert_eq!(setpoint, before, "{tick}");
        }
        before = setpoint;
    }
}

#[test]
fn rate_set_point_moves_along_its_derivative_between_the_ticks_of_the_attitude_stage() {
    let mut controller = flying();
    let sensors = Sensors::from_imu(imu(Vector::ZERO));
    controller.step(&sensors, &Command::fly(tilt(0.3)));
    let first = controller.record().attitude.rate_setpoint;
    assert!(first.setpoint_derivative_rad_s2.norm::<Libm>() > 1.0);
    for tick in 1..5 {
        controller.step(&sensors, &Command::fly(tilt(0.3)));
        let expected = first.after(1e-3 * tick as f32).rate_rad_s;
        let now = controller.record().attitude.rate_setpoint.rate_rad_s;
        assert!((now - expected).norm::<Libm>() < 1e-6, "{now:?} {expected:?}");
    }
}

#[test]
fn restart_in_flight_bridges_a_first_tick_without_an_inertial_sample() {
    let missing = Sensors::from_imu(ImuSample::MISSING);
    let command = Command::fly(tilt(0.0));
    let mut controller = flying();
    controller.step(&missing, &command);
    assert!(controller.status().phase.is_flying(), "{:?}", controller.status());
    // Only for the hold time, a time constant of the rotors.
    for _ in 0..100 {
        controller.step(&missing, &command);
    }
    assert_eq!(controller.status().phase, Phase::Stopped { reason: Reason::ImuLost });
    // Restarted again, it flies again.
    controller.resume_in_flight();
    controller.step(&missing, &command);
    assert!(controller.status().phase.is_flying());
}

#[test]
fn restart_in_flight_settles_the_gyro_filters_at_the_first_rate() {
    let rate_rad_s = Vector::new(2.0, -1.0, 0.5);
    let filtered = |controller: &mut FlightController| {
        controller.step(&Sensors::from_imu(imu(rate_rad_s)), &Command::fly(tilt(0.0)));
        controller.record().rate_rad_s
    };
    let mut controller = flying();
    assert!((filtered(&mut controller) - rate_rad_s).norm::<Libm>() < 0.05);
    // The twin that was stationary before is still on its way.
    let mut controller = flying();
    controller.step(&Sensors::from_imu(imu(Vector::ZERO)), &Command::fly(tilt(0.0)));
    assert!((filtered(&mut controller) - rate_rad_s).norm::<Libm>() > 1.0);
}

#[test]
fn delay_of_the_inertial_sensor_is_compensated_in_the_attitude_that_is_controlled() {
    let stage = |imu_delay_s| AttitudeStage::<Libm>::new(&Config { imu_delay_s, ..config() }).unwrap();
    let rate_rad_s = Vector::new(2.0, 0.0, 0.0);
    let measured = estimate::State { rate_rad_s, ..estimate::State::default() };
    let present = estimate::State { attitude: Attitude::LEVEL.rotated(rate_rad_s * 5e-3), ..measured };
    let hover = &OuterOutput::HOVER;
    // What was true 5 ms ago, compensated, is what is true now; the twin without is 0.6 deg off.
    let compensated = stage(5e-3).step(hover, &measured, Vector::ZERO);
    assert_eq!(compensated, stage(0.0).step(hover, &present, Vector::ZERO));
    let twin = stage(0.0).step(hover, &measured, Vector::ZERO);
    let [w, x, ..] = twin.attitude_reference.error_to(compensated.attitude_reference);
    assert!((2.0 * x.atan2(w) - 0.01).abs() < 1e-4, "{x} {w}");
}

#[test]
fn motors_idle_on_the_ground_and_stop_when_cut_and_the_loops_then_start_anew() {
    let config = config();
    let mut controller: FlightController = FlightController::new(&config).unwrap();
    let sensors = Sensors::from_imu(imu(Vector::ZERO));
    let centred = Command::fly(Demand::Sticks(Sticks::CENTRED));
    for _ in 0..4000 {
        controller.step(&sensors, &Command::IDLE);
    }
    assert_eq!(controller.record().commands, Rotors::splat(MotorCommand::STOPPED));
    for _ in 0..2 {
        controller.step(&sensors, &centred);
    }
    let idle = *controller.record();
    assert_eq!(idle.commands, Rotors::splat(MotorCommand::saturating(config.idle_command)));
    let thrust_n = idle.thrust_n.front_left;
    assert!(thrust_n > 0.0 && idle.thrust_n == Rotors::splat(thrust_n), "{idle:?}");
    assert_eq!(idle.achieved, Achieved { thrust_n: 4.0 * thrust_n, ..Achieved::default() });

    // In flight, tilted and turning; then the motors are cut.
    let mut controller = flying();
    for _ in 0..200 {
        controller.step(&sensors, &Command::fly(tilt(0.3)));
    }
    let record = *controller.record();
    assert!(
        record.wrench.torque_nm.norm_squared() > 0.0
            && controller.attitude.state() != AttitudeStageState::default()
    );
    let cut = Command { cut_motors: true, arm: false, ..Command::fly(tilt(0.3)) };
    controller.step(&sensors, &cut);
    let record = *controller.record();
    assert_eq!(record.commands, Rotors::splat(MotorCommand::STOPPED));
    assert_eq!(record.thrust_n, Rotors::splat(0.0));
    assert_eq!((record.outer, record.wrench), (OuterOutput::HOVER, Wrench::default()));
    assert_eq!(record.attitude, AttitudeOutput::rates(Vector::ZERO, 0.0, record.estimate.attitude));
    assert_eq!(record.achieved, Achieved::default());

    // Armed and flown again: the integrals are empty and the reference is a new one.
    controller.resume_in_flight();
    assert_eq!(controller.rate_integral_rad_s2(), Vector::ZERO);
    assert_eq!(controller.attitude.state(), AttitudeStageState::default());
}

#[test]
fn heading_rate_limit_is_reported() {
    let mut stage = AttitudeStage::<Libm>::new(&config()).unwrap();
    let motion = estimate::State::default();
    let turning = |rate_rad_s| OuterOutput { heading: HeadingDemand::Rate(rate_rad_s), ..OuterOutput::HOVER };
    assert!(!stage.step(&turning(0.1), &motion, Vector::ZERO).limited.heading_rate);
    assert!(stage.step(&turning(50.0), &motion, Vector::ZERO).limited.heading_rate);
}

#[test]
fn gyro_filters_start_anew_after_a_reset() {
    let mut filters = GyroFilters::<Libm>::new(&config()).unwrap();
    let rate_rad_s = Vector::new(2.0, -1.0, 0.5);
    let hover_n = Rotors::splat(3.0);
    let first = filters.step(Vector::ZERO, None, &hover_n);
    assert!(first.norm::<Libm>() < 1e-6);
    assert!((filters.step(rate_rad_s, None, &hover_n) - rate_rad_s).norm::<Libm>() > 1.0);
    filters.reset();
    assert!((filters.step(rate_rad_s, None, &hover_n) - rate_rad_s).norm::<Libm>() < 0.05);
}
