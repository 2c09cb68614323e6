//! Margins by injection into the running code and craft, against the linear model.

use aplomb_harness::input;
use aplomb_study::linear::{Break, Mode};
use aplomb_study::margins::point::Point;
use aplomb_study::margins::{self, Bench, Linear, Measured, NotMeasured};

/// The demo craft without noise, vibration and quantisation.
fn quiet_craft() -> aplomb_craft::Config {
    let mut craft = input::demo_craft().unwrap().config;
    let delay_s = craft.sensors.imu.unwrap().delay_s;
    let low_pass_hz = craft.sensors.imu.unwrap().low_pass_hz;
    craft.sensors = aplomb_craft::sensors::Config::ideal();
    // The delays are kept.
    let imu = craft.sensors.imu.as_mut().unwrap();
    (imu.delay_s, imu.low_pass_hz) = (delay_s, low_pass_hz);
    craft.speed_controller.steps = 0;
    (craft.rotor.imbalance_kg_m, craft.rotor.blade_pass_share) = (0.0, 0.0);
    craft
}

fn linear(craft: &aplomb_craft::Config, point: &Point, breaks: &[Break]) -> Vec<Linear> {
    let controller = input::demo_controller().unwrap();
    margins::linear(craft, &controller, point, breaks).unwrap()
}

/// Largest differences in dB and deg from `from` to twice the crossover.
fn difference(measured: &Measured, linear: &Linear, from_rad_s: f64) -> (f64, f64) {
    let crossover = linear.figures.crossover_rad_s;
    let lines = measured.lines.iter().filter(|line| (from_rad_s..=2.0 * crossover).contains(&line.rad_s));
    let each = lines.map(|line| {
        let ratio = line.transfer / linear.curve.at(line.rad_s);
        ((20.0 * ratio.norm().log10()).abs(), ratio.arg().to_degrees().abs())
    });
    each.fold((0.0, 0.0), |most, one| (f64::max(most.0, one.0), f64::max(most.1, one.1)))
}

#[test]
fn measured_and_linear_agree_within_0_7_db_and_4_deg_up_to_twice_the_crossover() {
    let (craft, controller) = (quiet_craft(), input::demo_controller().unwrap());
    for point in Point::ALL {
        let bench = Bench::new(&craft, &controller, &point, 1).unwrap();
        // The position loops are the same at all points: they are measured at the first.
        let all = point.name == "hover" || point.mode != Mode::Position;
        let breaks = if all { Break::of(point.mode) } else { Break::DEMANDS.to_vec() };
        for linear in &linear(&craft, &point, &breaks) {
            let measured = &bench.measure(linear);
            let name = format!("{}, {}", point.name, linear.broken.name());
            assert_eq!(measured.not_measured, None, "{name}");
            // Far below the crossover the error of a set-point or a thrust is a fortieth or less: the
            // measurement is dominated by nonlinearity. The torque loops agree from their lowest
            // frequency on.
            let torques = [Break::RollTorque, Break::PitchTorque, Break::YawTorque];
            let share = match linear.broken {
                broken if torques.contains(&broken) => 0.0,
                Break::Thrust => 0.14,
                _ => 0.15,
            };
            let from = share * linear.figures.crossover_rad_s;
            let (db, deg) = difference(measured, linear, from);
            // The measured heading loop lags by 6.4 deg over the frequency in rad/s; the cause is not known.
            // At the crossover that is 2 deg.
            let most_deg = if linear.broken == Break::YawRate { 5.5 } else { 4.0 };
            assert!(db < 0.7 && deg < most_deg, "{name}: {db:.2} dB, {deg:.2} deg");
        }
    }
}

#[test]
fn model_without_the_rotor_time_constant_disagrees() {
    let (craft, controller) = (quiet_craft(), input::demo_controller().unwrap());
    let mut prompt = craft;
    prompt.rotor.inertia_kg_m2 *= 0.1;
    let point = Point::named("hover").unwrap();
    let bench = Bench::new(&craft, &controller, &point, 1).unwrap();
    let both =
        linear(&craft, &point, &Break::DEMANDS).into_iter().zip(linear(&prompt, &point, &Break::DEMANDS));
    for (own, twin) in both {
        let (db, deg) = difference(&bench.measure(&own), &twin, 0.0);
        assert!(db > 0.7 || deg > 4.0, "{:?}: {db:.2} dB, {deg:.2} deg", own.broken);
        assert!(deg > 10.0, "{:?}: {deg:.2} deg", own.broken);
    }
}

