//! Every default derived from a few facts about the airframe, each with its rule beside it.

use core::f32::consts::PI;

use super::{Config, NotchConfig};
use crate::control::{attitude, position, rate, thrust_vector, velocity, vertical};
use crate::error::{ConfigError, Part, Problem, require_not_negative, require_positive};
use crate::mix::{self, Geometry, ThrustCurveConfig};
use crate::{STANDARD_GRAVITY_M_S2, estimate, guard, pilot};

/// The facts.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Airframe {
    /// Mass in kg.
    pub mass_kg: f32,
    /// Inertia.
    pub inertia: rate::Inertia,
    /// Places and senses of the rotors.
    pub geometry: Geometry,
    /// Thrust of one rotor to motor command.
    pub thrust_curve: ThrustCurveConfig,
    /// Diameter of a rotor in m.
    pub rotor_diameter_m: f32,
    /// First-order lag of the rotors' speed in s.
    pub rotor_time_constant_s: f32,
    /// Time in s from a sample to the moment its command reaches the motors.
    pub delay_s: f32,
    /// Delay in s of the inertial sensor's own filter, 0 to 0.02.
    pub imu_delay_s: f32,
    /// Moment of inertia of one rotor (propeller and bell) about its shaft in kg m2; 0 for a rotor without inertia.
    pub rotor_inertia_kg_m2: f32,
    /// Speed of the rotors in hover in rad/s.
    pub hover_speed_rad_s: f32,
    /// Drag of the rotors over mass in 1/s, if known.
    pub rotor_drag_per_s: Option<f32>,
}

impl Airframe {
    /// From mass in kg, principal moments of inertia in kg m2, geometry and full thrust of a rotor in N. The rest is a
    /// four-cell battery, a plain quadratic curve, rotors of 0.2286 m (9 in) with a lag of 0.04 s and an
    /// inertia of 4e-5 kg m2 that hover at 600 rad/s, a delay of 2.5 ms, and an inertial sensor whose own filter has no delay.
    ///
    /// ```
    /// use aplomb::{Spin, flight::{Airframe, Config}, mix::Geometry};
    /// let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    /// let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5);
    /// assert_eq!((airframe.thrust_curve.max_thrust_n, airframe.delay_s), (6.5, 0.0025));
    /// // A rotor that cannot lift its quarter of the weight, 2.94 N, makes no craft.
    /// assert!(Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 2.9)).is_err());
    /// ```
    #[must_use]
    pub const fn new(mass_kg: f32, inertia_kg_m2: [f32; 3], geometry: Geometry, max_thrust_n: f32) -> Self {
        let [roll, pitch, yaw] = inertia_kg_m2;
        Self {
            mass_kg,
            inertia: rate::Inertia::diagonal(roll, pitch, yaw),
            geometry,
            thrust_curve: ThrustCurveConfig {
                max_thrust_n,
                // Four lithium-polymer cells: 3.7 V nominal, 3.0 V empty, 4.2 V full.
                reference_voltage_v: 14.8,
                back_emf_share: 1.0,
                lowest_voltage_v: 12.0,
                highest_voltage_v: 16.8,
                voltage_filter_s: 0.5,
            },
            rotor_diameter_m: 0.2286,
            rotor_time_constant_s: 0.04,
            delay_s: 0.0025,
            imu_delay_s: 0.0,
            rotor_inertia_kg_m2: 4e-5,
            hover_speed_rad_s: 600.0,
            rotor_drag_per_s: None,
        }
    }
}

/// Largest torques in N m about roll, pitch and yaw at hover thrust, both ways.
struct Authority {
    roll: f32,
    pitch: f32,
    yaw: f32,
}

