//! Estimators, filters, mixing and thrust curve.

use aplomb::error::{ConfigError, Problem};
use aplomb::estimate::vertical::PressureHeight;
use aplomb::estimate::{self, Estimator, History, HorizontalFilter, horizontal};
use aplomb::filter::{Biquad, LowPass, NotchBank, NotchBankConfig};
use aplomb::frames::Vector;
use aplomb::mix::{self, Geometry, Mixer, ThrustCurve, ThrustCurveConfig};
use aplomb::pid::SlewLimit;
use aplomb::{Libm, Spin};

use super::config;
use super::table::{Any, Field, FromZero, Positive, Within, refused};

#[test]
fn horizontal_filter_names_its_field() {
    let fields: &[Field<horizontal::Config>] = &[
        ("interval_s", |c, x| c.interval_s = x, Positive),
        ("position_noise_m", |c, x| c.position_noise_m = x, Positive),
        ("velocity_noise_m_s", |c, x| c.velocity_noise_m_s = x, Positive),
        ("acceleration_walk", |c, x| c.acceleration_walk = x, Positive),
        ("gate_m", |c, x| c.gate_m = x, Positive),
        ("gate_m_s", |c, x| c.gate_m_s = x, Positive),
        ("gate_growth_m_s2", |c, x| c.gate_growth_m_s2 = x, Positive),
        ("worst_accuracy_m", |c, x| c.worst_accuracy_m = x, Positive),
        ("timeout_s", |c, x| c.timeout_s = x, Positive),
    ];
    refused(horizontal::Config::CONSUMER, fields, |c| HorizontalFilter::new(c, 1e-3).map(drop));
}

#[test]
fn estimator_names_its_field() {
    let fields: &[Field<estimate::Config>] = &[
        ("imu_position_m", |c, x| c.imu_position_m = Vector::new(x, 0.0, 0.0), Within(-1.0, 1.0)),
        ("imu_position_m", |c, x| c.imu_position_m = Vector::new(0.0, 0.0, x), Within(-1.0, 1.0)),
        ("longest_delay_s", |c, x| c.longest_delay_s = x, Within(0.05, 2.0)),
        ("rotor_drag_per_s", |c, x| c.rotor_drag_per_s = Some(x), Positive),
        ("timeout_s", |c, x| c.vertical.timeout_s = x, Positive),
        ("gate_m_s", |c, x| c.horizontal.gate_m_s = x, Positive),
        ("heading_time_s", |c, x| c.attitude.heading_time_s = x, Positive),
    ];
    let good = estimate::Config::CONSUMER;
    refused(good, fields, |c| Estimator::<Libm, 1>::new(c, 1e-3).map(drop));
    // Two sensors are told apart by their ages.
    let error =
        Estimator::<Libm, 2>::new(&estimate::Config { imu_stale_ticks: 0, ..good }, 1e-3).unwrap_err();
    assert_eq!(error, ConfigError::new("imu_stale_ticks", Problem::NotPositive));
}

#[test]
fn history_and_pressure_name_their_argument() {
    refused(
        [0.5, 1e-3],
        &[("reach_s", |c, x| c[0] = x, Positive), ("period_s", |c, x| c[1] = x, Positive)],
        |c| History::new(c[0], c[1]).map(drop),
    );
    let fields: &[Field<[f32; 2]>] =
        &[("home_pa", |c, x| c[0] = x, Positive), ("home_k", |c, x| c[1] = x, Positive)];
    refused([101_325.0, 288.15], fields, |c| PressureHeight::new(c[0], c[1]).map(drop));
}

#[test]
fn filters_name_their_argument() {
    let fields: &[Field<[f32; 2]>] =
        &[("cutoff_hz", |c, x| c[0] = x, Positive), ("period_s", |c, x| c[1] = x, Positive)];
    refused([100.0, 1e-3], fields, |c| LowPass::new(c[0], c[1]).map(drop));
    refused([100.0, 1e-3], fields, |c| Biquad::low_pass(c[0], c[1]).map(drop));
    let fields: &[Field<[f32; 3]>] = &[
        ("centre_hz", |c, x| c[0] = x, Positive),
        ("bandwidth_hz", |c, x| c[1] = x, Positive),
        ("period_s", |c, x| c[2] = x, Positive),
    ];
    refused([150.0, 20.0, 1e-3], fields, |c| Biquad::notch(c[0], c[1], c[2]).map(drop));
    // From half the sampling rate on there is nothing to filter.
    assert_eq!(Biquad::low_pass(500.0, 1e-3), Err(ConfigError::new("cutoff_hz", Problem::OutOfRange)));
    assert!(Biquad::low_pass(499.0, 1e-3).is_ok());
    let fields: &[Field<[f32; 3]>] = &[
        ("rise_per_s", |c, x| c[0] = x, Positive),
        ("fall_per_s", |c, x| c[1] = x, Positive),
        ("period_s", |c, x| c[2] = x, Positive),
    ];
    refused([2.0, 4.0, 1e-3], fields, |c| SlewLimit::new(c[0], c[1], c[2]).map(drop));
}

