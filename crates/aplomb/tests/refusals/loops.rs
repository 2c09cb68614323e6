//! Loops, thrust curve, sticks and guard.

use aplomb::control::{attitude, heading, position, rate, thrust_vector, velocity, vertical, wind};
use aplomb::error::{ConfigError, Problem};
use aplomb::mix::{ThrustCurve, ThrustCurveConfig};
use aplomb::{Libm, guard, pilot};

use super::config;
use super::table::{Any, Field, FromZero, Positive, Within, refused};

#[test]
fn rate_loop_names_field_and_axis() {
    let fields: &[Field<rate::Config>] = &[
        ("roll.crossover_rad_s", |c, x| c.roll.crossover_rad_s = x, Positive),
        ("roll.integral_time_s", |c, x| c.roll.integral_time_s = x, Positive),
        ("roll.derivative_time_s", |c, x| c.roll.derivative_time_s = x, FromZero),
        ("roll.acceleration_limit_rad_s2", |c, x| c.roll.acceleration_limit_rad_s2 = x, Positive),
        ("pitch.crossover_rad_s", |c, x| c.pitch.crossover_rad_s = x, Positive),
        ("pitch.integral_time_s", |c, x| c.pitch.integral_time_s = x, Positive),
        ("pitch.derivative_time_s", |c, x| c.pitch.derivative_time_s = x, FromZero),
        ("pitch.acceleration_limit_rad_s2", |c, x| c.pitch.acceleration_limit_rad_s2 = x, Positive),
        ("yaw.crossover_rad_s", |c, x| c.yaw.crossover_rad_s = x, Positive),
        ("yaw.integral_time_s", |c, x| c.yaw.integral_time_s = x, Positive),
        ("yaw.derivative_time_s", |c, x| c.yaw.derivative_time_s = x, FromZero),
        ("yaw.acceleration_limit_rad_s2", |c, x| c.yaw.acceleration_limit_rad_s2 = x, Positive),
        ("derivative_filter_ratio", |c, x| c.derivative_filter_ratio = x, Within(2.0, 20.0)),
        ("inertia.roll_kg_m2", |c, x| c.inertia.roll_kg_m2 = x, Positive),
        ("inertia.pitch_kg_m2", |c, x| c.inertia.pitch_kg_m2 = x, Positive),
        ("inertia.yaw_kg_m2", |c, x| c.inertia.yaw_kg_m2 = x, Positive),
        ("inertia.forward_right_kg_m2", |c, x| c.inertia.forward_right_kg_m2 = x, Any),
        ("inertia.forward_down_kg_m2", |c, x| c.inertia.forward_down_kg_m2 = x, Any),
        ("inertia.right_down_kg_m2", |c, x| c.inertia.right_down_kg_m2 = x, Any),
        ("reaction_time_constant_s", |c, x| c.reaction_time_constant_s = x, Within(0.0, 2.0)),
    ];
    refused(config().rate, fields, |c| rate::RateController::new(c, 1e-3).map(drop));
    for bad in [f32::NAN, f32::INFINITY, 0.0, -1e-3] {
        assert_eq!(rate::RateController::new(&config().rate, bad).unwrap_err().field, "period_s");
    }
}

#[test]
fn inertia_of_no_rigid_body_is_refused() {
    let with =
        |inertia| rate::RateController::new(&rate::Config { inertia, ..config().rate }, 1e-3).map(drop);
    let inertia = rate::Inertia::diagonal(0.011, 0.012, 0.021);
    let refused = Err(ConfigError::new("inertia", Problem::Inconsistent("is that of no rigid body")));
    // No moment above the sum of the other two; a flat plate has just the sum.
    assert_eq!(with(rate::Inertia::diagonal(0.01, 0.01, 0.02)), Ok(()));
    assert_eq!(with(rate::Inertia::diagonal(0.01, 0.01, 0.021)), refused);
    // Products so large that the matrix is not positive definite.
    assert_eq!(with(rate::Inertia { forward_right_kg_m2: 0.005, ..inertia }), Ok(()));
    assert_eq!(with(rate::Inertia { forward_right_kg_m2: 0.012, ..inertia }), refused);
    let skew = rate::Inertia { forward_right_kg_m2: 0.01, forward_down_kg_m2: -0.01, ..inertia };
    assert_eq!(with(skew), refused);
    // The inertia of a craft of a few grams is accepted.
    assert_eq!(with(rate::Inertia::diagonal(1.1e-6, 1.2e-6, 2.1e-6)), Ok(()));
}