const TICK_HZ: f32 = 1000.0;
const ATTITUDE_EVERY: u16 = 5;
const VELOCITY_EVERY: u16 = 25;
/// Cut-off of the low-pass on the body rate: two and a half octaves above the crossover of the rate loop, below the blade tone of most
/// rotors.
const GYRO_CUTOFF_HZ: f32 = 100.0;
/// Damping of every reference.
const REFERENCE_DAMPING: f32 = 0.75;
/// Derivative filter ratio: ten is usual, and less noise is worth a little delay.
const DERIVATIVE_FILTER_RATIO: f32 = 8.0;
/// The tilt step that the reference is dimensioned for, in rad (20 deg).
const DESIGN_STEP_RAD: f32 = 0.349;

impl Config {
    /// Derives everything. The rules stand beside the values.
    ///
    /// ```
    /// use aplomb::{Spin, flight::{Airframe, Config}, mix::Geometry};
    /// let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    /// let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.5))?;
    /// assert!(config.rate.roll.crossover_rad_s > 20.0 && config.rate.roll.crossover_rad_s < 60.0);
    /// assert!((config.thrust.tilt_limit_rad.to_degrees() - 33.6).abs() < 0.5);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    ///
    /// # Errors
    /// Names the fact that is not finite or not positive; `max_thrust_n` when the craft cannot lift 1.3 times its weight.
    pub fn for_airframe(airframe: &Airframe) -> Result<Self, ConfigError> {
        let mass = require_positive("mass_kg", airframe.mass_kg)?;
        require_positive("max_thrust_n", airframe.thrust_curve.max_thrust_n)?;
        require_positive("rotor_diameter_m", airframe.rotor_diameter_m)?;
        let lag = require_positive("rotor_time_constant_s", airframe.rotor_time_constant_s)?;
        let delay = require_not_negative("delay_s", airframe.delay_s)?;
        require_not_negative("rotor_inertia_kg_m2", airframe.rotor_inertia_kg_m2)?;
        require_positive("hover_speed_rad_s", airframe.hover_speed_rad_s)?;
        let (weight, full) = (mass * STANDARD_GRAVITY_M_S2, 4.0 * airframe.thrust_curve.max_thrust_n);
        if full <= 1.3 * weight {
            return Err(ConfigError::new("max_thrust_n", Problem::Inconsistent));
        }
        // The armed minimum: a tenth of the command keeps the rotors turning; its thrust is the mixer's lower end.
        let idle_command = 0.1;
        let mut curve: mix::ThrustCurve = mix::ThrustCurve::new(&airframe.thrust_curve, 1.0 / TICK_HZ)?;
        let min_thrust_n = curve.thrust_n(crate::MotorCommand::saturating(idle_command));
        // The mixer's upper end is what a full command gives with a full battery: the command itself limits.
        curve.observe(airframe.thrust_curve.highest_voltage_v);
        let max_thrust_n = curve.ceiling_n();
        let authority = authority(airframe, weight, min_thrust_n);

        let notch = notches(airframe, weight);
        let notch_delay = notch.hover_delay_s(1.0 / TICK_HZ).map_err(|error| error.within(Part::Notch))?;
        let rate = rates(airframe, &authority, lag, delay + notch_delay);
        let attitude = attitudes(airframe, &authority, &rate, lag);
        let tilt_limit = tilt_limit(weight, full);
        let reference = attitude.tilt.reference_bandwidth_rad_s;
        // Low-frequency lag of the reference, c1/c0, plus half a period of the velocity loop and the estimator's tick.
        let lean_lag =
            (1.0 + 2.0 * REFERENCE_DAMPING) / reference + 0.5 * f32::from(VELOCITY_EVERY) / TICK_HZ;
        // Three times slower than what lies below, so that it looks like a small delay: 18 deg of phase.
        let velocity_crossover = 1.0 / (3.2 * lean_lag);
        // With both loops broken at the lean it takes atan(1/4) = 14 deg.
        let position_crossover = velocity_crossover / 4.0;
        // What lies below the climb loop: the rotors, half a period, the tick.
        let thrust_lag = lag + 0.5 * f32::from(VELOCITY_EVERY) / TICK_HZ + delay;
        let climb_crossover = 1.0 / (5.0 * thrust_lag);
        let horizontal = STANDARD_GRAVITY_M_S2 * libm::tanf(tilt_limit);
        // Hover induced speed; half of it is the descent limit's upper end, and a tenth less keeps clear of it.
        let disc = PI * airframe.rotor_diameter_m * airframe.rotor_diameter_m;
        let induced = libm::sqrtf(weight / (2.0 * mix::REFERENCE_DENSITY_KG_M3 * disc));
        let descent = 0.4 * induced;
        Ok(Self {
            tick_hz: TICK_HZ,
            attitude_divider: ATTITUDE_EVERY,
            velocity_divider: VELOCITY_EVERY,
            idle_command,
            air_density_kg_m3: mix::REFERENCE_DENSITY_KG_M3,
            // The fastest that is slow beside the velocity loop.
            wind_share: 0.2,
            imu_delay_s: airframe.imu_delay_s,
            gyro_cutoff_hz: GYRO_CUTOFF_HZ,
            mix: mix::Config {
                geometry: airframe.geometry,
                min_thrust_n,
                max_thrust_n,
                // Attitude before height: thrust may be given up altogether, but righting itself must not throw the
                // craft up by more than half a g.
                allowance_down_n: 4.0 * max_thrust_n,
                allowance_up_n: 0.5 * weight,
                reserved_yaw_share: 0.0,
            },
            thrust_curve: airframe.thrust_curve,
            estimate: estimate::Config {
                rotor_drag_per_s: airframe.rotor_drag_per_s,
                ..estimate::Config::CONSUMER
            },
            notch,
            rate,
            attitude,
            thrust: thrust_vector::Config {
                mass_kg: mass,
                tilt_limit_rad: tilt_limit,
                // A fifth of the weight keeps the rotors able to make torque; nine tenths of full leave some for it.
                min_thrust_n: (0.2 * weight).max(4.0 * min_thrust_n),
                max_thrust_n: 0.9 * full,
            },
            vertical: vertical::Config {
                climb_crossover_rad_s: climb_crossover,
                climb_integral_time_s: 4.0 / climb_crossover,
                height_crossover_rad_s: climb_crossover / 3.0,
                // A climb no faster than the induced speed: beyond it the rotors' inflow doubles.
                climb_limit_m_s: 0.6 * induced,
                descent_limit_m_s: descent,
                // A third of the acceleration that the thrust in excess allows.
                acceleration_m_s2: (STANDARD_GRAVITY_M_S2 * (full / weight - 1.0) / 3.0).min(3.0),
            },
            velocity: velocity::Config {
                crossover_rad_s: velocity_crossover,
                // atan(1/5) = 11 deg.
                integral_time_s: 5.0 / velocity_crossover,
                // Reached within three seconds at half the horizontal acceleration.
                speed_limit_m_s: 1.5 * horizontal,
                acceleration_m_s2: 0.5 * horizontal,
                // What nine tenths of the full thrust give at the tilt limit. In a strong wind the rotors climb into the air that
                // they lean against and need more thrust than the belief, so the tilt limit itself must be what binds.
                output_limit_m_s2: (0.9 * full / mass * libm::sinf(tilt_limit)).max(horizontal),
            },
            position: position::Config {
                crossover_rad_s: position_crossover,
                // Half of the tilt for braking, half for wind and gusts; a little under the velocity loop's ramp.
                braking_m_s2: 0.4 * horizontal,
                speed_limit_m_s: 1.2 * horizontal,
            },
            pilot: pilot::Config {
                dead_band: 0.04,
                expo: 0.3,
                full_stick_tilt_rad: 0.9 * tilt_limit,
                full_stick_roll_pitch_rate_rad_s: attitude.tilt.rate_limit_rad_s,
                full_stick_yaw_rate_rad_s: attitude.heading.rate_limit_rad_s,
                full_stick_climb_m_s: 0.6 * induced,
                full_stick_descent_m_s: descent,
                hold_below_m_s: 0.5,
                landing_speed_m_s: 0.7,
            },
            guard: guards(airframe),
        })
    }
}

