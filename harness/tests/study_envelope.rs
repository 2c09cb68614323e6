//! Flights confirm the figures under other conditions than the demo's, and do not when the flown craft is
//! another one.

use std::path::Path;

use aplomb_harness::input::{demo_craft, load_craft};
use aplomb_harness::{pages, report::Repeat};
use aplomb_study::craft::Craft;
use aplomb_study::envelope::{Conditions, EnvelopeError, Figure, accuracy_words, find, find_on};

const SEA_LEVEL: Conditions =
    Conditions { elevation_m: 0.0, temperature_offset_k: 0.0, payload_kg: 0.0, battery_wear: 0.0 };

fn value(figures: &[Figure], name: &str) -> f64 {
    let mut values = figures.iter().flat_map(|figure| &figure.values);
    values.find(|(known, ..)| *known == name).map_or_else(|| panic!("no {name}"), |(_, value, _)| *value)
}

fn example(name: &str) -> Craft {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/craft");
    load_craft(&folder.join(format!("{name}.toml"))).unwrap()
}

fn not_confirmed(figures: &[Figure]) -> Vec<&str> {
    let flown = figures.iter().filter_map(|figure| figure.confirmed.as_ref());
    flown.filter(|flown| !flown.holds).map(|flown| flown.text.as_str()).collect()
}

#[test]
fn flights_confirm_every_figure_in_other_conditions() {
    let conditions =
        Conditions { elevation_m: 2500.0, temperature_offset_k: 15.0, payload_kg: 0.3, battery_wear: 0.6 };
    let craft = demo_craft().unwrap();
    let figures = find(&craft, &conditions).unwrap();
    assert_eq!(figures.iter().filter(|figure| figure.confirmed.is_some()).count(), 6);
    assert_eq!(not_confirmed(&figures), [""; 0]);

    // Thin air, payload and battery wear reduce each of them.
    let at_sea_level = find(&craft, &SEA_LEVEL).unwrap();
    // The wind is reduced least: thin air has less drag, and the tilt limit keeps a share of the excess
    // thrust.
    for (less, share) in [
        ("thrust to weight", 0.9),
        ("endurance", 0.9),
        ("largest tilt", 0.9),
        ("strongest steady wind", 0.95),
        ("climb limit", 0.9),
    ] {
        let (there, here) = (value(&figures, less), value(&at_sea_level, less));
        assert!(there < share * here, "{less}: {there} after {here}");
    }
    // Momentum theory: the induced speed is proportional to the root of weight over density. At 2530 m over a
    // sea level of 303.15 K and 1013.25 hPa, with 6.5 K/km: 286.7 K, (286.7/303.15)^5.2559 = 0.7458 of the
    // pressure (hydrostatics), 0.9183 kg/m3.
    let density = 0.9183;
    let expected = f64::sqrt(1.53 / 1.23 * 1.2214 / density);
    let ratio = value(&figures, "hover induced speed") / value(&at_sea_level, "hover induced speed");
    assert!((ratio / expected - 1.0).abs() < 5e-4, "{ratio} against {expected}");
}

#[test]
fn flights_of_a_weaker_craft_confirm_no_figure() {
    let craft = demo_craft().unwrap();
    let mut weaker = craft.clone();
    // 10 % more mass, and a battery with 20 % less capacity and twice the resistance.
    weaker.config.mass_kg *= 1.1;
    weaker.config.battery.capacity_ah *= 0.8;
    weaker.config.battery.resistance_ohm *= 2.0;
    let figures = find_on(&craft, &weaker, &SEA_LEVEL).unwrap();
    assert_eq!(not_confirmed(&figures).len(), 6, "{:?}", not_confirmed(&figures));
}

#[test]
fn craft_with_too_small_thrust_to_weight_is_refused() {
    let conditions = Conditions { payload_kg: 1.2, ..SEA_LEVEL };
    let error = find(&demo_craft().unwrap(), &conditions).unwrap_err();
    assert!(matches!(error, EnvelopeError::TooHeavy { .. }), "{error:?}");
    assert_eq!(
        error.to_string(),
        "full thrust of 25.9 N is 1.09 times the weight of 23.8 N; control needs 1.3 times"
    );
}

/// The command changes by 60 % per second, so full command takes half a second. A free craft moves in this
/// time, and its thrust was 4 % off.
#[test]
fn flights_confirm_every_figure_of_a_craft_with_slow_speed_controllers() {
    let mut craft = example("invented-25kg");
    craft.config.speed_controller.slew_per_s = Some(0.6);
    let figures = find(&craft, &SEA_LEVEL).unwrap();
    assert_eq!(not_confirmed(&figures), [""; 0]);
    // The slew has no effect on the thrust at full command.
    let confirmed = |figures: &[Figure]| figures[0].confirmed.clone().unwrap().text;
    assert_eq!(confirmed(&figures), confirmed(&find(&example("invented-25kg"), &SEA_LEVEL).unwrap()));
}

/// Its rotors turn 2.5 times as fast in this climb as in hover, where the trim was not found.
#[test]
fn flight_confirms_the_climb_of_a_craft_of_thrust_to_weight_8() {
    let figures = find(&example("invented-250g"), &SEA_LEVEL).unwrap();
    let climb = figures.iter().find(|figure| figure.question == "How fast can it climb?").unwrap();
    assert!(climb.confirmed.as_ref().unwrap().holds, "{climb:?}");
    assert!(value(&figures, "climb limit") > 40.0);
}

#[test]
fn first_page_gives_the_error_of_the_propellers_in_words() {
    let craft = demo_craft().unwrap();
    let words = accuracy_words(&craft);
    assert!(words.contains("by 12 % and 14 % on average"), "{words}");
    let page = pages::envelope::compose(&craft, &SEA_LEVEL, &[], &Repeat::default());
    let (words_at, summary_at) = (page.find("by 12 % and 14 %").unwrap(), page.find("Summary</h2>").unwrap());
    assert!(words_at < summary_at);
    // Given constants have no such error.
    let words = accuracy_words(&example("faessler-2018"));
    assert!(words.contains("constants in the craft file") && !words.contains("12 %"), "{words}");
}
