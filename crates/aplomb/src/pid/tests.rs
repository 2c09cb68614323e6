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
    assert_eq!((swapped.field, swapped.problem), ("output_min", Problem::WrongOrder("output_max")));
    let overflow = Pid::new(&Config { gain: 3e38, ..BASE }, 0.01).unwrap_err();
    assert_eq!(
        (overflow.field, overflow.problem),
        ("gain", Problem::Inconsistent("gives coefficients that are not finite"))
    );
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

/// The equations of the module documentation in `f64`, with the difference that the code avoids.
struct Reference {
    integral: f64,
    derivative: f64,
    previous: Option<f64>,
}

impl Reference {
    fn step(&mut self, config: &Config, h: f64, r: f64, y: f64, f: f64) -> f64 {
        let [k, td, n] =
            [config.gain, config.derivative_time_s, config.derivative_filter_ratio].map(f64::from);
        let [b, c] = [config.setpoint_weight, config.derivative_setpoint_weight].map(f64::from);
        let ti = config.integral_time_s.map_or(f64::INFINITY, f64::from);
        let x = c * r - y;
        let change = x - self.previous.unwrap_or(x);
        self.previous = Some(x);
        self.derivative = td / (td + n * h) * self.derivative + k * td * n / (td + n * h) * change;
        let half = if config.integration == Integration::Trapezoidal { 0.5 } else { 0.0 };
        let v = k * (b * r - y) + self.integral + half * k * h / ti * (r - y) + self.derivative + f;
        let u = v.clamp(f64::from(config.output_min), f64::from(config.output_max));
        let tracking = match config.anti_windup {
            AntiWindup::BackCalculation { tracking_time_s: Some(tt) } => h / f64::from(tt).max(h),
            AntiWindup::BackCalculation { tracking_time_s: None } if td > 0.0 => h / (ti * td).sqrt(),
            AntiWindup::BackCalculation { tracking_time_s: None } => h / ti,
            AntiWindup::ConditionalIntegration => unreachable!(),
        };
        self.integral += k * h / ti * (r - y) + if ti.is_finite() { tracking * (u - v) } else { 0.0 };
        let limit = f64::from(config.integral_limit);
        self.integral = self.integral.clamp(-limit, limit);
        u
    }
}

#[test]
fn every_field_enters_as_in_the_equations() {
    let tracking = |tracking_time_s| AntiWindup::BackCalculation { tracking_time_s };
    let configs = [
        BASE,
        Config { setpoint_weight: 0.4, derivative_setpoint_weight: 0.7, ..BASE },
        Config { integration: Integration::Trapezoidal, ..BASE },
        Config { anti_windup: tracking(None), ..BASE },
        Config { anti_windup: tracking(None), derivative_time_s: 0.0, ..BASE },
        // Shorter than the period: raised to it.
        Config { anti_windup: tracking(Some(0.001)), ..BASE },
        Config { integral_time_s: None, anti_windup: tracking(None), ..BASE },
        Config { integral_limit: 0.03, ..BASE },
        Config { output_min: -0.1, output_max: 0.3, derivative_filter_ratio: 3.0, ..BASE },
    ];
    for config in configs {
        let pid = Pid::new(&config, 0.01).unwrap();
        let mut state = State::new();
        let mut reference = Reference { integral: 0.0, derivative: 0.0, previous: None };
        for k in 0..300u32 {
            let wave = |step: u32| f64::from(k * step % 61) / 61.0 - 0.5;
            let (r, y, f) = (0.4 * wave(7), 0.4 * wave(3), 0.1 * wave(11));
            let expected = reference.step(&config, 0.01, r, y, f);
            let u = pid.step(&mut state, r as f32, y as f32, f as f32);
            assert!((f64::from(u) - expected).abs() < 1e-5, "{config:?} {k}: {u} {expected}");
            pid.achieved(&mut state, u);
            assert!((f64::from(state.integral()) - reference.integral).abs() < 1e-5, "{config:?} {k}");
        }
    }
}

#[test]
fn output_that_is_not_finite_counts_as_achieved_in_full() {
    let pid = Pid::new(&BASE, 0.01).unwrap();
    let grown = |achieved: f32| {
        let mut state = State::new();
        pid.step(&mut state, 1.0, 0.0, 0.0);
        pid.achieved(&mut state, achieved);
        state.integral()
    };
    assert_eq!(State::new().demanded(), 0.0);
    let mut state = State::new();
    assert_eq!(pid.step(&mut state, 1.0, 0.0, 0.0), 0.4);
    assert_eq!(state.demanded(), 2.0, "the demand before the output limits");
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        assert_eq!(grown(bad), grown(2.0));
    }
    assert!(grown(0.4) < grown(2.0));
    state.reset();
    assert_eq!(state, State::new());
}

#[test]
fn bad_inputs_hold_output_and_state() {
    let pid = Pid::new(&BASE, 0.01).unwrap();
    let mut state = State::new();
    for k in 0..5 {
        let u = pid.step(&mut state, 0.1, 0.01 * k as f32, 0.0);
        pid.achieved(&mut state, u);
    }
    let held = pid.step(&mut state, 0.1, 0.05, 0.0);
    let before = state;
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        for [r, y, f] in [[bad, 0.0, 0.0], [0.0, bad, 0.0], [0.0, 0.0, bad]] {
            assert_eq!(pid.step(&mut state, r, y, f), held);
            assert_eq!(
                (state.integral, state.memory, state.demanded),
                (before.integral, before.memory, before.demanded)
            );
            // An error that is not finite does not change the integral.
            pid.achieved(&mut state, held);
            assert_eq!(state.integral, before.integral);
        }
    }
}