fn authority(airframe: &Airframe, weight: f32, min_thrust_n: f32) -> Authority {
    // Each rotor may move this far from hover without touching a limit.
    let hover = 0.25 * weight;
    let room = (hover - min_thrust_n).min(airframe.thrust_curve.max_thrust_n - hover);
    let arms = airframe.geometry.arms.into_array();
    Authority {
        roll: room * arms.iter().fold(0.0, |sum, arm| sum + arm.y_m.abs()),
        pitch: room * arms.iter().fold(0.0, |sum, arm| sum + arm.x_m.abs()),
        yaw: 4.0 * room * airframe.geometry.torque_to_thrust_m,
    }
}

fn notches(airframe: &Airframe, weight: f32) -> NotchConfig {
    let hover_hz = airframe.hover_speed_rad_s / (2.0 * PI);
    NotchConfig {
        // An error of 5 % in the speed leaves 45 % of the tone; four such notches delay by 0.13 periods of the tone. A tone that
        // comes too near to half the tick rate, as that of rotors of two inches does, is left to the gyro's low-pass.
        bandwidth_hz: if hover_hz < 0.4 * TICK_HZ { 0.2 * hover_hz } else { 0.0 },
        // Imbalance comes once a turn and shakes the frame most. The blades' tone lies at as many times that as there are
        // blades, where the gyro's low-pass and the rotors' lag take it.
        harmonic: 1.0,
        // Half of the hover thrust: a notch twice as late as in hover.
        lowest_hz: 0.7 * hover_hz,
        // Full thrust and a little more, as far as the tick rate allows.
        highest_hz: (1.1 * hover_hz * libm::sqrtf(4.0 * airframe.thrust_curve.max_thrust_n / weight))
            .min(0.45 * TICK_HZ),
        hover_speed_rad_s: airframe.hover_speed_rad_s,
    }
}

