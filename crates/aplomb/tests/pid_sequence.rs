//! The controller against a reference sequence; source at the head of `data/pid_sequence.csv`.

use aplomb::pid::{AntiWindup, Config, Pid, State};

const CONFIG: Config = Config {
    integral_time_s: Some(0.5),
    derivative_time_s: 0.05,
    anti_windup: AntiWindup::BackCalculation { tracking_time_s: Some(0.3) },
    ..Config::proportional(2.0, 0.4)
};

/// One run around the plant 4/(0.5 s + 1); calls `each` with measurement, integral before the step, demand
/// and output. `achieved` gives what is reported as achieved for an output and a demand.
fn run(
    config: &Config,
    steps: usize,
    achieved: fn(f32, f32) -> f32,
    mut each: impl FnMut(f64, f32, f32, f32),
) {
    let pid = Pid::new(config, 0.01).unwrap();
    let mut state = State::new();
    let mut y = 0.0f64;
    for _ in 0..steps {
        let integral = state.integral();
        let u = pid.step(&mut state, 1.0, y as f32, 0.0);
        each(y, integral, state.demanded(), u);
        let output = achieved(u, state.demanded());
        pid.achieved(&mut state, output);
        let decay = (-0.01f64 / 0.5).exp();
        y = decay * y + (1.0 - decay) * 4.0 * f64::from(u);
    }
}

#[test]
fn reference_sequence_is_reproduced() {
    let rows: Vec<Vec<f64>> = include_str!("data/pid_sequence.csv")
        .lines()
        .filter(|line| !line.starts_with(['#', 'y']))
        .map(|line| line.split(',').map(|x| x.parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), 121);
    let mut k = 0;
    run(
        &CONFIG,
        rows.len(),
        |u, _| u,
        |y, integral, demanded, u| {
            for (got, expected) in [y, f64::from(integral), f64::from(demanded), f64::from(u)]
                .iter()
                .zip([0, 1, 3, 4].map(|i| rows[k][i]))
            {
                assert!((got - expected).abs() < 1e-5, "step {k}: {got} {expected}");
            }
            k += 1;
        },
    );
    assert_eq!(k, 121);
}

#[test]
fn without_anti_windup_the_overshoot_is_the_published_one() {
    // 1.200169 at 0.77 s without, 1.001635 with back-calculation (same source). Reporting the whole
    // demand as achieved switches the anti-windup off.
    let peak = |reported| {
        let (mut peak, mut at, mut k) = (0.0f64, 0, 0);
        run(&CONFIG, 121, reported, |y, _, _, _| {
            if y > peak {
                (peak, at) = (y, k);
            }
            k += 1;
        });
        (peak, at)
    };
    let (wound_up, at) = peak(|_, demanded| demanded);
    assert!((wound_up - 1.200169).abs() < 1e-5 && at == 77, "{wound_up} at {at}");
    let (led_back, _) = peak(|u, _| u);
    assert!((led_back - 1.001635).abs() < 1e-5, "{led_back}");
}
