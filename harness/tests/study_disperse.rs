//! Dispersions, runs and their combined results.

use aplomb_harness::input::{self, Folder};
use aplomb_study::disperse::results::{Results, to_csv};
use aplomb_study::disperse::{Campaign, Dispersion, Quantity, Run, Vary, dispersion, statistics};
use aplomb_study::measure;

fn campaign(flight: &str, varies: Vec<Vary>) -> Campaign {
    let mut subject = Folder::demo().unwrap().subject;
    for plan in &mut subject.plans {
        // Short flights are sufficient here.
        plan.duration_s = plan.duration_s.min(6.0);
    }
    Campaign::new(subject, &[flight.to_owned()], varies, 7).unwrap()
}

fn reported(text: &str) -> Vec<String> {
    let error = input::dispersions("dispersions.toml", text).unwrap_err();
    let reported = error.problems.into_iter().map(|problem| {
        let location = problem.location.unwrap();
        format!("{}:{} {} | {}", location.line, location.column, location.text, problem.reason)
    });
    reported.collect()
}

#[test]
fn draws_follow_their_distribution() {
    for (one, deviation) in [
        // Standard deviations: h / sqrt 3, h / sqrt 6; of the normal cut off at three, 0.98658 of its own
        // (closed form).
        (Dispersion::Uniform(3.0), 3.0 / 3f64.sqrt()),
        (Dispersion::Triangular(3.0), 3.0 / 6f64.sqrt()),
        (Dispersion::Normal(2.0), 2.0 * 0.98658),
    ] {
        let varies = [Vary { quantity: Quantity::Mass, dispersion: one }];
        let n = 20_000;
        let drawn: Vec<f64> = (0..n).map(|run| dispersion::draws(&varies, 1, run)[0]).collect();
        let mean = measure::mean(&drawn);
        assert!(mean.abs() < 4.0 * deviation / (n as f64).sqrt(), "{one:?}: {mean}");
        let found = measure::deviation(&drawn);
        assert!((found / deviation - 1.0).abs() < 0.03, "{one:?}: {found}");
        assert!(drawn.iter().all(|value| value.abs() <= one.widest() + 1e-9), "{one:?}");
        assert!(measure::largest(&drawn) > 0.9 * one.widest(), "{one:?}");
    }
}

#[test]
fn draws_of_quantities_and_runs_are_independent_and_do_not_depend_on_the_list() {
    let all = dispersion::defaults();
    let (first, again) = (dispersion::draws(&all, 1, 5), dispersion::draws(&all[..3], 1, 5));
    assert_eq!(first[..3], again[..]);
    assert_ne!(first, dispersion::draws(&all, 2, 5));
    let columns: Vec<Vec<f64>> = (0..2000).map(|run| dispersion::draws(&all, 1, run)).collect();
    for (a, b) in [(0, 1), (5, 11), (2, 17)] {
        let column = |i: usize| columns.iter().map(|draws| draws[i]).collect::<Vec<_>>();
        let (correlation, _) = statistics::rank_correlation(&column(a), &column(b)).unwrap();
        assert!(correlation.abs() < 4.0 / 2000f64.sqrt(), "{a} {b}: {correlation}");
    }
}

#[test]
fn every_quantity_changes_the_truth_and_none_the_controller() {
    let campaign = campaign("hold-in-wind", Vec::new());
    let (nominal, _) = campaign.truth(0, 0);
    for &quantity in Quantity::ALL {
        let mut truth = nominal.clone();
        // The demo has no steady wind that could vary.
        truth.air.winds =
            vec![aplomb_craft::WindStep { at_s: 0.0, from_deg: 0.0, speed_m_s: 3.0, ramp_s: 0.0 }];
        let before = truth.clone();
        quantity.apply(0.5 * quantity.default_dispersion().widest(), &mut truth);
        assert_ne!(truth, before, "{quantity:?}");
        assert!(quantity.meaning().ends_with('.'));
    }
    let controller = *campaign.controller();
    let wide = self::campaign("hold-in-wind", dispersion::defaults());
    assert_eq!(*wide.controller(), controller);
}

#[test]
fn delay_and_motor_time_constant_always_vary() {
    let varies = input::dispersions("s", "[[vary]]\nwhat = \"mass_percent\"\nnormal = 2\n").unwrap();
    let found: Vec<_> = varies.iter().map(|vary| (vary.quantity, vary.dispersion)).collect();
    assert_eq!(
        found,
        [
            (Quantity::Mass, Dispersion::Normal(2.0)),
            (Quantity::MotorTimeConstant, Dispersion::Uniform(50.0)),
            (Quantity::Delay, Dispersion::Uniform(50.0)),
        ]
    );
}

#[test]
fn mistakes_in_a_dispersions_file_are_reported_at_their_location() {
    assert_eq!(
        reported("[[vary]]\nwhat = \"mas_percent\"\nuniform = 2\n"),
        ["2:8 \"mas_percent\" | unknown quantity `mas_percent`"]
    );
    assert_eq!(
        reported("[[vary]]\nwhat = \"mass_percent\"\nuniform = 2\nnormal = 1\n"),
        ["1:1 [[vary]] | exactly one distribution is required"]
    );
    assert_eq!(
        reported("[[vary]]\nwhat = \"mass_percent\"\nnormal = 50\n"),
        ["3:10 50 | must lie between 0 and 100"]
    );
    let old = input::dispersions("s", "[[vary]]\nwhat = \"motor_lag_percent\"\nuniform = 2\n").unwrap_err();
    assert_eq!(
        old.problems[0].help.as_deref(),
        Some("`motor_lag_percent` is now `motor_time_constant_percent`")
    );
    let twice = "[[vary]]\nwhat = \"mass_percent\"\nnormal = 5\n".repeat(2);
    assert_eq!(reported(&twice), ["5:8 \"mass_percent\" | varies already"]);
}

