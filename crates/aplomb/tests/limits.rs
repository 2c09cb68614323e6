//! The limits of the outer loops hold exactly, in every direction, and are reported.

use aplomb::control::attitude::{self, AttitudeController};
use aplomb::control::{heading, position, thrust_vector, velocity, vertical, wind};
use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Attitude, Body, Heading, Horizontal, Vector};
use aplomb::mix::Geometry;
use aplomb::{
    HeadingDemand, Libm, PositionSetpoint, STANDARD_GRAVITY_M_S2, Spin, VelocitySetpoint, VerticalDemand,
};
use proptest::prelude::*;

const THRUST: thrust_vector::Config =
    thrust_vector::Config { mass_kg: 1.2, tilt_limit_rad: 0.5, min_thrust_n: 2.4, max_thrust_n: 23.0 };
const POSITION: position::Config =
    position::Config { crossover_rad_s: 1.0, braking_m_s2: 2.5, speed_limit_m_s: 8.0 };
const VELOCITY: velocity::Config = velocity::Config {
    crossover_rad_s: 3.0,
    integral_time_s: 1.3,
    speed_limit_m_s: 7.0,
    acceleration_m_s2: 3.0,
    output_limit_m_s2: 6.0,
};
const VERTICAL: vertical::Config = vertical::Config {
    climb_crossover_rad_s: 4.0,
    climb_integral_time_s: 1.0,
    height_crossover_rad_s: 1.3,
    climb_limit_m_s: 3.0,
    descent_limit_m_s: 2.0,
    acceleration_m_s2: 3.0,
};