#[test]
fn attitude_loop_names_field_and_part() {
    // At 200 Hz: crossovers at 200 rad/s and the reference's poles at 60 rad/s at most.
    let fields: &[Field<attitude::Config>] = &[
        ("tilt.crossover_rad_s", |c, x| c.tilt.crossover_rad_s = x, Within(1e-3, 200.0)),
        ("tilt.reference_bandwidth_rad_s", |c, x| c.tilt.reference_bandwidth_rad_s = x, Within(1e-3, 60.0)),
        ("tilt.rate_limit_rad_s", |c, x| c.tilt.rate_limit_rad_s = x, Positive),
        ("tilt.acceleration_limit_rad_s2", |c, x| c.tilt.acceleration_limit_rad_s2 = x, Positive),
        ("heading.crossover_rad_s", |c, x| c.heading.crossover_rad_s = x, Within(1e-3, 200.0)),
        (
            "heading.reference_bandwidth_rad_s",
            |c, x| c.heading.reference_bandwidth_rad_s = x,
            Within(1e-3, 60.0),
        ),
        ("heading.rate_limit_rad_s", |c, x| c.heading.rate_limit_rad_s = x, Positive),
        ("heading.acceleration_limit_rad_s2", |c, x| c.heading.acceleration_limit_rad_s2 = x, Positive),
        ("reference_damping", |c, x| c.reference_damping = x, Within(0.5, 1.0)),
        ("rotor_time_constant_s", |c, x| c.rotor_time_constant_s = x, Within(0.0, 1.0)),
    ];
    let build = |c: &attitude::Config| attitude::AttitudeController::<Libm>::new(c, 5e-3).map(drop);
    let good = config().attitude;
    refused(good, fields, build);
    // At most half a radian a period, and at most the rate limit within a period.
    let with = |rate_limit_rad_s, acceleration_limit_rad_s2| {
        let tilt = attitude::Part { rate_limit_rad_s, acceleration_limit_rad_s2, ..good.tilt };
        build(&attitude::Config { tilt, ..good }).map_err(|error| (error.field, error.problem))
    };
    assert_eq!(with(100.0, 20_000.0), Ok(()));
    assert_eq!(with(100.1, 100.0), Err(("rate_limit_rad_s", Problem::OutOfRange { low: 0.0, high: 100.0 })));
    assert_eq!(
        with(1.0, 200.1),
        Err(("acceleration_limit_rad_s2", Problem::OutOfRange { low: 0.0, high: 200.0 }))
    );
}

#[test]
fn heading_rate_limiter_names_its_field() {
    let fields: &[Field<heading::Config>] =
        &[("rate_limit_rad_s", |c, x| c.rate_limit_rad_s = x, Within(1e-3, 100.0))];
    let build = |c: &heading::Config| heading::HeadingRateLimiter::<Libm>::new(c, 5e-3).map(drop);
    refused(heading::Config { rate_limit_rad_s: 1.5 }, fields, build);
}

#[test]
fn velocity_loop_names_its_field() {
    let fields: &[Field<velocity::Config>] = &[
        ("crossover_rad_s", |c, x| c.crossover_rad_s = x, Positive),
        ("integral_time_s", |c, x| c.integral_time_s = x, Positive),
        ("speed_limit_m_s", |c, x| c.speed_limit_m_s = x, Positive),
        ("acceleration_m_s2", |c, x| c.acceleration_m_s2 = x, Positive),
        ("output_limit_m_s2", |c, x| c.output_limit_m_s2 = x, Positive),
    ];
    refused(config().velocity, fields, |c| velocity::VelocityController::<Libm>::new(c, 0.025).map(drop));
}

#[test]
fn wind_feed_forward_names_its_field() {
    let fields: &[Field<wind::Config>] = &[
        ("drag_per_s", |c, x| c.drag_per_s = x, Positive),
        ("pole_rad_s", |c, x| c.pole_rad_s = x, Positive),
    ];
    refused(wind::Config { drag_per_s: 0.25, pole_rad_s: 0.4 }, fields, |c| {
        wind::WindFeedForward::new(c, 0.025).map(drop)
    });
}

