//! Prints where the instructions of a tick go: each part run on its own, on the very inputs that it had inside the tick.
//! Apart from `cost`, since a second caller of a part changes what the compiler inlines into the tick.
#![no_std]
#![no_main]

use core::panic::PanicInfo;

use aplomb::control::rate::RateController;
use aplomb::estimate::Estimator;
use aplomb::estimate::attitude::{AttitudeFilter, Corrections};
use aplomb::flight::{AttitudeStage, GyroFilters, OuterLoops};
use aplomb::guard::{self, Guard, GuardInput};
use aplomb::mix::{QuadMixer, ThrustCurve};
use aplomb::{Command, Demand, FlightController, Libm, Math, MotorCommand, STANDARD_GRAVITY_M_S2};
use aplomb_cortex_m::{
    craft::{TICKS, all_at_once, config, demand, sensors, settled_inner},
    fail,
    inputs::Inputs,
    meter::{Count, Meter},
    stop,
    table::{Limit, Table},
};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    fail(info)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut table = Table::begin(Meter::of_board());
    table.title("inner tick by part, Libm");
    rows::<Libm>(&mut table);
    stop(true)
}

/// One row for each part of the ticks in which only the inner loops run.
fn rows<M: Math + Clone>(table: &mut Table) {
    let config = config();
    let period_s = 1.0 / config.tick_hz;
    let mut controller = FlightController::<M>::new(&config).expect("valid");
    controller.resume_in_flight();

    let mut estimator = Estimator::<M, 1>::new(&config.estimate, period_s).expect("valid");
    let mut filter = AttitudeFilter::<M>::new(&config.estimate.attitude, period_s).expect("valid");
    let craft = guard::GuardParameters {
        weight_n: config.thrust.mass_kg * STANDARD_GRAVITY_M_S2,
        empty_v: config.thrust_curve.lowest_voltage_v,
        landing_speed_m_s: config.pilot.landing_speed_m_s,
    };
    let mut guard = Guard::new(&config.guard, &craft, period_s).expect("valid");
    guard.set_state(guard::State::in_flight());
    let mut outer_loops = OuterLoops::<M>::new(&config).expect("valid");
    let mut attitude = AttitudeStage::<M>::new(&config).expect("valid");
    let mut gyro_filters = GyroFilters::<M>::new(&config).expect("valid");
    let mut rate = RateController::new(&config.rate, period_s).expect("valid");
    let mixer = QuadMixer::new(&config.mix).expect("valid");
    let mut curve = ThrustCurve::<M>::new(&config.thrust_curve, period_s).expect("valid");
    curve.set_air_density(config.air_density_kg_m3);
    let least = MotorCommand::saturating(config.idle_command);

    let mut tick_count = Count::new();
    let [
        mut estimate_count,
        mut filter_count,
        mut guard_count,
        mut outer_count,
        mut attitude_count,
        mut gyro_count,
        mut rate_count,
        mut mix_count,
        mut curve_count,
    ] = [const { Count::new() }; 9];
    let mut random = Inputs::new();
    for tick in 0..TICKS {
        let sensors = sensors(&mut random, all_at_once(tick));
        let command = Command::fly(demand::<M>(&mut random, tick));
        let counted = settled_inner(tick);
        let meter = table.meter();
        let whole = meter.instructions(|| controller.step(&sensors, &command));
        let record = controller.record();
        let estimate = meter.instructions(|| estimator.step(&sensors, true));
        if !counted || matches!(record.demand, Demand::Rates { .. }) {
            continue;
        }
        tick_count.add(whole);
        estimate_count.add(estimate);
        let [imu] = sensors.imu;
        let corrections = Corrections::default();
        filter_count.add(
            meter.instructions(|| filter.step(imu.rate_rad_s(), imu.specific_force_m_s2(), &corrections)),
        );
        let input =
            GuardInput { imu_age_us: 0, voltage_v: curve.voltage_v(), thrust_n: record.achieved.thrust_n };
        guard_count.add(meter.instructions(|| guard.step(&command, &record.estimate, &input)));
        let motion = &record.estimate;
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
        mix_count.add(meter.instructions(|| mixer.allocate(&record.wrench, curve.ceiling_n())));
        curve_count.add(meter.instructions(|| {
            if let Some(battery) = sensors.battery {
                curve.observe(battery.voltage_v);
            }
            record.thrust_n.map(|thrust_n| curve.command(thrust_n, least))
        }));
    }
    let parts = [
        ("  estimator, all of it", &estimate_count),
        ("  guard", &guard_count),
        ("  gyro filters", &gyro_count),
        ("  rate controller", &rate_count),
        ("  mix", &mix_count),
        ("  thrust curve, four rotors and the battery", &curve_count),
    ];
    table.line(
        "tick of the controller, without the loops on a divider",
        Limit::None,
        tick_count.worst(),
        Some(tick_count.mean()),
    );
    let mut rest = tick_count.mean();
    for (name, count) in parts {
        table.line(name, Limit::None, count.worst(), Some(count.mean()));
        rest = rest.saturating_sub(count.mean());
    }
    table.line("  rest: copies, record, wiring", Limit::None, rest, Some(rest));
    table.title("  beside it: alone, whether in the tick or not");
    for (name, count) in [
        ("  attitude filter", &filter_count),
        ("  outer loops", &outer_count),
        ("  attitude stage", &attitude_count),
    ] {
        table.line(name, Limit::None, count.worst(), Some(count.mean()));
    }
}
