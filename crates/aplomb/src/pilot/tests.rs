use super::*;

const CONFIG: Config = Config {
    dead_band: 0.04,
    expo: 0.3,
    full_stick_tilt_rad: 0.5,
    full_stick_roll_pitch_rate_rad_s: 4.0,
    full_stick_yaw_rate_rad_s: 1.5,
    full_stick_climb_m_s: 3.0,
    full_stick_descent_m_s: 2.0,
    hold_below_m_s: 0.5,
    landing_speed_m_s: 0.7,
};

const CRAFT: PilotParameters =
    PilotParameters { min_thrust_n: 2.0, hover_thrust_n: 12.0, max_thrust_n: 24.0 };

fn pilot() -> Pilot {
    Pilot::new(&CONFIG, &CRAFT).unwrap()
}

fn shaping(dead_band: f32, expo: f32) -> Pilot {
    Pilot::new(&Config { dead_band, expo, ..CONFIG }, &CRAFT).unwrap()
}

fn no_position() -> estimate::State {
    estimate::State::default()
}

/// North of home by `x` m, flying north and east with the given speeds in m/s.
fn flying(x: f32, north_m_s: f32, east_m_s: f32) -> estimate::State {
    estimate::State {
        position_valid: true,
        position_m: Vector::new(x, 0.0, 0.0),
        velocity_m_s: Vector::new(north_m_s, east_m_s, 0.0),
        ..estimate::State::default()
    }
}

const CENTRED: Demand = Demand::Sticks(Sticks::CENTRED);

#[test]
fn shaped_stick_is_odd_monotonic_and_ends_at_full() {
    for (dead_band, expo) in [(0.0, 0.0), (0.04, 0.3), (0.5, 1.0)] {
        let pilot = shaping(dead_band, expo);
        assert_eq!((pilot.shaped(1.0), pilot.shaped(-1.0), pilot.shaped(dead_band)), (1.0, -1.0, 0.0));
        let mut last = 0.0;
        for i in 0..=1000 {
            let x = i as f32 * 1e-3;
            let y = pilot.shaped(x);
            assert!(y >= last && y <= x + 1e-6 && y == -pilot.shaped(-x), "{x} {y}");
            // No jump at the edge of the dead band.
            assert!(y - last <= 3.0 * 1e-3 / (1.0 - dead_band) + 1e-6);
            last = y;
        }
        for bad in [f32::NAN, 7.0, f32::NEG_INFINITY] {
            assert!((-1.0..=1.0).contains(&pilot.shaped(bad)));
        }
        assert_eq!(pilot.shaped(f32::NAN), 0.0);
    }
    // Twin without a dead band: the same small deflection is a command.
    assert_eq!(shaping(0.04, 0.3).shaped(0.03), 0.0);
    assert!(shaping(0.0, 0.3).shaped(0.03) > 0.0);
}

#[test]
fn diagonal_sticks_tilt_no_further_than_one_stick_alone() {
    let mut pilot = pilot();
    let full = 0.5f32.sin();
    let mut tilt = |roll, pitch| match pilot
        .step(&Demand::Sticks(Sticks { roll, pitch, ..Sticks::CENTRED }), &no_position())
    {
        Demand::Tilt { tilt, .. } => tilt,
        other => panic!("{other:?}"),
    };
    for i in 0..360 {
        let (s, c) = (i as f32).to_radians().sin_cos();
        // From the centre to the edge of the square travel.
        let reach = 1.0 / s.abs().max(c.abs());
        let Tilt { forward, right } = tilt(reach * s, reach * c);
        assert!(forward.hypot(right) <= full * 1.000_001, "{i} deg");
    }
    let Tilt { forward, right } = tilt(0.0, -1.0);
    assert!((forward - full).abs() < 1e-6 && right == 0.0);
    let Tilt { forward, right } = tilt(1.0, 0.0);
    assert!((right - full).abs() < 1e-6 && forward == 0.0);
}

#[test]
fn full_yaw_and_climb_sticks_give_the_stated_rates_and_centred_ones_none() {
    let mut pilot = pilot();
    let mut commanded = |yaw, climb| match pilot
        .step(&Demand::Sticks(Sticks { yaw, climb, ..Sticks::CENTRED }), &no_position())
    {
        Demand::Tilt { heading, vertical, .. } => (heading, vertical),
        other => panic!("{other:?}"),
    };
    let (rate, climb) = (HeadingDemand::Rate, VerticalDemand::Climb);
    assert_eq!(commanded(1.0, 1.0), (rate(1.5), climb(3.0)));
    assert_eq!(commanded(-1.0, -1.0), (rate(-1.5), climb(-2.0)));
    // A climb of exactly 0 holds the height; so does a stick that is not finite.
    assert_eq!(commanded(0.03, -0.03), (rate(0.0), climb(0.0)));
    assert_eq!(commanded(f32::NAN, f32::NAN), (rate(0.0), climb(0.0)));
}

