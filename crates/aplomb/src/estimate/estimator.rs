//! The estimator: connects all filters, from the samples of a tick to one [`State`].

use super::attitude::{self, AttitudeFilter, Corrections};
use super::horizontal::{self, HorizontalFilter};
use super::vertical::{self, VerticalFilter};
use super::{
    AirDensity, AirDensityState, Barometers, BarometersState, DelayBuffer, DelayBufferState,
    GnssAcceleration, GnssAccelerationState, ImuVote, ImuVoteState, LeverArm, LeverArmState, WindEstimator,
    WindState,
};
use crate::error::{ConfigError, require_positive, require_within};
use crate::frames::{Attitude, Body, Vector, World};
use crate::math::{Libm, Math};
use crate::{STANDARD_GRAVITY_M_S2, Sample, Sensors};

/// Configuration of an [`Estimator`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Attitude filter.
    pub attitude: attitude::Config,
    /// Vertical filter.
    pub vertical: vertical::Config,
    /// Horizontal filter.
    pub horizontal: horizontal::Config,
    /// Position of the inertial sensors in m from the centre of mass, each component within 1.
    pub imu_position_m: Vector<Body>,
    /// An inertial sample older than this in s does not count, 0 to 1.
    pub imu_max_age_s: f32,
    /// A slow sample older than this in s is rejected, 0.05 to 2.
    pub max_sample_age_s: f32,
    /// Drag of the rotors over mass in 1/s: specific force per airspeed in the rotor plane. `None`: no wind
    /// estimate.
    pub rotor_drag_per_s: Option<f32>,
}

impl Config {
    /// The filters' own presets, sensors at the centre of mass, no wind estimate. An inertial sample may be 5
    /// ms old, five periods at 1 kHz; a slow one 0.3 s, the 0.2 s of a GNSS receiver and half as much again
    /// (common practice, no source).
    pub const CONSUMER: Self = Self {
        attitude: attitude::Config::RECOMMENDED,
        vertical: vertical::Config::CONSUMER,
        horizontal: horizontal::Config::CONSUMER,
        imu_position_m: Vector::ZERO,
        imu_max_age_s: 0.005,
        max_sample_age_s: 0.3,
        rotor_drag_per_s: None,
    };
}

/// The estimate of the craft's motion on one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct State {
    /// Body to world, at the time of the next sample.
    pub attitude: Attitude,
    /// Angular rate in rad/s, gyro bias removed.
    pub rate_rad_s: Vector<Body>,
    /// Gyro bias in rad/s.
    pub gyro_bias_rad_s: Vector<Body>,
    /// Acceleration of the centre of mass in m/s2.
    pub acceleration_m_s2: Vector<World>,
    /// Position in m from home.
    pub position_m: Vector<World>,
    /// Velocity over ground in m/s.
    pub velocity_m_s: Vector<World>,
    /// Wind in m/s, the direction that it blows towards, horizontal; 0 until it is first valid.
    pub wind_m_s: Vector<World>,
    /// Density of the air in kg/m3 from the barometers; `None` before the first plausible pressure.
    pub air_density_kg_m3: Option<f32>,
    /// Sine of the angle between the averaged vertical and that of the attitude: above 0.5 the attitude is
    /// unreliable.
    pub tilt_innovation: f32,
    /// An inertial sample was usable on this tick.
    pub imu_usable: bool,
    /// The attitude has been initialised.
    pub attitude_valid: bool,
    /// The heading has been initialised by the magnetic field or by a change of velocity.
    pub heading_valid: bool,
    /// Height and climb are corrected by barometer or GNSS.
    pub height_valid: bool,
    /// Horizontal position and velocity are corrected by GNSS.
    pub position_valid: bool,
    /// The wind is being estimated: in flight, drag configured, position valid.
    pub wind_valid: bool,
    /// The craft is stationary; detected only while disarmed.
    pub stationary: bool,
}

