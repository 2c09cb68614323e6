use super::*;
use crate::margins::loops;
use aplomb::flight::{Airframe, Config as Settings};
use aplomb::mix::Geometry;
use aplomb_craft::glam::DVec3;
use aplomb_craft::propeller::{Designation, Measured, Planform, Row};
use aplomb_craft::rotor::{Inflow, from_measured};

fn hover() -> Point {
    Point::named("hover").unwrap()
}

/// With a receiver: without one, the estimate of the attitude drifts with the speed.
fn craft() -> Config {
    Config { sensors: aplomb_craft::sensors::Config::consumer(), ..Config::weir_gauge() }
}

fn settings() -> Settings {
    let geometry = Geometry::symmetric_x(0.16, 0.16, aplomb::Spin::CounterClockwise, 0.0138);
    let mut airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.9);
    airframe.thrust_curve.reference_voltage_v = 11.4;
    airframe.thrust_curve.back_emf_share = 0.92;
    (airframe.thrust_curve.lowest_voltage_v, airframe.thrust_curve.highest_voltage_v) = (9.0, 12.6);
    Settings::for_airframe(&Airframe { rotor_drag_per_s: Some(0.25), ..airframe }).unwrap()
}

/// The craft on a propeller whose static thrust coefficient rises by this per unit of the advance ratio.
fn with_rising_thrust(rise: f64) -> Config {
    let designation = Designation {
        diameter_m: 9.0 * 0.0254,
        pitch_m: 6.0 * 0.0254,
        blades: 2,
        planform: Planform::Unknown,
    };
    let row =
        |advance_ratio: f64, thrust: f64| Row { speed_rad_s: 450.0, advance_ratio, thrust, power: 0.05 };
    let rows = [row(0.0, 0.11), row(0.1, 0.11 + 0.1 * rise), row(0.3, 0.11 + 0.1 * rise), row(0.8, 0.02)];
    let measured = Measured::new(&rows).unwrap();
    let mut craft = craft();
    (craft.rotor.thrust_n_s2, craft.rotor.torque_nm_s2) = from_measured(&designation, &measured);
    craft.rotor.inflow = Inflow::Measured(designation, measured);
    craft
}

/// The model, and the number of growing motions with the thrust loop open.
fn heave(rise: f64) -> (Model, usize) {
    // Without the feed-forward of the wind, which has slow motions of its own.
    let settings = Settings { wind_share: 0.0, ..settings() };
    let model = Model::new(&with_rising_thrust(rise), &settings, &hover()).unwrap();
    // Slower ones come from the open integrators, within what f32 resolves.
    let open = model.open_loop_growths(Break::Thrust).iter().filter(|one| one.doubling_s < 5.0).count();
    let thrust = loops(&model, &[Break::Thrust]).remove(0);
    assert!(
        thrust.stable && thrust.figures.phase_margin_deg > 30.0,
        "{:?} {:?}",
        thrust.figures,
        model.growths()
    );
    (model, open)
}

#[test]
fn craft_whose_thrust_rises_with_the_advance_is_open_loop_unstable_and_stable_when_closed() {
    let (model, open) = heave(0.3);
    assert!(model.is_stable() && open == 1, "{open}");
    // Its figures have a margin on both sides.
    let figures = loops(&model, &[Break::Thrust]).remove(0).figures;
    assert!(figures.lower_gain_margin_db > 6.0 && figures.lower_gain_margin_db.is_finite());
    // The twin, whose thrust falls, has none.
    let (model, open) = heave(-0.3);
    assert!(model.is_stable() && open == 0, "{open}");
}