#[test]
fn centred_sticks_brake_then_hold_the_position_and_moving_one_releases_it() {
    let mut pilot = pilot();
    let moving = pilot.step(&CENTRED, &flying(0.0, 4.0, 0.0));
    assert!(matches!(moving, Demand::Velocity { setpoint, .. } if setpoint == VelocitySetpoint::default()));
    // The speed is that over ground, not one component: 0.4 m/s north and 0.4 m/s east are 0.57 m/s.
    for (north, east) in [(0.6, 0.0), (0.0, 0.6), (0.4, 0.4)] {
        assert!(matches!(pilot.step(&CENTRED, &flying(3.0, north, east)), Demand::Velocity { .. }));
    }
    // Below 0.5 m/s the position is held, and stays the same while gusts move the craft.
    for (x, north) in [(3.2, 0.4), (3.4, 1.5), (2.0, 1.5)] {
        let demand = pilot.step(&CENTRED, &flying(x, north, 0.0));
        let Demand::Position { setpoint, .. } = demand else { panic!("{demand:?}") };
        assert_eq!(setpoint.position_m.north, 3.2);
    }
    for moved in [Sticks { roll: 0.3, ..Sticks::CENTRED }, Sticks { pitch: 0.3, ..Sticks::CENTRED }] {
        let mut pilot = pilot;
        assert!(matches!(pilot.step(&Demand::Sticks(moved), &flying(2.0, 0.0, 0.0)), Demand::Tilt { .. }));
        assert_eq!(pilot.state(), State::Free);
        assert!(matches!(pilot.step(&CENTRED, &flying(9.0, 0.0, 0.0)), Demand::Velocity { .. }));
    }
    // Yaw and climb do not release it.
    let turning = Demand::Sticks(Sticks { yaw: 1.0, climb: 1.0, ..Sticks::CENTRED });
    assert!(matches!(pilot.step(&turning, &flying(9.0, 0.0, 0.0)), Demand::Position { .. }));
}

#[test]
fn without_a_valid_position_centred_sticks_and_landing_level_the_craft() {
    let mut pilot = pilot();
    pilot.set_state(State::Holding(Horizontal::new(5.0, 5.0)));
    let demand = pilot.step(&CENTRED, &no_position());
    assert!(matches!(demand, Demand::Tilt { tilt, .. } if tilt == Tilt::LEVEL));
    assert_eq!(pilot.state(), State::Free);
    let land = pilot.step(&Demand::Land, &no_position());
    assert!(matches!(land, Demand::Tilt { vertical: VerticalDemand::Climb(climb), .. } if climb == -0.7));
}

#[test]
fn landing_descends_at_the_landing_speed_over_the_position_where_it_stopped() {
    let mut pilot = pilot();
    let _ = pilot.step(&Demand::Land, &flying(1.0, 3.0, 0.0));
    let _ = pilot.step(&Demand::Land, &flying(4.0, 0.1, 0.0));
    let demand = pilot.step(&Demand::Land, &flying(4.5, 1.0, 0.0));
    let Demand::Position { setpoint, heading, vertical } = demand else { panic!("{demand:?}") };
    assert_eq!(setpoint.position_m.north, 4.0);
    assert_eq!((heading, vertical), (HeadingDemand::Rate(0.0), VerticalDemand::Climb(-0.7)));
}

#[test]
fn rate_command_gives_body_rates_with_expo_up_to_the_full_stick_rates() {
    let pilot = pilot();
    let rates = |roll, pitch, yaw| match pilot.rate_command(Sticks { roll, pitch, yaw, climb: 0.0 }) {
        Demand::Rates { rate_rad_s, .. } => rate_rad_s.to_array(),
        other => panic!("{other:?}"),
    };
    assert_eq!(rates(1.0, -1.0, 1.0), [4.0, -4.0, 1.5]);
    assert_eq!(rates(0.03, f32::NAN, -0.03), [0.0; 3]);
    let half = pilot.shaped(0.5);
    assert!(half < 0.5);
    assert_eq!(rates(0.5, 0.5, -0.5), [4.0 * half, 4.0 * half, -1.5 * half]);
}

#[test]
fn rate_command_centres_the_thrust_at_hover_and_ends_at_the_smallest_and_the_largest() {
    let pilot = pilot();
    let thrust = |climb| match pilot.rate_command(Sticks { climb, ..Sticks::CENTRED }) {
        Demand::Rates { thrust_n, .. } => thrust_n,
        other => panic!("{other:?}"),
    };
    assert_eq!([thrust(-1.0), thrust(0.0), thrust(f32::NAN), thrust(1.0)], [2.0, 12.0, 12.0, 24.0]);
    let half = pilot.shaped(0.5);
    assert_eq!((thrust(0.5), thrust(-0.5)), (12.0 + half * 12.0, 12.0 - half * 10.0));
}

#[test]
fn rate_command_and_other_demands_release_the_position_and_pass_unchanged() {
    let rates = Demand::Rates { rate_rad_s: Vector::new(0.1, 0.2, 0.3), thrust_n: 5.0 };
    for demand in [Demand::RateSticks(Sticks::CENTRED), rates] {
        let mut pilot = pilot();
        pilot.set_state(State::Holding(Horizontal::ZERO));
        let flown = pilot.step(&demand, &flying(0.0, 0.0, 0.0));
        assert_eq!(pilot.state(), State::Free);
        if demand == rates {
            assert_eq!(flown, rates);
        }
    }
}

#[test]
fn thrusts_out_of_order_are_refused() {
    let refused = |craft| Pilot::<Libm>::new(&CONFIG, &craft).unwrap_err();
    let low = refused(PilotParameters { min_thrust_n: 12.0, ..CRAFT });
    assert_eq!((low.field, low.problem), ("min_thrust_n", Problem::WrongOrder("hover_thrust_n")));
    let high = refused(PilotParameters { max_thrust_n: 12.0, ..CRAFT });
    assert_eq!((high.field, high.problem), ("max_thrust_n", Problem::WrongOrder("hover_thrust_n")));
    for bad in [f32::NAN, f32::INFINITY, -1.0] {
        assert_eq!(refused(PilotParameters { min_thrust_n: bad, ..CRAFT }).field, "min_thrust_n");
        assert_eq!(refused(PilotParameters { hover_thrust_n: bad, ..CRAFT }).field, "hover_thrust_n");
        assert_eq!(refused(PilotParameters { max_thrust_n: bad, ..CRAFT }).field, "max_thrust_n");
    }
}
