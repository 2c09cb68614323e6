//! Tick rate, gyro filters, rate and attitude loop.
//!
//! The rotor time constant, the speed controllers' delay and the rotor speeds set how fast the rate loop can
//! be. The tick rate and the dividers follow from the crossovers.

use core::f32::consts::{PI, SQRT_2};

use super::airframe::{Airframe, Basis};
use crate::control::{attitude, rate};
use crate::error::{ConfigError, Part};
use crate::flight::NotchConfig;

/// Tick rates in Hz, slowest first: divisions of the 8 kHz at which inertial sensors are commonly read (value
/// from memory).
pub const TICK_RATES_HZ: [f32; 5] = [500.0, 1000.0, 2000.0, 4000.0, 8000.0];
/// Ticks in the time 1/crossover of the rate loop, at least. Computing for one tick, holding for half a tick
/// and the gyro's mean over half a tick then cost 2/20 rad = 6 deg of phase at the crossover.
const TICKS_PER_CROSSOVER_TIME: f32 = 20.0;
/// Highest share of the tick rate at which a tone is notched; half of it is the Nyquist frequency.
const HIGHEST_TONE_SHARE: f32 = 0.45;
/// Crossover times dead time of the rate loop. An integrator with dead time L and gain w has a phase margin
/// of 90 deg - w L and a gain margin of (pi/2)/(w L): 69 deg and 12.8 dB, less what the integral takes.
const CROSSOVER_DEAD_TIME: f32 = 0.36;
/// Ratio of derivative time to its filter's time constant: 2 to 20 is usual (Astrom and Hagglund 2006,
/// chapter 3); below 10, for less noise in the motor commands.
const DERIVATIVE_FILTER_RATIO: f32 = 8.0;
/// Damping ratio of every reference: its pole pair alone overshoots by exp(-pi zeta/sqrt(1 - zeta^2)) = 2.8
/// %.
pub(super) const REFERENCE_DAMPING: f32 = 0.75;
/// Tilt step in rad that the reference is dimensioned for: the 20 deg on which the requirements judge a step.
const TILT_STEP_RAD: f32 = 0.349;
/// Heading step in rad (29 deg) that the reference is dimensioned for (common practice, no source).
const HEADING_STEP_RAD: f32 = 0.5;
/// Largest body rate in rad/s: four fifths of the 2000 deg/s that the gyros of such craft measure (value from
/// memory), so that overshoot stays within the range.
const GYRO_RATE_RAD_S: f32 = 0.8 * 34.9;

/// Settings of the inner loops.
#[derive(Clone, Copy, Debug)]
pub(super) struct Inner {
    pub(super) tick_hz: f32,
    pub(super) attitude_divider: u16,
    pub(super) velocity_divider: u16,
    pub(super) notch: NotchConfig,
    pub(super) gyro_cutoff_hz: f32,
    pub(super) rate: rate::Config,
    pub(super) attitude: attitude::Config,
    /// Low-frequency delay of the attitude reference: c1/c0 of its polynomial.
    pub(super) reference_delay_s: f32,
}

impl Inner {
    /// At the lowest listed tick rate that leaves [`TICKS_PER_CROSSOVER_TIME`] to the rate loop and, where
    /// notches are used, has the tone of the rotors at full thrust below [`HIGHEST_TONE_SHARE`].
    pub(super) fn new(airframe: &Airframe, basis: &Basis) -> Result<Self, ConfigError> {
        let [slowest, faster @ ..] = TICK_RATES_HZ;
        let mut inner = Self::at(slowest, airframe, basis)?;
        for tick_hz in faster {
            if inner.is_sampled_well(airframe, basis) {
                break;
            }
            inner = Self::at(tick_hz, airframe, basis)?;
        }
        Ok(inner)
    }

    fn is_sampled_well(&self, airframe: &Airframe, basis: &Basis) -> bool {
        TICKS_PER_CROSSOVER_TIME * self.rate.roll.crossover_rad_s <= self.tick_hz
            && full_thrust_tone_hz(airframe, basis) <= HIGHEST_TONE_SHARE * self.tick_hz
    }

