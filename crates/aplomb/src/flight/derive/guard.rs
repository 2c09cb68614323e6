//! Arming, loss of link, low battery, tip-over and landing.

use core::f32::consts::FRAC_PI_2;

use super::airframe::{Airframe, Basis};
use super::outer::Outer;
use crate::guard::Config;
use crate::{estimate, pilot};

/// Friction coefficient of smooth feet on a slippery surface (value from memory): on a steeper slope the
/// craft slides.
const FRICTION: f32 = 0.3;
/// Ten intervals of a radio link with 50 frames a second (value from memory): shorter gaps are common.
const LINK_FRAMES_S: f32 = 0.2;

pub(super) fn guard(
    airframe: &Airframe,
    basis: &Basis,
    outer: &Outer,
    pilot: &pilot::Config,
    estimate: &estimate::attitude::Config,
) -> Config {
    let tilt_limit = outer.thrust.tilt_limit_rad;
    // The last command is held for a time constant of the velocity loop...
    let link_hold_s = (1.0 / outer.velocity.crossover_rad_s).max(LINK_FRAMES_S);
    let curve = &airframe.thrust_curve;
    Config {
        // The steepest slope on which the craft stands without sliding; at most half the tilt limit, so that
        // the other half is left to level after take-off.
        arming_tilt_rad: (0.5 * tilt_limit).min(libm::atanf(FRICTION)),
        // Four times the largest gyro bias: a larger rate is motion.
        arming_rate_rad_s: 4.0 * estimate.max_gyro_bias_rad_s,
        // The offset of a released stick, and as much again for its trim.
        arming_stick: 2.0 * pilot.dead_band,
        // One rotor time constant: for that time the rotor speeds are still near those of the last sample.
        imu_hold_s: airframe.rotor_time_constant_s,
        link_hold_s,
        // ...and the position is held for as long as stopping from the highest speed takes, so that the craft
        // lands from a standstill.
        link_land_s: link_hold_s + outer.velocity.speed_limit_m_s / outer.velocity.acceleration_m_s2,
        // The empty voltage plus a fifth of the range: what a landing takes from a pack under load.
        low_battery_v: curve.lowest_voltage_v + 0.2 * (curve.highest_voltage_v - curve.lowest_voltage_v),
        // Six time constants of its filter: a sag of the voltage is settled within 0.3 %.
        low_battery_s: (6.0 * curve.voltage_filter_s).max(basis.fall_s),
        // Half-way from the tilt limit to 90 deg, a craft on its side.
        tip_over_tilt_rad: 0.5 * (tilt_limit + FRAC_PI_2),
        // In free fall a craft falls by four rotor diameters in this time.
        tip_over_s: 2.0 * basis.fall_s,
        // Near the ground the rotors lift more: 1 - (R/(4 z))^2 = 0.75 of the weight is enough at z = R/2
        // (Cheeseman and Bennett, ARC R&M 3021, 1955). With less the ground carries the rest.
        landed_thrust_share: 0.7,
        // Two fifths of the landing speed: clearly slower than a descent.
        landed_climb_m_s: 0.4 * pilot.landing_speed_m_s,
        // In the air, with 0.7 of the weight as thrust, a craft falls by 1.2 rotor diameters in this time.
        landed_s: 2.0 * basis.fall_s,
    }
}