fn number() -> impl Strategy<Value = f32> {
    prop_oneof![8 => -40.0f32..40.0, 1 => any::<f32>()]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn prop_tilt_stays_in_the_cone_and_the_vertical_part_comes_first(n in -40.0f32..40.0, e in -40.0f32..40.0, d in -30.0f32..30.0) {
        let thrust = thrust_vector::ThrustVector::<Libm>::new(&THRUST).unwrap();
        let direction = thrust.step(Vector::new(n, e, d));
        let down = direction.down;
        let length = down.norm::<Libm>();
        let sine = down.x().hypot(down.y()) / length;
        let tilt = sine.atan2(down.z() / length);
        prop_assert!(tilt <= 0.5 + 1e-5, "{tilt}");
        // The horizontal part is limited to the cone and to the remaining thrust, no further, and the flag
        // reports it.
        let (cone, most) = (direction.up_m_s2 * 0.5f32.tan(), 23.0f32 / 1.2);
        let reach = cone.min((most * most - direction.up_m_s2 * direction.up_m_s2).max(0.0).sqrt());
        let (demanded, kept) = (n.hypot(e), direction.acceleration_m_s2.x().hypot(direction.acceleration_m_s2.y()));
        prop_assert!((kept - demanded.min(reach)).abs() < 2e-2, "{kept} of {demanded} with {reach} in reach");
        if (demanded - reach).abs() > 2e-2 {
            prop_assert_eq!(direction.tilt_limited, demanded > reach);
        }
        // Vertical first: a vertical demand within the rotors' range is met whatever the horizontal one.
        let (low, high) = thrust.vertical_range_m_s2().into_inner();
        if -d > low + 1e-3 && -d < high - 1e-3 {
            prop_assert!((direction.acceleration_m_s2.z() - d).abs() < 1e-3);
            prop_assert!((direction.up_m_s2 - (STANDARD_GRAVITY_M_S2 - d)).abs() < 1e-3);
        }
        // The horizontal direction is kept.
        let a = direction.acceleration_m_s2;
        prop_assert!((a.x() * e - a.y() * n).abs() <= 1e-3 * (1.0 + n.hypot(e) * a.x().hypot(a.y())));
    }

    #[test]
    fn prop_approach_speed_can_be_braked_within_the_distance(n in number(), e in number(), x in number()) {
        let position = position::PositionController::<Libm>::new(&POSITION).unwrap();
        let setpoint = PositionSetpoint::at(Horizontal::new(n, e));
        let output = position.step(&setpoint, Horizontal::new(x, 0.0), Horizontal::ZERO);
        let speed = output.setpoint.velocity_m_s.norm::<Libm>();
        let distance = (n - x).hypot(e);
        prop_assert!(speed.is_finite() && speed <= 8.0 * 1.0001);
        if distance.is_finite() && distance < 1e6 {
            prop_assert!(speed <= (2.0 * 2.5 * distance).sqrt() * 1.0001 + 1e-6, "{speed} at {distance}");
            // The square root's curve meets the straight line of the gain at a/gain^2, which takes half of
            // that off: 8 m/s from 8^2/(2 a) + a/(2 gain^2) on.
            let from = 64.0 / 5.0 + 1.25;
            if (distance - from).abs() > 0.01 {
                prop_assert_eq!(output.limited, distance > from);
            }
        }
    }

    #[test]
    fn prop_velocity_set_point_keeps_its_speed_limit_and_slope(steps in proptest::collection::vec((number(), number()), 1..40)) {
        let mut velocity = velocity::VelocityController::<Libm>::new(&VELOCITY, 0.025).unwrap();
        let mut last = None;
        for (n, e) in steps {
            let output = velocity.step(&VelocitySetpoint::constant(Horizontal::new(n, e)), Horizontal::ZERO);
            prop_assert!(output.velocity_m_s.norm::<Libm>() <= 7.0 * 1.0001);
            prop_assert!(output.acceleration_m_s2.is_finite());
            if n.is_finite() && e.is_finite() && n.hypot(e) < 1e6 {
                prop_assert_eq!(output.limited, n * n + e * e > 49.0);
            }
            if let Some(last) = last {
                let change: Horizontal = output.velocity_m_s - last;
                prop_assert!(change.norm::<Libm>() <= 3.0 * 0.025 * 1.001, "{change:?}");
            }
            last = Some(output.velocity_m_s);
            velocity.achieved(output.acceleration_m_s2);
        }
    }

    #[test]
    fn prop_wind_feed_forward_is_bounded_by_the_strongest_finite_wind(steps in proptest::collection::vec((number(), number()), 1..40)) {
        let mut forward = wind::WindFeedForward::new(&wind::Config { drag_per_s: 0.25, pole_rad_s: 0.4 }, 0.025).unwrap();
        let mut strongest = 0.0f32;
        for (n, e) in steps {
            let a = forward.step(Horizontal::new(n, e));
            if n.hypot(e).is_finite() {
                strongest = strongest.max(n.hypot(e));
            }
            prop_assert!(a.is_finite());
            prop_assert!(a.norm::<Libm>() <= 0.25 * strongest * 1.001 + 1e-6, "{a:?} {strongest}");
        }
    }

    #[test]
    fn prop_climb_and_descent_keep_their_limits(steps in proptest::collection::vec((any::<bool>(), number(), number()), 1..40)) {
        let mut vertical = vertical::VerticalController::<Libm>::new(&VERTICAL, -7.0..=9.0, 0.025).unwrap();
        for (climbing, demand, height) in steps {
            let demand = if climbing { VerticalDemand::Climb(demand) } else { VerticalDemand::Height(demand) };
            let output = vertical.step(demand, height, 0.0);
            // Exactly: the ramp ends on the limit itself.
            prop_assert!((-2.0..=3.0).contains(&output.climb_m_s), "{}", output.climb_m_s);
            // A centred climb holds a height, which may be far; any other is limited or not by its size
            // alone.
            if let VerticalDemand::Climb(climb) = demand && climb != 0.0 && climb.is_finite() {
                prop_assert_eq!(output.limited, !(-2.0..=3.0).contains(&climb));
            }
            prop_assert!((-7.0001..=9.0001).contains(&output.up_m_s2), "{}", output.up_m_s2);
            vertical.achieved(output.up_m_s2);
        }
    }

    #[test]
    fn prop_heading_set_point_turns_no_faster_than_its_limit_and_reports_it(steps in proptest::collection::vec((any::<bool>(), -7.0f32..7.0), 1..60), yaw in -3.0f32..3.0) {
        let outcome = turn(&attitude_config(), &steps, yaw);
        prop_assert!(outcome.fastest_rad_s <= HEADING_RATE_RAD_S * 1.0001, "{}", outcome.fastest_rad_s);
        prop_assert!(outcome.flags_right);
    }

    #[test]
    fn prop_body_rate_keeps_its_limits_from_any_attitude(a in quaternion(), b in quaternion(), w in [number(), number(), number()]) {
        let config = attitude_config();
        let mut controller = AttitudeController::<Libm>::new(&config, 5e-3).unwrap();
        let mut present = a;
        let mut rate = Vector::<Body>::new(w[0], w[1], w[2]);
        for _ in 0..40 {
            let output = controller.step(b, present, rate);
            rate = output.rate_setpoint.rate_rad_s;
            prop_assert!(rate.x().hypot(rate.y()) <= config.tilt.rate_limit_rad_s * 1.000_001);
            prop_assert!(rate.z().abs() <= config.heading.rate_limit_rad_s);
            prop_assert!(output.rate_setpoint.feed_forward_rad_s2.is_finite() && output.rate_setpoint.setpoint_derivative_rad_s2.is_finite());
            present = present.rotated(rate * 5e-3);
        }
    }
}

