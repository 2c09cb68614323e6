extern crate std;

use super::*;

fn config(reaction_time_constant_s: f32) -> Config {
    let axis = Axis {
        crossover_rad_s: 30.0,
        integral_time_s: 0.2,
        derivative_time_s: 0.03,
        acceleration_limit_rad_s2: 200.0,
    };
    Config {
        roll: axis,
        pitch: axis,
        yaw: axis,
        derivative_filter_ratio: 8.0,
        inertia: Inertia::diagonal(0.01, 0.01, 0.02),
        gyroscopic: true,
        reaction_time_constant_s,
    }
}

/// Torques over time for a step of 0.5 rad/s on every axis with a craft held still, all of it achieved.
fn torques(reaction_time_constant_s: f32) -> std::vec::Vec<[f32; 3]> {
    let mut rate = RateController::new(&config(reaction_time_constant_s), 1e-3).unwrap();
    let setpoint = RateSetpoint::constant(Vector::new(0.5, 0.5, 0.5));
    (0..1000)
        .map(|_| {
            let torque = rate.step(&setpoint, Vector::ZERO);
            rate.achieved(torque);
            torque.to_array()
        })
        .collect()
}

#[test]
fn yaw_torque_is_lagged_by_the_reaction_time_constant_and_roll_and_pitch_are_not() {
    let (bare, lagged) = (torques(0.0), torques(0.27));
    // y += (1 - exp(-h/T)) (x - y), x the torque without the lag.
    let gain = 1.0 - (-1e-3f32 / 0.27).exp();
    let mut y = 0.0f32;
    for (bare, lagged) in bare.iter().zip(&lagged) {
        y += gain * (bare[2] - y);
        assert!((lagged[2] - y).abs() < 1e-6, "{} {y}", lagged[2]);
        assert_eq!(bare[..2], lagged[..2]);
    }
    // The first torque is the gain's share of 30 * 0.5 rad/s2 times 0.02 kg m2; the twin without the lag
    // gives it all.
    assert!((lagged[0][2] - gain * 0.3).abs() < 1e-6 && (bare[0][2] - 0.3).abs() < 1e-6);
}

#[test]
fn reaction_lag_does_not_count_as_saturation() {
    // The lag reduces the torque demanded, not the torque achieved of it: the yaw integral grows as the
    // others'.
    let setpoint = RateSetpoint::constant(Vector::new(0.1, 0.1, 0.1));
    let grown = |achieved: fn(Vector<Body>) -> Vector<Body>| {
        let mut rate = RateController::new(&config(0.27), 1e-3).unwrap();
        for _ in 0..100 {
            let torque = rate.step(&setpoint, Vector::ZERO);
            rate.achieved(achieved(torque));
        }
        rate.integral_rad_s2()
    };
    let full = grown(|torque| torque);
    // K h/Ti e a tick: 30 * 0.1/0.2 = 15 rad/s3.
    assert!((full.x() - 1.5).abs() < 1e-3 && (full.z() - full.x()).abs() < 1e-3, "{full:?}");
    // Twin: rotors that give no yaw torque at all.
    let short = grown(|torque| Vector::new(torque.x(), torque.y(), 0.0));
    assert!((short.x() - full.x()).abs() < 1e-6 && short.z() < 0.9 * full.z(), "{short:?}");
}

#[test]
fn gyroscopic_torque_is_added_and_its_twin_adds_none() {
    // w x J w = (w_y w_z (J_z - J_y), w_z w_x (J_x - J_z), w_x w_y (J_y - J_x)); the set-point is the
    // rate itself.
    let rate_rad_s = Vector::new(2.0, -1.0, 3.0);
    let torque = |gyroscopic| {
        let mut rate = RateController::new(&Config { gyroscopic, ..config(0.0) }, 1e-3).unwrap();
        let setpoint = RateSetpoint::constant(rate_rad_s);
        let mut last = Vector::ZERO;
        for _ in 0..500 {
            last = rate.step(&setpoint, rate_rad_s);
        }
        last
    };
    let expected = Vector::<Body>::new(-3.0 * 0.01, 6.0 * -0.01, 0.0);
    assert!((torque(true) - expected).norm_squared() < 1e-8, "{:?}", torque(true));
    assert!(torque(false).norm_squared() < 1e-8);
}

fn three_axes() -> Config {
    let base = config(0.0);
    Config {
        pitch: Axis { crossover_rad_s: 24.0, ..base.pitch },
        yaw: Axis { crossover_rad_s: 10.0, derivative_time_s: 0.02, ..base.yaw },
        ..base
    }
}