    fn at(tick_hz: f32, airframe: &Airframe, basis: &Basis) -> Result<Self, ConfigError> {
        let notch = notches(airframe, basis, tick_hz);
        let notch_delay_s = notch.hover_delay_s(1.0 / tick_hz).map_err(|error| error.within(Part::Notch))?;
        let time_constant_s = airframe.rotor_time_constant_s;
        // The derivative cancels the rotor time constant: tau = Td (1 + 1/N).
        let derivative_time_s = time_constant_s / (1.0 + 1.0 / DERIVATIVE_FILTER_RATIO);
        // The gyro's low-pass, whose delay at low frequency is sqrt(2)/(2 pi f), may delay by a sixteenth of
        // the rotor time constant: about half of what the derivative's filter delays.
        let low_pass_delay_s = time_constant_s / (2.0 * DERIVATIVE_FILTER_RATIO);
        // What is left is dead time: the gyro's mean over a tick (half a tick), the computation (one), the
        // hold (half of one), the speed controllers, the notches, the derivative's filter and the low-pass.
        let dead_time_s = 2.0 / tick_hz
            + airframe.speed_controller_delay_s
            + notch_delay_s
            + derivative_time_s / DERIVATIVE_FILTER_RATIO
            + low_pass_delay_s;
        let crossover = CROSSOVER_DEAD_TIME / dead_time_s;
        let gyro_cutoff_hz = SQRT_2 / (2.0 * PI * low_pass_delay_s);
        let rate = rates(airframe, basis, crossover, derivative_time_s);
        // Half a period of holding adds a quarter to the rate loop's dead time.
        let attitude_divider = ((0.5 * dead_time_s * tick_hz + 0.5) as u16).max(1);
        let attitude = attitudes(airframe, basis, &rate, f32::from(attitude_divider) / tick_hz);
        let reference_delay_s = (1.0 + 2.0 * REFERENCE_DAMPING) / attitude.tilt.reference_bandwidth_rad_s;
        // Half a period of holding adds at most an eighth to the delay of the tilt; a multiple of the
        // attitude divider.
        let attitude_periods = 0.25 * reference_delay_s * tick_hz / f32::from(attitude_divider);
        let velocity_divider = (attitude_periods as u16).max(1).saturating_mul(attitude_divider);
        Ok(Self {
            tick_hz,
            attitude_divider,
            velocity_divider,
            notch,
            gyro_cutoff_hz,
            rate,
            attitude,
            reference_delay_s,
        })
    }
}

/// Frequency of the rotors at full thrust in Hz, with 10 % for errors of the thrust curve and a full battery.
fn full_thrust_tone_hz(airframe: &Airframe, basis: &Basis) -> f32 {
    1.1 * airframe.hover_speed_rad_s / (2.0 * PI) * libm::sqrtf(basis.thrust_to_weight)
}

fn notches(airframe: &Airframe, basis: &Basis, tick_hz: f32) -> NotchConfig {
    let hover_hz = airframe.hover_speed_rad_s / (2.0 * PI);
    NotchConfig {
        // An error of 5 % in the speed leaves 45 % of the tone; four such notches delay by 0.13 periods of
        // the tone. A tone that even the highest tick rate samples too coarsely is left to the gyro's
        // low-pass.
        bandwidth_hz: if hover_hz < HIGHEST_TONE_SHARE * tick_hz { 0.2 * hover_hz } else { 0.0 },
        // The imbalance, once a revolution, is the largest vibration. The blade-pass frequency is a multiple
        // of it, where the gyro's low-pass attenuates it further.
        harmonic: 1.0,
        // The speed at half of the hover thrust, where a notch has twice the delay that it has in hover.
        lowest_hz: 0.7 * hover_hz,
        highest_hz: full_thrust_tone_hz(airframe, basis).min(HIGHEST_TONE_SHARE * tick_hz),
        hover_speed_rad_s: airframe.hover_speed_rad_s,
    }
}