#[test]
fn notch_bank_names_its_field() {
    let fields: &[Field<NotchBankConfig>] = &[
        ("bandwidth_hz", |c, x| c.bandwidth_hz = x, Positive),
        ("harmonic", |c, x| c.harmonic = x, Positive),
        ("lowest_hz", |c, x| c.lowest_hz = x, Positive),
        ("highest_hz", |c, x| c.highest_hz = x, Positive),
    ];
    let good = NotchBankConfig { bandwidth_hz: 20.0, harmonic: 1.0, lowest_hz: 60.0, highest_hz: 250.0 };
    refused(good, fields, |c| NotchBank::new(c, 1e-3).map(drop));
    let high = NotchBankConfig { highest_hz: 500.0, ..good };
    assert_eq!(NotchBank::new(&high, 1e-3).unwrap_err(), ConfigError::new("highest_hz", Problem::OutOfRange));
}

#[test]
fn mixer_names_its_field() {
    let fields: &[Field<mix::Config>] = &[
        ("torque_to_thrust_m", |c, x| c.geometry.torque_to_thrust_m = x, Positive),
        ("x_m", |c, x| c.geometry.arms.rear_left.x_m = x, Any),
        ("y_m", |c, x| c.geometry.arms.front_right.y_m = x, Any),
        ("low_n", |c, x| c.low_n = x, FromZero),
        ("high_n", |c, x| c.high_n = x, Positive),
        ("reserved_yaw_share", |c, x| c.reserved_yaw_share = x, Within(0.0, 0.5)),
    ];
    let good = config().mix;
    let build = |c: &mix::Config| Mixer::new(c).map(drop);
    refused(good, fields, build);
    // An allowance may be without bounds, but not negative.
    for set in [(|c, x| c.allowance_down_n = x) as fn(&mut mix::Config, f32), |c, x| c.allowance_up_n = x] {
        let with = |x: f32| {
            let mut config = good;
            set(&mut config, x);
            build(&config).map_err(|error| error.problem)
        };
        assert_eq!((with(0.0), with(f32::INFINITY)), (Ok(()), Ok(())));
        assert_eq!((with(f32::NAN), with(-1.0)), (Err(Problem::NotFinite), Err(Problem::Negative)));
    }
    let swapped = mix::Config { low_n: good.high_n, ..good };
    assert_eq!(build(&swapped), Err(ConfigError::new("low_n", Problem::WrongOrder)));
}

#[test]
fn arms_that_cannot_hold_or_turn_a_craft_are_refused() {
    let good = config().mix;
    let refusal = Err(ConfigError::new("arms", Problem::Inconsistent));
    let with = |change: fn(&mut Geometry)| {
        let mut geometry = good.geometry;
        change(&mut geometry);
        Mixer::new(&mix::Config { geometry, ..good }).map(drop)
    };
    assert_eq!(with(|_| ()), Ok(()));
    // All spins alike make no yaw torque; arms on a line make no roll torque.
    assert_eq!(with(|g| g.arms = g.arms.map(|arm| mix::Arm { spin: Spin::Clockwise, ..arm })), refusal);
    assert_eq!(with(|g| g.arms = g.arms.map(|arm| mix::Arm { y_m: 0.0, ..arm })), refusal);
    // All rotors in front of the centre of mass.
    assert_eq!(with(|g| g.arms = g.arms.map(|arm| mix::Arm { x_m: arm.x_m + 0.3, ..arm })), refusal);
}

#[test]
fn thrust_curve_names_its_field() {
    let fields: &[Field<ThrustCurveConfig>] = &[
        ("full_n", |c, x| c.full_n = x, Positive),
        ("reference_voltage_v", |c, x| c.reference_voltage_v = x, Positive),
        ("speed_share", |c, x| c.speed_share = x, Within(0.0, 1.0)),
        ("lowest_voltage_v", |c, x| c.lowest_voltage_v = x, Positive),
        ("highest_voltage_v", |c, x| c.highest_voltage_v = x, Positive),
        ("voltage_filter_s", |c, x| c.voltage_filter_s = x, FromZero),
    ];
    let good = config().thrust_curve;
    refused(good, fields, |c| ThrustCurve::new(c, 1e-3).map(drop));
    let swapped = ThrustCurveConfig { lowest_voltage_v: good.highest_voltage_v, ..good };
    let error = ThrustCurve::new(&swapped, 1e-3).unwrap_err();
    assert_eq!(error, ConfigError::new("lowest_voltage_v", Problem::WrongOrder));
}
