//! The craft of the measurements, with its samples and commands on each tick.

use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Heading, Horizontal, Vector};
use aplomb::mix::Geometry;
use aplomb::{
    Battery, Demand, GnssFix, HeadingDemand, ImuSample, Math, PositionSetpoint, Rotors,
    STANDARD_GRAVITY_M_S2, Sample, Sensors, Spin, Sticks, Tilt, VelocitySetpoint, VerticalDemand,
};

use crate::inputs::Inputs;

/// Ticks flown.
pub const TICKS: u32 = 6000;

/// The first second seeds the estimators.
pub const SETTLING_TICKS: u32 = 1000;

/// The slow samples all arrive at once, and in turn on every tick of the period of the outer loops.
#[must_use]
pub const fn all_at_once(tick: u32) -> bool {
    tick.is_multiple_of(26)
}

/// Ticks without the loops on a divider and without slow samples, nor anything that these have put off, once the estimators are
/// initialised.
#[must_use]
pub fn settled_inner(tick: u32) -> bool {
    tick > SETTLING_TICKS && !tick.is_multiple_of(5) && !(0..2).any(|ago| all_at_once(tick - ago))
}

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

/// Noisy samples of a hover; with the `slow` ones of barometer, receiver and magnetometer or without.
pub fn sensors(random: &mut Inputs, slow: bool) -> Sensors {
    let [gx, gy, gz] = random.array::<3>(0.5);
    let [ax, ay, az] = random.array::<3>(2.0);
    let force = Vector::new(ax, ay, az - STANDARD_GRAVITY_M_S2);
    let imu = ImuSample::from_rates(Vector::new(gx, gy, gz), force, 1e-3);
    let fast = Sensors {
        rotor_speed_rad_s: Some(Rotors::splat(600.0 + 50.0 * gx)),
        battery: Some(Battery { voltage_v: 15.0 + gx, current_a: 14.0 }),
        ..Sensors::from_imu(imu)
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
        pressure_pa: [Some(Sample { value: 101_250.0 + ax, age_us: 10_000 })],
        gnss: Some(Sample { value: fix, age_us: 200_000 }),
        magnetic_field_ut: Some(Sample { value: Vector::new(20.0 + ax, ay, 45.0 + az), age_us: 5000 }),
        ..fast
    }
}

/// Every kind of demand in turn, each for 250 ticks.
pub fn demand<M: Math>(random: &mut Inputs, tick: u32) -> Demand {
    let [a, b, c, d] = random.array::<4>(1.0);
    let heading =
        if d > 0.0 { HeadingDemand::Rate(d) } else { HeadingDemand::Hold(Heading::from_rad::<M>(3.0 * d)) };
    let vertical = if c > 0.0 { VerticalDemand::Height(10.0 * c) } else { VerticalDemand::Climb(c) };
    let far = Horizontal::new(40.0 * a, 40.0 * b);
    match tick / 250 % 5 {
        0 => Demand::Position { setpoint: PositionSetpoint::at(far), heading, vertical },
        1 => Demand::Velocity { setpoint: VelocitySetpoint::constant(far), heading, vertical },
        2 => Demand::Tilt { tilt: Tilt { forward: a, right: b }, heading, vertical },
        3 => Demand::Rates { rate_rad_s: Vector::new(4.0 * a, 4.0 * b, c), thrust_n: 12.0 + 12.0 * d },
        _ => Demand::Sticks(Sticks { roll: a, pitch: b, yaw: c, climb: d }),
    }
}
