//! Tilt limit, thrust range, vertical, velocity and position loop.

use super::airframe::{Airframe, Basis};
use super::inner::Inner;
use crate::STANDARD_GRAVITY_M_S2;
use crate::control::{position, thrust_vector, velocity, vertical};

/// Share of the full thrust that the outer loops may use; the rest is for torque.
const THRUST_SHARE: f32 = 0.9;
/// Largest tilt limit in rad that [`thrust_vector`] takes; a thrust to weight of 11.8 reaches it.
const LARGEST_TILT_RAD: f32 = 1.4;

/// Settings of the outer loops.
#[derive(Clone, Copy, Debug)]
pub(super) struct Outer {
    pub(super) thrust: thrust_vector::Config,
    pub(super) vertical: vertical::Config,
    pub(super) velocity: velocity::Config,
    pub(super) position: position::Config,
}

impl Outer {
    pub(super) fn new(airframe: &Airframe, basis: &Basis, inner: &Inner) -> Self {
        let tilt_limit_rad = tilt_limit_rad(basis.thrust_to_weight);
        let horizontal_m_s2 = STANDARD_GRAVITY_M_S2 * libm::tanf(tilt_limit_rad);
        let half_period_s = 0.5 * f32::from(inner.velocity_divider) / inner.tick_hz;
        let velocity = velocities(airframe, basis, inner, half_period_s, tilt_limit_rad);
        Self {
            thrust: thrust_vector::Config {
                mass_kg: airframe.mass_kg,
                tilt_limit_rad,
                // A fifth of the weight: torque needs thrust to redistribute.
                min_thrust_n: (0.2 * basis.weight_n).max(4.0 * basis.idle_thrust_n),
                max_thrust_n: THRUST_SHARE * basis.full_thrust_n,
            },
            vertical: verticals(airframe, basis, inner, half_period_s),
            velocity,
            position: position::Config {
                // With both loops broken at the tilt it takes atan(1/4) = 14 deg.
                crossover_rad_s: velocity.crossover_rad_s / 4.0,
                // Half of the tilt for braking, half for wind and gusts; a little under the velocity loop's
                // ramp.
                braking_m_s2: 0.4 * horizontal_m_s2,
                // Below the velocity loop's own limit, which then does not act on the position loop.
                speed_limit_m_s: 0.8 * velocity.speed_limit_m_s,
            },
        }
    }
}

/// The tilt at which the full thrust can still accelerate the craft upwards by a stated reserve a:
/// `F cos(tilt) = m (g + a)`. The reserve is 1 g, with which a free fall is stopped within the height that it
/// has fallen, or two thirds of what a level craft can, where that is less (thrust to weight below 2.5).
fn tilt_limit_rad(thrust_to_weight: f32) -> f32 {
    let reserve = (2.0 / 3.0 * (thrust_to_weight - 1.0)).min(1.0);
    libm::acosf((1.0 + reserve) / thrust_to_weight).min(LARGEST_TILT_RAD)
}

fn verticals(airframe: &Airframe, basis: &Basis, inner: &Inner, half_period_s: f32) -> vertical::Config {
    // Delays in the climb loop: the rotors, half a period, one tick to compute and half of one to hold, the
    // speed controllers.
    let delay_s = airframe.rotor_time_constant_s
        + half_period_s
        + 1.5 / inner.tick_hz
        + airframe.speed_controller_delay_s;
    // 1/5 rad = 11 deg of phase.
    let crossover = 1.0 / (5.0 * delay_s);
    let ratio = basis.thrust_to_weight;
    vertical::Config {
        climb_crossover_rad_s: crossover,
        climb_integral_time_s: 4.0 / crossover,
        height_crossover_rad_s: crossover / 3.0,
        // A fifth of the climb that takes the power of full thrust: by momentum theory (Leishman, ch. 2)
        // hover with the thrust r W takes the power r^1.5 W vi, and a climb v with the thrust W takes W (v/2
        // + sqrt(v^2/4 + vi^2)); alike at v = vi (r^1.5 - r^-1.5).
        climb_limit_m_s: 0.2 * basis.induced_m_s * (libm::powf(ratio, 1.5) - libm::powf(ratio, -1.5)),
        descent_limit_m_s: descent_m_s(basis),
        // Three tenths of the acceleration that thrust gives upwards or weight gives downwards, whichever is
        // less.
        acceleration_m_s2: 0.3 * STANDARD_GRAVITY_M_S2 * (ratio - 1.0).min(1.0),
    }
}

/// Half of the induced speed keeps clear of the rotors' own wake (common practice, no source); a tenth of it
/// is left for overshoot and gusts.
pub(super) fn descent_m_s(basis: &Basis) -> f32 {
    0.4 * basis.induced_m_s
}

fn velocities(
    airframe: &Airframe,
    basis: &Basis,
    inner: &Inner,
    half_period_s: f32,
    tilt_limit_rad: f32,
) -> velocity::Config {
    let horizontal_m_s2 = STANDARD_GRAVITY_M_S2 * libm::tanf(tilt_limit_rad);
    // 3.2 times slower than the delay of the inner loops, which then takes 1/3.2 rad = 18 deg of phase.
    let crossover = 1.0 / (3.2 * (inner.reference_delay_s + half_period_s));
    let acceleration = 0.5 * horizontal_m_s2;
    // The ramp to the limit lasts seven time constants of the loop, so that most of a change of velocity is
    // at constant acceleration (common practice, no source)...
    let ramped = 7.0 * acceleration / crossover;
    // ...and the drag of the rotors takes no more than half of the horizontal acceleration.
    let dragged = airframe
        .rotor_drag_per_s
        .filter(|&drag| drag > 0.0)
        .map_or(f32::INFINITY, |drag| acceleration / drag);
    velocity::Config {
        crossover_rad_s: crossover,
        // atan(1/5) = 11 deg.
        integral_time_s: 5.0 / crossover,
        speed_limit_m_s: ramped.min(dragged),
        // Half of the tilt for the ramp, half for wind and gusts.
        acceleration_m_s2: acceleration,
        // What nine tenths of the full thrust give at the tilt limit. In a strong wind the tilted rotors have
        // an axial inflow and need more command than modelled, so the tilt limit must be the limit that acts.
        output_limit_m_s2: (THRUST_SHARE * basis.full_thrust_n / airframe.mass_kg
            * libm::sinf(tilt_limit_rad))
        .max(horizontal_m_s2),
    }
}
