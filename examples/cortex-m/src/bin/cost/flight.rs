//! The whole controller: a tick with only the inner loops, the worst tick, its stack and its state.

use core::mem::size_of;

use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Heading, Vector};
use aplomb::guard::Phase;
use aplomb::mix::Geometry;
use aplomb::{
    Battery, Command, Demand, FlightController, HeadingDemand, ImuSample, Lean, Math, Receiver, Rotors,
    STANDARD_GRAVITY_M_S2, Sample, Sensors, Spin, Sticks, VerticalDemand,
};
use aplomb_cortex_m::{
    inputs::Inputs,
    stack,
    table::{Limit, Table},
};

/// Ticks flown.
const TICKS: u32 = 6000;

pub fn rows<M: Math + Clone>(table: &mut Table) {
    let mut controller = FlightController::<M>::new(&config()).expect("valid");
    controller.resume_in_flight();
    let mut random = Inputs::new();
    let (mut inner, mut worst) = (Count::default(), Count::default());
    let mut depth = 0;
    for tick in 0..TICKS {
        // Slow samples all arrive on a tick of the outer loops, so that everything falls on one tick.
        let outer = tick % 25 == 0;
        let sensors = sensors(&mut random, outer);
        let command = Command::fly(demand::<M>(&mut random, tick));
        if tick % 100 == 0 {
            // Uncounted twin of this very tick.
            let mut twin = controller.clone();
            depth = depth.max(stack::depth_bytes(|| twin.step(&sensors, &command)));
        }
        let count = table.meter().instructions(|| controller.step(&sensors, &command));
        // Settled: the first second seeds the estimators.
        if tick > 1000 {
            worst.add(count);
            if tick % 5 == 0 && !outer {
                inner.add(count);
            }
        }
        if matches!(controller.status().phase, Phase::Stopped { .. } | Phase::Disarmed) {
            controller.resume_in_flight();
        }
    }
    let limit = Limit::Open { goal: 1250, ceiling: 4000 };
    table.line("tick with attitude loop, rate loop and mix", limit, inner.worst, Some(inner.mean()));
    let limit = Limit::Open { goal: 2600, ceiling: 7200 };
    table.line("worst tick, every loop and sensor", limit, worst.worst, Some(worst.mean()));
    table.bytes("stack of a tick, bytes", Limit::AtMost(1024), depth);
    table.bytes(
        "state of the controller, bytes",
        Limit::Open { goal: 2048, ceiling: 3072 },
        size_of::<FlightController<M>>(),
    );
}

#[derive(Default)]
struct Count {
    worst: u32,
    sum: u32,
    calls: u32,
}

impl Count {
    fn add(&mut self, count: u32) {
        self.worst = self.worst.max(count);
        self.sum += count;
        self.calls += 1;
    }

    fn mean(&self) -> u32 {
        self.sum / self.calls.max(1)
    }
}

/// A craft of 1.2 kg that lifts 2.2 times its weight.
fn config() -> Config {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
    let airframe =
        Airframe { rotor_drag_per_s: Some(0.25), ..Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5) };
    Config::for_airframe(&airframe).expect("valid")
}

fn sensors(random: &mut Inputs, slow: bool) -> Sensors {
    let [gx, gy, gz] = random.array::<3>(0.5);
    let [ax, ay, az] = random.array::<3>(2.0);
    let imu = ImuSample {
        gyro_rad_s: Vector::new(gx, gy, gz),
        accel_m_s2: Vector::new(ax, ay, az - STANDARD_GRAVITY_M_S2),
        age_ticks: 0,
    };
    let fast = Sensors {
        rotor_speed_rad_s: Some(Rotors::splat(600.0 + 50.0 * gx)),
        battery: Some(Battery { voltage_v: 15.0 + gx, current_a: 14.0 }),
        ..Sensors::from_imu(imu)
    };
    if !slow {
        return fast;
    }
    let fix = Receiver {
        position_m: Vector::new(ax, ay, az - 6.0),
        velocity_m_s: Vector::new(gx, gy, gz),
        position_accuracy_m: 1.5,
        velocity_accuracy_m_s: 0.1,
    };
    Sensors {
        pressure_pa: Some(Sample { value: 101_250.0 + ax, age_ticks: 10 }),
        receiver: Some(Sample { value: fix, age_ticks: 200 }),
        field_ut: Some(Sample { value: Vector::new(20.0 + ax, ay, 45.0 + az), age_ticks: 5 }),
        ..fast
    }
}

/// Every kind of demand in turn, each for 250 ticks.
fn demand<M: Math>(random: &mut Inputs, tick: u32) -> Demand {
    let [a, b, c, d] = random.array::<4>(1.0);
    let heading =
        if d > 0.0 { HeadingDemand::Rate(d) } else { HeadingDemand::Hold(Heading::from_rad::<M>(3.0 * d)) };
    let vertical = if c > 0.0 { VerticalDemand::Height(10.0 * c) } else { VerticalDemand::Climb(c) };
    let far = Vector::new(40.0 * a, 40.0 * b, 0.0);
    match tick / 250 % 5 {
        0 => Demand::Position { position_m: far, heading, vertical },
        1 => Demand::Velocity { velocity_m_s: far, heading, vertical },
        2 => Demand::Tilt { lean: Lean { forward: a, right: b }, heading, vertical },
        3 => Demand::Rates { rate_rad_s: Vector::new(4.0 * a, 4.0 * b, c), thrust_n: 12.0 + 12.0 * d },
        _ => Demand::Sticks(Sticks { roll: a, pitch: b, yaw: c, climb: d }),
    }
}