#[test]
fn slow_filter_of_the_running_code_has_its_configured_time_constant() {
    let model = Model::new(&craft(), &settings(), &hover()).unwrap();
    let Linearised { system, states, .. } = &model.linearised;
    let name = "controller.estimator.air_density.filtered.pressure_pa";
    let i = states.iter().position(|state| state == name).unwrap();
    let own = |set: usize| system.sets[set].a.row(i).iter().find(|(column, _)| *column == i).unwrap().1;
    let kept: f64 = system.order.iter().map(|&set| own(set)).product();
    // One sample in 20 ms through a low-pass of 2 s.
    let samples = system.order.len() as f64 / 20.0;
    let expected = libm::pow(1.0 - 0.02 / 2.02, samples);
    assert!((libm::log(kept) / libm::log(expected) - 1.0).abs() < 0.02, "{kept} {expected}");
}

/// A number from -1 to 1 that looks random.
fn random(seed: &mut u64) -> f64 {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*seed >> 33) as f64 / f64::from(1u32 << 30) - 1.0
}

/// Largest body rate (rad/s) and velocity (m/s) over the last seconds of a quiet flight that starts a little
/// off a hover, over that offset.
fn growth_in_flight(craft: &Config, settings: &Settings) -> f64 {
    const OFF: f64 = 1e-3;
    let craft = craft.without_errors();
    let mut flight = SteadyFlight::<FlightController>::hovering(&craft, settings, &hover()).unwrap();
    flight.plant.visit_state(&mut |name, _, number| {
        if let ("rate_rad_s" | "velocity_m_s", Some(number)) = (name, number) {
            *number += OFF;
        }
    });
    let mut most = 0.0_f64;
    for tick in 0..20_000 {
        flight.step(&[0.0; BREAKS]);
        if tick >= 17_000 {
            let truth = flight.plant.truth();
            let DVec3 { x, y, z } = truth.body_rate_rad_s;
            most = most.max(x.abs().max(y.abs()).max(z.abs())).max(truth.velocity_m_s.length());
        }
    }
    most / OFF
}

fn random_craft(count: u64) {
    let (mut stable, mut unstable, mut slow) = (0, 0, 0);
    for number in 0..count {
        let mut seed = 77 + 1000 * number;
        let mut factor = |most: f64| libm::pow(most, random(&mut seed));
        let (mut craft, mut settings) = (craft(), settings());
        craft.inertia_kg_m2 = scaled(craft.inertia_kg_m2, factor(3.0));
        craft.rotor.inertia_kg_m2 *= factor(4.0);
        craft.speed_controller.delay_s *= factor(4.0);
        for axis in [&mut settings.rate.roll, &mut settings.rate.pitch, &mut settings.rate.yaw] {
            axis.crossover_rad_s *= factor(3.0) as f32;
        }
        settings.velocity.crossover_rad_s *= factor(2.0) as f32;
        settings.vertical.climb_crossover_rad_s *= factor(3.0) as f32;
        let model = Model::new(&craft, &settings, &hover()).unwrap();
        let found = growth_in_flight(&craft, &settings);
        match model.growths().first() {
            Some(growth) if growth.doubling_s < 5.0 => {
                unstable += 1;
                assert!(found > 10.0, "{number}: doubles in {} s, grew {found}", growth.doubling_s);
            }
            Some(_) => slow += 1,
            None => {
                stable += 1;
                assert!(found < 10.0, "{number}: stable, grew {found}");
            }
        }
    }
    println!("{stable} stable, {unstable} unstable, {slow} slowly");
    assert!(stable >= count / 10 && unstable >= count / 10);
}

fn scaled(inertia: [[f64; 3]; 3], share: f64) -> [[f64; 3]; 3] {
    inertia.map(|row| row.map(|element| element * share))
}

#[test]
fn eigenvalues_and_quiet_flights_of_random_craft_agree() {
    random_craft(12);
}

/// All of them: a few minutes. `cargo test --release -p aplomb-study -- --ignored two_hundred`
#[test]
#[ignore = "minutes: run by .ci/long"]
fn eigenvalues_and_quiet_flights_of_two_hundred_random_craft_agree() {
    random_craft(200);
}
