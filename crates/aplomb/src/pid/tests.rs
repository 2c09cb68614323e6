use super::*;

const BASE: Config = Config {
    integral_time_s: Some(0.5),
    derivative_time_s: 0.05,
    anti_windup: AntiWindup::BackCalculation { tracking_time_s: Some(0.3) },
    ..Config::proportional(2.0, 0.4)
};

#[test]
fn each_bad_field_is_named() {
    type Set = fn(&mut Config, f32);
    let positive: [(&str, Set); 5] = [
        ("gain", |c, x| c.gain = x),
        ("integral_time_s", |c, x| c.integral_time_s = Some(x)),
        ("derivative_filter_ratio", |c, x| c.derivative_filter_ratio = x),
        ("integral_limit", |c, x| c.integral_limit = x),
        ("tracking_time_s", |c, x| {
            c.anti_windup = AntiWindup::BackCalculation { tracking_time_s: Some(x) };
        }),
    ];
    let finite: [(&str, Set); 4] = [
        ("setpoint_weight", |c, x| c.setpoint_weight = x),
        ("derivative_setpoint_weight", |c, x| c.derivative_setpoint_weight = x),
        ("output_min", |c, x| c.output_min = x),
        ("output_max", |c, x| c.output_max = x),
    ];
    let refused = |set: Set, x: f32| {
        let mut config = BASE;
        set(&mut config, x);
        Pid::new(&config, 0.01).unwrap_err().field
    };
    let not_finite = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY];
    for (field, set) in positive {
        for x in not_finite.into_iter().chain([0.0, -1.0]) {
            assert_eq!(refused(set, x), field, "{x}");
        }
    }
    for (field, set) in finite {
        for x in not_finite {
            assert_eq!(refused(set, x), field, "{x}");
        }
    }
    for x in not_finite.into_iter().chain([-1.0]) {
        assert_eq!(refused(|c, x| c.derivative_time_s = x, x), "derivative_time_s");
    }
    for x in not_finite.into_iter().chain([0.0, -1.0]) {
        assert_eq!(Pid::new(&BASE, x).unwrap_err().field, "period_s");
    }
    let swapped = Pid::new(&Config { output_min: 1.0, output_max: -1.0, ..BASE }, 0.01).unwrap_err();
    assert_eq!((swapped.field, swapped.problem), ("output_min", Problem::WrongOrder));
    let overflow = Pid::new(&Config { gain: 3e38, ..BASE }, 0.01).unwrap_err();
    assert_eq!((overflow.field, overflow.problem), ("gain", Problem::Inconsistent));
}

#[test]
fn conditional_integration_holds_the_integral_only_into_the_limit() {
    let pid = Pid::new(&Config { anti_windup: AntiWindup::ConditionalIntegration, ..BASE }, 0.01).unwrap();
    let mut state = State::new();
    let u = pid.step(&mut state, 1.0, 0.0, 0.0);
    assert_eq!(u, 0.4);
    pid.achieved(&mut state, u);
    assert_eq!(state.integral(), 0.0);
    // At the upper limit by feed-forward, the error points down: the integral may follow.
    let u = pid.step(&mut state, 0.0, 0.01, 5.0);
    pid.achieved(&mut state, u);
    assert!(state.integral() < 0.0);
}

#[test]
fn without_the_second_call_the_integral_is_held_and_a_repeated_one_replaces_the_first() {
    let pid = Pid::new(&BASE, 0.01).unwrap();
    let mut state = State::new();
    pid.step(&mut state, 0.1, 0.0, 0.0);
    let u = pid.step(&mut state, 0.1, 0.0, 0.0);
    assert_eq!(state.integral(), 0.0);
    pid.achieved(&mut state, u);
    let once = state.integral();
    assert!((once - 2.0 * 0.01 / 0.5 * 0.1).abs() < 1e-7);
    pid.achieved(&mut state, u);
    assert_eq!(state.integral(), once);
}

#[test]
fn gain_change_with_derivative_is_bumpless() {
    let old = Pid::new(&BASE, 0.01).unwrap();
    let new = Pid::new(&Config { gain: 0.7, derivative_time_s: 0.2, ..BASE }, 0.01).unwrap();
    let mut state = State::new();
    for k in 0..20 {
        let u = old.step(&mut state, 0.2, 0.002 * k as f32, 0.0);
        old.achieved(&mut state, u);
    }
    let mut twin = state;
    let expected = old.step(&mut twin, 0.2, 0.038, 0.0);
    let mut bumped = state;
    new.retune(&mut state, &old, 0.2, 0.038, 0.0);
    assert!((new.step(&mut state, 0.2, 0.038, 0.0) - expected).abs() < 1e-6);
    assert!((new.step(&mut bumped, 0.2, 0.038, 0.0) - expected).abs() > 0.05, "the twin must bump");
}

#[test]
fn any_input_leaves_the_state_finite_and_it_recovers() {
    let pid = Pid::new(&BASE, 0.01).unwrap();
    let mut state = State::new();
    let bad = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN, 0.0];
    for r in bad {
        for y in bad {
            for f in bad {
                let u = pid.step(&mut state, r, y, f);
                assert!((-0.4..=0.4).contains(&u));
                pid.achieved(&mut state, y);
                assert!(state.integral().abs() <= 1.6);
            }
        }
    }
    // In a loop around the plant 4/(0.5 s + 1) it settles again.
    let mut y = 0.0;
    for _ in 0..2000 {
        let u = pid.step(&mut state, 1.0, y, 0.0);
        pid.achieved(&mut state, u);
        y += 0.01 / 0.5 * (4.0 * u - y);
    }
    assert!((y - 1.0).abs() < 1e-5, "{state:?}");
}

#[test]
fn decaying_derivative_stays_off_the_denormal_numbers() {
    let pid = Pid::new(&Config { integral_time_s: None, ..BASE }, 0.01).unwrap();
    let mut state = State::new();
    pid.step(&mut state, 0.0, 1.0, 0.0);
    pid.step(&mut state, 0.0, 0.0, 0.0);
    assert!(state.memory.unwrap().abs() > 0.1);
    for _ in 0..400 {
        pid.step(&mut state, 0.0, 0.0, 0.0);
    }
    let memory = state.memory.unwrap();
    assert!(memory.is_normal() && memory < 1e-20, "{memory}");
}

#[test]
fn the_first_step_takes_no_derivative_even_after_bad_inputs() {
    let pid = Pid::new(&Config { integral_time_s: None, ..BASE }, 0.01).unwrap();
    let mut state = State::new();
    assert_eq!(pid.step(&mut state, f32::NAN, 0.1, 0.0), 0.0);
    assert!((pid.step(&mut state, 0.2, 0.1, 0.0) - 0.2).abs() < 1e-6);
    // Then a change of the measurement is met by K Td N/(Td + N h) = 2 0.05 10/0.15 of it.
    assert!((pid.step(&mut state, 0.2, 0.13, 0.0) + 0.06).abs() < 1e-6);
}
