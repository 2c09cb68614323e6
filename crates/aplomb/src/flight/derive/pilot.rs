//! Sticks.

use super::airframe::{Airframe, Basis};
use super::inner::Inner;
use super::outer::{Outer, descent_m_s};
use crate::STANDARD_GRAVITY_M_S2;
use crate::pilot::Config;

/// Share of its travel within which a released thumb stick comes to rest (value from memory).
const STICK_REST: f32 = 0.04;
/// Slope of the tilt over the stick about its centre, in rad per full travel: the 1 % of the travel that a
/// thumb resolves (value from memory) is a quarter of a degree.
const CENTRE_SLOPE_RAD: f32 = 0.436;
/// Drop height in m that the landing gear withstands: the 5 cm of the requirement on touchdown.
const LANDING_DROP_M: f32 = 0.05;

pub(super) fn sticks(
    airframe: &Airframe,
    basis: &Basis,
    inner: &Inner,
    outer: &Outer,
    velocity_noise_m_s: f32,
) -> Config {
    // A tenth of the tilt limit is left, so that an overshoot stays within it.
    let full_stick_tilt_rad = 0.9 * outer.thrust.tilt_limit_rad;
    Config {
        dead_band: STICK_REST,
        // (1 - expo) full = slope at the centre.
        expo: (1.0 - CENTRE_SLOPE_RAD / full_stick_tilt_rad).max(0.0),
        full_stick_tilt_rad,
        full_stick_roll_pitch_rate_rad_s: inner.attitude.tilt.rate_limit_rad_s,
        full_stick_yaw_rate_rad_s: inner.attitude.heading.rate_limit_rad_s,
        full_stick_climb_m_s: outer.vertical.climb_limit_m_s,
        full_stick_descent_m_s: outer.vertical.descent_limit_m_s,
        // From this speed the velocity loop, with its time constant 1/crossover, stops within a rotor
        // diameter. At least twice the noise of the measured velocity.
        hold_below_m_s: (airframe.rotor_diameter_m * outer.velocity.crossover_rad_s)
            .max(2.0 * velocity_noise_m_s),
        landing_speed_m_s: landing_m_s(airframe.rotor_diameter_m).min(descent_m_s(basis)),
    }
}

/// Sink rate of a free fall by a tenth of a rotor diameter, at most four fifths of what the landing
/// gear withstands.
fn landing_m_s(rotor_diameter_m: f32) -> f32 {
    let sink_m_s = |drop_m: f32| libm::sqrtf(2.0 * STANDARD_GRAVITY_M_S2 * drop_m);
    sink_m_s(0.1 * rotor_diameter_m).min(0.8 * sink_m_s(LANDING_DROP_M))
}
