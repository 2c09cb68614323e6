//! Tilt error of the estimator over simulated legs and turns, with and without GNSS corrections.

mod legs;

use aplomb::Libm;
use aplomb::estimate::{Config, Estimator};
use legs::{Craft, Errors, Flight, G, Start};

const FLIGHTS: [(&str, Flight, Start); 5] = [
    ("A legs of 3 m/s2 from the ground", Flight::Legs(3.0), Start::Ground),
    ("B the same, started in the air", Flight::Legs(3.0), Start::Air),
    ("C turns at 3 m/s2 from the ground", Flight::Turns(3.0), Start::Ground),
    ("D legs of 6 m/s2 from the ground", Flight::Legs(6.0), Start::Ground),
    ("E hover, started in the air", Flight::Hover, Start::Air),
];

fn errors(seed: u64, bias_mg: f64, gnss: bool) -> Errors {
    let turn = seed as f64;
    Errors {
        accel_bias: [turn.cos(), turn.sin(), 0.0].map(|x| x * bias_mg * 1e-3 * G),
        gyro_bias: [1.0, -1.0, 1.4].map(|x: f64| x.to_radians()),
        accel_vibration: 5.0,
        gyro_vibration: 0.5,
        gnss,
        field: true,
        seed,
    }
}

/// Root mean square of the tilt error in deg over a minute of flight and six seeds.
fn rms_deg((flight, start): (Flight, Start), bias_mg: f64, gnss: bool) -> f64 {
    let (mut sum, mut count) = (0.0, 0);
    for seed in 1..=6 {
        let mut craft = Craft::new(flight, start, errors(seed, bias_mg, gnss));
        let mut estimator = Estimator::<Libm, 1>::new(&Config::CONSUMER, legs::DT as f32).unwrap();
        let begins_s = craft.begins_s();
        for k in 0..((begins_s + 60.0) * 1e3) as u32 {
            let sensors = craft.tick();
            let state = estimator.step(&sensors, craft.airborne());
            if f64::from(k) * 1e-3 > begins_s {
                sum += craft.tilt_error_deg(state.attitude).powi(2);
                count += 1;
            }
        }
    }
    (sum / f64::from(count)).sqrt()
}

#[test]
fn legs_and_turns_stay_within_1_5_deg_with_gnss_and_5_without() {
    println!(
        "tilt error, root mean square in deg over 60 s and six seeds; residual accelerometer bias of 5 and 20 mg"
    );
    println!("{:34}{:>8}{:>8}{:>14}{:>8}", "", "alone", "20 mg", "with GNSS", "20 mg");
    for (name, flight, start) in FLIGHTS {
        let figure = |bias_mg, gnss| rms_deg((flight, start), bias_mg, gnss);
        let (alone, corrected) = (figure(5.0, false), figure(5.0, true));
        println!(
            "{name:34}{alone:>8.2}{:>8.2}{corrected:>14.2}{:>8.2}",
            figure(20.0, false),
            figure(20.0, true)
        );
        assert!(corrected < 1.5, "{name}: {corrected}");
        // The twin without GNSS: with accelerations its error must be much larger.
        assert!(flight == Flight::Hover || alone > 2.0 * corrected, "{name}: {alone} {corrected}");
        assert!(alone < 5.0, "{name}: {alone}");
    }
}

#[test]
fn without_a_heading_gnss_does_not_correct_the_tilt() {
    // The specific force is in the axes of the attitude: with a heading error of 90 deg GNSS would correct
    // the tilt about the wrong axis.
    let tilt_deg = |field: bool| {
        let errors = Errors { gnss: true, field, ..Errors::NONE };
        let mut craft = Craft::new(Flight::Hover, Start::Air, errors);
        let mut estimator = Estimator::<Libm, 1>::new(&Config::CONSUMER, legs::DT as f32).unwrap();
        let mut state = estimator.step(&craft.tick(), true);
        for _ in 0..20_000 {
            state = estimator.step(&craft.tick(), true);
        }
        (state.heading_valid, craft.tilt_error_deg(state.attitude))
    };
    let ((unknown, without), (known, with)) = (tilt_deg(false), tilt_deg(true));
    assert!(!unknown && known);
    // The GNSS noise is in one figure and not in the other.
    assert!(without < 0.01 && with > 0.05 && with < 1.0, "{without} {with}");
}
