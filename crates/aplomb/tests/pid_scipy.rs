//! The PID against sequences computed with scipy (`tests/reference/pid_sequences.py` of the repository): P,
//! PI, PD and PID, open without a limit and closed around a first-order plant with the output limited.

use aplomb::pid::{AntiWindup, Config, Pid, State};

const SEQUENCES: &str = include_str!("data/pid_scipy.csv");

fn config(case: &str, loop_: &str) -> Config {
    let limit = if loop_ == "closed" { 0.4 } else { 1e3 };
    Config {
        integral_time_s: case.contains('i').then_some(0.45),
        derivative_time_s: if case.contains('d') { 0.04 } else { 0.0 },
        derivative_filter_ratio: 8.0,
        anti_windup: AntiWindup::BackCalculation { tracking_time_s: Some(0.25) },
        ..Config::proportional(1.7, limit)
    }
}

/// Largest difference in u over one case, with the measurements of the file.
fn worst(case: &str, loop_: &str, config: &Config) -> f32 {
    let pid = Pid::new(config, 0.01).unwrap();
    let mut state = State::new();
    let mut rows = 0;
    let worst = SEQUENCES.lines().filter(|line| line.starts_with(&format!("{case},{loop_},"))).fold(
        0.0f32,
        |worst, line| {
            let number: Vec<f32> = line.split(',').skip(3).map(|text| text.parse().unwrap()).collect();
            let u = pid.step(&mut state, number[0], number[1], 0.0);
            pid.achieved(&mut state, u);
            rows += 1;
            worst.max((u - number[2]).abs())
        },
    );
    assert_eq!(rows, 160, "{case} {loop_}");
    worst
}

#[test]
fn validate_pid_equals_scipy_with_and_without_saturation() {
    for case in ["p", "pi", "pd", "pid"] {
        for loop_ in ["open", "closed"] {
            let worst = worst(case, loop_, &config(case, loop_));
            assert!(worst < 1e-5, "{case} {loop_}: {worst}");
        }
    }
}

#[test]
fn validate_pid_twins_with_a_wrong_part_differ() {
    let base = config("pid", "closed");
    let other = |change: fn(&mut Config)| {
        let mut config = base;
        change(&mut config);
        worst("pid", "closed", &config)
    };
    assert!(other(|c| c.integral_time_s = Some(0.46)) > 1e-4);
    assert!(other(|c| c.derivative_time_s = 0.042) > 1e-4);
    assert!(other(|c| c.anti_windup = AntiWindup::BackCalculation { tracking_time_s: Some(0.26) }) > 1e-4);
}