/// Attitude, vertical and horizontal filter, with sensor voting, lever arm, home pressure, delay buffer, GNSS
/// corrections, wind and air density. `N` inertial sensors and `P` barometers.
///
/// ```
/// use aplomb::{ImuSample, Libm, Sensors, estimate::{Config, Estimator}, frames::Vector};
/// let mut estimator = Estimator::<Libm>::new(&Config::CONSUMER, 1e-3).unwrap();
/// let imu = ImuSample::from_rates(Vector::ZERO, Vector::new(0.0, 0.0, -9.80665), 1e-3);
/// let state = estimator.step(&Sensors::from_imu(imu), false);
/// assert!(state.attitude_valid && state.attitude.cos_tilt() == 1.0);
/// assert!(state.acceleration_m_s2.norm_squared() < 1e-9 && !state.height_valid);
/// ```
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Estimator<M: Math = Libm, const N: usize = 1, const P: usize = 1> {
    vote: ImuVote<N>,
    lever_arm: LeverArm,
    barometers: Barometers<P>,
    attitude: AttitudeFilter<M>,
    delay_buffer: DelayBuffer,
    gnss_acceleration: GnssAcceleration,
    vertical: VerticalFilter,
    horizontal: HorizontalFilter,
    wind: WindEstimator,
    air_density: AirDensity,
    state: State,
}

/// State of an [`Estimator`]. A restored estimator continues bit for bit.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct EstimatorState<const N: usize = 1, const P: usize = 1> {
    vote: ImuVoteState<N>,
    lever_arm: LeverArmState,
    barometers: BarometersState<P>,
    attitude: attitude::State,
    delay_buffer: DelayBufferState,
    gnss_acceleration: GnssAccelerationState,
    vertical: vertical::State,
    horizontal: horizontal::State,
    wind: WindState,
    air_density: AirDensityState,
    state: State,
}

/// Rate and force on a tick without a usable inertial sample: the attitude filter integrates its last rate.
const NO_MEASUREMENT: Vector<Body> = Vector::new(f32::NAN, f32::NAN, f32::NAN);

