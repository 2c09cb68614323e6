//! Whole flights on arbitrary samples and commands: the outputs stay finite and in range, the integrals
//! bounded, and once good samples come in again the estimate recovers.

use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Heading, Horizontal, Vector};
use aplomb::mix::{Arm, Geometry};
use aplomb::{
    Battery, Command, Demand, FlightController, GnssFix, HeadingDemand, ImuSample, Libm, MotorCommand,
    PositionSetpoint, Rotors, STANDARD_GRAVITY_M_S2, Sample, Sensors, Spin, Sticks, Tilt, VelocitySetpoint,
    VerticalDemand,
};
use proptest::prelude::*;

/// Any bits, or a plausible number up to 100.
fn number() -> impl Strategy<Value = f32> {
    prop_oneof![2 => -100.0..100.0f32, 1 => any::<u32>().prop_map(f32::from_bits), 1 => Just(f32::NAN), 1 => Just(f32::MAX)]
}

fn triple() -> impl Strategy<Value = [f32; 3]> {
    [number(), number(), number()]
}

fn age() -> impl Strategy<Value = u32> {
    prop_oneof![3 => 0..8000u32, 1 => any::<u32>()]
}

fn sometimes<T: std::fmt::Debug>(of: impl Strategy<Value = T>) -> impl Strategy<Value = Option<T>> {
    prop::option::weighted(0.3, of)
}

fn imu() -> impl Strategy<Value = ImuSample> {
    let interval_s = prop_oneof![9 => Just(1e-3), 1 => number()];
    (triple(), triple(), interval_s, age()).prop_map(|([a, b, c], [x, y, z], interval_s, age_us)| ImuSample {
        age_us,
        ..ImuSample::from_rates(Vector::new(a, b, c), Vector::new(x, y, z), interval_s)
    })
}

fn gnss() -> impl Strategy<Value = Sample<GnssFix>> {
    (triple(), triple(), [number(), number()], [number(), number()], age()).prop_map(
        |([a, b, c], [x, y, z], position, velocity, age_us)| {
            let value = GnssFix {
                position_m: Vector::new(a, b, c),
                velocity_m_s: Vector::new(x, y, z),
                horizontal_accuracy_m: position[0],
                vertical_accuracy_m: position[1],
                horizontal_velocity_accuracy_m_s: velocity[0],
                vertical_velocity_accuracy_m_s: velocity[1],
            };
            Sample { value, age_us }
        },
    )
}

fn sensors<const N: usize>() -> impl Strategy<Value = Sensors<N>> {
    let rotors = [number(), number(), number(), number()].prop_map(Rotors::from_array);
    let battery = (number(), number()).prop_map(|(voltage_v, current_a)| Battery { voltage_v, current_a });
    let pressure =
        (prop_oneof![number(), 9e4..1.1e5f32], age()).prop_map(|(value, age_us)| Sample { value, age_us });
    let field =
        (triple(), age()).prop_map(|([x, y, z], age_us)| Sample { value: Vector::new(x, y, z), age_us });
    (
        prop::array::uniform::<_, N>(imu()),
        sometimes(rotors),
        sometimes(battery),
        sometimes(pressure),
        sometimes(gnss()),
        sometimes(field),
    )
        .prop_map(|(imu, rotor_speed_rad_s, battery, pressure_pa, gnss, magnetic_field_ut)| Sensors {
            imu,
            rotor_speed_rad_s,
            battery,
            pressure_pa: [pressure_pa],
            gnss,
            magnetic_field_ut,
        })
}

fn demand() -> impl Strategy<Value = Demand> {
    let heading = prop_oneof![
        number().prop_map(HeadingDemand::Rate),
        (number(), number()).prop_map(|(north, east)| {
            HeadingDemand::Hold(
                Heading::from_direction::<Libm>(Horizontal::new(north, east)).unwrap_or(Heading::NORTH),
            )
        }),
    ];
    let vertical =
        prop_oneof![number().prop_map(VerticalDemand::Height), number().prop_map(VerticalDemand::Climb)];
    let both = (heading, vertical);
    prop_oneof![
        (triple(), number())
            .prop_map(|([x, y, z], thrust_n)| Demand::Rates { rate_rad_s: Vector::new(x, y, z), thrust_n }),
        (number(), number(), both).prop_map(|(forward, right, (heading, vertical))| Demand::Tilt {
            tilt: Tilt { forward, right },
            heading,
            vertical
        }),
        ([triple(), triple()], any::<bool>(), number(), number()).prop_map(
            |([[x, y, vx], [vy, ax, ay]], is_position, rate, height)| {
                let (heading, vertical) = (HeadingDemand::Rate(rate), VerticalDemand::Height(height));
                let (velocity_m_s, acceleration_m_s2) = (Horizontal::new(vx, vy), Horizontal::new(ax, ay));
                if is_position {
                    let position_m = Horizontal::new(x, y);
                    let setpoint = PositionSetpoint { position_m, velocity_m_s, acceleration_m_s2 };
                    Demand::Position { setpoint, heading, vertical }
                } else {
                    let setpoint = VelocitySetpoint { velocity_m_s, acceleration_m_s2 };
                    Demand::Velocity { setpoint, heading, vertical }
                }
            },
        ),
        ([number(), number(), number(), number()], any::<bool>()).prop_map(
            |([roll, pitch, yaw, climb], rate)| {
                let sticks = Sticks { roll, pitch, yaw, climb };
                if rate { Demand::RateSticks(sticks) } else { Demand::Sticks(sticks) }
            }
        ),
        Just(Demand::Land),
    ]
}