#[test]
fn derivative_of_the_set_point_and_feed_forward_are_added_to_the_feedback() {
    let mut rate = RateController::new(&three_axes(), 1e-3).unwrap();
    let setpoint = RateSetpoint {
        setpoint_derivative_rad_s2: Vector::new(5.0, -4.0, 3.0),
        feed_forward_rad_s2: Vector::new(1.0, 2.0, -3.0),
        ..RateSetpoint::default()
    };
    // K Td of roll 0.9, of pitch 0.72, of yaw 0.2; moments 0.01, 0.01, 0.02 kg m2.
    let expected =
        Vector::<Body>::new(0.01 * (0.9 * 5.0 + 1.0), 0.01 * (-0.72 * 4.0 + 2.0), 0.02 * (0.2 * 3.0 - 3.0));
    let torque = rate.step(&setpoint, Vector::ZERO);
    assert!((torque - expected).norm_squared() < 1e-12, "{torque:?} {expected:?}");
    let later = setpoint.after(0.01);
    assert!((later.rate_rad_s - Vector::new(0.05, -0.04, 0.03)).norm_squared() < 1e-12);
    let back = later.after(-0.02).rate_rad_s;
    assert!((back - Vector::new(-0.05, 0.04, -0.03)).norm_squared() < 1e-12, "{back:?}");
}

#[test]
fn torque_that_is_not_achieved_reduces_the_integral_within_half_an_integral_time() {
    let mut rate = RateController::new(&config(0.0), 1e-3).unwrap();
    // No error; of a feed-forward of 10 rad/s2 about roll, 6 rad/s2 are achieved: h/(Ti/2) (6 - 10).
    let setpoint =
        RateSetpoint { feed_forward_rad_s2: Vector::new(10.0, 0.0, 10.0), ..RateSetpoint::default() };
    let torque = rate.step(&setpoint, Vector::ZERO);
    rate.achieved(Vector::new(0.6 * torque.x(), torque.y(), torque.z()));
    let integral = rate.integral_rad_s2();
    assert!((integral - Vector::new(-0.04, 0.0, 0.0)).norm_squared() < 1e-12, "{integral:?}");
}

#[test]
fn new_gains_take_over_without_a_bump_while_the_set_point_changes() {
    let mut rate = RateController::new(&three_axes(), 1e-3).unwrap();
    let setpoint = RateSetpoint {
        rate_rad_s: Vector::new(0.5, -0.3, 0.2),
        setpoint_derivative_rad_s2: Vector::new(4.0, -5.0, 6.0),
        feed_forward_rad_s2: Vector::new(1.0, 2.0, -3.0),
    };
    let mut rate_rad_s = Vector::ZERO;
    for _ in 0..50 {
        let torque = rate.step(&setpoint, rate_rad_s);
        rate.achieved(torque);
        rate_rad_s += Vector::new(0.004, -0.003, 0.002);
    }
    let axis =
        Axis { crossover_rad_s: 20.0, integral_time_s: 0.4, derivative_time_s: 0.05, ..three_axes().roll };
    let new = Config { roll: axis, pitch: axis, yaw: axis, ..three_axes() };
    // The twin takes the state over as it is.
    let (mut old, mut twin) = (rate, RateController::new(&new, 1e-3).unwrap());
    twin.set_state(rate.state());
    rate.retune(&new, &setpoint, rate_rad_s).unwrap();
    let expected = old.step(&setpoint, rate_rad_s);
    let (bumpless, bump) = (rate.step(&setpoint, rate_rad_s), twin.step(&setpoint, rate_rad_s));
    assert!((bumpless - expected).norm_squared() < 1e-12, "{bumpless:?} {expected:?}");
    for (bump, expected) in bump.to_array().into_iter().zip(expected.to_array()) {
        assert!((bump - expected).abs() > 1e-3, "{bump} {expected}");
    }
    assert_eq!((rate.axes, rate.derivative_gain), (twin.axes, twin.derivative_gain));
}

#[test]
fn what_belongs_to_the_craft_is_not_retuned() {
    let before = RateController::new(&config(0.1), 1e-3).unwrap();
    let same = config(0.1);
    for (new, field) in [
        (Config { inertia: Inertia::diagonal(0.01, 0.011, 0.02), ..same }, "inertia"),
        (Config { gyroscopic: false, ..same }, "gyroscopic"),
        (config(0.2), "reaction_time_constant_s"),
        (config(0.0), "reaction_time_constant_s"),
    ] {
        let mut rate = before;
        let refused = rate.retune(&new, &RateSetpoint::default(), Vector::ZERO).unwrap_err();
        assert_eq!((refused.field, refused.problem), (field, Problem::Inconsistent(FIXED_IN_FLIGHT)));
        assert_eq!(rate, before);
    }
}
