//! Large attitude errors: tilt is corrected first, heading second; recovery from inverted attitudes.

use aplomb::control::attitude::AttitudeController;
use aplomb::control::rate::{RateController, RateSetpoint};
use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Attitude, Body, Vector};
use aplomb::mix::Geometry;
use aplomb::{Libm, Spin};

/// The craft of Lee, Leok and McClamroch (arXiv:1003.2005v4, 2011): 4.34 kg, J diag(0.0820, 0.0845, 0.1377)
/// kg m2, arms of 0.315 m (as an X: 0.315/sqrt(2) either way), torque to thrust 8.004e-3 m; rotors that lift
/// twice the weight are ours.
fn config() -> Config {
    let half = 0.315 * core::f32::consts::FRAC_1_SQRT_2;
    let geometry = Geometry::symmetric_x(half, half, Spin::CounterClockwise, 8.004e-3);
    let max_thrust_n = 2.0 * 4.34 * 9.81 / 4.0;
    Config::for_airframe(&Airframe::new(4.34, [0.0820, 0.0845, 0.1377], geometry, max_thrust_n)).unwrap()
}

fn angles(roll_deg: f32, pitch_deg: f32, yaw_deg: f32) -> Attitude {
    let [roll, pitch, yaw] = [roll_deg, pitch_deg, yaw_deg].map(f32::to_radians);
    Attitude::from_angles::<Libm>(roll, pitch, yaw)
}

/// Attitude and commanded rate every 5 ms for `seconds`, of a craft that follows the commanded rate exactly.
fn followed(start: Attitude, target: Attitude, seconds: f32) -> Vec<(Attitude, Vector<Body>)> {
    let mut controller = AttitudeController::<Libm>::new(&config().attitude, 5e-3).unwrap();
    let (mut attitude, mut rate) = (start, Vector::ZERO);
    (0..(seconds / 5e-3) as usize)
        .map(|_| {
            rate = controller.step(target, attitude, rate).rate_setpoint.rate_rad_s;
            attitude = attitude.rotated(rate * 5e-3);
            (attitude, rate)
        })
        .collect()
}

fn heading_error_deg(attitude: Attitude) -> f32 {
    attitude.to_angles::<Libm>().2.to_degrees().abs()
}

// Brescianini and D'Andrea, Tilt-prioritized quadrocopter attitude control, IEEE TCST (online 2018; 28(2),
// 2020): tilt and heading error are separated.
#[test]
fn heading_error_of_180_deg_commands_no_tilt() {
    // 179.9 deg, and exactly 180 deg by either sign of the quaternion.
    let half_turn = |z| Attitude::from_wxyz::<Libm>([0.0, 0.0, 0.0, z]).unwrap();
    for start in [angles(0.0, 0.0, 179.9), half_turn(1.0), half_turn(-1.0)] {
        let flown = followed(start, Attitude::LEVEL, 10.0);
        for (attitude, rate) in &flown {
            assert!(rate.x().abs() < 1e-4 && rate.y().abs() < 1e-4, "{rate:?}");
            assert!(attitude.cos_tilt() > 1.0 - 1e-6);
        }
        // The heading error is corrected, unlike by a loop that commands nothing.
        assert!(heading_error_deg(flown.last().unwrap().0) < 2.0);
    }
}

#[test]
fn heading_error_of_180_deg_with_30_deg_of_tilt_levels_first() {
    for yaw_deg in [179.0, 180.0] {
        levels_first(angles(30.0, 0.0, yaw_deg));
    }
}

fn levels_first(start: Attitude) {
    let flown = followed(start, Attitude::LEVEL, 10.0);
    let (upright, halfway) = upright_and_halfway(flown.iter().map(|(attitude, _)| *attitude));
    assert!(upright < halfway, "level after {upright} steps, half way round after {halfway}");
    assert!(upright as f32 * 5e-3 < 1.0);
    assert!(heading_error_deg(flown.last().unwrap().0) < 2.0);
}

/// Steps until the tilt is below 2 deg and until half of the heading error is gone.
fn upright_and_halfway(flown: impl Iterator<Item = Attitude> + Clone) -> (usize, usize) {
    (
        flown.clone().position(|attitude| attitude.cos_tilt() > 0.9994).unwrap(),
        flown.clone().position(|attitude| heading_error_deg(attitude) < 90.0).unwrap(),
    )
}

