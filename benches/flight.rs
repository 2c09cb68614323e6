//! What a tick costs on this machine, and how much faster than life a flight runs.
//!
//! `cargo bench`

use std::hint::black_box;

use aplomb::{Command, FlightController};
use aplomb_craft::{AirConfig, Plant, Start};
use aplomb_harness::{exchange, fly, input};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

fn tick(c: &mut Criterion) {
    let craft = input::demo_craft().expect("the demo is read").config;
    let config = input::demo_controller().expect("the demo is read").config;
    let plan = input::demo_flights().expect("the demo is read").remove(0);
    let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
    let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 1, 1e-3).expect("it hovers");
    let hover = plant.truth().motor_command;
    // A second of samples, so that every loop and every slow sensor has its turn.
    let samples: Vec<_> = (0..1000)
        .map(|_| {
            let sensors = exchange::sensors(&plant.sense(), 1e-3);
            plant.advance(hover);
            sensors
        })
        .collect();

    let mut group = c.benchmark_group("tick");
    let mut controller: FlightController = FlightController::new(&config).expect("it is built");
    controller.resume_in_flight();
    let command = Command { arm: true, ..plan.command_at(10.0) };
    let mut next = samples.iter().cycle();
    group.bench_function("controller_step_flying", |b| {
        b.iter(|| controller.step(black_box(next.next().expect("endless")), black_box(&command)));
    });
    let mut plant = Plant::new(&craft, &AirConfig::default(), &start, 1, 1e-3).expect("it hovers");
    group.bench_function("plant_advance_still_air_all_sensors", |b| {
        b.iter(|| {
            plant.advance(black_box(hover));
            plant.sense()
        });
    });
    group.finish();
}

fn flight(c: &mut Criterion) {
    let craft = input::demo_craft().expect("the demo is read").config;
    let config = input::demo_controller().expect("the demo is read").config;
    let plans = input::demo_flights().expect("the demo is read");
    let plan = plans.iter().find(|plan| plan.name == "hold-in-wind").expect("a flight of the demo");
    let mut group = c.benchmark_group("flight");
    // Throughput in elements is simulated seconds a second.
    group.throughput(Throughput::Elements((fly::lead_s(plan) + plan.duration_s) as u64));
    group.sample_size(20);
    group.bench_function("hold_in_wind_one_core", |b| {
        b.iter(|| fly::fly(&craft, &config, black_box(plan), 1).expect("it flies"));
    });
    group.finish();
}

criterion_group!(benches, tick, flight);
criterion_main!(benches);