#[test]
fn model_without_the_wind_feed_forward_disagrees() {
    // Seven times the drag of the model: motion of the craft appears as wind in the estimate and closes a
    // loop.
    let (mut craft, controller) = (quiet_craft(), input::demo_controller().unwrap());
    craft.drag.rotor_drag_per_s = [1.75, 1.75, 0.0];
    let without = aplomb::flight::Config { wind_share: 0.0, ..controller };
    for (name, speed_limit_fraction) in [("hover", 0.0), ("forward", 0.1)] {
        let point = Point { speed_limit_fraction, ..Point::named(name).unwrap() };
        let linear = |controller| {
            margins::linear(&craft, controller, &point, &[Break::NorthAcceleration]).unwrap().remove(0)
        };
        let (model, twin) = (linear(&controller), linear(&without));
        let bench = Bench::new(&craft, &controller, &point, 1).unwrap();
        let measured = &bench.measure(&model);
        let from = 0.15 * model.figures.crossover_rad_s;
        let (db, deg) = difference(measured, &model, from);
        assert!(db < 0.3 && deg < 1.5, "{name}: {db:.2} dB, {deg:.2} deg");
        let (_, deg) = difference(measured, &twin, from);
        assert!(deg > 3.5, "{name}: {deg:.2} deg");
    }
}

#[test]
fn saturated_motor_and_unstable_craft_are_inconclusive() {
    let controller = input::demo_controller().unwrap();
    let point = Point::named("hover").unwrap();
    let noisy = input::demo_craft().unwrap().config;
    let loops = linear(&noisy, &point, &[Break::RollTorque]);
    // Thrust to weight just above 1: the noise alone saturates.
    let mut narrow = controller;
    narrow.mix.max_thrust_n = 0.26 * 1.23 * 9.80665;
    narrow.thrust.max_thrust_n = 4.0 * narrow.mix.max_thrust_n;
    let bench = Bench::new(&noisy, &narrow, &point, 1).unwrap();
    let measured = [bench.measure(&loops[0])];
    assert_eq!(measured[0].not_measured, Some(NotMeasured::Saturated));
    assert!(measured[0].figures.phase_margin_deg.is_nan() && measured[0].figures.crossover_rad_s.is_nan());
    // A rate loop too fast for the rotors tumbles.
    let mut wild = controller;
    wild.rate.roll.crossover_rad_s *= 8.0;
    let loops =
        margins::linear(&quiet_craft(), &wild, &point, &[Break::RollTorque, Break::RollRate]).unwrap();
    assert!(!loops[0].stable && loops[0].figures.phase_margin_deg.is_nan());
    let bench = Bench::new(&quiet_craft(), &wild, &point, 1).unwrap();
    let measured = [bench.measure(&loops[0])];
    assert!(matches!(measured[0].not_measured, Some(NotMeasured::Saturated | NotMeasured::NotSteady)));
}

#[test]
fn every_torque_loop_is_measured_in_hover_with_the_noise_of_the_demo() {
    let craft = input::demo_craft().unwrap().config;
    let controller = input::demo_controller().unwrap();
    let point = Point::named("hover").unwrap();
    let bench = Bench::new(&craft, &controller, &point, 1).unwrap();
    for linear in &linear(&craft, &point, &Break::DEMANDS[..3]) {
        let measured = &bench.measure(linear);
        let (found, expected) = (&measured.figures, &linear.figures);
        assert!(measured.is_complete(linear), "{:?}: {found:?}", linear.broken);
        assert!(
            (found.upper_gain_margin_db - expected.upper_gain_margin_db).abs() < 1.0,
            "{found:?} {expected:?}"
        );
        // A lower gain margin far from the limit is left to the model.
        assert!(
            found.lower_gain_margin_db.is_nan() && expected.lower_gain_margin_db > 15.0
                || (found.lower_gain_margin_db - expected.lower_gain_margin_db).abs() < 2.0,
            "{found:?} {expected:?}"
        );
        assert!((found.phase_margin_deg - expected.phase_margin_deg).abs() < 4.0, "{found:?} {expected:?}");
        assert!((found.peak_sensitivity / expected.peak_sensitivity - 1.0).abs() < 0.1);
    }
}