impl<M: Math, const N: usize, const P: usize> Estimator<M, N, P> {
    /// For a fixed period in s.
    ///
    /// # Errors
    /// Names the first bad field of this or of a part's configuration.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        require_within("imu_max_age_s", config.imu_max_age_s, 0.0, 1.0)?;
        require_within("max_sample_age_s", config.max_sample_age_s, 0.05, 2.0)?;
        Ok(Self {
            vote: ImuVote::new(config.imu_max_age_s, period_s),
            lever_arm: LeverArm::new(config.imu_position_m, period_s)?,
            barometers: Barometers::new(config.vertical.home_temperature_k)?,
            attitude: AttitudeFilter::new(&config.attitude, period_s)?,
            delay_buffer: DelayBuffer::new(config.max_sample_age_s, period_s)?,
            vertical: VerticalFilter::new(&config.vertical, period_s)?,
            horizontal: HorizontalFilter::new(&config.horizontal, period_s)?,
            gnss_acceleration: GnssAcceleration::new(config.horizontal.interval_s, period_s),
            wind: WindEstimator::new(config.rotor_drag_per_s, period_s)?,
            air_density: AirDensity::new(config.vertical.home_temperature_k, period_s)?,
            state: State::default(),
        })
    }

    /// One tick. While `armed` zero-rate detection is off, home pressures are fixed and the wind is
    /// estimated.
    ///
    /// A fix is compared with the acceleration that the attitude of this tick gives, so its correction of the
    /// attitude acts on the next tick.
    pub fn step(&mut self, sensors: &Sensors<N, P>, armed: bool) -> State {
        let voted = self.vote.step(&sensors.imu);
        let (gyro, force) = match voted {
            Some(imu) => {
                let rate = imu.rate_rad_s - self.state.gyro_bias_rad_s;
                (imu.rate_rad_s, self.lever_arm.step(rate, imu.specific_force_m_s2))
            }
            None => (NO_MEASUREMENT, NO_MEASUREMENT),
        };
        let corrections = Corrections {
            magnetic_field: sensors.magnetic_field_ut.map(|field| self.rotated_to_now(field)),
            // The two accelerations must be in the same axes: without a heading those of the attitude are not
            // the world's.
            apparent_gravity_m_s2: self
                .gnss_acceleration
                .apparent_gravity_m_s2()
                .filter(|_| self.state.heading_valid),
            velocity_change: self.gnss_acceleration.velocity_change(),
            stationary_allowed: !armed,
        };
        let attitude = self.attitude.step(gyro, force, &corrections);
        let acceleration_m_s2 = attitude
            .specific_force_m_s2
            .map_or(Vector::ZERO, |force| force + Vector::new(0.0, 0.0, STANDARD_GRAVITY_M_S2));

        self.delay_buffer.step(acceleration_m_s2);
        let pressure_height = self.barometers.step(&sensors.pressure_pa, armed);
        let pressure_height = pressure_height.and_then(|height| self.delay_buffer.delayed(height));
        let fix = sensors.gnss.and_then(|fix| self.delay_buffer.delayed(fix));
        let fix_height = fix.map(|fix| fix.map(|fix| -fix.position_m.z()));
        let vertical = self.vertical.step(acceleration_m_s2, pressure_height, fix_height);
        let horizontal = self.horizontal.step(acceleration_m_s2, fix.as_ref());
        self.gnss_acceleration.step(acceleration_m_s2, fix.as_ref());

        let velocity_m_s = horizontal.velocity_m_s.with_down(-vertical.climb_m_s);
        let in_flight = horizontal.is_valid && armed;
        let wind = self.wind.step(attitude.attitude, force, in_flight.then_some(velocity_m_s));
        self.state = State {
            attitude: attitude.attitude,
            rate_rad_s: attitude.rate_rad_s,
            gyro_bias_rad_s: attitude.gyro_bias_rad_s,
            acceleration_m_s2,
            position_m: horizontal.position_m.with_down(-vertical.height_m),
            velocity_m_s,
            wind_m_s: wind.wind_m_s.with_down(0.0),
            air_density_kg_m3: self.air_density.step(&sensors.pressure_pa, vertical.height_m),
            tilt_innovation: attitude.tilt_innovation,
            imu_usable: voted.is_some(),
            attitude_valid: attitude.is_initialised,
            heading_valid: attitude.heading_valid,
            height_valid: vertical.is_valid,
            position_valid: horizontal.is_valid,
            wind_valid: wind.is_valid,
            stationary: attitude.stationary,
        };
        self.state
    }

    /// A magnetic field in the body axes of now, from a sample of `age` ago: m - age w x m.
    fn rotated_to_now(&self, field: Sample<Vector<Body>>) -> Vector<Body> {
        let m = field.value;
        m - self.state.rate_rad_s.cross(m) * (field.age_us as f32 * 1e-6)
    }

    /// The estimate of the last tick.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Sets the pressure in Pa of each barometer at home, for example after a restart in the air; it is then
    /// kept. Ignored where it is not plausible.
    pub fn set_home_pressure(&mut self, home_pa: [f32; P]) {
        self.barometers.set_home_pressure(home_pa);
    }

    /// Initialises attitude and heading again from the next samples; the gyro bias is kept. For after a
    /// crash.
    pub fn reinitialise_attitude(&mut self) {
        self.attitude.reinitialise();
    }

    /// Initialises the state; nothing is valid until the next samples.
    pub fn reset(&mut self) {
        self.vote.reset();
        self.lever_arm.reset();
        self.barometers.reset();
        self.attitude.reset();
        self.delay_buffer.reset();
        self.gnss_acceleration.reset();
        self.vertical.reset();
        self.horizontal.reset();
        self.wind.reset();
        self.air_density.reset();
        self.state = State::default();
    }

    /// All that changes from tick to tick. [`Estimator::state`] is the estimate alone.
    #[must_use]
    pub const fn save(&self) -> EstimatorState<N, P> {
        EstimatorState {
            vote: self.vote.state(),
            lever_arm: self.lever_arm.state(),
            barometers: self.barometers.state(),
            attitude: self.attitude.state(),
            delay_buffer: self.delay_buffer.state(),
            gnss_acceleration: self.gnss_acceleration.state(),
            vertical: self.vertical.state(),
            horizontal: self.horizontal.state(),
            wind: self.wind.state(),
            air_density: self.air_density.state(),
            state: self.state,
        }
    }

    /// Restores a saved state.
    pub const fn restore(&mut self, saved: &EstimatorState<N, P>) {
        self.vote.set_state(saved.vote);
        self.lever_arm.set_state(saved.lever_arm);
        self.barometers.set_state(saved.barometers);
        self.attitude.set_state(saved.attitude);
        self.delay_buffer.set_state(saved.delay_buffer);
        self.gnss_acceleration.set_state(saved.gnss_acceleration);
        self.vertical.set_state(saved.vertical);
        self.horizontal.set_state(saved.horizontal);
        self.wind.set_state(saved.wind);
        self.air_density.set_state(saved.air_density);
        self.state = saved.state;
    }
}

#[cfg(test)]
#[path = "estimator_tests.rs"]
mod tests;
