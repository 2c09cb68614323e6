//! An own controller and an own craft model are flown, verified and compared by one type each.

use aplomb::record::Record;
use aplomb::{Command, ConfigError, FlightController, MotorCommand, Rotors, Sensors, flight};
use aplomb_craft::gimbal::BaseMotion;
use aplomb_craft::glam::DVec3;
use aplomb_craft::{AirConfig, Config, Fault, Readings, Start, Truth};
use aplomb_flight::fly::{fly, fly_as};
use aplomb_flight::limit::Outcome;
use aplomb_flight::{Controller, Plant};
use aplomb_harness::input::{self, Folder};
use aplomb_study::compare::{Finding, compare};
use aplomb_study::disperse::Campaign;
use aplomb_study::verify::{Judgement, Subject, judge};

/// The flight controller whose rate loop has `PERCENT` of the crossover in its settings.
#[derive(Clone)]
struct Scaled<const PERCENT: u32>(FlightController);

impl<const PERCENT: u32> Controller for Scaled<PERCENT> {
    fn new(settings: &flight::Config) -> Result<Self, ConfigError> {
        let mut own = *settings;
        for axis in [&mut own.rate.roll, &mut own.rate.pitch, &mut own.rate.yaw] {
            axis.crossover_rad_s *= PERCENT as f32 / 100.0;
        }
        FlightController::new(&own).map(Self)
    }

    fn step(&mut self, sensors: &Sensors, command: &Command) -> Rotors<MotorCommand> {
        self.0.step(sensors, command)
    }

    fn record(&self) -> &Record {
        self.0.record()
    }
}

/// The simulated craft with one weak motor.
#[derive(Clone)]
struct Weak(aplomb_craft::Plant);

impl Plant for Weak {
    fn new(
        config: &Config,
        air: &AirConfig,
        start: &Start,
        faults: &[Fault],
        seed: u64,
        tick_s: f64,
    ) -> Result<Self, aplomb_craft::ConfigError> {
        <aplomb_craft::Plant as Plant>::new(config, air, start, faults, seed, tick_s).map(Self)
    }

    fn sense(&mut self) -> Readings {
        self.0.sense()
    }

    fn advance(&mut self, mut command: Rotors<f64>) {
        command.front_left *= 0.8;
        self.0.advance(command);
    }

    fn push(&mut self, force_n_world: DVec3, torque_nm_body: DVec3) {
        self.0.push(force_n_world, torque_nm_body);
    }

    fn truth(&self) -> Truth {
        self.0.truth()
    }

    fn base_motion(&self) -> BaseMotion {
        self.0.base_motion()
    }
}

fn subject() -> Subject {
    let mut subject = Folder::demo().unwrap().subject;
    subject.plans.retain(|plan| plan.name == "roll-step");
    subject
}

fn failing(judgement: &Judgement) -> usize {
    judgement.items.iter().filter(|item| item.outcome != Outcome::Pass).count()
}

#[test]
fn own_controller_is_flown_and_judged_by_its_own_flights() {
    let standard = judge(&subject(), 1, &|| ()).unwrap();
    assert_eq!(failing(&standard), 0);
    let same = judge(&subject().flown_by::<Scaled<100>, aplomb_craft::Plant>(), 1, &|| ()).unwrap();
    assert_eq!(same, standard, "the same law under another name");
    let slow = judge(&subject().flown_by::<Scaled<30>, aplomb_craft::Plant>(), 1, &|| ()).unwrap();
    assert!(failing(&slow) > 0, "a rate loop of 30 % is not noticed");
}

#[test]
fn own_controller_is_compared_with_the_standard_one() {
    let names = ["probe-tilt-steps".to_owned(), "probe-torque-pulses".to_owned()];
    let standard = Campaign::new(subject(), &names, Vec::new(), 1).unwrap();
    let other = subject().flown_by::<Scaled<60>, aplomb_craft::Plant>();
    let slow = Campaign::new(other, &names, Vec::new(), 1).unwrap();
    let comparison = compare(&standard, &slow, 6, &|| ()).unwrap();
    assert!(comparison.metrics.iter().any(|line| line.finding == Finding::Worse));
}

#[test]
fn own_craft_model_is_flown() {
    let craft = input::demo_craft().unwrap().config;
    let settings = input::demo_controller().unwrap();
    let plan = subject().plans[0].clone();
    let standard = fly(&craft, &settings, &plan, 1).unwrap();
    let weak = fly_as::<FlightController, Weak>(&craft, &settings, &plan, 1).unwrap();
    // The weak motor gets a larger command in hover.
    let excess = |flown: &aplomb_flight::fly::Flown| {
        let command = flown.trace.rows[0].command;
        command.front_left / command.rear_right
    };
    assert!(excess(&standard) < 1.15 && excess(&weak) > 1.18, "{} {}", excess(&standard), excess(&weak));
}
