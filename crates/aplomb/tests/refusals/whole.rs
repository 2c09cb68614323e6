//! The whole controller, and the airframe that it is derived from.

use aplomb::error::{ConfigError, Problem};
use aplomb::flight::{Airframe, Config};
use aplomb::{FlightController, Libm};

use super::table::{Field, FromZero, Positive, Within, refused};
use super::{airframe, config};

#[test]
fn airframe_error_names_the_parameter() {
    let fields: &[Field<Airframe>] = &[
        ("mass_kg", |c, x| c.mass_kg = x, Positive),
        ("max_thrust_n", |c, x| c.thrust_curve.max_thrust_n = x, Positive),
        ("rotor_diameter_m", |c, x| c.rotor_diameter_m = x, Positive),
        ("rotor_time_constant_s", |c, x| c.rotor_time_constant_s = x, Positive),
        ("speed_controller_delay_s", |c, x| c.speed_controller_delay_s = x, FromZero),
        ("rotor_inertia_kg_m2", |c, x| c.rotor_inertia_kg_m2 = x, FromZero),
        ("hover_speed_rad_s", |c, x| c.hover_speed_rad_s = x, Positive),
    ];
    refused(airframe(), fields, |airframe| Config::for_airframe(airframe).map(drop));
    // Four times 6.5 N lift 1.3 times 2.04 kg and no more.
    let heavy = Airframe { mass_kg: 2.1, ..airframe() };
    assert_eq!(
        Config::for_airframe(&heavy).unwrap_err(),
        ConfigError::new("max_thrust_n", Problem::Inconsistent("cannot lift 1.3 times the weight"))
    );
}

#[test]
fn whole_controller_names_its_field() {
    let fields: &[Field<Config>] = &[
        // Far from its range the loops' own limits would be met first.
        ("tick_hz", |c, x| c.tick_hz = x, Positive),
        ("idle_command", |c, x| c.idle_command = x, Within(0.0, 0.5)),
        ("air_density_kg_m3", |c, x| c.air_density_kg_m3 = x, Within(0.3, 2.0)),
        ("wind_share", |c, x| c.wind_share = x, Within(0.0, 0.2)),
        ("imu_delay_s", |c, x| c.imu_delay_s = x, Within(0.0, 0.02)),
        ("gyro_cutoff_hz", |c, x| c.gyro_cutoff_hz = x, Positive),
    ];
    let build = |c: &Config| FlightController::<Libm>::new(c).map(drop);
    refused(config(), fields, build);
    for tick_hz in [99.0, 8001.0] {
        let error = build(&Config { tick_hz, ..config() }).unwrap_err();
        assert_eq!(
            (error.field, error.problem),
            ("tick_hz", Problem::OutOfRange { low: 100.0, high: 8000.0 })
        );
    }
    // Below half the tick rate.
    assert!(build(&Config { gyro_cutoff_hz: 499.0, ..config() }).is_ok());
    let error = build(&Config { gyro_cutoff_hz: 500.0, ..config() }).unwrap_err();
    let Problem::OutOfRange { low: 0.0, high } = error.problem else { panic!("{error}") };
    assert!(error.field == "gyro_cutoff_hz" && (high - 500.0).abs() < 1e-3, "{error}");
    for (attitude_divider, velocity_divider, field, problem) in [
        (0, 25, "attitude_divider", Problem::NotPositive),
        (5, 0, "velocity_divider", Problem::NotPositive),
        (5, 24, "velocity_divider", Problem::Inconsistent("is no multiple of `attitude_divider`")),
    ] {
        let error = build(&Config { attitude_divider, velocity_divider, ..config() }).unwrap_err();
        assert_eq!((error.field, error.problem), (field, problem));
    }
}

#[test]
fn whole_controller_names_the_loop_too() {
    let refused = |change: fn(&mut Config)| {
        let mut config = config();
        change(&mut config);
        FlightController::<Libm>::new(&config).unwrap_err().to_string()
    };
    assert_eq!(
        refused(|c| c.rate.pitch.integral_time_s = 0.0),
        "rate.pitch.integral_time_s must be greater than 0"
    );
    assert_eq!(refused(|c| c.rate.inertia.yaw_kg_m2 = -1.0), "rate.inertia.yaw_kg_m2 must be greater than 0");
    assert_eq!(refused(|c| c.rate.inertia.yaw_kg_m2 = 1.0), "rate.inertia is that of no rigid body");
    assert_eq!(
        refused(|c| c.attitude.heading.crossover_rad_s = f32::NAN),
        "attitude.heading.crossover_rad_s is not a finite number"
    );
    assert_eq!(
        refused(|c| c.velocity.crossover_rad_s = -1.0),
        "velocity.crossover_rad_s must be greater than 0"
    );
    assert_eq!(
        refused(|c| c.vertical.descent_limit_m_s = 0.0),
        "vertical.descent_limit_m_s must be greater than 0"
    );
    assert_eq!(refused(|c| c.position.braking_m_s2 = 0.0), "position.braking_m_s2 must be greater than 0");
    assert_eq!(refused(|c| c.thrust.max_thrust_n = 5.0), "thrust.max_thrust_n is not above the weight");
    assert_eq!(refused(|c| c.pilot.dead_band = 0.6), "pilot.dead_band must lie between 0 and 0.5");
    assert_eq!(refused(|c| c.guard.landed_s = -1.0), "guard.landed_s must be greater than 0");
}
