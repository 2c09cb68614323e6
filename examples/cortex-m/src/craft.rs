//! The craft of the measurements, with its samples and commands on each tick.

use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Heading, Horizontal, Vector};
use aplomb::guard::Phase;
use aplomb::mix::Geometry;
use aplomb::{
    Battery, Command, Demand, FlightController, GnssFix, HeadingDemand, ImuSample, Math, PositionSetpoint,
    Rotors, STANDARD_GRAVITY_M_S2, Sample, Sensors, Spin, Sticks, Tilt, VelocitySetpoint, VerticalDemand,
};

use crate::inputs::Inputs;

/// Ticks flown.
pub const TICKS: u32 = 12_000;

/// The estimators are initialised within the first second.
pub const INITIALISATION_TICKS: u32 = 1000;

/// A craft of 1.2 kg that lifts 2.2 times its weight.
///
/// # Panics
/// Never: the values are valid.
#[must_use]
pub fn config() -> Config {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
    let airframe =
        Airframe { rotor_drag_per_s: Some(0.25), ..Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5) };
    Config::for_airframe(&airframe).expect("valid")
}

/// As [`config`], with the most expensive settings: a quadrilateral without symmetry, and a yaw reserve.
#[must_use]
pub fn general_config() -> Config {
    let mut config = config();
    let arms = &mut config.mix.geometry.arms;
    arms.front_left.x_m = 0.18;
    arms.front_right.y_m = 0.15;
    config.mix.reserved_yaw_share = 0.1;
    config
}

/// A flight on random samples and commands. Barometer, GNSS receiver and magnetometer all have a sample on
/// every tick on which all loops run: the largest load of a tick.
pub struct Flight {
    random: Inputs,
    tick: u32,
    ticks_to_all_loops: u16,
    velocity_divider: u16,
    period_s: f32,
}

impl Flight {
    /// Starts a flight of `controller`.
    pub fn new<M: Math, const N: usize, const P: usize>(
        config: &Config,
        controller: &mut FlightController<M, N, P>,
    ) -> Self {
        controller.resume_in_flight();
        Self {
            random: Inputs::new(),
            tick: 0,
            ticks_to_all_loops: 0,
            velocity_divider: config.velocity_divider,
            period_s: 1.0 / config.tick_hz,
        }
    }

    /// Samples and command of the next tick.
    pub fn samples_and_command<M: Math, const N: usize, const P: usize>(
        &mut self,
    ) -> (Sensors<N, P>, Command) {
        let all_loops = self.ticks_to_all_loops == 0;
        self.ticks_to_all_loops = if all_loops { self.velocity_divider } else { self.ticks_to_all_loops } - 1;
        let sensors = sensors(&mut self.random, all_loops, self.period_s);
        let command = Command::fly(demand::<M>(&mut self.random, self.tick));
        self.tick += 1;
        (sensors, command)
    }

    /// Continues the flight when `controller` has landed or stopped; its loops then start on the next tick.
    pub fn resume<M: Math, const N: usize, const P: usize>(
        &mut self,
        controller: &mut FlightController<M, N, P>,
    ) {
        if matches!(controller.status().phase, Phase::Stopped { .. } | Phase::Disarmed) {
            controller.resume_in_flight();
            self.ticks_to_all_loops = 0;
        }
    }
}

/// Noisy samples of a hover; with the `slow` ones of barometer, GNSS receiver and magnetometer or without.
fn sensors<const N: usize, const P: usize>(random: &mut Inputs, slow: bool, period_s: f32) -> Sensors<N, P> {
    let [gx, gy, gz] = random.array::<3>(0.5);
    let [ax, ay, az] = random.array::<3>(2.0);
    let force = Vector::new(ax, ay, az - STANDARD_GRAVITY_M_S2);
    let imu = ImuSample::from_rates(Vector::new(gx, gy, gz), force, period_s);
    let fast = Sensors {
        imu: [imu; N],
        rotor_speed_rad_s: Some(Rotors::splat(600.0 + 50.0 * gx)),
        battery: Some(Battery { voltage_v: 15.0 + gx, current_a: 14.0 }),
        pressure_pa: [None; P],
        gnss: None,
        magnetic_field_ut: None,
    };
    if !slow {
        return fast;
    }
    let fix = GnssFix {
        position_m: Vector::new(ax, ay, az - 6.0),
        velocity_m_s: Vector::new(gx, gy, gz),
        horizontal_accuracy_m: 1.5,
        vertical_accuracy_m: 1.5,
        horizontal_velocity_accuracy_m_s: 0.1,
        vertical_velocity_accuracy_m_s: 0.1,
    };
    Sensors {
        pressure_pa: [Some(Sample { value: 101_250.0 + ax, age_us: 10_000 }); P],
        gnss: Some(Sample { value: fix, age_us: 200_000 }),
        magnetic_field_ut: Some(Sample { value: Vector::new(20.0 + ax, ay, 45.0 + az), age_us: 5000 }),
        ..fast
    }
}

/// Every kind of demand in turn, each for 250 ticks.
fn demand<M: Math>(random: &mut Inputs, tick: u32) -> Demand {
    let [a, b, c, d] = random.array::<4>(1.0);
    let heading =
        if d > 0.0 { HeadingDemand::Rate(d) } else { HeadingDemand::Hold(Heading::from_rad::<M>(3.0 * d)) };
    let vertical = if c > 0.0 { VerticalDemand::Height(10.0 * c) } else { VerticalDemand::Climb(c) };
    let far = Horizontal::new(40.0 * a, 40.0 * b);
    match tick / 250 % 7 {
        0 => Demand::Position { setpoint: PositionSetpoint::at(far), heading, vertical },
        1 => Demand::Velocity { setpoint: VelocitySetpoint::constant(far), heading, vertical },
        2 => Demand::Tilt { tilt: Tilt { forward: a, right: b }, heading, vertical },
        3 => Demand::Rates { rate_rad_s: Vector::new(4.0 * a, 4.0 * b, c), thrust_n: 12.0 + 12.0 * d },
        4 => Demand::Sticks(Sticks { roll: a, pitch: b, yaw: c, climb: d }),
        5 => Demand::RateSticks(Sticks { roll: a, pitch: b, yaw: c, climb: d }),
        _ => Demand::Land,
    }
}
