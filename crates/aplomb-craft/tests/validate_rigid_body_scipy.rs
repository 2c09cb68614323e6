//! The body's Runge-Kutta step at 1 kHz against scipy's DOP853 (`tests/reference/rigid_body.py`): 1e-7 over 5
//! s.

use aplomb_craft::body::{Body, Stage, State, Wrench};
use aplomb_craft::glam::{DMat3, DQuat, DVec3};

const STEP_S: f64 = 0.001;

fn body() -> Body {
    let inertia = [[0.011, -0.001, 0.0005], [-0.001, 0.012, 0.0], [0.0005, 0.0, 0.021]];
    Body::new(1.2, DMat3::from_cols_array_2d(&inertia), 9.80665)
}

fn rows(case: &str) -> Vec<(f64, State)> {
    include_str!("data/rigid_body_scipy.csv")
        .lines()
        .filter(|line| line.starts_with(case))
        .map(|line| {
            let v: Vec<f64> = line.split(',').skip(1).map(|cell| cell.parse().unwrap()).collect();
            let three = |at: usize| DVec3::new(v[at], v[at + 1], v[at + 2]);
            let state = State {
                position_m: three(1),
                velocity_m_s: three(4),
                attitude: DQuat::from_xyzw(v[8], v[9], v[10], v[7]),
                rate_rad_s: three(11),
            };
            (v[0], state)
        })
        .collect()
}

/// Largest difference of the elements of two states, independent of the sign of the quaternion.
fn apart(a: &State, b: &State) -> f64 {
    let sign = if a.attitude.dot(b.attitude) < 0.0 { -1.0 } else { 1.0 };
    let turn = a.attitude + b.attitude * -sign;
    [
        (a.position_m - b.position_m).abs().max_element(),
        (a.velocity_m_s - b.velocity_m_s).abs().max_element(),
        (a.rate_rad_s - b.rate_rad_s).abs().max_element(),
        turn.to_array().iter().fold(0.0, |most, part| f64::max(most, part.abs())),
    ]
    .into_iter()
    .fold(0.0, f64::max)
}

/// Largest difference over the case, with the rotors' momentum scaled by `momentum`.
fn error(case: &str, momentum: f64) -> f64 {
    let (body, rows) = (body(), rows(case));
    assert_eq!(rows.len(), 11);
    let driven = case == "driven";
    let mut state = rows[0].1;
    let (mut tick, mut worst) = (0_u32, 0.0);
    for (time_s, expected) in &rows[1..] {
        while f64::from(tick) * STEP_S < time_s - 1e-9 {
            let start_s = f64::from(tick) * STEP_S;
            state = body.step(&state, STEP_S, |stage, state| {
                let t = start_s
                    + match stage {
                        Stage::Start => 0.0,
                        Stage::Middle => 0.5 * STEP_S,
                        Stage::End => STEP_S,
                    };
                if !driven {
                    return Wrench::default();
                }
                let thrust = 11.8 + 2.0 * (3.0 * t).sin();
                let torque = DVec3::new(0.02 * (2.0 * t).sin(), -0.015 * (1.5 * t).cos(), 0.01 * t.sin());
                Wrench {
                    force_n: state.attitude * DVec3::new(0.0, 0.0, -thrust) - 0.3 * state.velocity_m_s,
                    torque_nm: torque - 0.01 * state.rate_rad_s,
                    rotor_momentum: 0.02 * momentum,
                }
            });
            tick += 1;
        }
        worst = f64::max(worst, apart(&state, expected));
    }
    worst
}

#[test]
fn validate_trajectories_against_dop853() {
    for case in ["top", "driven"] {
        let found = error(case, 1.0);
        println!("{case}: {found:.1e}");
        assert!(found < 1e-7, "{case}: {found:e}");
    }
    // The twin: a hundredth of the rotors' momentum missing is detected.
    assert!(error("driven", 0.99) > 1e-4, "{:e}", error("driven", 0.99));
}