#[test]
fn vertical_loop_names_its_field() {
    let fields: &[Field<vertical::Config>] = &[
        ("climb_crossover_rad_s", |c, x| c.climb_crossover_rad_s = x, Positive),
        ("climb_integral_time_s", |c, x| c.climb_integral_time_s = x, Positive),
        ("height_crossover_rad_s", |c, x| c.height_crossover_rad_s = x, Positive),
        ("climb_limit_m_s", |c, x| c.climb_limit_m_s = x, Positive),
        ("descent_limit_m_s", |c, x| c.descent_limit_m_s = x, Positive),
        ("acceleration_m_s2", |c, x| c.acceleration_m_s2 = x, Positive),
    ];
    let build =
        |c: &vertical::Config, range| vertical::VerticalController::<Libm>::new(c, range, 0.025).map(drop);
    let good = config().vertical;
    refused(good, fields, |c| build(c, -7.0..=9.0));
    let swapped = vertical::Config { height_crossover_rad_s: good.climb_crossover_rad_s, ..good };
    let wrong_order = Problem::WrongOrder("climb_crossover_rad_s");
    assert_eq!(build(&swapped, -7.0..=9.0), Err(ConfigError::new("height_crossover_rad_s", wrong_order)));
    for range in [f32::NAN..=9.0, -7.0..=f32::NAN, f32::NEG_INFINITY..=9.0, -7.0..=f32::INFINITY] {
        assert_eq!(build(&good, range), Err(ConfigError::new("range_m_s2", Problem::NotFinite)));
    }
    for range in [9.0..=-7.0, 1.0..=1.0] {
        let refused = Err(ConfigError::new("range_m_s2", Problem::Inconsistent("does not rise")));
        assert_eq!(build(&good, range), refused);
    }
}

#[test]
fn position_loop_names_its_field() {
    let fields: &[Field<position::Config>] = &[
        ("crossover_rad_s", |c, x| c.crossover_rad_s = x, Positive),
        ("braking_m_s2", |c, x| c.braking_m_s2 = x, Positive),
        ("speed_limit_m_s", |c, x| c.speed_limit_m_s = x, Positive),
    ];
    refused(config().position, fields, |c| position::PositionController::<Libm>::new(c).map(drop));
}

#[test]
fn thrust_vector_names_its_field_and_its_range_must_include_the_weight() {
    let fields: &[Field<thrust_vector::Config>] = &[
        ("mass_kg", |c, x| c.mass_kg = x, Positive),
        ("tilt_limit_rad", |c, x| c.tilt_limit_rad = x, Within(1e-3, 1.4)),
        ("min_thrust_n", |c, x| c.min_thrust_n = x, FromZero),
        ("max_thrust_n", |c, x| c.max_thrust_n = x, Positive),
    ];
    let build = |c: &thrust_vector::Config| thrust_vector::ThrustVector::<Libm>::new(c).map(drop);
    let good =
        thrust_vector::Config { mass_kg: 1.2, tilt_limit_rad: 0.5, min_thrust_n: 2.4, max_thrust_n: 23.0 };
    refused(good, fields, build);
    let with =
        |min_thrust_n, max_thrust_n| build(&thrust_vector::Config { min_thrust_n, max_thrust_n, ..good });
    let inconsistent = |field, reason| Err(ConfigError::new(field, Problem::Inconsistent(reason)));
    // The weight is 11.77 N.
    assert_eq!(with(11.7, 11.8), Ok(()));
    assert_eq!(with(11.8, 23.0), inconsistent("min_thrust_n", "is not below the weight"));
    assert_eq!(with(23.0, 22.0), Err(ConfigError::new("min_thrust_n", Problem::WrongOrder("max_thrust_n"))));
    assert_eq!(with(2.4, 11.7), inconsistent("max_thrust_n", "is not above the weight"));
}

#[test]
fn thrust_curve_names_its_field() {
    let fields: &[Field<ThrustCurveConfig>] = &[
        ("max_thrust_n", |c, x| c.max_thrust_n = x, Positive),
        ("reference_voltage_v", |c, x| c.reference_voltage_v = x, Positive),
        ("back_emf_share", |c, x| c.back_emf_share = x, Within(0.0, 1.0)),
        ("lowest_voltage_v", |c, x| c.lowest_voltage_v = x, Positive),
        ("highest_voltage_v", |c, x| c.highest_voltage_v = x, Positive),
        ("voltage_filter_s", |c, x| c.voltage_filter_s = x, FromZero),
    ];
    let good = config().thrust_curve;
    refused(good, fields, |c| ThrustCurve::<Libm>::new(c, 1e-3).map(drop));
    let swapped = ThrustCurveConfig { lowest_voltage_v: good.highest_voltage_v, ..good };
    let error = ThrustCurve::<Libm>::new(&swapped, 1e-3).unwrap_err();
    assert_eq!(error, ConfigError::new("lowest_voltage_v", Problem::WrongOrder("highest_voltage_v")));
}

