//! The limits of the outer loops hold exactly, in every direction, and are reported.

use aplomb::VerticalDemand;
use aplomb::control::{position, thrust_vector, velocity, vertical};
use aplomb::frames::Vector;
use aplomb::{Libm, STANDARD_GRAVITY_M_S2};
use proptest::prelude::*;

const THRUST: thrust_vector::Config =
    thrust_vector::Config { mass_kg: 1.2, tilt_limit_rad: 0.5, low_n: 2.4, high_n: 23.0 };
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
        let aim = thrust.aim(Vector::new(n, e, d));
        let down = aim.down;
        let length = down.norm::<Libm>();
        let sine = down.x().hypot(down.y()) / length;
        let tilt = sine.atan2(down.z() / length);
        prop_assert!(tilt <= 0.5 + 1e-5, "{tilt}");
        // The horizontal part is cut to the cone and to the thrust that is left, no further, and it is said.
        let (cone, most) = (aim.up_m_s2 * 0.5f32.tan(), 23.0f32 / 1.2);
        let reach = cone.min((most * most - aim.up_m_s2 * aim.up_m_s2).max(0.0).sqrt());
        let (wanted, kept) = (n.hypot(e), aim.acceleration_m_s2.x().hypot(aim.acceleration_m_s2.y()));
        prop_assert!((kept - wanted.min(reach)).abs() < 2e-2, "{kept} of {wanted} with {reach} in reach");
        if (wanted - reach).abs() > 2e-2 {
            prop_assert_eq!(aim.tilt_limited, wanted > reach);
        }
        // Vertical first: a vertical demand within the rotors' range is met whatever the horizontal one.
        let (low, high) = thrust.vertical_range_m_s2();
        if -d > low + 1e-3 && -d < high - 1e-3 {
            prop_assert!((aim.acceleration_m_s2.z() - d).abs() < 1e-3);
            prop_assert!((aim.up_m_s2 - (STANDARD_GRAVITY_M_S2 - d)).abs() < 1e-3);
        }
        // The horizontal direction is kept.
        let a = aim.acceleration_m_s2;
        prop_assert!((a.x() * e - a.y() * n).abs() <= 1e-3 * (1.0 + n.hypot(e) * a.x().hypot(a.y())));
    }

    #[test]
    fn prop_approach_speed_can_be_braked_within_the_distance(n in number(), e in number(), x in number()) {
        let position = position::PositionLoop::<Libm>::new(&POSITION).unwrap();
        let output = position.step(Vector::new(n, e, 0.0), Vector::new(x, 0.0, 0.0), Vector::ZERO);
        let speed = output.velocity_m_s.norm::<Libm>();
        let distance = (n - x).hypot(e);
        prop_assert!(speed.is_finite() && speed <= 8.0 * 1.0001);
        if distance.is_finite() && distance < 1e6 {
            prop_assert!(speed <= (2.0 * 2.5 * distance).sqrt() * 1.0001 + 1e-6, "{speed} at {distance}");
            // The square root's curve meets the straight line of the gain at a/gain^2, which takes half of that off: 8 m/s from
            // 8^2/(2 a) + a/(2 gain^2) on.
            let from = 64.0 / 5.0 + 1.25;
            if (distance - from).abs() > 0.01 {
                prop_assert_eq!(output.limited, distance > from);
            }
        }
    }

    #[test]
    fn prop_velocity_set_point_keeps_its_speed_limit_and_slope(steps in proptest::collection::vec((number(), number()), 1..40)) {
        let velocity = velocity::VelocityLoop::<Libm>::new(&VELOCITY, 0.025).unwrap();
        let mut state = velocity::State::new();
        let mut last = None;
        for (n, e) in steps {
            let output = velocity.step(&mut state, Vector::new(n, e, 0.0), Vector::ZERO, Vector::ZERO);
            prop_assert!(output.velocity_m_s.norm::<Libm>() <= 7.0 * 1.0001);
            prop_assert!(output.acceleration_m_s2.is_finite());
            if n.is_finite() && e.is_finite() && n.hypot(e) < 1e6 {
                prop_assert_eq!(output.limited, n * n + e * e > 49.0);
            }
            if let Some(last) = last {
                let change: Vector<aplomb::frames::World> = output.velocity_m_s - last;
                prop_assert!(change.norm::<Libm>() <= 3.0 * 0.025 * 1.001, "{change:?}");
            }
            last = Some(output.velocity_m_s);
            velocity.achieved(&mut state, output.acceleration_m_s2);
        }
    }

    #[test]
    fn prop_climb_and_descent_keep_their_limits(steps in proptest::collection::vec((any::<bool>(), number(), number()), 1..40)) {
        let vertical = vertical::VerticalLoop::<Libm>::new(&VERTICAL, (-7.0, 9.0), 0.025).unwrap();
        let mut state = vertical::State::new();
        for (climbing, demand, height) in steps {
            let demand = if climbing { VerticalDemand::Climb(demand) } else { VerticalDemand::Height(demand) };
            let output = vertical.step(&mut state, demand, height, 0.0);
            prop_assert!((-2.0001..=3.0001).contains(&output.climb_m_s), "{}", output.climb_m_s);
            prop_assert!((-7.0001..=9.0001).contains(&output.up_m_s2), "{}", output.up_m_s2);
            vertical.achieved(&mut state, output.up_m_s2);
        }
    }
}
