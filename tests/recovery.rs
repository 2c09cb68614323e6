//! Recovery from invalid input in hover.
//!
//! For two seconds one input is invalid; inertial samples only for 20 ms at a time, which is less than the
//! guard's hold time. Fifteen seconds later the craft is where it is in the same flight with valid input.

use aplomb::frames::{Heading, Horizontal, Vector};
use aplomb::guard::{Phase, Reason};
use aplomb::{
    Battery, Command, Demand, FlightController, HeadingDemand, MotorCommand, PositionSetpoint, Rotors,
    Sample, Sensors, VelocitySetpoint, VerticalDemand,
};
use aplomb_craft::glam::DVec3;
use aplomb_craft::{AirConfig, Plant, Start};
use aplomb_flight::exchange;
use aplomb_harness::input;

const HOVER: Demand = Demand::Position {
    setpoint: PositionSetpoint::at(Horizontal::ZERO),
    heading: HeadingDemand::Hold(Heading::NORTH),
    vertical: VerticalDemand::Height(6.0),
};

/// Changes the input of a tick.
type Change = fn(tick: u32, sensors: &mut Sensors, command: &mut Command);

/// One of several invalid numbers.
fn bad(tick: u32) -> f32 {
    [f32::NAN, f32::INFINITY, -1e30, 0.0, f32::MAX, -7e5, f32::NEG_INFINITY][(tick / 3 % 7) as usize]
}

const CHANGES: [(&str, Change); 10] = [
    ("gyro", |tick, sensors, _| {
        if tick % 200 < 20 {
            sensors.imu[0].angle_increment_rad = Vector::new(bad(tick), bad(tick + 3), bad(tick));
        }
    }),
    ("accelerometer", |tick, sensors, _| {
        if tick % 200 < 20 {
            sensors.imu[0].velocity_increment_m_s = Vector::new(bad(tick), bad(tick), bad(tick + 6));
        }
    }),
    ("inertial samples late", |tick, sensors, _| {
        if tick % 200 < 20 {
            sensors.imu[0].age_us = 900_000;
        }
    }),
    ("pressure", |tick, sensors, _| {
        sensors.pressure_pa = [Some(Sample { value: bad(tick), age_us: 1000 * (tick % 70_000) })];
    }),
    ("GNSS", |tick, sensors, _| {
        if let Some(fix) = &mut sensors.gnss {
            fix.value.position_m = Vector::new(bad(tick), 30.0, -30.0);
            fix.value.velocity_m_s = Vector::new(9.0, bad(tick), bad(tick + 3));
        }
    }),
    ("no GNSS samples", |_, sensors, _| sensors.gnss = None),
    ("field", |tick, sensors, _| {
        sensors.magnetic_field_ut =
            Some(Sample { value: Vector::new(bad(tick), bad(tick + 9), 1.0), age_us: 3000 });
    }),
    ("battery", |tick, sensors, _| {
        sensors.battery = Some(Battery { voltage_v: bad(tick), current_a: bad(tick + 3) });
    }),
    ("rotor speeds", |tick, sensors, _| sensors.rotor_speed_rad_s = Some(Rotors::splat(bad(tick)))),
    ("demand", |tick, _, command| {
        command.demand = match tick / 100 % 3 {
            0 => Demand::Position {
                setpoint: PositionSetpoint::at(Horizontal::new(f32::NAN, 0.0)),
                heading: HeadingDemand::Rate(f32::INFINITY),
                vertical: VerticalDemand::Height(f32::NAN),
            },
            1 => Demand::Rates { rate_rad_s: Vector::new(f32::NAN, 0.0, 0.0), thrust_n: f32::NAN },
            _ => Demand::Velocity {
                setpoint: VelocitySetpoint::constant(Horizontal::new(f32::NEG_INFINITY, f32::NAN)),
                heading: HeadingDemand::Rate(0.0),
                vertical: VerticalDemand::Climb(f32::NAN),
            },
        };
    }),
];

/// How a flight went.
struct Flown {
    phase: Phase,
    worst_tilt_deg: f64,
    position_m: DVec3,
    velocity_m_s: DVec3,
    tilt_deg: f64,
}

/// Hovers for 32 s with the demo's craft and controller in calm air; the input is invalid from 15 to 17 s.
fn fly(change: Change) -> Flown {
    let craft = input::demo_craft().expect("the demo is read").config;
    let config = input::demo_controller().expect("the demo is read");
    let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
    let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 3, 1e-3).expect("it hovers");
    let mut controller: FlightController = FlightController::new(&config).expect("it is built");
    controller.resume_in_flight();
    controller.estimator_mut().set_home_pressure([101_325.0]);
    let mut waiting = Rotors::splat(MotorCommand::saturating(plant.truth().motor_command.front_left as f32));
    let mut worst_tilt_deg = 0.0f64;
    for tick in 0..32_000 {
        let mut sensors = exchange::sensors(&plant.sense(), 1e-3);
        let mut command = Command::fly(HOVER);
        if (15_000..17_000).contains(&tick) {
            change(tick, &mut sensors, &mut command);
        }
        let commands = controller.step(&sensors, &command);
        assert!(commands.into_array().iter().all(|c| (0.0..=1.0).contains(&c.get())));
        plant.advance(exchange::commands(waiting));
        waiting = commands;
        if tick > 10_000 {
            worst_tilt_deg = worst_tilt_deg.max(tilt_deg(&plant));
        }
    }
    let truth = plant.truth();
    Flown {
        phase: controller.status().phase,
        worst_tilt_deg,
        position_m: truth.position_m,
        velocity_m_s: truth.velocity_m_s,
        tilt_deg: tilt_deg(&plant),
    }
}

fn tilt_deg(plant: &Plant) -> f64 {
    let up = plant.truth().attitude * DVec3::Z;
    up.z.clamp(-1.0, 1.0).acos().to_degrees()
}

#[test]
fn hover_is_recovered_after_every_kind_of_invalid_input() {
    let good = fly(|_, _, _| {});
    // The correlated GNSS error alone has a standard deviation of 1.5 m per component.
    assert!(good.position_m.truncate().length() < 4.0 && good.tilt_deg < 4.0);
    for (name, change) in CHANGES {
        let flown = fly(change);
        let away_m = (flown.position_m - good.position_m).length();
        let faster_m_s = (flown.velocity_m_s - good.velocity_m_s).length();
        println!(
            "{name}: tilt at most {:.1} deg; at the end {away_m:.3} m and {faster_m_s:.3} m/s from the flight with valid input",
            flown.worst_tilt_deg
        );
        assert!(flown.phase.is_flying() && flown.worst_tilt_deg < 25.0, "{name}");
        assert!(away_m < 0.3 && faster_m_s < 0.1, "{name}");
    }
}

#[test]
fn twin_without_inertial_samples_for_the_whole_time_falls() {
    // Beyond the guard's hold time the motors stop: the test above shows the effect of the hold.
    let flown = fly(|_, sensors, _| sensors.imu[0].age_us = 900_000);
    assert_eq!(flown.phase, Phase::Stopped { reason: Reason::ImuLost });
}
