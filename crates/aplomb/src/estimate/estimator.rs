//! The estimators wired: samples in, one [`State`] out.

use super::attitude::{self, Aids, AttitudeFilter, Course};
use super::horizontal::{self, HorizontalFilter};
use super::vertical::{self, PressureHeight, Source, VerticalFilter};
use super::vote::Voted;
use super::{History, ImuVote, Span};
use crate::error::{ConfigError, require_positive, require_within};
use crate::frames::{Attitude, Body, Vector, World};
use crate::math::{Libm, Math};
use crate::{GnssFix, STANDARD_GRAVITY_M_S2, Sample, Sensors};

/// What an [`Estimator`] is built from.
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
    /// Where the accelerometers are, in m from the centre of mass, each component within 1.
    pub imu_position_m: Vector<Body>,
    /// An inertial sample older than this in s does not count, 0 to 1.
    pub imu_max_age_s: f32,
    /// A slow sample older than this in s is refused, 0.05 to 2.
    pub max_sample_age_s: f32,
    /// Drag of the rotors over mass in 1/s: specific force per airspeed in the rotor plane. `None`: no wind estimate.
    pub rotor_drag_per_s: Option<f32>,
}

impl Config {
    /// The parts' own recommendations, sensor at the centre of mass, no wind estimate. A base to fill in.
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

/// What is believed about the craft on one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct State {
    /// Body to world, at the time of the next sample.
    pub attitude: Attitude,
    /// Angular rate in rad/s, offset taken out.
    pub rate_rad_s: Vector<Body>,
    /// Gyro offset in rad/s.
    pub gyro_offset_rad_s: Vector<Body>,
    /// Acceleration of the centre of mass in m/s2.
    pub acceleration_m_s2: Vector<World>,
    /// Position in m from home.
    pub position_m: Vector<World>,
    /// Velocity over ground in m/s.
    pub velocity_m_s: Vector<World>,
    /// Wind in m/s (towards), horizontal; 0 while not known.
    pub wind_m_s: Vector<World>,
    /// The averaged vertical's disagreement with the attitude (sine of the angle); above 0.5 do not trust the attitude.
    pub tilt_innovation: f32,
    /// An inertial sample was usable on this tick.
    pub imu_usable: bool,
    /// Attitude has been seeded.
    pub attitude_valid: bool,
    /// Heading has been set by the field.
    pub heading_valid: bool,
    /// Height and climb are fed by a sensor.
    pub height_valid: bool,
    /// Horizontal position and velocity are fed by the receiver.
    pub position_valid: bool,
    /// Wind is estimated: drag is configured and the position known.
    pub wind_valid: bool,
    /// At rest (only found while disarmed).
    pub stationary: bool,
}

/// Vote, lever arm, attitude, vertical and horizontal estimation, wired.
///
/// Home pressure: the average while disarmed, frozen on the first armed tick; see [`Estimator::set_home_pressure`].
///
/// ```
/// use aplomb::{ImuSample, Libm, Sensors, estimate::{Config, Estimator}, frames::Vector};
/// let mut estimator = Estimator::<Libm, 1>::new(&Config::CONSUMER, 1e-3).unwrap();
/// let imu = ImuSample::from_rates(Vector::ZERO, Vector::new(0.0, 0.0, -9.80665), 1e-3);
/// let state = estimator.step(&Sensors::from_imu(imu), false);
/// assert!(state.attitude_valid && state.attitude.cos_tilt() == 1.0);
/// assert!(state.acceleration_m_s2.norm_squared() < 1e-9 && !state.height_valid);
/// ```
#[derive(Clone, Debug)]
pub struct Estimator<M: Math = Libm, const N: usize = 1, const P: usize = 1> {
    vote: ImuVote<N>,
    lever: Lever,
    attitude: AttitudeFilter<M>,
    history: History,
    vertical: VerticalFilter,
    horizontal: HorizontalFilter,
    home: Home<P>,
    kinematic: Kinematic,
    wind: Wind,
    /// A field sample that came together with a fix, as felt on that tick.
    waiting_field: Vector<Body>,
    acceleration_m_s2: Vector<World>,
    imu_usable: bool,
    wind_valid: bool,
    busy: bool,
    field_waits: bool,
}

