//! Recovery of the attitude filter from a rotation that the gyro did not measure, and the heading error left
//! by a gyro bias about the vertical.

use aplomb::estimate::attitude::{AttitudeFilter, Config, Corrections};
use aplomb::frames::{Attitude, Body, Vector};
use aplomb::{Libm, STANDARD_GRAVITY_M_S2};

fn filter() -> AttitudeFilter<Libm> {
    AttitudeFilter::new(&Config::RECOMMENDED, 1e-3).unwrap()
}

/// Specific force of a stationary craft with the given attitude.
fn stationary(attitude: Attitude) -> Vector<Body> {
    attitude.to_body(Vector::new(0.0, 0.0, -STANDARD_GRAVITY_M_S2))
}

/// The angle between the two world verticals seen from the body, in deg.
fn tilt_error_deg(a: Attitude, b: Attitude) -> f32 {
    let vertical = |q: Attitude| q.to_body(Vector::new(0.0, 0.0, 1.0));
    let (sine, cosine) = (vertical(a).cross(vertical(b)).norm::<Libm>(), vertical(a).dot(vertical(b)));
    sine.atan2(cosine).to_degrees()
}

/// Tilt error in deg in each of `seconds` after a jump of the tilt without a rate, with a force `length`
/// times as long, after half a minute of level hover.
fn after_unseen_jump(tilt_rad: f32, length: f32, seconds: u32) -> Vec<f32> {
    let mut filter = filter();
    for _ in 0..30_000 {
        filter.step(Vector::ZERO, stationary(Attitude::LEVEL), &Corrections::default());
    }
    let truth = Attitude::from_angles::<Libm>(tilt_rad, 0.0, 0.0);
    let second = |_| {
        for _ in 0..1000 {
            filter.step(Vector::ZERO, stationary(truth) * length, &Corrections::default());
        }
        tilt_error_deg(filter.output().attitude, truth)
    };
    (1..=seconds).map(second).collect()
}

#[test]
fn unseen_jump_is_back_under_2_deg_in_5_s() {
    for tilt_rad in [0.35f32, -0.35] {
        let error_deg = after_unseen_jump(tilt_rad, 1.0, 15);
        println!("tilt error after an unseen jump of 20 deg, by second: {error_deg:.2?} deg");
        assert!(error_deg[4..].iter().all(|&error| error < 2.0), "{error_deg:?}");
    }
    // The twin: the same direction from an acceleration along the horizon, which makes the force longer. The
    // attitude is right and must not follow.
    let moved_deg = 20.05 - after_unseen_jump(0.35, 1.0 / 0.35f32.cos(), 5)[4];
    assert!(moved_deg < 8.5, "{moved_deg}");
}

#[test]
fn vertical_gyro_bias_leaves_the_heading_within_1_deg_after_3_min() {
    let error_deg = |with_field: bool| {
        let mut filter = filter();
        let gyro = Vector::new(0.0, 0.0, 1f32.to_radians());
        for k in 0..180_000 {
            let field = (with_field && k % 20 == 0).then(|| Vector::new(20.0, 0.0, 43.0));
            filter.step(
                gyro,
                stationary(Attitude::LEVEL),
                &Corrections { magnetic_field: field, ..Corrections::default() },
            );
        }
        filter.output().attitude.to_angles::<Libm>().2.to_degrees().abs()
    };
    println!("heading error after 3 min with 1 deg/s: {:.3} deg", error_deg(true));
    assert!(error_deg(true) < 1.0, "{}", error_deg(true));
    assert!(error_deg(false) > 170.0, "without the field it turns by 180 deg: {}", error_deg(false));
}