#[test]
fn conditional_integration_lets_the_integral_go_where_the_output_is_not_limited() {
    let config = Config { anti_windup: AntiWindup::ConditionalIntegration, derivative_time_s: 0.0, ..BASE };
    let pid = Pid::new(&config, 0.01).unwrap();
    let mut state = State::new();
    let u = pid.step(&mut state, 0.1, 0.0, 0.0);
    pid.achieved(&mut state, u);
    // K h/Ti e in full.
    assert!((state.integral() - 2.0 * 0.01 / 0.5 * 0.1).abs() < 1e-7);
    // At the lower limit with a negative error it is held, with a positive one it grows.
    let before = state.integral();
    let u = pid.step(&mut state, -1.0, 0.0, 0.0);
    assert_eq!(u, -0.4);
    pid.achieved(&mut state, u);
    assert_eq!(state.integral(), before);
    let u = pid.step(&mut state, 0.1, 0.0, -5.0);
    pid.achieved(&mut state, u);
    assert!(state.integral() > before);
}

#[test]
fn retuning_is_bumpless_with_derivative_feed_forward_and_before_the_first_step() {
    let old = Pid::new(&BASE, 0.01).unwrap();
    let new = Pid::new(&Config { gain: 0.7, derivative_time_s: 0.2, ..BASE }, 0.01).unwrap();
    // The new gains come with 0.05 more of feed-forward.
    let mut state = State::new();
    for k in 0..20 {
        let u = old.step(&mut state, 0.1, 0.002 * k as f32, 0.01);
        old.achieved(&mut state, u);
    }
    let mut twin = state;
    let expected = old.step(&mut twin, 0.1, 0.04, 0.01);
    new.retune(&mut state, &old, 0.1, 0.04, 0.05);
    let mut next = state;
    assert!((new.step(&mut next, 0.1, 0.04, 0.06) - expected).abs() < 1e-6);
    // The derivative went over in its units: without another change of the inputs it decays as that of the
    // new gains does, from where that of the old ones was times the ratio of the derivative gains K Td N/(Td
    // + N h).
    let gain = |k: f32, td: f32| k * td * 10.0 / (td + 0.1);
    let derivative = |pid: &Pid, state: &State, y: f32| state.memory.unwrap() - pid.steady_memory(0.1, y);
    let (before, after) = (derivative(&old, &twin, 0.04), derivative(&new, &next, 0.04));
    let ratio = gain(0.7, 0.2) / gain(2.0, 0.05);
    let decays = (0.2 / 0.3) / (0.05 / 0.15);
    assert!((after / before / (ratio * decays) - 1.0).abs() < 0.05, "{before} {after}");
    // Before the first step there is no derivative to carry over.
    let mut state = State::new();
    new.retune(&mut state, &old, 0.1, 0.0, 0.0);
    assert!((new.step(&mut state, 0.1, 0.0, 0.0) - 0.2).abs() < 1e-6);
    // From gains without a derivative.
    let plain = Pid::new(&Config { derivative_time_s: 0.0, ..BASE }, 0.01).unwrap();
    let mut state = State::new();
    let expected = plain.step(&mut state, 0.1, 0.0, 0.0);
    new.retune(&mut state, &plain, 0.1, 0.0, 0.0);
    assert!((new.step(&mut state, 0.1, 0.0, 0.0) - expected).abs() < 1e-6);
    // The integral limit holds, and an input that is not finite changes nothing.
    let tight = Pid::new(&Config { gain: 0.7, integral_limit: 0.01, ..BASE }, 0.01).unwrap();
    let before = state;
    for [r, y, f] in [[f32::NAN, 0.0, 0.0], [0.0, f32::INFINITY, 0.0], [0.0, 0.0, f32::NAN]] {
        tight.retune(&mut state, &new, r, y, f);
        assert_eq!(state, before);
    }
    tight.retune(&mut state, &new, 0.3, 0.0, 0.0);
    assert_eq!(state.integral(), 0.01);
    assert_eq!(
        state.pending, state.integral,
        "a repeated call for the last step adds no error of the old gains"
    );
}

#[test]
fn preset_is_the_one_that_is_stated() {
    let preset = Config::proportional(2.0, 10.0);
    assert_eq!((preset.output_min, preset.output_max, preset.integral_limit), (-10.0, 10.0, 40.0));
    assert_eq!((preset.setpoint_weight, preset.derivative_setpoint_weight), (1.0, 0.0));
    assert_eq!(
        (preset.integral_time_s, preset.derivative_time_s, preset.derivative_filter_ratio),
        (None, 0.0, 10.0)
    );
    assert_eq!((preset.integration, preset.anti_windup), (Integration::default(), AntiWindup::default()));
    // Equal bounds leave no output.
    let equal = Config { output_min: 1.0, output_max: 1.0, ..BASE };
    assert_eq!(Pid::new(&equal, 0.01).unwrap_err().problem, Problem::WrongOrder("output_max"));
}