fn rates(airframe: &Airframe, basis: &Basis, crossover: f32, derivative_time_s: f32) -> rate::Config {
    let axis = |torque: f32, inertia: f32, crossover_rad_s: f32| rate::Axis {
        crossover_rad_s,
        // Six over the crossover: atan(1/6) = 9.5 deg of phase.
        integral_time_s: 6.0 / crossover_rad_s,
        derivative_time_s,
        // Twice what the rotors give at hover, so that the mixer is the limit.
        acceleration_limit_rad_s2: 2.0 * torque / inertia,
    };
    let (inertia, torque) = (airframe.inertia, basis.torque_nm);
    rate::Config {
        roll: axis(torque.x(), inertia.roll_kg_m2, crossover),
        pitch: axis(torque.y(), inertia.pitch_kg_m2, crossover),
        // Yaw has about a tenth of the torque per change of thrust: a third of the gain limits the noise in
        // the motor commands.
        yaw: axis(torque.z(), inertia.yaw_kg_m2, crossover / 3.0),
        derivative_filter_ratio: DERIVATIVE_FILTER_RATIO,
        inertia,
        gyroscopic: true,
        // T = Jr/(2 kQ w) with the drag torque kQ w^2 = kappa f of one rotor in hover.
        reaction_time_constant_s: 0.5 * airframe.rotor_inertia_kg_m2 * airframe.hover_speed_rad_s
            / (airframe.geometry.torque_to_thrust_m * 0.25 * basis.weight_n),
    }
}

fn attitudes(airframe: &Airframe, basis: &Basis, rate: &rate::Config, period_s: f32) -> attitude::Config {
    let (inertia, torque) = (airframe.inertia, basis.torque_nm);
    let time_constant_s = airframe.rotor_time_constant_s;
    // The first instant of the step that the reference is dimensioned for takes the whole torque that hover
    // leaves: it lasts for about a rotor time constant, before feedback has an error to correct. Yaw keeps
    // half of it, since the mixer reduces it first.
    let tilt = (torque.x() / inertia.roll_kg_m2).min(torque.y() / inertia.pitch_kg_m2);
    let heading = 0.5 * torque.z() / inertia.yaw_kg_m2;
    let part = |crossover: f32, fastest: f32, step: f32, acceleration: f32| {
        // A step s demands a feed-forward of s tau omega^3 at once.
        let bandwidth = libm::cbrtf(acceleration / (step * time_constant_s)).min(fastest);
        attitude::Part {
            // For a phase margin of 45 deg wherever the loops are broken. The rate loop follows a set-point
            // with the rotor time constant, since its derivative acts only on the gyro; time constants of 20
            // to 60 ms leave 51 to 54 deg (`tests/margins.rs`).
            crossover_rad_s: crossover / 4.2,
            reference_bandwidth_rad_s: bandwidth,
            // Braking from the rate limit at the reference's omega/(1 + 2 zeta) takes half of the
            // acceleration. At most what the gyro measures, and half a radian in a period.
            rate_limit_rad_s: (0.5 * acceleration * (1.0 + 2.0 * REFERENCE_DAMPING) / bandwidth)
                .min(GYRO_RATE_RAD_S)
                .min(0.5 / period_s),
            acceleration_limit_rad_s2: acceleration,
        }
    };
    attitude::Config {
        // No faster than the rate loop.
        tilt: part(rate.roll.crossover_rad_s, 0.8 * rate.roll.crossover_rad_s, TILT_STEP_RAD, tilt),
        heading: part(rate.yaw.crossover_rad_s, 0.5 * rate.yaw.crossover_rad_s, HEADING_STEP_RAD, heading),
        reference_damping: REFERENCE_DAMPING,
        rotor_time_constant_s: time_constant_s,
    }
}