#[test]
fn twin_along_the_shortest_rotation_levels_last() {
    // Proportional to the vector part of the whole error, as without the split.
    let mut attitude = angles(30.0, 0.0, 179.0);
    let flown: Vec<_> = (0..4000)
        .map(|_| {
            let [_, x, y, z] = attitude.error_to(Attitude::LEVEL);
            attitude = attitude.rotated(Vector::<Body>::new(x, y, z) * (2.0 * 4.0 * 5e-3));
            attitude
        })
        .collect();
    let (upright, halfway) = upright_and_halfway(flown.iter().copied());
    assert!(upright > halfway, "level after {upright} steps, half way round after {halfway}");
}

#[test]
fn exactly_inverted_craft_recovers() {
    // There the split has no heading error; either horizontal axis is correct.
    for start in [[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, -1.0, 0.0], [0.0, 0.6, 0.8, 0.0]] {
        let flown = followed(Attitude::from_wxyz::<Libm>(start).unwrap(), Attitude::LEVEL, 10.0);
        assert!(flown.last().unwrap().0.cos_tilt() > 0.9999, "{start:?}");
        let upright = flown.iter().position(|(attitude, _)| attitude.cos_tilt() > 0.0).unwrap();
        assert!(upright as f32 * 5e-3 < 1.5);
    }
}

/// Cosine of the tilt after 3 s and the time in s until the thrust points up, from the printed start, with a
/// rotor time constant of 40 ms and the torque that the rotors have at hover. `working`: the attitude loop's
/// set-points reach the rate loop.
fn recovery(working: bool) -> (f32, Option<f32>) {
    let config = config();
    let mut attitude_controller = AttitudeController::<Libm>::new(&config.attitude, 5e-3).unwrap();
    let mut rate_controller = RateController::new(&config.rate, 1e-3).unwrap();
    // R0 = [1 0 0; 0 -0.9995 -0.0314; 0 0.0314 -0.9995]: a turn about the forward axis by 178.2 deg.
    let mut attitude = angles(0.0314f32.atan2(-0.9995).to_degrees(), 0.0, 0.0);
    // Psi = tr(I - R)/2 = 2 (1 - w^2) of this matrix is 1.99951; the 1.995 of the paper's text belongs to
    // another start.
    assert!((2.0 * (1.0 - attitude.wxyz()[0].powi(2)) - 1.99951).abs() < 1e-5);
    let (j, j_inverse) = ([0.0820f32, 0.0845, 0.1377], [0.0820f32, 0.0845, 0.1377].map(f32::recip));
    let diagonal = |d: [f32; 3]| Vector::<Body>::new(d[0], d[1], d[2]);
    let (mut w, mut torque, mut setpoint) =
        (Vector::<Body>::ZERO, Vector::<Body>::ZERO, RateSetpoint::default());
    let most = [9.4f32, 9.4, 0.3];
    let mut up_at = None;
    for tick in 0..3000u32 {
        if tick % 5 == 0 {
            let demanded = attitude_controller.step(Attitude::LEVEL, attitude, w).rate_setpoint;
            setpoint = if working { demanded } else { RateSetpoint::default() };
        } else {
            setpoint = setpoint.after(1e-3);
        }
        let demanded = rate_controller.step(&setpoint, w).to_array();
        let given: [f32; 3] = core::array::from_fn(|i| demanded[i].max(-most[i]).min(most[i]));
        rate_controller.achieved(diagonal(given));
        torque += (diagonal(given) - torque) * (1e-3 / 0.04);
        // J dw/dt = torque - w x J w.
        w += (torque - w.cross(w.scale(diagonal(j)))).scale(diagonal(j_inverse)) * 1e-3;
        attitude = attitude.rotated(w * 1e-3);
        if up_at.is_none() && attitude.cos_tilt() > 0.0 {
            up_at = Some(tick as f32 * 1e-3);
        }
    }
    (attitude.cos_tilt(), up_at)
}

#[test]
fn inverted_craft_recovers() {
    let (upright, up_at) = recovery(true);
    assert!(upright > 0.9994, "{upright}");
    // The published law has the thrust point up after 1.28 s (our solution for the printed start); gains here
    // differ.
    assert!(up_at.is_some_and(|s| s < 1.3), "{up_at:?}");
    let (twin, never) = recovery(false);
    assert!(twin < -0.9 && never.is_none());
}