const HEADING_RATE_RAD_S: f32 = 1.2;

fn attitude_config() -> attitude::Config {
    let mut config = demo().attitude;
    config.heading.rate_limit_rad_s = HEADING_RATE_RAD_S;
    config
}

fn demo() -> Config {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5)).unwrap()
}

fn quaternion() -> impl Strategy<Value = Attitude> {
    [-1.0f32..1.0, -1.0f32..1.0, -1.0f32..1.0, -1.0f32..1.0]
        .prop_map(|q| Attitude::from_wxyz::<Libm>(q).unwrap_or(Attitude::LEVEL))
}

struct Turned {
    fastest_rad_s: f32,
    flags_right: bool,
}

/// Headings to hold (true) and heading rates, one a step, with the nose following the set-point.
fn turn(config: &attitude::Config, steps: &[(bool, f32)], yaw: f32) -> Turned {
    let limit = heading::Config { rate_limit_rad_s: config.heading.rate_limit_rad_s };
    let mut limiter = heading::HeadingRateLimiter::<Libm>::new(&limit, 5e-3).unwrap();
    let mut heading = Heading::from_rad::<Libm>(yaw);
    let mut outcome = Turned { fastest_rad_s: 0.0, flags_right: true };
    for (hold, x) in steps {
        let (demand, beyond) = if *hold {
            let target = Heading::from_rad::<Libm>(*x);
            let away = heading.sine_to(target).atan2(heading.cosine_to(target));
            (HeadingDemand::Hold(target), away.abs() - 5e-3 * HEADING_RATE_RAD_S)
        } else {
            (HeadingDemand::Rate(*x), x.abs() - HEADING_RATE_RAD_S)
        };
        let yaw = heading.to_rad::<Libm>();
        let turn = limiter.step(demand, Attitude::from_angles::<Libm>(0.1, -0.1, yaw));
        let angle = heading.sine_to(turn.heading).atan2(heading.cosine_to(turn.heading));
        outcome.fastest_rad_s = outcome.fastest_rad_s.max(angle.abs() / 5e-3);
        // Within rounding of the limit either flag is right.
        outcome.flags_right &= beyond.abs() < 1e-4 || turn.limited == (beyond > 0.0);
        heading = turn.heading;
    }
    outcome
}

#[test]
fn twins_with_the_limit_off_break_it() {
    // Each quantity exceeds the stated limit when the controller is built with a larger one.
    let mut free = attitude_config();
    free.heading.rate_limit_rad_s = 10.0;
    let outcome = turn(&free, &[(false, 7.0), (true, 3.0)], 0.0);
    assert!(outcome.fastest_rad_s > 2.0 * HEADING_RATE_RAD_S && !outcome.flags_right);

    let steep = thrust_vector::Config { tilt_limit_rad: 0.8, ..THRUST };
    let down =
        thrust_vector::ThrustVector::<Libm>::new(&steep).unwrap().step(Vector::new(20.0, 0.0, 0.0)).down;
    assert!(down.x().abs().atan2(down.z()) > 0.55);

    let fast = vertical::Config { climb_limit_m_s: 9.0, descent_limit_m_s: 9.0, ..VERTICAL };
    let mut vertical = vertical::VerticalController::<Libm>::new(&fast, -7.0..=9.0, 0.025).unwrap();
    for (demand, limit) in [(8.0, 3.0), (-8.0, 2.0)] {
        vertical.reset();
        let climb = (0..200).map(|_| vertical.step(VerticalDemand::Climb(demand), 0.0, 0.0).climb_m_s);
        assert!(climb.fold(0.0f32, |most, climb| most.max(climb.abs())) > 2.0 * limit);
    }

    let far = position::Config { braking_m_s2: 25.0, speed_limit_m_s: 80.0, ..POSITION };
    let position = position::PositionController::<Libm>::new(&far).unwrap();
    let setpoint = PositionSetpoint::at(Horizontal::new(100.0, 0.0));
    let speed = position.step(&setpoint, Horizontal::ZERO, Horizontal::ZERO).setpoint.velocity_m_s.north;
    assert!(speed > 8.0 && speed > (2.0f32 * 2.5 * 100.0).sqrt());
}

