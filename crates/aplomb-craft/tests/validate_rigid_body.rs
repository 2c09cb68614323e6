//! Rigid body against closed forms: free fall, symmetric top, intermediate-axis instability, conservation,
//! order.

use aplomb_craft::body::{Body, Stage, State, Wrench};
use aplomb_craft::glam::{DMat3, DQuat, DVec3};
use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start, rotor};

fn no_wrench(_: Stage, _: &State) -> Wrench {
    Wrench::default()
}

fn turned(body: &Body, rate: DVec3, time_s: f64) -> State {
    let mut state = State { rate_rad_s: rate, ..State::REST };
    for _ in 0..(time_s * 1000.0 + 0.5) as usize {
        state = body.step(&state, 0.001, no_wrench);
    }
    state
}

fn diagonal(x: f64, y: f64, z: f64) -> Body {
    Body::new(1.0, DMat3::from_diagonal(DVec3::new(x, y, z)), 0.0)
}

/// Largest difference of two attitudes, independent of the sign of the quaternion.
fn apart(a: DQuat, b: DQuat) -> f64 {
    let difference = if a.dot(b) < 0.0 { a + b } else { a + b * -1.0 };
    difference.to_array().iter().fold(0.0, |most: f64, part| most.max(part.abs()))
}

/// Symmetric top, Goldstein, Classical Mechanics, ch. 5: It 0.01, I3 0.018 kg m2, w0 = (1, 0, 5) rad/s: t,
/// w_x, w_y, q.
const TOP: [(f64, f64, f64, [f64; 4]); 3] = [
    (0.5, -0.416146837, 0.909297427, [0.298193311, 0.045901434, 0.071487240, 0.950717303]),
    (1.0, -0.653643621, -0.756802495, [-0.81194064, 0.04517412, -0.09870725, 0.57355782]),
    (10.0, -0.66693806, 0.74511316, [0.98425119, 0.04335749, 0.09699769, 0.14128404]),
];

fn top_error(body: &Body) -> f64 {
    TOP.iter().fold(0.0, |worst: f64, &(time, wx, wy, [w, x, y, z])| {
        let state = turned(body, DVec3::new(1.0, 0.0, 5.0), time);
        let rate = (state.rate_rad_s - DVec3::new(wx, wy, 5.0)).length();
        worst.max(rate).max(apart(state.attitude, DQuat::from_xyzw(x, y, z, w)))
    })
}

#[test]
fn validate_symmetric_top() {
    let body = diagonal(0.01, 0.01, 0.018);
    assert!(top_error(&body) < 1e-8, "{}", top_error(&body));
    let state = turned(&body, DVec3::new(1.0, 0.0, 5.0), 10.0);
    assert!((body.kinetic_energy_j(&state) - 0.23).abs() < 1e-9);
    assert!((body.angular_momentum(&state).length() - 0.0905538514).abs() < 1e-9);
}

#[test]
fn validate_symmetric_top_fails_for_a_ball() {
    // With equal moments the term w x I w vanishes: no precession.
    assert!(top_error(&diagonal(0.01, 0.01, 0.01)) > 0.1);
}

#[test]
fn validate_intermediate_axis_is_unstable() {
    // Unstable intermediate axis (Landau and Lifshitz, Mechanics, sec. 37): J = diag(2.5e-3, 2.1e-3, 4.3e-3)
    // kg m2.
    let body = diagonal(2.5e-3, 2.1e-3, 4.3e-3);
    let mut state = State { rate_rad_s: DVec3::new(10.0, 0.1, 0.1), ..State::REST };
    let (energy, momentum) = (body.kinetic_energy_j(&state), body.angular_momentum(&state));
    assert!((energy - 0.125032).abs() < 1e-6 && (momentum.length() - 0.0250045796).abs() < 1e-10);
    let (mut crossings, mut rows) = (Vec::new(), Vec::new());
    for tick in 1..=9000 {
        let before = state.rate_rad_s.x;
        state = body.step(&state, 0.001, no_wrench);
        let after = state.rate_rad_s.x;
        if before * after < 0.0 {
            crossings.push((f64::from(tick) - after / (after - before)) * 0.001);
        }
        if tick == 1000 || tick == 2000 {
            rows.push(state.rate_rad_s);
        }
    }
    assert_eq!(crossings.len(), 3);
    for (found, expected) in crossings.iter().zip([1.622735, 5.110568, 8.598401]) {
        assert!((found - expected).abs() < 2e-6, "{found} {expected}");
    }
    assert!((rows[0] - DVec3::new(9.4262615, 3.2963765, 1.0900372)).length() < 1e-6, "{}", rows[0]);
    assert!((rows[1] - DVec3::new(-7.8799319, 6.0771773, 2.0042575)).length() < 1e-6, "{}", rows[1]);
    // The twin: the same rotation about the axis of the largest moment is stable.
    let stable = turned(&diagonal(4.3e-3, 2.1e-3, 2.5e-3), DVec3::new(10.0, 0.1, 0.1), 9.0);
    assert!(stable.rate_rad_s.x > 9.9);
}

/// A craft in free tumbling fall with stopped rotors and without dissipation.
fn bare() -> Config {
    let mut config = Config::weir_gauge();
    config.inertia_kg_m2 = [[0.011, -0.001, 0.0005], [-0.001, 0.012, 0.0], [0.0005, 0.0, 0.021]];
    config.drag = Default::default();
    config.rotor.inflow = rotor::Inflow::Constant;
    config
}

fn tumble() -> Start {
    Start {
        airborne: true,
        rotors_stopped: true,
        height_m: 900.0,
        velocity_m_s: [3.0, -2.0, 1.0],
        body_rate_rad_s: [2.0, -3.0, 2.5],
        ..Start::default()
    }
}