impl<M: Math, const N: usize, const P: usize> Estimator<M, N, P> {
    /// For a fixed period in s.
    ///
    /// # Errors
    /// Names the first bad field of this or of a part's configuration.
    pub fn new(config: &Config, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        for x in config.imu_position_m.to_array() {
            require_within("imu_position_m", x, -1.0, 1.0)?;
        }
        require_within("imu_max_age_s", config.imu_max_age_s, 0.0, 1.0)?;
        require_within("max_sample_age_s", config.max_sample_age_s, 0.05, 2.0)?;
        let horizontal = HorizontalFilter::new(&config.horizontal, period_s)?;
        let home = Home::new(config.vertical.home_temperature_k)?;
        let vertical = VerticalFilter::new(&config.vertical, period_s)?;
        Ok(Self {
            vote: ImuVote::new(config.imu_max_age_s, period_s),
            lever: Lever::new(config.imu_position_m, period_s),
            attitude: AttitudeFilter::new(&config.attitude, period_s)?,
            history: History::new(config.max_sample_age_s, period_s)?,
            vertical,
            horizontal,
            home,
            kinematic: Kinematic::new(config.horizontal.interval_s),
            wind: Wind::new(config.rotor_drag_per_s, period_s)?,
            waiting_field: Vector::ZERO,
            acceleration_m_s2: Vector::ZERO,
            imu_usable: false,
            wind_valid: false,
            busy: false,
            field_waits: false,
        })
    }

    /// One tick. `armed` forbids the rest detection and freezes home. A field sample that comes together with a fix is
    /// taken in on the next tick, so that no tick has both. Returns what [`Estimator::state`] gives until the next.
    #[inline]
    pub fn step(&mut self, sensors: &Sensors<N, P>, armed: bool) -> State {
        let voted = self.vote.step(&sensors.imu);
        self.imu_usable = voted.is_some();
        // No measurement: the filter goes on with its last rate and leaves the force out.
        let (gyro, accel) = match voted {
            Some(Voted { gyro_rad_s, accel_m_s2, .. }) => {
                let rate = gyro_rad_s - self.attitude.gyro_offset_rad_s();
                (gyro_rad_s, self.lever.at_centre(rate, accel_m_s2))
            }
            None => (Vector::new(f32::NAN, 0.0, 0.0), Vector::new(f32::NAN, 0.0, 0.0)),
        };
        let aids = Aids {
            field: self.field_to_take(sensors),
            // Felt in the axes of the attitude, measured in those of the world: they must be the same.
            apparent_gravity_m_s2: if self.attitude.heading_valid() {
                self.kinematic.apparent_gravity()
            } else {
                None
            },
            course: self.kinematic.new_course(),
            at_rest_allowed: !armed,
        };
        self.busy = sensors.pressure_pa.iter().any(Option::is_some)
            || sensors.gnss.is_some()
            || aids.field.is_some()
            || aids.course.is_some();
        let acceleration = match self.attitude.advance(gyro, accel, &aids) {
            Some(felt) => felt + Vector::new(0.0, 0.0, STANDARD_GRAVITY_M_S2),
            None => Vector::ZERO,
        };
        self.acceleration_m_s2 = acceleration;
        self.history.push_finite(acceleration);
        self.vertical.predict_finite(-acceleration.z());
        self.horizontal.predict_finite(acceleration);
        self.kinematic.tick(acceleration, self.history.period_s());
        if let Some(height) = self.home.height_m(&sensors.pressure_pa, armed) {
            self.vertical.correct(height, Source::Barometer, &self.history);
        }
        if let Some(Sample { value: fix, age_us }) = &sensors.gnss
            && let Some(span) = self.history.span(*age_us)
        {
            self.vertical.correct_over(-fix.position_m.z(), Source::Receiver, &span);
            self.horizontal.correct_over(fix, &span);
            self.kinematic.take(fix, &span);
        }
        let measured = self.horizontal.known() && armed;
        self.wind_valid = self.wind.step(self.attitude.attitude(), accel, self.velocity_m_s(), measured);
        self.state()
    }