#[test]
fn derived_descent_stays_below_half_the_induced_speed() {
    // Hover induced speed sqrt(T/(2 rho A)), A the discs of four rotors (Leishman, Principles of Helicopter
    // Aerodynamics, 2nd ed. 2006, ch. 2); half of it: common practice, no source.
    for (mass_kg, diameter_m, max_thrust_n) in [(0.05, 0.06, 0.3), (1.2, 0.2286, 6.5), (6.0, 0.45, 40.0)] {
        let geometry = Geometry::symmetric_x(diameter_m, diameter_m, Spin::CounterClockwise, 0.012);
        let inertia = [0.01, 0.011, 0.02].map(|j: f32| j * mass_kg * diameter_m * diameter_m);
        let airframe = Airframe {
            rotor_diameter_m: diameter_m,
            ..Airframe::new(mass_kg, inertia, geometry, max_thrust_n)
        };
        let config = Config::for_airframe(&airframe).unwrap();
        let discs = core::f32::consts::PI * diameter_m * diameter_m;
        let induced = (mass_kg * STANDARD_GRAVITY_M_S2 / (2.0 * 1.225 * discs)).sqrt();
        for descent in [
            config.vertical.descent_limit_m_s,
            config.pilot.full_stick_descent_m_s,
            config.pilot.landing_speed_m_s,
        ] {
            assert!(
                descent < 0.5 * induced && descent > 0.05 * induced,
                "{descent} of {induced} at {mass_kg} kg"
            );
        }
    }
}

#[test]
fn centred_climb_stick_drops_the_height_set_point_brakes_and_holds() {
    let mut vertical = vertical::VerticalController::<Libm>::new(&VERTICAL, -7.0..=9.0, 0.025).unwrap();
    // A craft that follows the commanded climb exactly.
    let (mut height, mut climb) = (5.0f32, 0.0f32);
    let mut fly = |demand, steps| {
        for _ in 0..steps {
            climb = vertical.step(demand, height, climb).climb_m_s;
            height += 0.025 * climb;
        }
        (height, climb)
    };
    let (passing, speed) = fly(VerticalDemand::Height(60.0), 120);
    assert!(passing < 15.0 && speed == 3.0);
    let (rest, _) = fly(VerticalDemand::Climb(0.0), 400);
    // Braking from 3 m/s at 3 m/s2 takes 1.5 m.
    assert!((rest - passing - 1.5).abs() < 0.2, "{passing} to {rest}");
    let (still, speed) = fly(VerticalDemand::Climb(0.0), 4000);
    assert!((still - rest).abs() < 0.02 && speed.abs() < 1e-3, "{rest} to {still}");
}

#[test]
fn non_finite_demands_command_no_climb() {
    let mut vertical = vertical::VerticalController::<Libm>::new(&VERTICAL, -7.0..=9.0, 0.025).unwrap();
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        for demand in [VerticalDemand::Height(4.0), VerticalDemand::Height(bad), VerticalDemand::Climb(bad)] {
            vertical.reset();
            for _ in 0..100 {
                let output = vertical.step(demand, bad, bad);
                assert_eq!(
                    (output.climb_m_s, output.up_m_s2, output.limited),
                    (0.0, 0.0, false),
                    "{demand:?} {bad}"
                );
            }
            // The next finite demand is followed.
            let output = vertical.step(VerticalDemand::Height(9.0), 5.0, 0.0);
            assert!(output.climb_m_s > 0.0 && output.up_m_s2 > 0.0);
        }
    }
}
