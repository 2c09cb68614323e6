//! A point mass flown by position and velocity controller through the tilt limit: it stops at the set-point,
//! never faster than the distance left allows, in every direction.

use aplomb::control::attitude::AttitudeController;
use aplomb::control::position::{self, PositionController};
use aplomb::control::thrust_vector::ThrustVector;
use aplomb::control::velocity::VelocityController;
use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Attitude, Heading, Horizontal, Vector};
use aplomb::mix::Geometry;
use aplomb::{Libm, PositionSetpoint, Spin};

fn config() -> Config {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5)).unwrap()
}

struct Flight {
    /// Largest speed over sqrt(2 a d), a the braking deceleration and d the distance left, beyond 1 m.
    over_profile: f32,
    /// Overshoot beyond the target, m.
    overshoot_m: f32,
    fastest_m_s: f32,
    steepest_rad: f32,
    /// Distance and speed at the end.
    left_m: f32,
    left_m_s: f32,
    limited: bool,
}

/// Flies from rest to `target` for `seconds`, with no drag and no wind: the tilt is that of the attitude
/// controller's reference.
fn fly(config: &Config, position: &position::Config, target: Horizontal, seconds: f32) -> Flight {
    const SLOW_S: f32 = 0.025;
    const FAST_S: f32 = 0.005;
    let outer = PositionController::<Libm>::new(position).unwrap();
    let mut inner = VelocityController::<Libm>::new(&config.velocity, SLOW_S).unwrap();
    let thrust = ThrustVector::<Libm>::new(&config.thrust).unwrap();
    let mut attitude_controller = AttitudeController::<Libm>::new(&config.attitude, FAST_S).unwrap();
    let (mut position_m, mut speed, mut attitude) = (Horizontal::ZERO, Horizontal::ZERO, Attitude::LEVEL);
    let line = target * target.norm::<Libm>().recip();
    let mut flight = Flight {
        over_profile: 0.0,
        overshoot_m: 0.0,
        fastest_m_s: 0.0,
        steepest_rad: 0.0,
        left_m: 0.0,
        left_m_s: 0.0,
        limited: false,
    };
    for _ in 0..(seconds / SLOW_S) as usize {
        let velocity = outer.step(&PositionSetpoint::at(target), position_m, speed);
        let output = inner.step(&velocity.setpoint, speed);
        let direction = thrust.step(output.acceleration_m_s2.with_down(0.0));
        inner.achieved(direction.acceleration_m_s2.horizontal());
        flight.limited |= velocity.limited;
        for _ in 0..5 {
            let setpoint = Attitude::from_down_and_heading::<Libm>(direction.down, Heading::NORTH).unwrap();
            attitude = attitude_controller.step(setpoint, attitude, Vector::ZERO).reference;
            let down = attitude.down_axis();
            speed += Horizontal::new(down.x(), down.y()) * (-9.80665 / down.z() * FAST_S);
            position_m += speed * FAST_S;
            flight.steepest_rad = flight.steepest_rad.max(down.x().hypot(down.y()).atan2(down.z()));
        }
        let left = target - position_m;
        let (left_m, speed_m_s) = (left.norm::<Libm>(), speed.norm::<Libm>());
        if left.dot(line) > 1.0 {
            let profile = (2.0 * config.position.braking_m_s2 * left_m).sqrt();
            flight.over_profile = flight.over_profile.max(speed_m_s / profile);
        }
        flight.overshoot_m = flight.overshoot_m.max(-left.dot(line));
        flight.fastest_m_s = flight.fastest_m_s.max(speed_m_s);
        (flight.left_m, flight.left_m_s) = (left_m, speed_m_s);
    }
    flight
}

#[test]
fn craft_stops_at_the_target_within_the_tilt_limit() {
    let config = config();
    let limit = config.position.speed_limit_m_s;
    for (north, east) in [(3.0, 0.0), (0.0, -12.0), (-30.0, 40.0), (120.0, 90.0)] {
        let flight = fly(&config, &config.position, Horizontal::new(north, east), 60.0);
        println!(
            "{north} {east}: {:.3} of the profile, {:.2} m beyond, {:.2} m/s, {:.1} deg",
            flight.over_profile,
            flight.overshoot_m,
            flight.fastest_m_s,
            flight.steepest_rad.to_degrees()
        );
        assert!(flight.over_profile <= 1.0);
        assert!(flight.overshoot_m < 0.1 + 0.01 * f32::hypot(north, east), "{}", flight.overshoot_m);
        assert!(flight.fastest_m_s <= 1.02 * limit);
        // The reference overshoots a step of tilt by its damping of 0.75; the set-point itself never does.
        assert!(flight.steepest_rad < 1.05 * config.thrust.tilt_limit_rad);
        assert!(flight.left_m < 0.05 && flight.left_m_s < 0.05, "{} {}", flight.left_m, flight.left_m_s);
        // The profile reaches the speed limit at v^2/(2 a) + a/(2 k^2).
        let (a, k) = (config.position.braking_m_s2, config.position.crossover_rad_s);
        assert_eq!(flight.limited, f32::hypot(north, east) > 0.5 * (limit * limit / a + a / (k * k)));
    }
}

#[test]
fn twin_with_too_high_a_braking_deceleration_overshoots() {
    // Ten times the deceleration, which the tilt limit does not give, and a gain that uses it.
    let config = config();
    let rash = position::Config {
        braking_m_s2: 10.0 * config.position.braking_m_s2,
        crossover_rad_s: 4.0 * config.position.crossover_rad_s,
        ..config.position
    };
    let flight = fly(&config, &rash, Horizontal::new(-30.0, 40.0), 60.0);
    assert!(
        flight.over_profile > 1.1 && flight.overshoot_m > 1.0,
        "{} {}",
        flight.over_profile,
        flight.overshoot_m
    );
}