fn rates(airframe: &Airframe, authority: &Authority, lag: f32, delay: f32) -> rate::Config {
    // The derivative cancels the rotors' lag: lag = Td (1 + 1/N).
    let derivative_time_s = lag / (1.0 + 1.0 / DERIVATIVE_FILTER_RATIO);
    // What is left is dead time: the delay and the notches, half a tick of holding, the derivative's filter, the gyro's low-pass
    // (sqrt(2)/(2 pi f) at low frequency).
    let dead_time = delay
        + 0.5 / TICK_HZ
        + derivative_time_s / DERIVATIVE_FILTER_RATIO
        + core::f32::consts::SQRT_2 / (2.0 * PI * GYRO_CUTOFF_HZ);
    // An integrator with dead time L and gain w: phase margin 90 deg - w L, gain margin (pi/2)/(w L). With w L = 0.36:
    // 69 deg, 12.8 dB, less what the integral takes.
    let crossover = 0.36 / dead_time;
    let axis = |torque: f32, inertia: f32, crossover_rad_s: f32| rate::Axis {
        crossover_rad_s,
        // Six over the crossover: atan(1/6) = 9.5 deg of phase.
        integral_time_s: 6.0 / crossover_rad_s,
        derivative_time_s,
        // Twice what the rotors can give at hover: the mixer limits, not this.
        acceleration_limit_rad_s2: 2.0 * torque / inertia,
    };
    let inertia = airframe.inertia;
    let hover_n = 0.25 * airframe.mass_kg * STANDARD_GRAVITY_M_S2;
    rate::Config {
        roll: axis(authority.roll, inertia.roll_kg_m2, crossover),
        pitch: axis(authority.pitch, inertia.pitch_kg_m2, crossover),
        // Yaw has a tenth of the torque: a third of the gain spares the rotors the noise.
        yaw: axis(authority.yaw, inertia.yaw_kg_m2, crossover / 3.0),
        derivative_filter_ratio: DERIVATIVE_FILTER_RATIO,
        inertia,
        gyroscopic: true,
        // T = Jr/(2 kQ w) with the drag torque kQ w^2 = kappa f of one rotor in hover.
        reaction_time_constant_s: 0.5 * airframe.rotor_inertia_kg_m2 * airframe.hover_speed_rad_s
            / (airframe.geometry.torque_to_thrust_m * hover_n),
    }
}