    /// What is believed since the last tick, put together from the parts.
    #[inline]
    #[must_use]
    pub fn state(&self) -> State {
        let [north, east, _] = self.horizontal.position_m().to_array();
        State {
            attitude: self.attitude.attitude(),
            rate_rad_s: self.attitude.rate_rad_s(),
            gyro_offset_rad_s: self.attitude.gyro_offset_rad_s(),
            acceleration_m_s2: self.acceleration_m_s2,
            position_m: Vector::new(north, east, -self.vertical.height_m()),
            velocity_m_s: self.velocity_m_s(),
            wind_m_s: self.wind.wind,
            tilt_innovation: self.attitude.tilt_innovation(),
            imu_usable: self.imu_usable,
            attitude_valid: self.attitude.seeded(),
            heading_valid: self.attitude.heading_valid(),
            height_valid: self.vertical.known(),
            position_valid: self.horizontal.known(),
            wind_valid: self.wind_valid,
            stationary: self.attitude.stationary(),
        }
    }

    /// The last tick took in a slow sample.
    #[inline]
    pub(crate) const fn was_busy(&self) -> bool {
        self.busy
    }

    #[inline]
    fn velocity_m_s(&self) -> Vector<World> {
        let [north, east, _] = self.horizontal.velocity_m_s().to_array();
        Vector::new(north, east, -self.vertical.climb_m_s())
    }

    #[inline]
    fn field_to_take(&mut self, sensors: &Sensors<N, P>) -> Option<Vector<Body>> {
        let newer = sensors.magnetic_field_ut.map(|field| self.turned_to_now(field));
        let waiting =
            Sample { value: self.waiting_field, age_us: (self.history.period_s() * 1e6 + 0.5) as u32 };
        let waiting = self.field_waits.then(|| self.turned_to_now(waiting));
        self.field_waits = false;
        match newer {
            Some(field) if sensors.gnss.is_some() => {
                (self.waiting_field, self.field_waits) = (field, true);
                waiting
            }
            None => waiting,
            now => now,
        }
    }

    /// A field sample taken some ticks ago, as it would be felt in the present attitude: m - age w x m.
    fn turned_to_now(&self, field: Sample<Vector<Body>>) -> Vector<Body> {
        let age_s = field.age_us as f32 * 1e-6;
        let m = field.value;
        m - self.attitude.rate_rad_s().cross(m) * age_s
    }

    /// Sets the pressure in Pa of each barometer at home, as when starting in the air; it is then kept. Ignored where it is
    /// not finite or not positive.
    pub fn set_home_pressure(&mut self, home_pa: [f32; P]) {
        self.home.set(home_pa);
    }

    /// Starts the attitude over from the next samples, as after a crash.
    pub fn reinitialise_attitude(&mut self) {
        self.attitude.reinitialise();
    }

    /// The attitude filter.
    #[must_use]
    pub const fn attitude_filter(&self) -> &AttitudeFilter<M> {
        &self.attitude
    }

    /// The vertical filter.
    #[must_use]
    pub const fn vertical_filter(&self) -> &VerticalFilter {
        &self.vertical
    }

    /// The horizontal filter.
    #[must_use]
    pub const fn horizontal_filter(&self) -> &HorizontalFilter {
        &self.horizontal
    }
}

/// Takes the motion of the sensor about the centre of mass out of the specific force:
/// `a = a_sensor - w' x r - w x (w x r)`, with w' as the rate's difference over a low-pass of 5 ms.
#[derive(Clone, Copy, Debug)]
struct Lever {
    arm: Vector<Body>,
    rate: Vector<Body>,
    /// Of the low-pass, in 1/s; 0 without an arm.
    per_time: f32,
}

impl Lever {
    const SMOOTHING_S: f32 = 0.005;