#[test]
fn any_run_flown_again_is_the_same_bit_for_bit_and_another_is_not() {
    let campaign = campaign("roll-step", dispersion::defaults());
    let run = campaign.fly(0, 3).unwrap();
    let (flown, again) = campaign.replay(0, 3).unwrap();
    assert!(run == again && flown.digest == run.digest);
    assert_ne!(campaign.fly(0, 4).unwrap().digest, run.digest);
    // Without dispersions the run is the flight of the nominal craft under that seed.
    let nominal = self::campaign("roll-step", Vec::new());
    let plain =
        aplomb_flight::fly::fly(&nominal.craft().config, nominal.controller(), &nominal.plans()[0], 7 + 3);
    assert_eq!(plain.unwrap().digest, nominal.fly(0, 3).unwrap().digest);
}

#[test]
fn slow_motor_gets_a_larger_command_in_hover() {
    let off = vec![Vary { quantity: Quantity::MotorFrontLeft, dispersion: Dispersion::Uniform(6.0) }];
    let campaign = campaign("take-off", off);
    let run = (0..50).find(|run| dispersion::draws(&campaign.varies, 7, *run)[0] < -4.0).unwrap();
    let command = |run: u64| {
        let (flown, _) = campaign.replay(0, run).unwrap();
        // Noise moves the commands of a single tick by several percent: the means of the last second.
        let rows = &flown.trace.rows;
        let last = rows.iter().rev().take_while(|row| row.time_s > rows[rows.len() - 1].time_s - 1.0);
        let (left, right) = last.fold((0.0, 0.0), |(left, right), row| {
            (left + row.command.front_left, right + row.command.front_right)
        });
        left / right
    };
    // A motor with a lower speed per command needs a larger command in the same hover.
    assert!(command(run) > 1.02, "{}", command(run));
    let other = (0..50).find(|run| dispersion::draws(&campaign.varies, 7, *run)[0] > 4.0).unwrap();
    assert!(command(other) < 0.98, "{}", command(other));
}

#[test]
fn dispersion_that_causes_the_failures_ranks_first() {
    let mut campaign = campaign("roll-step", dispersion::defaults());
    campaign.varies.retain(|vary| vary.quantity != Quantity::MotorTimeConstant);
    campaign
        .varies
        .push(Vary { quantity: Quantity::MotorTimeConstant, dispersion: Dispersion::Uniform(50.0) });
    let index = campaign.varies.len() - 1;
    let metrics = campaign.metrics(0);
    let results_of = |campaign: &Campaign, fails: &dyn Fn(u64) -> bool| {
        let runs: Vec<Run> = (0..300)
            .map(|number| {
                let bad = fails(number);
                let figures = metrics.iter().map(|metric| {
                    Some(match (metric.limit, bad) {
                        (aplomb_flight::limit::Limit::AtMost(high), false) => high,
                        (aplomb_flight::limit::Limit::AtMost(high), true) => 1.1 * high + 1e-3,
                        (aplomb_flight::limit::Limit::AtLeast(low), _) => low,
                        (aplomb_flight::limit::Limit::Between(low, high), _) => 0.5 * (low + high),
                    })
                });
                Run { flight: 0, number, digest: number, figures: figures.collect() }
            })
            .collect();
        Results::of(campaign, 300, &runs)
    };
    let draw = |number: u64| dispersion::draws(&campaign.varies, campaign.seed, number)[index];
    let results = results_of(&campaign, &|number| draw(number) > 30.0);
    let first = &results.flights[0].ranking[0];
    assert!(first.what == "motor_time_constant_percent" && first.p_value < 1e-6, "{first:?}");
    assert!(first.words().starts_with("fails when high"), "{}", first.words());
    let results = results_of(&campaign, &|number| draw(number).abs() > 40.0);
    let first = &results.flights[0].ranking[0];
    assert!(
        first.what == "motor_time_constant_percent" && first.words().starts_with("fails at either end"),
        "{first:?}"
    );
    // Random failures have no significant cause.
    let results = results_of(&campaign, &|number| number % 17 == 3);
    assert!(results.flights[0].ranking[0].p_value > 0.05, "{:?}", results.flights[0].ranking[0]);
}

#[test]
fn results_do_not_depend_on_the_order_and_duplicates_count_once() {
    let campaign = campaign("torque-push", dispersion::defaults());
    let runs: Vec<Run> = (0..6).map(|number| campaign.fly(0, number).unwrap()).collect();
    let mut shuffled: Vec<Run> = runs.iter().rev().cloned().collect();
    shuffled.push(runs[2].clone());
    let text = |runs: &[Run]| serde_json::to_string(&Results::of(&campaign, 6, runs)).unwrap();
    assert_eq!(text(&runs), text(&shuffled));
    assert_eq!(to_csv(&campaign, 0, 6, &runs), to_csv(&campaign, 0, 6, &shuffled));
    assert_eq!(to_csv(&campaign, 0, 6, &runs).lines().count(), 7);
}

#[test]
fn list_for_readers_is_this_list() {
    for quantity in Quantity::ALL {
        let dispersion = match quantity.default_dispersion() {
            Dispersion::Uniform(half) => format!("uniform {half:?}"),
            Dispersion::Normal(deviation) => format!("normal {deviation:?}"),
            Dispersion::Triangular(half) => format!("triangular {half:?}"),
        };
        let row = format!("| `{}` | {} | {dispersion} |\n", quantity.key(), quantity.meaning().trim());
        assert!(input::demo::KEYS.text.contains(&row), "{row}");
    }
}