fn command() -> impl Strategy<Value = Command> {
    (demand(), prop::bool::weighted(0.9), prop::bool::weighted(0.02), age())
        .prop_map(|(demand, arm, cut_motors, age_us)| Command { demand, arm, cut_motors, age_us })
}

/// Samples, a command, and the number of ticks for which they are held.
fn flight<const N: usize>() -> impl Strategy<Value = Vec<(Sensors<N>, Command, u8)>> {
    prop::collection::vec((sensors(), command(), 1..40u8), 1..60)
}

fn config(unequal_arms: bool) -> Config {
    let mut geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    if unequal_arms {
        geometry.arms.front_left = Arm { x_m: 0.18, ..geometry.arms.front_left };
    }
    Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5)).unwrap()
}

/// Flies it; for any input every output is valid after every tick.
fn fly<const N: usize>(
    flight: &[(Sensors<N>, Command, u8)],
    unequal_arms: bool,
) -> Result<FlightController<Libm, N>, TestCaseError> {
    let config = config(unequal_arms);
    let mut controller = FlightController::<Libm, N>::new(&config).unwrap();
    for (sensors, command, ticks) in flight {
        // Stopped motors would leave the controllers untested.
        if !controller.status().phase.is_armed() {
            controller.resume_in_flight();
        }
        for _ in 0..*ticks {
            let commands = controller.step(sensors, command);
            sound(&controller, &config, commands)?;
        }
    }
    Ok(controller)
}

fn sound<const N: usize>(
    controller: &FlightController<Libm, N>,
    config: &Config,
    commands: Rotors<MotorCommand>,
) -> Result<(), TestCaseError> {
    let commands = commands.map(MotorCommand::get).into_array();
    let lowest = if controller.status().phase.is_flying() { config.idle_command } else { 0.0 };
    prop_assert!(commands.iter().all(|command| (lowest..=1.0).contains(command)), "{commands:?}");
    let record = controller.record();
    for attitude in
        [record.estimate.attitude, record.attitude.attitude_setpoint, record.attitude.attitude_reference]
    {
        let length = attitude.wxyz().iter().map(|c| f64::from(*c).powi(2)).sum::<f64>().sqrt();
        prop_assert!((length - 1.0).abs() < 1e-5, "{attitude:?}");
    }
    let motion = &record.estimate;
    prop_assert!(motion.rate_rad_s.is_finite() && motion.gyro_bias_rad_s.is_finite(), "{motion:?}");
    prop_assert!(motion.acceleration_m_s2.is_finite() && motion.tilt_innovation.is_finite(), "{motion:?}");
    prop_assert!(motion.position_m.is_finite() && motion.velocity_m_s.is_finite(), "{motion:?}");
    prop_assert!(motion.wind_m_s.is_finite(), "{motion:?}");
    let max_bias = config.estimate.attitude.max_gyro_bias_rad_s * 1.0001;
    prop_assert!(motion.gyro_bias_rad_s.norm_squared() <= max_bias * max_bias, "{motion:?}");
    prop_assert!(record.achieved.torque_nm.is_finite() && record.achieved.thrust_n.is_finite());
    prop_assert!(record.achieved.acceleration_m_s2.is_finite());
    for thrust_n in record.thrust_n.into_array() {
        prop_assert!((0.0..=config.mix.max_thrust_n).contains(&thrust_n), "{thrust_n}");
    }
    let limits = [config.rate.roll, config.rate.pitch, config.rate.yaw];
    for (integral, axis) in controller.rate_integral_rad_s2().to_array().into_iter().zip(limits) {
        prop_assert!(integral.abs() <= axis.acceleration_limit_rad_s2, "{integral}");
    }
    let [north, east, down] = controller.acceleration_integral_m_s2().to_array();
    let horizontal = config.velocity.output_limit_m_s2;
    prop_assert!(north.abs() <= horizontal && east.abs() <= horizontal, "{north} {east}");
    prop_assert!(down.abs() <= STANDARD_GRAVITY_M_S2, "{down}");
    let delay_s = controller.gyro_delay_s();
    prop_assert!(delay_s > 0.0 && delay_s < 0.02, "{delay_s}");
    Ok(())
}

/// With the motors cut and the craft stationary and level: tilt in deg after half a minute of good samples.
fn tilt_after_rest_deg<const N: usize>(controller: &mut FlightController<Libm, N>) -> f32 {
    let weight = Vector::new(0.0, 0.0, -STANDARD_GRAVITY_M_S2);
    let sensors = Sensors::from_imu(ImuSample::from_rates(Vector::ZERO, weight, 1e-3));
    controller.step(&sensors, &Command { cut_motors: true, ..Command::IDLE });
    for _ in 0..30_000 {
        controller.step(&sensors, &Command::IDLE);
    }
    controller.motion().attitude.cos_tilt().min(1.0).acos().to_degrees()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn prop_outputs_stay_in_range_and_integrals_bounded_with_one_sensor(flight in flight::<1>(), unequal in any::<bool>()) {
        fly(&flight, unequal)?;
    }

    #[test]
    fn prop_outputs_stay_in_range_and_integrals_bounded_with_three_sensors(flight in flight::<3>()) {
        fly(&flight, false)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn prop_estimate_is_level_again_after_the_bad_input(flight in flight::<1>()) {
        let mut controller = fly(&flight, false)?;
        let tilt_deg = tilt_after_rest_deg(&mut controller);
        prop_assert!(tilt_deg < 0.5, "{tilt_deg} deg");
        let offset = controller.motion().gyro_bias_rad_s;
        prop_assert!(offset.norm_squared() < 1e-6, "{offset:?}");
    }
}