    fn new(arm: Vector<Body>, period_s: f32) -> Self {
        let per_time = if arm.norm_squared() > 0.0 { 1.0 / (Self::SMOOTHING_S + period_s) } else { 0.0 };
        Self { arm, rate: Vector::ZERO, per_time }
    }

    #[inline]
    fn at_centre(&mut self, rate: Vector<Body>, force: Vector<Body>) -> Vector<Body> {
        if self.per_time == 0.0 {
            return force;
        }
        // Low-passed derivative: w' = (w - w_lp before)/(T + h), and then w_lp = w - T w'.
        let acceleration = (rate - self.rate) * self.per_time;
        self.rate = rate - acceleration * Self::SMOOTHING_S;
        force - acceleration.cross(self.arm) - rate.cross(rate.cross(self.arm))
    }
}

/// Pressure at home, one for each barometer, so that the difference between two of them is no height and losing one makes no
/// step.
#[derive(Clone, Copy, Debug)]
struct Home<const P: usize> {
    barometers: [HomePressure; P],
}

#[derive(Clone, Copy, Debug)]
struct HomePressure {
    law: PressureHeight,
    samples: u8,
    frozen: bool,
}

/// Samples over which home pressure is averaged.
const HOME_SAMPLES: u8 = 100;

impl<const P: usize> Home<P> {
    /// The pressure is that of the standard atmosphere at sea level (ISO 2533) until the first sample.
    fn new(home_temperature_k: f32) -> Result<Self, ConfigError> {
        let law = PressureHeight::new(101_325.0, home_temperature_k)?;
        Ok(Self { barometers: [HomePressure { law, samples: 0, frozen: false }; P] })
    }

    /// Mean height in m and mean age of the barometers with a new, plausible sample; `None` without one.
    fn height_m(&mut self, pressure_pa: &[Option<Sample<f32>>; P], armed: bool) -> Option<Sample<f32>> {
        let (mut height_m, mut age_us, mut count) = (0.0, 0.0, 0.0);
        for (home, sample) in self.barometers.iter_mut().zip(pressure_pa) {
            let Some(Sample { value: pressure_pa, age_us: age }) = *sample else { continue };
            if pressure_pa > 1e4 && pressure_pa < 1.2e5 {
                height_m += home.height_m(pressure_pa, armed);
                age_us += age as f32;
                count += 1.0;
            }
        }
        (count > 0.0).then(|| Sample { value: height_m / count, age_us: (age_us / count) as u32 })
    }

    fn set(&mut self, home_pa: [f32; P]) {
        for (home, home_pa) in self.barometers.iter_mut().zip(home_pa) {
            if home_pa > 0.0 && home_pa < f32::INFINITY {
                home.law = home.law.at(home_pa);
                home.frozen = true;
            }
        }
    }
}

impl HomePressure {
    /// Height in m. While disarmed, and until frozen, home is the average pressure, so the height is about 0.
    fn height_m(&mut self, pressure_pa: f32, armed: bool) -> f32 {
        if !self.frozen {
            self.samples = self.samples.saturating_add(1).min(HOME_SAMPLES);
            let average_pa = self.law.home_pa();
            self.law = self.law.at(average_pa + (pressure_pa - average_pa) / f32::from(self.samples));
            self.frozen = armed;
        }
        self.law.height_m(pressure_pa)
    }
}

/// Acceleration from raw velocity differences, matched with the specific force over the same stretch of time.
#[derive(Clone, Copy, Debug)]
struct Kinematic {
    interval_s: f32,
    /// Velocity of the fix before.
    before: Vector<World>,
    /// What was felt since the time of that fix, and for how long; infinite before the first one.
    felt: Vector<World>,
    since_s: f32,
    /// The last difference, and how long ago it was made; infinite before the first one.
    gravity: Vector<World>,
    course: Course,
    held_s: f32,
}

/// Shares of the interval between fixes within which two of them make a difference.
const SHORTEST_INTERVAL: f32 = 0.25;
const LONGEST_INTERVAL: f32 = 5.0;

