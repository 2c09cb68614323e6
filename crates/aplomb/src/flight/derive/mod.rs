//! Every setting derived from the parameters of an airframe, each with its rule.
//!
//! The rule of each value is beside it in the code: tick rate, filters, rate and attitude loop in `inner.rs`,
//! tilt limit to position loop in `outer.rs`, sticks in `pilot.rs`, guard in `guard.rs`. Rates, times and
//! speeds follow from the rotor time constant, torque over inertia, thrust to weight and rotor diameter. A
//! dynamically similar craft of another size (Froude scaling: times with the root of the length) has the same
//! settings in its own time, within the steps of [`TICK_RATES_HZ`]. Only bounds by a hand, a sensor or the
//! landing gear do not scale; the rule then names them.
//!
//! Four craft: `examples/craft/invented-30g.toml` (brushed motors), `examples/craft/invented-250g.toml`, the
//! demo's own `harness/demo/craft.toml`, `examples/craft/invented-25kg.toml`. Each takes off, follows steps
//! of 20 deg and lands on the simulated craft, and the table is checked against the code
//! (`tests/derived_settings.rs`).
//!
//! | | 30 g | 250 g | 1.2 kg | 25 kg | rule |
//! | --- | --- | --- | --- | --- | --- |
//! | thrust to weight | 2.56 | 9.13 | 2.35 | 1.94 | of the controller's model, at full command and reference voltage |
//! | tick rate, Hz | 1000 | 2000 | 1000 | 1000 | lowest of the list with 20 ticks in 1/crossover and the full-thrust tone below 0.45 of it |
//! | attitude divider | 4 | 5 | 5 | 6 | half a period adds a quarter to the dead time of the rate loop |
//! | velocity divider | 12 | 25 | 25 | 30 | half a period adds an eighth to the delay of the tilt |
//! | gyro low-pass, Hz | 136 | 265 | 112 | 117 | delays by 1/16 of the rotor time constant |
//! | notch bandwidth, Hz | 49.6 | 29.7 | 18.8 | 7.39 | 1/5 of the tone in hover |
//! | rate crossover, rad/s | 49.2 | 76 | 36 | 30.5 | 0.36/dead time |
//! | yaw rate crossover, rad/s | 16.4 | 25.3 | 12 | 10.2 | a third of it |
//! | tilt crossover, rad/s | 11.7 | 18.1 | 8.58 | 7.26 | rate crossover/4.2 |
//! | tilt reference, rad/s | 39.3 | 45.9 | 23.9 | 20.4 | (torque/inertia/(20 deg rotor time constant))^(1/3), at most 0.8 rate crossover |
//! | roll and pitch rate limit, deg/s | 1146 | 715 | 460 | 319 | braked by half of torque/inertia; at most 1600 deg/s, 0.8 of a gyro's range |
//! | yaw rate limit, deg/s | 214 | 151 | 52.2 | 30.3 | the same with 0.5 torque/inertia |
//! | idle command | 0.0859 | 0.0512 | 0.1 | 0.112 | a sixth of the hover speed |
//! | tilt limit, deg | 38.5 | 77.3 | 36.1 | 33 | full thrust still accelerates upwards by min(1, 2/3 (thrust to weight - 1)) g |
//! | climb crossover, rad/s | 5.88 | 9.48 | 4.24 | 4.14 | 0.2/(rotors + half a period + delays) |
//! | climb limit, m/s | 2.69 | 24.5 | 3.65 | 3.46 | a fifth of what the power of full thrust lifts |
//! | descent limit, m/s | 1.4 | 1.78 | 2.19 | 2.96 | 0.4 of the induced speed |
//! | vertical acceleration, m/s2 | 2.94 | 2.94 | 2.94 | 2.77 | 0.3 of min(1, thrust to weight - 1) g |
//! | velocity crossover, rad/s | 4.49 | 5.15 | 2.67 | 2.27 | 1/(3.2 times the delay of the tilt) |
//! | velocity limit, m/s | 6.08 | 29.7 | 9.36 | 9.84 | a ramp of 7/crossover; drag takes at most half of the acceleration |
//! | horizontal acceleration, m/s2 | 3.91 | 21.8 | 3.57 | 3.19 | half of g tan(tilt limit) |
//! | position crossover, rad/s | 1.12 | 1.29 | 0.668 | 0.567 | a quarter of the velocity crossover |
//! | braking, m/s2 | 3.12 | 17.5 | 2.86 | 2.55 | 0.4 of g tan(tilt limit) |
//! | full stick tilt, deg | 34.7 | 69.6 | 32.5 | 29.7 | 0.9 of the tilt limit |
//! | expo | 0.28 | 0.641 | 0.23 | 0.16 | 1 % of the travel about the centre is 0.25 deg |
//! | stick dead band | 0.04 | 0.04 | 0.04 | 0.04 | rest of a released stick, value from memory |
//! | hold position below, m/s | 0.251 | 0.654 | 0.611 | 1.73 | stops within a rotor diameter; at least twice the noise of the velocity |
//! | landing speed, m/s | 0.331 | 0.499 | 0.67 | 0.792 | free fall by 1/10 of a rotor diameter; at most 0.8 of that by 5 cm |
//! | arming tilt, deg | 16.7 | 16.7 | 16.7 | 16.5 | half the tilt limit; at most the slope that slippery feet hold, atan 0.3 |
//! | arming rate, deg/s | 20 | 20 | 20 | 20 | four times the largest gyro bias |
//! | arming stick | 0.08 | 0.08 | 0.08 | 0.08 | twice the dead band |
//! | inertial sample held, s | 0.0264 | 0.0136 | 0.0322 | 0.0308 | rotor time constant |
//! | command held, s | 0.223 | 0.2 | 0.374 | 0.441 | 1/velocity crossover; at least ten frames at 50 Hz |
//! | landing after, s | 1.78 | 1.56 | 3 | 3.53 | then stopping from the velocity limit |
//! | tip-over tilt, deg | 64.3 | 83.7 | 63 | 61.5 | half-way from the tilt limit to 90 deg |
//! | tip-over time, s | 0.214 | 0.322 | 0.432 | 0.788 | twice the free fall by a rotor diameter |
//! | landed time, s | 0.214 | 0.322 | 0.432 | 0.788 | the same |
//! | landed climb, m/s | 0.132 | 0.2 | 0.268 | 0.317 | 0.4 of the landing speed |