fn after(config: &Config, seconds: f64) -> (Plant, Plant) {
    let start = Plant::new(config, &AirConfig::default(), &tumble(), 1, 0.001).unwrap();
    let mut plant = start.clone();
    for _ in 0..(seconds * 1000.0) as usize {
        plant.advance(Rotors::splat(0.0));
    }
    (start, plant)
}

#[test]
fn validate_free_fall() {
    let (start, end) = after(&bare(), 10.0);
    let (start, end) = (start.truth(), end.truth());
    let expected = start.position_m + start.velocity_m_s * 10.0 + DVec3::Z * (0.5 * 9.80665 * 100.0);
    assert!((end.position_m - expected).length() < 1e-9, "{}", end.position_m - expected);
    assert!((end.velocity_m_s - start.velocity_m_s - DVec3::Z * 98.0665).length() < 1e-10);
    // The twin: with drag the fall is slower by metres.
    let (_, dragged) = after(&Config { drag: Config::weir_gauge().drag, ..bare() }, 10.0);
    assert!((dragged.truth().position_m - expected).length() > 1.0);
}

fn energy_and_momentum(config: &Config, plant: &Plant) -> (f64, DVec3) {
    let truth = plant.truth();
    let body = Body::new(config.mass_kg, DMat3::from_cols_array_2d(&config.inertia_kg_m2), 9.80665);
    let state = State {
        position_m: truth.position_m,
        velocity_m_s: truth.velocity_m_s,
        attitude: truth.attitude,
        rate_rad_s: truth.body_rate_rad_s,
    };
    let potential = config.mass_kg * 9.80665 * truth.height_m();
    (body.kinetic_energy_j(&state) + potential, body.angular_momentum(&state))
}

#[test]
fn validate_energy_and_momentum_over_ten_seconds() {
    let drift = |config: &Config| {
        let (start, end) = after(config, 10.0);
        let (e0, h0) = energy_and_momentum(config, &start);
        let (e1, h1) = energy_and_momentum(config, &end);
        ((e1 / e0 - 1.0).abs(), (h1 - h0).length() / h0.length())
    };
    let (energy, momentum) = drift(&bare());
    assert!(energy < 1e-9 && momentum < 1e-9, "{energy:e} {momentum:e}");
    let mut dragged = bare();
    dragged.drag.body_drag_n_s_m = [0.01; 3];
    dragged.drag.rotational_damping_nm_s = [1e-4; 3];
    let (energy, momentum) = drift(&dragged);
    assert!(energy > 1e-3 && momentum > 1e-3, "{energy:e} {momentum:e}");
}

#[test]
fn validate_total_angular_momentum_is_constant() {
    // Spinning the rotors up without air (negligible thrust) must not change the total: the body takes the
    // reaction.
    let mut config = bare();
    config.rotor.thrust_n_s2 = 1e-13;
    config.rotor.torque_nm_s2 = 1e-16;
    config.arms.front_left.spin = aplomb_craft::Spin::Clockwise;
    let total = |plant: &Plant| {
        let truth = plant.truth();
        let spin = config
            .arms
            .zip(truth.rotor_speed_rad_s)
            .map(|(arm, speed)| -f64::from(arm.spin.reaction()) * speed)
            .sum();
        let inertia = DMat3::from_cols_array_2d(&config.inertia_kg_m2);
        let rotors = DVec3::Z * (config.rotor.inertia_kg_m2 * spin);
        (truth.attitude * (inertia * truth.body_rate_rad_s + rotors), rotors)
    };
    let start = Plant::new(&config, &AirConfig::default(), &tumble(), 1, 0.001).unwrap();
    let mut plant = start.clone();
    for _ in 0..3000 {
        plant.advance(Rotors::splat(0.6));
    }
    let ((before, _), (after, rotors)) = (total(&start), total(&plant));
    let drift = (after - before).length() / before.length();
    assert!(drift < 1e-6, "{drift:e}");
    // The twin: the momentum of the rotors is large, so that a missing reaction or gyroscopic torque would
    // fail.
    assert!(rotors.length() > 0.1 * before.length(), "{rotors}");
}

/// Attitude and position after 1 s of a driven tumble, in steps of `step`; with `held` the force is that at
/// the start of the step.
fn driven(steps: usize, held: bool) -> State {
    let body = Body::new(1.2, DMat3::from_diagonal(DVec3::new(0.011, 0.012, 0.021)), 9.80665);
    let mut state = State { rate_rad_s: DVec3::new(6.0, -4.0, 3.0), ..State::REST };
    let step = 1.0 / steps as f64;
    let law = |state: &State| Wrench {
        force_n: state.attitude * DVec3::new(0.0, 0.0, -14.0) - 0.3 * state.velocity_m_s,
        torque_nm: DVec3::new(0.02, 0.05, -0.01) - 0.01 * state.rate_rad_s,
        rotor_momentum: 0.02,
    };
    for _ in 0..steps {
        let at_start = law(&state);
        state = body.step(&state, step, |_, state| if held { at_start } else { law(state) });
    }
    state
}

#[test]
fn validate_fourth_order() {
    let order = |held: bool| {
        let truth = driven(12_800, false);
        let error = |steps| (driven(steps, held).position_m - truth.position_m).length();
        let ratios = [error(100) / error(200), error(200) / error(400)];
        ratios.map(f64::log2)
    };
    for found in order(false) {
        assert!((found - 4.0).abs() < 0.15, "{found}");
    }
    // The twin: a force held over the step reduces the order to one.
    for found in order(true) {
        assert!((found - 1.0).abs() < 0.15, "{found}");
    }
}