impl Kinematic {
    fn new(interval_s: f32) -> Self {
        Self {
            interval_s,
            before: Vector::ZERO,
            felt: Vector::ZERO,
            since_s: f32::INFINITY,
            gravity: Vector::ZERO,
            course: Course::default(),
            held_s: f32::INFINITY,
        }
    }

    #[inline]
    fn tick(&mut self, acceleration: Vector<World>, period_s: f32) {
        self.held_s += period_s;
        self.felt += acceleration * period_s;
        self.since_s += period_s;
    }

    fn take(&mut self, fix: &GnssFix, span: &Span) {
        let velocity = fix.velocity_m_s;
        if !(velocity.norm_squared() < 1e6 && fix.horizontal_velocity_accuracy_m_s < 1.0) {
            return;
        }
        let length_s = self.since_s - span.length_s;
        if length_s <= 0.0 {
            return;
        }
        if length_s > SHORTEST_INTERVAL * self.interval_s && length_s < LONGEST_INTERVAL * self.interval_s {
            let (measured_m_s, felt_m_s) = (velocity - self.before, self.felt - span.velocity_m_s);
            // What is felt is R a + (0, 0, g), so this is (0, 0, g) when the attitude is right.
            let gravity =
                (measured_m_s - felt_m_s) * (1.0 / length_s) + Vector::new(0.0, 0.0, STANDARD_GRAVITY_M_S2);
            if gravity.norm_squared() < 4.0 * STANDARD_GRAVITY_M_S2 * STANDARD_GRAVITY_M_S2 {
                self.gravity = gravity;
                self.course = Course::new(felt_m_s, measured_m_s);
                self.held_s = 0.0;
            }
        }
        self.before = velocity;
        self.felt = span.velocity_m_s;
        self.since_s = span.length_s;
    }

    /// On the tick after a new difference.
    #[inline]
    fn new_course(&self) -> Option<Course> {
        if self.held_s == 0.0 { Some(self.course) } else { None }
    }

    /// Until one and a half intervals have passed without a new difference.
    fn apparent_gravity(&self) -> Option<Vector<World>> {
        if self.held_s < 1.5 * self.interval_s { Some(self.gravity) } else { None }
    }
}

/// Time constant in s of the low-pass on the wind estimate.
pub const WIND_SMOOTHING_S: f32 = 2.0;

/// Wind from what the rotors' drag does to the specific force: `f_xy = -d v_air,xy` in the body, hence
/// `v_wind = v - R (-f_x/d, -f_y/d, (R'v)_z)`, low-passed.
#[derive(Clone, Copy, Debug)]
struct Wind {
    per_drag_s: f32,
    gain: f32,
    wind: Vector<World>,
}

impl Wind {
    fn new(rotor_drag_per_s: Option<f32>, period_s: f32) -> Result<Self, ConfigError> {
        let per_drag_s = match rotor_drag_per_s {
            Some(drag) => 1.0 / require_positive("rotor_drag_per_s", drag)?,
            None => 0.0,
        };
        let gain = period_s / (WIND_SMOOTHING_S + period_s);
        Ok(Self { per_drag_s, gain, wind: Vector::ZERO })
    }

    /// Takes force and velocity in where both are `measured`; true if it did.
    #[inline]
    fn step(
        &mut self,
        attitude: Attitude,
        force: Vector<Body>,
        velocity: Vector<World>,
        measured: bool,
    ) -> bool {
        // False for NaN.
        let known = measured && self.per_drag_s > 0.0 && force.norm_squared() < 1e5;
        if known {
            let along = attitude.to_body(velocity).z();
            let air = Vector::new(-force.x() * self.per_drag_s, -force.y() * self.per_drag_s, along);
            let wind = velocity - attitude.to_world(air);
            let wind = Vector::new(wind.x(), wind.y(), 0.0);
            self.wind += (wind - self.wind) * self.gain;
        }
        known
    }
}

#[cfg(test)]
#[path = "estimator_tests.rs"]
mod tests;
