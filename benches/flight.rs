//! Cost of a tick of the controller, of a tick of the craft and of a whole flight, and the speed of a flight
//! relative to real time.
//!
//! `cargo bench --bench flight` gives times, `benches/instructions` gives instructions by tick. The flight is
//! the demo's hold in the wind: every effect and every sensor is on, 1000 ticks a second.

use std::hint::black_box;

use aplomb::{Command, FlightController, MotorCommand, Rotors, Sensors};
use aplomb_craft::{Config, Plant, Start};
use aplomb_flight::FlightPlan;
use aplomb_flight::{exchange, fly};
use aplomb_harness::input;
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

/// One tick of a recorded flight.
struct Tick {
    sensors: Sensors,
    command: Command,
    motors: Rotors<MotorCommand>,
}

struct Case {
    craft: Config,
    controller: aplomb::flight::Config,
    plan: FlightPlan,
}

impl Case {
    /// Position hold in wind, with a whole duration of `whole_s` including the warm-up.
    fn lasting(whole_s: f64) -> Self {
        let mut plans = input::demo_flights().expect("the demo is read").into_iter();
        let mut plan = plans.find(|plan| plan.name == "hold-in-wind").expect("a flight of the demo");
        let controller = input::demo_controller().expect("the demo is read");
        plan.duration_s = whole_s - fly::warm_up_s(&plan, &controller);
        Self { craft: input::demo_craft().expect("the demo is read").config, controller, plan }
    }

    fn recorded(&self) -> Vec<Tick> {
        let mut ticks = Vec::new();
        fly::fly_watched(&self.craft, &self.controller, &self.plan, 1, |tick| {
            ticks.push(Tick { sensors: *tick.sensors, command: *tick.command, motors: tick.motors });
        })
        .expect("it flies");
        ticks
    }
}

/// The name of a kernel ends with the simulated seconds that it covers.
mod kernel {
    use super::*;

    #[inline(never)]
    pub fn flight_watched_60s(case: &Case) -> u64 {
        watched(case).digest
    }

    /// Returns another figure than its twin, so that the compiler does not merge the two functions.
    #[inline(never)]
    pub fn flight_watched_240s(case: &Case) -> f64 {
        watched(case).simulated_s
    }

    #[inline(always)]
    fn watched(case: &Case) -> fly::Ended {
        let ended = fly::fly_watched(&case.craft, &case.controller, &case.plan, 1, |_| ());
        ended.expect("it flies")
    }

    /// Without gimbal and gimbal controller, which do not act on the craft. Returns another figure than its
    /// twins.
    #[inline(never)]
    pub fn flight_without_camera_60s(case: &Case) -> (f64, u64) {
        let ended = watched(case);
        (ended.simulated_s, ended.digest)
    }

    #[inline(never)]
    pub fn flight_traced_60s(case: &Case) -> fly::Flown {
        fly::fly(&case.craft, &case.controller, &case.plan, 1).expect("it flies")
    }

    /// The controller alone, with the samples and commands of a flight.
    #[inline(never)]
    pub fn flight_controller_60s(case: &Case, ticks: &[Tick]) -> f32 {
        let mut controller: FlightController = FlightController::new(&case.controller).expect("it is built");
        ticks.iter().map(|tick| controller.step(&tick.sensors, &tick.command).front_left.get()).sum()
    }

    /// The craft alone, under the commands of a flight.
    #[inline(never)]
    pub fn flight_craft_60s(case: &Case, ticks: &[Tick]) -> f64 {
        let mut plant =
            Plant::new(&case.craft, &case.plan.air, &Start::default(), 1, 1e-3).expect("it is built");
        let mut waiting = Rotors::splat(MotorCommand::STOPPED);
        for tick in ticks {
            black_box(plant.sense());
            plant.advance(exchange::commands(waiting));
            waiting = tick.motors;
        }
        plant.truth().position_m.z
    }
}

fn flight(c: &mut Criterion) {
    let case = Case::lasting(60.0);
    let ticks = case.recorded();
    let mut group = c.benchmark_group("flight");
    group.sample_size(20);
    // Throughput in elements is simulated seconds per second.
    group.throughput(Throughput::Elements(60));
    group.bench_function("watched_60s", |b| b.iter(|| kernel::flight_watched_60s(black_box(&case))));
    group.bench_function("traced_60s", |b| b.iter(|| kernel::flight_traced_60s(black_box(&case))));
    let mut bare = Case::lasting(60.0);
    bare.craft.gimbal = None;
    group.bench_function("without_camera_60s", |b| {
        b.iter(|| kernel::flight_without_camera_60s(black_box(&bare)));
    });
    let long = Case::lasting(240.0);
    group.throughput(Throughput::Elements(240));
    group.bench_function("watched_240s", |b| b.iter(|| kernel::flight_watched_240s(black_box(&long))));
    group.finish();
    let mut group = c.benchmark_group("tick");
    group.sample_size(20);
    // Throughput in elements is ticks per second.
    group.throughput(Throughput::Elements(ticks.len() as u64));
    group.bench_function("controller_60s", |b| {
        b.iter(|| kernel::flight_controller_60s(black_box(&case), black_box(&ticks)));
    });
    group.bench_function("craft_60s", |b| {
        b.iter(|| kernel::flight_craft_60s(black_box(&case), black_box(&ticks)));
    });
    group.finish();
}

criterion_group!(benches, flight);
criterion_main!(benches);
