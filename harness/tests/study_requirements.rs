//! Every requirement passes for the demo and fails for a craft or controller that violates it.

use aplomb::flight::Config;
use aplomb_flight::FlightPlan;
use aplomb_flight::fly::fly;
use aplomb_flight::limit::{Limit, Outcome};
use aplomb_harness::input;
use aplomb_study::craft::Craft;
use aplomb_study::judge::Evidence;
use aplomb_study::linear::{Break, Model};
use aplomb_study::margins::{self, figures::Figures};
use aplomb_study::requirements::{Breaks, JudgedOn, Probe, Size, View, response, table};
use aplomb_study::verify::{Subject, judge};

struct Pair {
    craft: Craft,
    controller: Config,
}

fn demo() -> Pair {
    Pair { craft: input::demo_craft().unwrap(), controller: input::demo_controller().unwrap() }
}

fn flight(name: &str) -> FlightPlan {
    input::demo_flights().unwrap().into_iter().find(|plan| plan.name == name).unwrap()
}

/// Data on which a requirement is judged.
enum On {
    Probe(Probe),
    Flight(&'static str),
    Plan(Box<FlightPlan>),
}

/// Figure and outcome of a requirement on a probe, or on a flight of the demo.
fn judged(id: &str, on: &On, pair: &Pair) -> (f64, Outcome) {
    let size = Size::of(&pair.craft, &pair.controller);
    let requirement = table::requirements(&size).into_iter().find(|one| one.id == id).unwrap();
    let (plan, probe) = match on {
        On::Probe(probe) => (probe.plan(&size), Some(*probe)),
        On::Flight(name) => (flight(name), None),
        On::Plan(plan) => (plan.as_ref().clone(), None),
    };
    let flown = fly(&pair.craft.config, &pair.controller, &plan, plan.seed).unwrap();
    let view = View { plan: &plan, trace: &flown.trace, size: &size };
    let figure = requirement.figure(&[requirement.evidence(&view, probe).unwrap()]);
    (figure, requirement.limit.judge(figure))
}

#[track_caller]
fn passes_for_the_demo_and_fails_for(id: &str, on: &On, modify: impl Fn(&mut Pair)) {
    let mut pair = demo();
    let (good, outcome) = judged(id, on, &pair);
    assert_eq!(outcome, Outcome::Pass, "{id} of the demo: {good}");
    modify(&mut pair);
    let (bad, outcome) = judged(id, on, &pair);
    assert_eq!(outcome, Outcome::Fail, "{id} of the modified one: {bad}");
}

/// Motors three times slower than in the controller's model.
fn slow_motors(pair: &mut Pair) {
    pair.craft.config.rotor.inertia_kg_m2 *= 3.0;
}

fn slow_reference(pair: &mut Pair) {
    pair.controller.attitude.tilt.reference_bandwidth_rad_s *= 0.4;
}

fn slow_velocity(pair: &mut Pair) {
    let config = &mut pair.controller;
    config.velocity.crossover_rad_s *= 0.15;
    config.position.crossover_rad_s *= 0.15;
}

/// A product of inertia that couples roll and yaw.
fn skewed(pair: &mut Pair) {
    let inertia = &mut pair.craft.config.inertia_kg_m2;
    inertia[2][2] = inertia[0][0];
    (inertia[0][2], inertia[2][0]) = (-0.0055, -0.0055);
}

#[test]
fn damping_fails_with_slow_motors() {
    passes_for_the_demo_and_fails_for("tilt-damping", &On::Probe(Probe::TiltSteps), slow_motors);
    passes_for_the_demo_and_fails_for("push-damping", &On::Probe(Probe::TorquePulses), |pair| {
        pair.craft.config.rotor.inertia_kg_m2 *= 2.4;
    });
}

/// The worst of a requirement on the loops at the hover.
fn loops(id: &str, pair: &Pair) -> Outcome {
    let size = Size::of(&pair.craft, &pair.controller);
    let requirement = table::requirements(&size).into_iter().find(|one| one.id == id).unwrap();
    let JudgedOn::Loops(breaks, figure) = requirement.judged_on else { panic!("{id}") };
    let point = aplomb_study::margins::point::Point::named("hover").unwrap();
    let model = Model::new(&pair.craft.config, &pair.controller, &point).unwrap();
    let of = |breaks: &[Break]| {
        let loops = margins::loops(&model, breaks);
        loops.into_iter().map(|one| Evidence::Figure(figure(&one.figures))).collect()
    };
    let figures: Vec<Evidence> = match breaks {
        Breaks::Demands => of(&Break::DEMANDS),
        Breaks::Setpoints => of(Break::setpoints(point.mode)),
        Breaks::DemandsAtOnce => {
            let (disk_size, _) = margins::disk_of_all(&model);
            vec![Evidence::Figure(figure(&Figures { disk_size, ..Figures::UNKNOWN }))]
        }
    };
    requirement.limit.judge(requirement.figure(&figures))
}

#[test]
fn margins_fail_beyond_the_gain_margins() {
    type Modify = fn(&mut Pair);
    // With less inertia the gain is higher, with more it is lower.
    let light: Modify =
        |pair| pair.craft.config.inertia_kg_m2.as_flattened_mut().iter_mut().for_each(|j| *j *= 0.3);
    let heavy: Modify =
        |pair| pair.craft.config.inertia_kg_m2.as_flattened_mut().iter_mut().for_each(|j| *j *= 1.9);
    let slow: Modify = |pair| pair.craft.config.rotor.inertia_kg_m2 *= 2.0;
    let hasty: Modify = |pair| {
        pair.controller.velocity.crossover_rad_s *= 3.0;
        pair.controller.position.crossover_rad_s *= 4.0;
    };
    for (id, modify) in [
        ("upper-gain-margin", light),
        ("lower-gain-margin", heavy),
        ("phase-margin", slow),
        ("disk-margin", slow),
        ("disk-margin-at-once", slow),
        ("sensitivity", light),
        ("sensitivity-outer", hasty),
    ] {
        let mut pair = demo();
        assert_eq!(loops(id, &pair), Outcome::Pass, "{id} of the demo");
        modify(&mut pair);
        // An unstable loop has no margins: inconclusive counts as well.
        assert_ne!(loops(id, &pair), Outcome::Pass, "{id} of the modified one");
    }
}

#[test]
fn bandwidth_fails_with_a_slow_reference() {
    passes_for_the_demo_and_fails_for("tilt-bandwidth", &On::Probe(Probe::TiltSines), slow_reference);
}

#[test]
fn rise_and_settling_fail_with_a_slow_reference() {
    passes_for_the_demo_and_fails_for("tilt-rise", &On::Probe(Probe::TiltSteps), slow_reference);
    passes_for_the_demo_and_fails_for("tilt-settling", &On::Probe(Probe::TiltSteps), slow_reference);
}

#[test]
fn overshoot_fails_with_slow_motors() {
    passes_for_the_demo_and_fails_for("tilt-overshoot", &On::Probe(Probe::TiltSteps), slow_motors);
}

#[test]
fn coupling_fails_by_a_skewed_craft_with_loose_loops() {
    passes_for_the_demo_and_fails_for("yaw-coupling", &On::Probe(Probe::TiltSteps), |pair| {
        skewed(pair);
        let config = &mut pair.controller;
        config.rate.yaw.crossover_rad_s *= 0.1;
        config.attitude.heading.crossover_rad_s *= 0.1;
    });
}

#[test]
fn saturation_fails_with_a_noisy_gyro() {
    passes_for_the_demo_and_fails_for("saturation", &On::Flight("rough-air"), |pair| {
        pair.craft.config.sensors.imu.as_mut().unwrap().gyro.noise_rad_s_rthz *= 150.0;
    });
}

#[test]
fn tilt_limit_fails_with_an_inert_body() {
    for id in ["tilt-estimated", "tilt-true"] {
        passes_for_the_demo_and_fails_for(id, &On::Flight("cannot-hold-position"), |pair| {
            pair.craft.config.inertia_kg_m2.as_flattened_mut().iter_mut().for_each(|part| *part *= 6.0);
        });
    }
}

#[test]
fn hold_requirements_fail_with_slow_outer_loops() {
    passes_for_the_demo_and_fails_for("hold-light", &On::Flight("hold-in-wind"), slow_velocity);
    passes_for_the_demo_and_fails_for("hold-moderate", &On::Flight("rough-air"), slow_velocity);
    passes_for_the_demo_and_fails_for("gust", &On::Flight("gust"), slow_velocity);
    for (id, probe) in [
        ("hold-light", Probe::LightTurbulence),
        ("hold-moderate", Probe::ModerateTurbulence),
        ("gust", Probe::Gust),
    ] {
        passes_for_the_demo_and_fails_for(id, &On::Probe(probe), slow_velocity);
    }
}

/// The demo holds 20 m/s. A level of turbulence belongs to a wind at 20 ft: 15, 30 and 45 kt.
#[test]
fn level_whose_wind_cannot_be_held_is_not_applicable() {
    let mut pair = demo();
    let obstacle = |pair: &Pair, probe: Probe| probe.obstacle(&pair.craft.config, &pair.controller);
    let not = |pair: &Pair| -> Vec<Probe> {
        Probe::ALL.into_iter().filter(|probe| obstacle(pair, *probe).is_some()).collect()
    };
    assert_eq!(not(&pair), [Probe::SevereTurbulence]);
    let why = obstacle(&pair, Probe::SevereTurbulence).unwrap();
    assert!(why.contains("its wind with gusts of 27.6 m/s") && why.contains("the 20.3 m/s"), "{why}");

    // verify flies the others, and names it instead of a failure.
    let subject = Subject::new(pair.craft.clone(), pair.controller, Vec::new());
    let judgement = judge(&subject, 1, &|| ()).unwrap();
    for id in ["hold-light", "hold-moderate", "gust"] {
        assert!(judgement.items.iter().any(|item| item.id == id), "{id}");
    }
    assert!(judgement.items.iter().all(|item| item.id != "hold-severe"));
    let severe = judgement.untested.iter().find(|one| one.id == "hold-severe").unwrap();
    assert_eq!(severe.why, why);

    // With a third of the drag it applies, with more drag fewer do.
    let mut drag = |factor: f64| {
        let drag = &mut pair.craft.config.drag;
        let parts = drag.rotor_drag_per_s.iter_mut().chain(&mut drag.drag_area_m2);
        parts.for_each(|part| *part *= factor);
        not(&pair)
    };
    assert_eq!(drag(1.0 / 3.0), []);
    assert_eq!(drag(6.0), [Probe::ModerateTurbulence, Probe::SevereTurbulence]);
    // Without drag, a position hold in wind shows nothing.
    let in_wind = [Probe::LightTurbulence, Probe::ModerateTurbulence, Probe::SevereTurbulence, Probe::Gust];
    assert_eq!(drag(0.0), in_wind);
}

/// u20 = 5 m/s is no level; 8 m/s is light (15 kt, 7.7 m/s) within 5 %.
#[test]
fn turbulence_between_the_levels_tests_none_of_them() {
    let pair = demo();
    let size = Size::of(&pair.craft, &pair.controller);
    for (u20_m_s, expected) in [(5.0, vec![]), (8.0, vec!["hold-light"]), (11.0, vec![])] {
        let mut plan = flight("hold-in-wind");
        plan.air.turbulence = Some(aplomb_craft::Turbulence { u20_m_s });
        let flown = fly(&pair.craft.config, &pair.controller, &plan, 1).unwrap();
        let view = View { plan: &plan, trace: &flown.trace, size: &size };
        let tested: Vec<String> = table::requirements(&size)
            .into_iter()
            .filter(|one| one.id.starts_with("hold-") && one.evidence(&view, None).is_some())
            .map(|one| one.id.to_string())
            .collect();
        assert_eq!(tested, expected, "{u20_m_s}");
    }
}

/// Rise time times bandwidth of `1/(s^2 + sqrt(2) s + 1)`, from its step response and its phase.
#[test]
fn rise_time_follows_from_the_required_bandwidth() {
    let half = std::f64::consts::FRAC_1_SQRT_2;
    let times: Vec<f64> = (0..10_000).map(|i| 1e-3 * f64::from(i)).collect();
    let step = |t: &f64| 1.0 - (-half * t).exp() * ((half * t).cos() + (half * t).sin());
    let steps: Vec<f64> = times.iter().map(step).collect();
    let rise = response::rise_time(&times, &steps, 0.0, 1.0);
    let frequencies: Vec<f64> = (1..400).map(|i| 0.01 * f64::from(i)).collect();
    let phases: Vec<f64> = frequencies.iter().map(|w| -(2.0 * half * w).atan2(1.0 - w * w)).collect();
    let bandwidth = response::lag_frequency(&frequencies, &phases, 0.75 * std::f64::consts::PI);

    let pair = demo();
    for diameter_in in [9.0, 30.0] {
        let mut craft = pair.craft.clone();
        craft.diameter_in = diameter_in;
        let found = table::requirements(&Size::of(&craft, &pair.controller));
        let bound = |id: &str| match found.iter().find(|one| one.id == id).unwrap().limit {
            Limit::AtMost(bound) | Limit::AtLeast(bound) | Limit::Between(_, bound) => bound,
        };
        let product = bound("tilt-rise") * bound("tilt-bandwidth");
        assert!((product / (rise * bandwidth) - 1.0).abs() < 0.002, "{product}, {}", rise * bandwidth);
    }
}

/// The source of a value that was not compared with the text states that; no source is a memory.
#[test]
fn sources_state_whether_they_are_checked() {
    let pair = demo();
    let all = table::requirements(&Size::of(&pair.craft, &pair.controller));
    assert!(all.iter().all(|one| !one.source.contains("memory")));
    let unchecked = all.iter().filter(|one| one.source.ends_with("value not checked against the text"));
    let unchecked: Vec<&str> = unchecked.map(|one| one.id.as_ref()).collect();
    assert_eq!(unchecked, ["sensitivity", "sensitivity-outer", "tilt-bandwidth", "yaw-coupling"]);
}

#[test]
fn severe_hold_fails_with_slow_outer_loops() {
    let mut severe = flight("rough-air");
    severe.air.turbulence = Some(aplomb_craft::Turbulence::severe());
    passes_for_the_demo_and_fails_for("hold-severe", &On::Plan(Box::new(severe)), slow_velocity);
}

#[test]
fn touchdown_fails_with_a_fast_landing() {
    passes_for_the_demo_and_fails_for("touchdown", &On::Flight("land"), |pair| {
        pair.controller.pilot.landing_speed_m_s *= 2.5;
    });
}

#[test]
fn requirement_that_a_flight_does_not_test_has_no_evidence() {
    let pair = demo();
    let size = Size::of(&pair.craft, &pair.controller);
    let plan = flight("climb");
    let flown = fly(&pair.craft.config, &pair.controller, &plan, 1).unwrap();
    let view = View { plan: &plan, trace: &flown.trace, size: &size };
    for one in table::requirements(&size) {
        let has_evidence = one.evidence(&view, None).is_some();
        assert_eq!(
            has_evidence,
            ["saturation", "tilt-estimated", "tilt-true"].contains(&one.id.as_ref()),
            "{}",
            one.id
        );
    }
}

#[test]
fn limits_scale_with_the_size_of_the_craft() {
    let mut pair = demo();
    let limits = |pair: &Pair, id: &str| {
        let found = table::requirements(&Size::of(&pair.craft, &pair.controller));
        found.into_iter().find(|one| one.id == id).unwrap().limit
    };
    assert_eq!(limits(&pair, "tilt-settling"), Limit::AtMost(0.25));
    pair.craft.diameter_in = 36.0;
    assert_eq!(limits(&pair, "tilt-settling"), Limit::AtMost(0.5));
    assert_eq!(limits(&pair, "tilt-bandwidth"), Limit::AtLeast(8.35));
    assert_eq!(limits(&pair, "tilt-overshoot"), Limit::AtMost(10.0));
}

fn reported(text: &str) -> Vec<String> {
    let mut subject = input::Folder::demo().unwrap().subject;
    let error = input::apply_requirements("requirements.toml", text, &mut subject).unwrap_err();
    let reported = error.problems.into_iter().map(|problem| {
        let location = problem.location.unwrap();
        format!("{}:{} {} | {}", location.line, location.column, location.text, problem.reason)
    });
    reported.collect()
}

#[test]
fn mistakes_in_a_file_of_requirements_are_reported_at_their_location() {
    assert_eq!(
        reported("[[waive]]\nid = \"tilt-dampng\"\nreason = \"no reason at all\"\n"),
        ["2:6 \"tilt-dampng\" | no requirement `tilt-dampng`"]
    );
    let at = |flight: &str| {
        reported(&format!("[[waive]]\nid = \"gust\"\nflight = \"{flight}\"\nreason = \"no gust is met\"\n"))
    };
    assert_eq!(at("gsut"), ["3:10 \"gsut\" | no flight `gsut`"]);
    assert_eq!(
        reported("[[waive]]\nid = \"tilt-damping\"\nreason = \" \"\n"),
        ["3:10 \" \" | the reason is too short"]
    );
    assert_eq!(
        reported("[[tighten]]\nid = \"tilt-overshoot\"\nat_most = 20\nbecause = \"the camera needs it\"\n"),
        ["3:11 20 | looser than the required 10"]
    );
    assert_eq!(
        reported("[[tighten]]\nid = \"tilt-overshoot\"\nat_least = 5\nbecause = \"the camera needs it\"\n"),
        ["1:1 [[tighten]] | `tilt-overshoot` is tightened by `at_most` alone"]
    );
    let added = "[[add]]\nid = \"gust\"\ntext = \"tilt\"\n[add.check]\nwhat = \"tilt_deg\"\nstatistic = \"rms\"\n\
                 at_most = 3\nbecause = \"the camera needs it\"\n";
    assert_eq!(reported(added), ["2:6 \"gust\" | requirement `gust` exists already"]);
}

#[test]
fn file_tightens_adds_and_waives() {
    let pair = demo();
    let size = Size::of(&pair.craft, &pair.controller);
    let mut subject = input::Folder::demo().unwrap().subject;
    let text = "[[tighten]]\nid = \"tilt-overshoot\"\nat_most = 1\nbecause = \"the camera needs it\"\n\
                [[add]]\nid = \"own\"\ntext = \"tilt\"\nflights = [\"climb\"]\n[add.check]\nwhat = \"tilt_deg\"\n\
                statistic = \"rms\"\nat_most = 0.001\nbecause = \"the camera needs it\"\n\
                [[waive]]\nid = \"gust\"\nflight = \"climb\"\nreason = \"no gust is ever met\"\n";
    input::apply_requirements("requirements.toml", text, &mut subject).unwrap();
    let Subject { requirements, waivers, .. } = subject;
    assert!(waivers[0].covers("gust", "climb") && !waivers[0].covers("gust", "land"));
    let find = |id: &str| requirements.iter().find(|one| one.id == id).unwrap();
    assert_eq!(find("tilt-overshoot").limit, Limit::AtMost(1.0));
    assert!(find("tilt-overshoot").source.contains("the camera needs it (tightened; before: second order"));
    let own = find("own");
    for (name, expected) in [("climb", true), ("turn", false)] {
        let plan = flight(name);
        let flown = fly(&pair.craft.config, &pair.controller, &plan, 1).unwrap();
        let evidence = own.evidence(&View { plan: &plan, trace: &flown.trace, size: &size }, None);
        assert_eq!(evidence.is_some(), expected);
        if let Some(evidence) = evidence {
            let figure = own.figure(&[evidence]);
            assert_eq!(own.limit.judge(figure), Outcome::Fail, "{figure}");
        }
    }
}
