//! The state that `Plant::visit_state` shows is the whole state: written into another plant, both continue
//! alike.

use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start};

fn numbers(plant: &Plant) -> Vec<Option<f64>> {
    let mut numbers = Vec::new();
    plant.clone().visit_state(&mut |_, _, number| numbers.push(number.copied()));
    numbers
}

fn write(plant: &mut Plant, numbers: &[Option<f64>]) {
    let mut next = numbers.iter();
    plant.visit_state(&mut |_, _, number| {
        if let (Some(place), Some(Some(number))) = (number, next.next()) {
            *place = *number;
        }
    });
}

/// Largest difference of the states, each number over 1 or its size.
fn difference(a: &Plant, b: &Plant) -> f64 {
    numbers(a).iter().zip(numbers(b)).fold(0.0, |worst: f64, (a, b)| match (a, b) {
        (Some(a), Some(b)) => worst.max((a - b).abs() / a.abs().max(1.0)),
        (None, None) => worst,
        _ => f64::INFINITY,
    })
}

fn flown(config: &Config, more: f64, ticks: u32) -> Plant {
    let start = Start { airborne: true, height_m: 20.0, ..Start::default() };
    let mut plant = Plant::new(config, &AirConfig::default(), &start, 1, 0.001).unwrap();
    let hover = plant.truth().motor_command;
    for _ in 0..ticks {
        let command = Rotors { front_left: hover.front_left + more, ..hover };
        plant.advance(command.map(|share| share + 0.1 * more));
    }
    plant
}

#[test]
fn written_state_continues_as_the_one_it_was_read_from() {
    let mut config = Config::weir_gauge().without_errors();
    config.speed_controller.delay_s = 0.003;
    config.speed_controller.slew_per_s = Some(20.0);
    config.battery.transients = true;
    if let Some(imu) = &mut config.sensors.imu {
        imu.delay_s = 0.004;
    }
    let mut first = flown(&config, 0.02, 730);
    let mut second = flown(&config, 0.0, 730);
    assert!(difference(&first, &second) > 1e-3);
    write(&mut second, &numbers(&first));
    assert_eq!(difference(&first, &second), 0.0);
    let hover = first.truth().motor_command;
    for tick in 0..700 {
        first.advance(hover);
        second.advance(hover);
        // Density and transients' time constants are renewed every 0.1 s only.
        let found = difference(&first, &second);
        assert!(found < 1e-6, "{tick}: {found}");
    }
}

#[test]
fn twin_one_number_that_is_not_written_is_seen() {
    let config = Config::weir_gauge().without_errors();
    let first = flown(&config, 0.02, 300);
    let whole = numbers(&first);
    let mut unseen = Vec::new();
    for left_out in 0..whole.len() {
        let mut numbers = whole.clone();
        numbers[left_out] = numbers[left_out].map(|number| number + 1e-3 * number.abs().max(1.0));
        let mut second = first.clone();
        write(&mut second, &numbers);
        if difference(&first, &second) < 1e-9 {
            unseen.push(left_out);
        }
    }
    // Only empty slots of queues and the attitude's first component, which the norm gives.
    assert!(unseen.iter().all(|&i| whole[i].is_none() || i == 6), "{unseen:?}");
}
