//! Each part that the tick wires, on the inputs that it had inside the tick.

use aplomb::control::rate::RateController;
use aplomb::estimate::Estimator;
use aplomb::estimate::attitude::{AttitudeFilter, Corrections};
use aplomb::flight::{AttitudeStage, GyroFilters, OuterLoops};
use aplomb::guard::{self, Guard, GuardInput, GuardParameters};
use aplomb::mix::{QuadMixer, ThrustCurve};
use aplomb::pilot::{Pilot, PilotParameters};
use aplomb::{Demand, FlightController, Math, MotorCommand, STANDARD_GRAVITY_M_S2};
use aplomb_cortex_m::{
    craft::{Flight, INITIALISATION_TICKS, TICKS, config},
    meter::{Count, Meter},
    table,
};

pub fn rows<M: Math>(meter: &Meter) {
    let config = config();
    let period_s = 1.0 / config.tick_hz;
    let weight_n = config.thrust.mass_kg * STANDARD_GRAVITY_M_S2;
    let mut controller = FlightController::<M>::new(&config).expect("valid");
    let mut flight = Flight::new(&config, &mut controller);

    let mut estimator = Estimator::<M>::new(&config.estimate, period_s).expect("valid");
    let mut filter = AttitudeFilter::<M>::new(&config.estimate.attitude, period_s).expect("valid");
    let guard_parameters = GuardParameters {
        weight_n,
        empty_v: config.thrust_curve.lowest_voltage_v,
        landing_speed_m_s: config.pilot.landing_speed_m_s,
    };
    let mut guard = Guard::new(&config.guard, &guard_parameters, period_s).expect("valid");
    guard.set_state(guard::State::in_flight());
    let pilot_parameters = PilotParameters {
        min_thrust_n: config.thrust.min_thrust_n,
        hover_thrust_n: weight_n,
        max_thrust_n: config.thrust.max_thrust_n,
    };
    let mut pilot = Pilot::<M>::new(&config.pilot, &pilot_parameters).expect("valid");
    let mut outer_loops = OuterLoops::<M>::new(&config).expect("valid");
    let mut attitude = AttitudeStage::<M>::new(&config).expect("valid");
    let mut gyro_filters = GyroFilters::<M>::new(&config).expect("valid");
    let mut rate = RateController::new(&config.rate, period_s).expect("valid");
    let mixer = QuadMixer::new(&config.mix).expect("valid");
    let mut curve = ThrustCurve::<M>::new(&config.thrust_curve, period_s).expect("valid");
    let idle = MotorCommand::saturating(config.idle_command);

    let [
        mut estimator_count,
        mut filter_count,
        mut guard_count,
        mut pilot_count,
        mut outer_count,
        mut attitude_count,
        mut gyro_count,
        mut rate_count,
        mut mixer_count,
        mut curve_count,
    ] = [const { Count::new() }; 10];
    for tick in 0..TICKS {
        flight.resume(&mut controller);
        let (sensors, command) = flight.samples_and_command::<M, 1, 1>();
        controller.step(&sensors, &command);
        let estimate = meter.instructions(|| estimator.step(&sensors, true));
        let record = controller.record();
        let motion = &record.estimate;
        if tick < INITIALISATION_TICKS || matches!(record.demand, Demand::Rates { .. }) {
            continue;
        }
        estimator_count.add(estimate);
        let [imu] = sensors.imu;
        let (rate_rad_s, force_m_s2) = (imu.rate_rad_s(), imu.specific_force_m_s2());
        let corrections = Corrections {
            magnetic_field: sensors.magnetic_field_ut.map(|field| field.value),
            ..Corrections::default()
        };
        filter_count.add(meter.instructions(|| filter.step(rate_rad_s, force_m_s2, &corrections)));
        let input =
            GuardInput { imu_age_us: 0, voltage_v: curve.voltage_v(), thrust_n: record.achieved.thrust_n };
        guard_count.add(meter.instructions(|| guard.step(&command, motion, &input)));
        pilot_count.add(meter.instructions(|| pilot.step(&command.demand, motion)));
        outer_count
            .add(meter.instructions(|| outer_loops.step(&record.demand, false, motion, &record.achieved)));
        attitude_count.add(meter.instructions(|| attitude.step(&record.outer, motion, record.rate_rad_s)));
        let speed_rad_s = sensors.rotor_speed_rad_s.as_ref();
        gyro_count
            .add(meter.instructions(|| gyro_filters.step(motion.rate_rad_s, speed_rad_s, &record.thrust_n)));
        rate_count.add(meter.instructions(|| {
            let torque_nm = rate.step(&record.attitude.rate_setpoint, record.rate_rad_s);
            rate.achieved(record.achieved.torque_nm);
            torque_nm
        }));
        mixer_count.add(meter.instructions(|| mixer.allocate(&record.wrench, curve.ceiling_n())));
        curve_count.add(meter.instructions(|| {
            if let Some(battery) = sensors.battery {
                curve.observe(battery.voltage_v);
            }
            curve.set_air_density(motion.air_density_kg_m3.unwrap_or(config.air_density_kg_m3));
            record.thrust_n.map(|thrust_n| curve.command(thrust_n, idle))
        }));
    }
    for (name, count) in [
        ("estimator", &estimator_count),
        ("  of which attitude filter", &filter_count),
        ("guard", &guard_count),
        ("pilot (sticks)", &pilot_count),
        ("outer loops", &outer_count),
        ("attitude stage", &attitude_count),
        ("gyro filters", &gyro_count),
        ("rate controller", &rate_count),
        ("mixer", &mixer_count),
        ("thrust curve, four rotors and the battery", &curve_count),
    ] {
        table::count(name, count);
    }
}