mod airframe;
mod guard;
mod inner;
mod outer;
mod pilot;

pub use airframe::Airframe;
pub use inner::TICK_RATES_HZ;

use super::Config;
use crate::error::ConfigError;
use crate::{MotorCommand, estimate, mix};
use airframe::Basis;
use inner::Inner;
use outer::Outer;

impl Config {
    /// Derives every setting. The [module](super::derive) has a table of the rules.
    ///
    /// ```
    /// use aplomb::{Spin, flight::{Airframe, Config}, mix::Geometry};
    /// let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    /// let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.5))?;
    /// assert!(config.rate.roll.crossover_rad_s > 20.0 && config.rate.roll.crossover_rad_s < 60.0);
    /// // Thrust to weight 2.21: at the limit full thrust still climbs with 2/3 (2.21 - 1) g.
    /// assert!((config.thrust.tilt_limit_rad.cos() - (1.0 + 2.0 / 3.0 * 1.2094) / 2.2094).abs() < 1e-4);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the parameter that is not finite or not positive; `max_thrust_n` when the craft cannot lift 1.3
    /// times its weight.
    pub fn for_airframe(airframe: &Airframe) -> Result<Self, ConfigError> {
        let basis = Basis::new(airframe)?;
        let inner = Inner::new(airframe, &basis)?;
        let outer = Outer::new(airframe, &basis, &inner);
        let estimate = estimate::Config {
            rotor_drag_per_s: airframe.rotor_drag_per_s,
            // A sample older than a period of the attitude loop does not count.
            imu_max_age_s: f32::from(inner.attitude_divider) / inner.tick_hz,
            ..estimate::Config::CONSUMER
        };
        let pilot =
            pilot::sticks(airframe, &basis, &inner, &outer, estimate.horizontal.velocity_white_noise_m_s);
        let mut curve: mix::ThrustCurve = mix::ThrustCurve::new(&airframe.thrust_curve, 1.0 / inner.tick_hz)?;
        let idle_command = curve.command(basis.idle_thrust_n, MotorCommand::STOPPED).get();
        // The mixer's upper end is what a full command gives with a full battery: the command itself limits.
        curve.observe(airframe.thrust_curve.highest_voltage_v);
        let max_thrust_n = curve.ceiling_n();
        Ok(Self {
            tick_hz: inner.tick_hz,
            attitude_divider: inner.attitude_divider,
            velocity_divider: inner.velocity_divider,
            idle_command,
            air_density_kg_m3: mix::REFERENCE_DENSITY_KG_M3,
            // The largest share that is allowed: slow beside the velocity loop.
            wind_share: 0.2,
            imu_delay_s: airframe.imu_delay_s,
            gyro_cutoff_hz: inner.gyro_cutoff_hz,
            mix: mix::Config {
                geometry: airframe.geometry,
                min_thrust_n: basis.idle_thrust_n,
                max_thrust_n,
                // Attitude before height: total thrust may fall to its minimum for torque, and rise by half
                // of the weight, an upward acceleration of g/2.
                allowance_down_n: 4.0 * max_thrust_n,
                allowance_up_n: 0.5 * basis.weight_n,
                reserved_yaw_share: 0.0,
            },
            thrust_curve: airframe.thrust_curve,
            estimate,
            notch: inner.notch,
            rate: inner.rate,
            attitude: inner.attitude,
            thrust: outer.thrust,
            vertical: outer.vertical,
            velocity: outer.velocity,
            position: outer.position,
            pilot,
            guard: guard::guard(airframe, &basis, &outer, &pilot, &estimate.attitude),
        })
    }
}

#[cfg(test)]
mod tests;