fn attitudes(airframe: &Airframe, authority: &Authority, rate: &rate::Config, lag: f32) -> attitude::Config {
    let inertia = airframe.inertia;
    // The reference may use four fifths of what hover leaves; the rest is for feedback.
    let tilt = 0.8 * (authority.roll / inertia.roll_kg_m2).min(authority.pitch / inertia.pitch_kg_m2);
    let turn = 0.5 * authority.yaw / inertia.yaw_kg_m2;
    // A step of s asks for a drive of s lag omega^3 at once. No faster than the rate loop.
    let tilt_reference = libm::cbrtf(tilt / (DESIGN_STEP_RAD * lag)).min(0.8 * rate.roll.crossover_rad_s);
    // Braking from the rate limit at the reference's omega/(1 + 2 zeta) takes half of the acceleration.
    let spread = 1.0 + 2.0 * REFERENCE_DAMPING;
    // The heading turns with what yaw torque there is: the same rule for a step of half a radian.
    let heading_reference = libm::cbrtf(turn / (0.5 * lag)).min(0.5 * rate.yaw.crossover_rad_s);
    let part = |crossover: f32, reference: f32, acceleration: f32, highest: f32| attitude::Part {
        // Well below the rate loop, which follows a set-point with the rotors' lag: its derivative sees only the gyro. A
        // lag of 60 ms leaves 52 deg.
        crossover_rad_s: crossover / 4.2,
        reference_bandwidth_rad_s: reference,
        rate_limit_rad_s: (0.5 * acceleration * spread / reference).min(highest),
        acceleration_limit_rad_s2: acceleration,
    };
    attitude::Config {
        tilt: part(rate.roll.crossover_rad_s, tilt_reference, tilt, 2.0 * PI),
        heading: part(rate.yaw.crossover_rad_s, heading_reference, turn, 0.5 * PI),
        reference_damping: REFERENCE_DAMPING,
        rotor_time_constant_s: lag,
    }
}

fn tilt_limit(weight: f32, full: f32) -> f32 {
    // At the limit, constant height takes one sixth of the thrust in excess of the weight; five sixths are left for
    // climb, gusts and control. Never beyond 45 deg.
    let factor = 1.0 + (full / weight - 1.0) / 6.0;
    libm::acosf(1.0 / factor).min(0.25 * PI)
}

fn guards(airframe: &Airframe) -> guard::Config {
    guard::Config {
        arming_tilt_rad: 0.26,
        arming_rate_rad_s: 0.35,
        arming_stick: 0.1,
        // A rotor lag without a sample is bridged, then there is nothing left to fly on.
        imu_hold_s: airframe.rotor_time_constant_s,
        link_hold_s: 0.5,
        link_land_s: 3.0,
        // The lowest voltage believed plus a fifth of the range: what a landing takes from a pack under load.
        low_battery_v: airframe.thrust_curve.lowest_voltage_v
            + 0.2 * (airframe.thrust_curve.highest_voltage_v - airframe.thrust_curve.lowest_voltage_v),
        low_battery_s: 3.0,
        tip_over_tilt_rad: 1.05,
        tip_over_s: 0.5,
        landed_thrust_share: 0.7,
        landed_climb_m_s: 0.3,
        landed_s: 0.5,
    }
}