#[test]
fn pilot_names_its_field() {
    let craft = pilot::PilotParameters { min_thrust_n: 2.0, hover_thrust_n: 12.0, max_thrust_n: 24.0 };
    let fields: &[Field<pilot::Config>] = &[
        ("dead_band", |c, x| c.dead_band = x, Within(0.0, 0.5)),
        ("expo", |c, x| c.expo = x, Within(0.0, 1.0)),
        ("full_stick_tilt_rad", |c, x| c.full_stick_tilt_rad = x, Within(1e-3, 1.4)),
        ("full_stick_roll_pitch_rate_rad_s", |c, x| c.full_stick_roll_pitch_rate_rad_s = x, Positive),
        ("full_stick_yaw_rate_rad_s", |c, x| c.full_stick_yaw_rate_rad_s = x, Positive),
        ("full_stick_climb_m_s", |c, x| c.full_stick_climb_m_s = x, Positive),
        ("full_stick_descent_m_s", |c, x| c.full_stick_descent_m_s = x, Positive),
        ("hold_below_m_s", |c, x| c.hold_below_m_s = x, Positive),
        ("landing_speed_m_s", |c, x| c.landing_speed_m_s = x, Positive),
    ];
    refused(config().pilot, fields, |c| pilot::Pilot::<Libm>::new(c, &craft).map(drop));
}

const CRAFT: guard::GuardParameters =
    guard::GuardParameters { weight_n: 11.8, empty_v: 12.0, landing_speed_m_s: 0.7 };

#[test]
fn guard_names_its_parameter() {
    let fields: &[Field<guard::GuardParameters>] = &[
        ("weight_n", |c, x| c.weight_n = x, Positive),
        ("empty_v", |c, x| c.empty_v = x, FromZero),
        ("landing_speed_m_s", |c, x| c.landing_speed_m_s = x, Positive),
    ];
    refused(CRAFT, fields, |craft| guard::Guard::new(&config().guard, craft, 1e-3).map(drop));
}

#[test]
fn guard_names_its_field() {
    let fields: &[Field<guard::Config>] = &[
        ("arming_tilt_rad", |c, x| c.arming_tilt_rad = x, Within(1e-3, 3.0)),
        ("arming_rate_rad_s", |c, x| c.arming_rate_rad_s = x, Positive),
        ("arming_stick", |c, x| c.arming_stick = x, Within(1e-3, 1.0)),
        ("imu_hold_s", |c, x| c.imu_hold_s = x, FromZero),
        ("link_hold_s", |c, x| c.link_hold_s = x, Positive),
        ("link_land_s", |c, x| c.link_land_s = x, Positive),
        ("low_battery_v", |c, x| c.low_battery_v = x, FromZero),
        ("low_battery_s", |c, x| c.low_battery_s = x, Positive),
        ("tip_over_tilt_rad", |c, x| c.tip_over_tilt_rad = x, Within(1e-3, 3.0)),
        ("tip_over_s", |c, x| c.tip_over_s = x, Positive),
        ("landed_thrust_share", |c, x| c.landed_thrust_share = x, Within(1e-3, 1.0)),
        ("landed_climb_m_s", |c, x| c.landed_climb_m_s = x, Positive),
        ("landed_s", |c, x| c.landed_s = x, Positive),
    ];
    let build = |c: &guard::Config| guard::Guard::new(c, &CRAFT, 1e-3).map(drop);
    refused(config().guard, fields, build);
    let good = config().guard;
    let swapped = guard::Config { link_hold_s: good.link_land_s, ..good };
    assert_eq!(build(&swapped), Err(ConfigError::new("link_hold_s", Problem::WrongOrder("link_land_s"))));
    // An hour at most.
    type Set = fn(&mut guard::Config, f32);
    let times: [(&str, Set); 5] = [
        ("imu_hold_s", |c, x| c.imu_hold_s = x),
        ("link_land_s", |c, x| c.link_land_s = x),
        ("low_battery_s", |c, x| c.low_battery_s = x),
        ("tip_over_s", |c, x| c.tip_over_s = x),
        ("landed_s", |c, x| c.landed_s = x),
    ];
    for (field, set) in times {
        let with = |x| {
            let mut config = good;
            set(&mut config, x);
            build(&config)
        };
        assert_eq!(with(3600.0), Ok(()), "{field}");
        assert_eq!(
            with(3600.5),
            Err(ConfigError::new(field, Problem::OutOfRange { low: 0.0, high: 3600.0 }))
        );
    }
    for bad in [f32::NAN, f32::INFINITY, 0.0, -1.0] {
        assert_eq!(guard::Guard::new(&good, &CRAFT, bad).unwrap_err().field, "period_s");
    }
}
